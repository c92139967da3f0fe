"""The check as a whole: verdicts on rides whose truth is known, and what is stored beside them."""

import json
import math

import numpy as np
import pytest

from agree import ClaimCheck, InputError, Pairs, SampleSizeError, check_claim
from agree.correction.find import correction
from agree.diagnosis.findings import findings
from agree.report.story.cause_evidence import title
from agree.verdict.columns import table
from tests.rides import effort, session

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


def verdicts(check):
    return {item.meaning: item.verdict for item in check.readings}


def test_wrong_scale_does_not_hold(rng):
    check = check_claim(session(rng, scale=0.97), "1.5 %")
    assert check.verdict == "does not hold"
    assert check.bias.low < -3 < check.bias.high
    assert verdicts(check)["next_session"] == "not settled"
    assert check.correction.scale.low < 1 / 0.97 < check.correction.scale.high
    assert check.correction.stable is None


def test_good_device_holds_in_this_recording(rng):
    # 240 windows: enough for 95 % of them even where chance makes few of them count (72 effective ones are needed)
    check = check_claim(session(rng, scale=1.002, sd=1.0, seconds=7200), "1.5 %")
    assert check.verdict == "holds"
    assert verdicts(check) == {"average": "holds", "bands": "holds", "readings": "holds",
                               "next_session": "not settled"}
    assert check.readings[3].because.kind == "because_one_session"


@pytest.mark.parametrize(("truth", "cause"), [
    ({"scale": 0.97}, "scale"), ({"offset": -6}, "offset"), ({"scale": 0.97, "offset": -6}, "scale and offset")])
def test_right_cause_comes_first(truth, cause):
    # 93 of 100 in simulations of 300 rides with a larger error; 30 rides here, 4 binomial standard errors below
    first = [" and ".join(sorted((title(item) for item in findings(data, correction(data, 0.95, 30))
                                  if item.cause in ("scale", "offset")), reverse=True))
             for data in (table(session(np.random.default_rng([2, k]), sd=4.0, **truth), 30) for k in range(30))]
    right = sum(name == cause or name.startswith(f"{cause}, perhaps") for name in first)
    assert right >= 30 * (0.93 - 4 * math.sqrt(0.93 * 0.07 / 30))
    assert not {"scale": {"offset"}, "offset": {"scale"}}.get(cause, {"scale", "offset"}) & set(first)


def test_narrow_power_cannot_tell(rng):
    steady = 200 + rng.normal(0, 3, 1800)
    check = check_claim(Pairs(reference=steady, device=0.96 * steady + rng.normal(0, 3, 1800)), "1.5 %")
    assert check.verdict == "does not hold"
    assert check.correction.kind == "cannot tell"


def test_reference_alone_leaves_it_open(rng):
    pairs = session(rng, scale=1.012)
    assert check_claim(pairs, "1.5 %").verdict == "holds"
    check = check_claim(pairs, "1.5 %", reference_uncertainty="±1.5 %")
    assert check.verdict == "not settled"
    assert check.next_step.kind == "next_calibrate"
    # u = 1.5/sqrt(3) at least, whatever the data
    assert check.reading.estimate.standard_error >= 1.5 / math.sqrt(3)


def test_sessions_count_not_seconds(rng):
    scales = (0.99, 1.015, 0.985, 1.02)
    pairs = [session(rng, scale=scale, label=str(k)) for k, scale in enumerate(scales)]
    check = check_claim(pairs, "1.5 %")
    assert check.bias.df == 3
    assert check.verdict == "not settled"
    half = check.bias.high - check.bias.value
    # t interval of the session biases, about alike in energy
    biases = 100 * (np.array(scales) - 1)
    assert half == pytest.approx(3.182 * biases.std(ddof=1) / 2, rel=0.1)
    assert check.readings[3].estimate.high - check.readings[3].estimate.value == pytest.approx(
        3.182 * biases.std(ddof=1) * math.sqrt(1.25), rel=0.1)


def test_stable_correction(rng):
    pairs = [session(rng, scale=0.96 + 0.002 * k, label=str(k)) for k in (1, 3, 0, 2)]
    fix = check_claim(pairs, "1.5 %").correction
    assert fix.stable is True
    # the same sessions in order: an error that grows by 0.2 % each time is not a stable one
    assert check_claim([pairs[k] for k in (2, 0, 3, 1)], "1.5 %").correction.stable is False
    assert [note.kind for note in fix.because] == ["correction_line", "correction_tested", "correction_spread"]
    shaky = [session(rng, scale=scale, label="x") for scale in (0.96, 1.03, 0.97, 1.02)]
    assert check_claim(shaky, "1.5 %").correction.stable is False


def test_bands_find_where_it_fails(rng):
    true = effort(rng)
    device = np.where(true > 230, 0.96, 1.0) * true + rng.normal(0, 2, true.size)
    check = check_claim(Pairs(reference=true, device=device), "1.5 %", bands=[100, 150, 200, 250, 300, 350])
    answers = {band.low: band.verdict for band in check.bands}
    assert answers[100] == "holds"
    assert answers[250] == answers[300] == "does not hold"
    assert verdicts(check)["bands"] == "does not hold"


def test_readings_need_a_long_enough_window(rng):
    # SD 1.4 % at 1 s; over 30 s, some four correlation times, about half of it
    pairs = session(rng, sd=3.0, seconds=10800)
    reading = check_claim(pairs, "2.5 %", window_s=1).readings[2]
    assert reading.verdict == "does not hold"
    assert 5 <= reading.details["shortest_window_s"] <= 60
    assert check_claim(pairs, "2.5 %", window_s=60).readings[2].verdict == "holds"


def test_few_windows_do_not_make_a_share(rng):
    # 12 windows all within: the lower limit of the share is 0.025^(1/12) = 74 %, far from 95 %
    reading = check_claim(session(rng, sd=1.0), "3 %", window_s=300).readings[2]
    assert reading.estimate.value == 1
    assert reading.estimate.low <= 0.025 ** (1 / 12) + 1e-12
    assert reading.verdict == "not settled"


def test_claim_in_watts_and_floor(rng):
    pairs = session(rng, offset=3)
    assert check_claim(pairs, "2 W").verdict == "does not hold"
    check = check_claim(pairs, "5 W above 150 W")
    assert check.verdict == "holds"
    assert check.reading.unit == "W"
    assert check.bands[0].low == 150
    # the larger limit: 1 % of some 230 W is less than 4 W
    assert check_claim(pairs, "1 % or 4 W").verdict == "holds"
    assert check_claim(pairs, "1 % or 1 W").verdict != "holds"


def test_floor_above_all_power_settles_nothing(rng):
    check = check_claim(session(rng), "1.5 % above 900 W")
    assert check.verdict == "not settled"
    assert check.reading.estimate is None
    assert (check.reading.because.kind, check.reading.because.values["seconds"]) == ("because_few_seconds", 0)


def test_exchange_of_devices_tells_one_story(rng):
    pairs = session(rng, scale=0.95)
    other = Pairs(reference=pairs.device, device=pairs.reference)
    one, two = check_claim(pairs, "1.5 %"), check_claim(other, "1.5 %")
    assert one.verdict == two.verdict == "does not hold"
    assert one.bias.value < 0 < two.bias.value
    assert one.correction.scale.value == pytest.approx(1 / two.correction.scale.value)
    assert one.correction.kind == two.correction.kind


def test_a_device_compared_with_itself_is_refused(rng):
    true = np.round(effort(rng))
    with pytest.raises(InputError) as caught:
        check_claim(Pairs(reference=true, device=true, reference_name="a.csv", device_name="b.csv"), "1.5 %")
    assert str(caught.value) == (
        "session 1: a.csv and b.csv hold the same readings in all 3600 used seconds: a recording was compared with "
        "itself; give the device's own recording")


def test_with_and_without_faults(rng):
    pairs = session(rng, scale=0.98)
    device, reason = pairs.device.copy(), pairs.reason.copy().astype("<U20")
    device[100:200] = 0
    reason[100:200] = "device_dropout"
    check = check_claim(Pairs(reference=pairs.reference, device=device, reason=reason), "1.5 %")
    assert check.bias.value == pytest.approx(-2, abs=0.5)
    assert check.bias_with_faults.value < check.bias.value - 2
    assert check.seconds()["set_aside"]["device_dropout"] == 100
    assert any((finding.cause, finding.role) == ("dropout", "device") for finding in check.findings)


def test_json_keys(rng):
    check = check_claim([session(rng, label="a"), session(rng, label="b")], "1.5 % or 2 W above 100 W")
    data = json.loads(json.dumps(check.to_dict(), allow_nan=False))
    assert data["schema"] == 1
    assert data["verdict"] == check.verdict
    assert {"value", "low", "high", "level", "method"} <= set(data["bias_percent"])
    assert [item["meaning"] for item in data["readings"]] == ["average", "bands", "readings", "next_session"]
    assert {"low", "high", "seconds", "bias_percent"} <= set(data["bands"][0])
    assert {"lower", "upper"} <= set(data["limits_of_agreement_percent"])
    assert {"slope", "intercept"} <= set(data["lines"]["deming"]) & set(data["lines"]["passing_bablok"])
    assert {"lag_s", "drift_ppm"} <= set(data["alignment"])
    seconds = data["seconds"]
    assert seconds["overlap"] == seconds["used"] + sum(seconds["set_aside"].values())
    assert set(data["correction"]) >= {"scale", "stable"}
    assert len(data["sessions"]) == 2


def test_every_second_is_in_a_band(rng):
    check = check_claim(session(rng), "1.5 %")
    assert sum(band.seconds for band in check.bands) == 3600
    assert len(check.bands) <= 9


def test_results_are_frozen(rng):
    check = check_claim(session(rng), "1.5 %")
    assert isinstance(check, ClaimCheck)
    with pytest.raises(AttributeError):
        check.verdict = "holds"  # type: ignore[misc]
    with pytest.raises(ValueError, match="read-only"):
        check.pairs[0].reference[0] = 1


@pytest.mark.parametrize(("change", "message"), [
    ({"meaning": "mostly"}, "`meaning` must be one of 'average', 'bands', 'readings', 'next_session'; got 'mostly'"),
    ({"level": 95}, "`level` must be a fraction between 0 and 1, such as 0.95; got 95; did you mean 0.95?"),
    ({"window_s": 0}, "`window_s` must be a whole number of seconds from 1 to 600; got 0"),
    ({"window_s": 2.5}, "`window_s` must be a whole number of seconds from 1 to 600; got 2.5"),
    ({"bands": [200, 100]}, "`edges` must be at least two increasing numbers; got [200.0, 100.0]"),
])
def test_bad_options(rng, change, message):
    with pytest.raises(InputError) as caught:
        check_claim(session(rng, seconds=120), "1.5 %", **change)
    assert str(caught.value) == message


def test_bad_pairs(rng):
    with pytest.raises(InputError, match=r"^`pairs` must be Pairs or a list of Pairs, one for each session; got list$"):
        check_claim([], "1 %")
    with pytest.raises(InputError, match=r"got \['int'\]$"):
        check_claim([3], "1 %")
    with pytest.raises(SampleSizeError, match=r"^session 1: 10 of 10 seconds can be used, at least 30 are needed"):
        check_claim(session(rng, seconds=10), "1 %")
    nothing = Pairs(reference=np.zeros(60), device=np.full(60, 5.0))
    with pytest.raises(InputError, match=r"^session 1: the reference sums to 0 W s over the used seconds"):
        check_claim(nothing, "1 %")
    silent = Pairs(reference=np.full(60, 200.0), device=np.zeros(60))
    with pytest.raises(InputError, match=r"^the device sums to 0 W s over the used seconds; no factor can correct it$"):
        check_claim(silent, "1 %")


def test_short_recording_still_answers(rng):
    check = check_claim(session(rng, seconds=45), "1.5 %")
    assert check.verdict in {"holds", "does not hold", "not settled"}
    assert check.limits is None
    assert check.summary()
    json.dumps(check.to_dict(), allow_nan=False)
