"""The mean absolute (percentage) error, as heart-rate standards state claims: a meaning to be asked for."""

import numpy as np
import pytest

from agree import Claim, InputError, check_quantity, check_trials, pair_trials
from agree.cli.main import command
from agree.core.quantities.known import quantity
from agree.quantities.overlay import lay_over


def trials(error, unit="bpm"):
    """Twelve wearers with three readings each, errors in per cent of 100."""
    x = np.full(36, 100.0)
    data = {"subject": [f"{k // 3:02d}" for k in range(36)], "trial": [k % 3 for k in range(36)],
            f"strap_{unit}": x, f"wrist_{unit}": x + error}
    return pair_trials(data, reference_column=f"strap_{unit}", device_column=f"wrist_{unit}")


def test_errors_both_ways_do_not_cancel():
    both_ways = np.tile([6.0, -6.0], 18) + np.random.default_rng(1).normal(0, 0.5, 36)
    check = check_trials(trials(both_ways), "5 %", meaning="mean_absolute")
    assert check.of("average").verdict == "holds"
    assert check.verdict == "does not hold"
    assert check.answer.estimate.value == pytest.approx(np.abs(both_ways).mean())
    text = check.summary()
    assert text.startswith("DOES NOT HOLD: wrist_bpm: the mean absolute error lies outside ±5 %.")
    assert "hides delays and rare large errors" in " ".join(text.split())
    assert len(check_trials(trials(both_ways), "5 %").meanings) == 4  # it stands there only if it was asked for


@pytest.mark.parametrize(("size", "verdict"), [(3.0, "holds"), (4.95, "not settled"), (7.0, "does not hold")])
def test_three_answers(size, verdict):
    rng = np.random.default_rng(2)
    error = rng.choice([-1, 1], 36) * np.abs(size + rng.normal(0, 1, 36))
    for claim in ("5 %", "5 bpm"):
        assert check_trials(trials(error), claim, meaning="mean_absolute").verdict == verdict


def test_of_recordings():
    # 12 s late: the mean absolute error passes what 30-s means do not.
    rng = np.random.default_rng(3)
    t = np.arange(3600.0)
    heart = 140 + 30 * np.convolve(rng.normal(size=3720), np.ones(121), "valid") / 11
    wrist = np.round(np.interp(t - 12, t, heart) + rng.normal(0, 1, 3600))
    seen = lay_over((t, np.round(heart)), (t, wrist), quantity("heart rate"), absolute=True)
    check = check_quantity(seen, "10 %", meaning="mean_absolute")
    error = np.abs(wrist - np.round(heart)) / np.round(heart)
    assert check.as_recorded.of("mean_absolute").estimate.value == pytest.approx(100 * error.mean(), rel=1e-6)
    assert check.verdict == "holds"
    assert check_quantity(seen, "5 %", meaning="readings").verdict == "does not hold"
    assert "hides delays and rare large errors" in " ".join(check.summary().split())
    assert check_quantity(seen, "1 %", meaning="mean_absolute").verdict == "does not hold"
    beats = check_quantity(seen, "5 bpm", meaning="mean_absolute").as_recorded.of("mean_absolute")
    assert beats.estimate.value == pytest.approx(np.abs(wrist - np.round(heart)).mean())


def test_what_is_refused(tmp_path):
    some = trials(np.random.default_rng(1).normal(0, 1, 36))
    with pytest.raises(InputError, match="needs a claim with one limit"):
        check_trials(some, "10 % or 5 bpm", meaning="mean_absolute")
    for claim in ("MAPE 5 %", "mean absolute percentage error under 5 %", "MAE < 5 bpm"):
        with pytest.raises(InputError, match="which is a meaning and no limit: give the limit alone, like '5 %', and "):
            Claim.parse(claim)
    (tmp_path / "a.csv").write_text("time,power\n1,2\n", encoding="utf-8")
    with pytest.raises(InputError, match="--meaning mean-absolute is for --quantity"):
        command.main(["check", str(tmp_path / "a.csv"), str(tmp_path / "a.csv"), "--claim", "5%", "--meaning",
                      "mean-absolute"], standalone_mode=False)
