"""What is done with faults: set aside, reported or kept; and saturation and late starts, of the trace they are of."""

import numpy as np
import pandas as pd
import pytest

from agree import InputError, check_claim, pair_recordings
from agree.faults import set_aside
from agree.faults.set_aside import handling_of


@pytest.fixture
def power(rng):
    """Half an hour of invented riding with sprints."""
    watts = 200 + np.cumsum(rng.normal(0, 6, 1800))
    watts = 200 + 40 * np.sin(np.arange(1800) / 40) + (watts - watts.mean()) / 4 + rng.normal(0, 10, 1800)
    for start in range(200, 1700, 250):
        watts[start:start + 12] += 330 + 20 * np.sin(np.arange(12))
    return watts


def paired(reference, device, **options):
    one, two = (pd.DataFrame({"time_s": np.arange(p.size), "power_W": np.round(p, 1)}) for p in (reference, device))
    return pair_recordings(one, two, **options)


def kinds(pairs):
    return {fault.kind for fault in pairs.faults}


@pytest.mark.parametrize("role", ["device", "reference"])
def test_a_ceiling_is_the_fault_of_the_trace_that_has_it(power, role):
    cut = np.minimum(power, 420.0)
    pairs = paired(power, cut) if role == "device" else paired(cut, power)
    assert kinds(pairs) == {f"{role}_saturation"}
    true = power > 420
    marked = pairs.reason == f"{role}_saturation"
    assert (marked & true).sum() >= 0.95 * true.sum()
    assert (marked & ~true).sum() <= 0.05 * true.sum()


@pytest.mark.parametrize("role", ["device", "reference"])
def test_a_late_start_is_the_fault_of_the_trace_that_sleeps(power, role):
    late = power.copy()
    late[:45] = 0
    pairs = paired(power, late) if role == "device" else paired(late, power)
    assert kinds(pairs) == {f"{role}_late_start"}
    fault, = pairs.faults
    assert (fault.start_s, fault.seconds, fault.handling) == (0.0, 45, "set aside")
    share = power[:45].sum() / power.sum() if role == "device" else 0.0  # of the reference's energy
    assert fault.energy_share == pytest.approx(share, rel=1e-2)
    row, = pairs.fault_table()
    assert abs(row.bias_without) < 0.01
    assert abs(row.bias_with) == pytest.approx(100 * 45 / 1800, rel=0.2)


@pytest.mark.parametrize("role", ["device", "reference"])
def test_a_value_held_into_a_coasting_is_no_dropout_of_the_other(power, role):
    power[900:960] = 0
    held = power.copy()
    held[899:930] = held[898]
    pairs = paired(power, held) if role == "device" else paired(held, power)
    assert kinds(pairs) == {f"{role}_held"}
    assert pairs.counts()[f"{role}_held"] == 31


def test_an_early_end(power):
    early = power.copy()
    early[-30:] = 0
    assert kinds(paired(power, early)) == {"device_early_end"}


def test_what_is_done_with_faults(power):
    device = power.copy()
    device[500:520] = 0
    device[900:930] /= 2
    usual = paired(power, device)
    assert kinds(usual) == {"device_dropout", "device_partial"}
    assert (usual.counts()["device_dropout"], usual.counts()["device_partial"]) == (20, 30)
    reported = paired(power, device, faults="report")
    assert kinds(reported) == kinds(usual)
    assert {fault.handling for fault in reported.faults} == {"report"}
    assert reported.used.all()
    kept = paired(power, device, faults={"dropout": "keep"})
    assert kinds(kept) == {"device_partial"}
    assert kept.counts()["device_dropout"] == 0
    assert kept.notes.count("by request not looked for: dropout") == 1
    with_all = {row.kind: (row.bias_without, row.bias_with) for row in reported.fault_table()}
    assert with_all["device_dropout"][1] < with_all["device_dropout"][0] < 0


def test_the_bias_with_faults_does_not_depend_on_what_is_done_with_them(power):
    device = 0.98 * power
    device[500:520] = 0
    checks = [check_claim(paired(power, device, faults=faults), "3 %") for faults in ("set aside", "report", "keep")]
    assert len({round(check.bias_with_faults.value, 9) for check in checks}) == 1
    assert checks[1].bias.value == checks[2].bias.value == checks[0].bias_with_faults.value
    assert checks[0].bias.value == pytest.approx(-2, abs=0.02) != checks[1].bias.value


def test_slow_faults_are_reported_and_set_aside_only_by_name(power):
    rest = power.copy()
    rest[880:910] = 0
    device = np.where(rest > 0, rest + 10 * (np.arange(rest.size) >= 910), 0.0)
    usual = paired(rest, device)
    fault, = [item for item in usual.faults if item.kind == "auto_zero_step"]
    assert fault.handling == "report"
    assert fault.detail["step_W"] == pytest.approx(10, abs=0.5)
    assert usual.counts()["auto_zero_step"] == 0
    assert paired(rest, device, faults="set aside").counts()["auto_zero_step"] == 0
    named = paired(rest, device, faults={"auto_zero_step": "set aside"})
    assert named.counts()["auto_zero_step"] > 600


@pytest.mark.parametrize(("faults", "words"), [
    ("lose", "must be 'set aside', 'report' or 'keep'"),
    ({"dropouts": "keep"}, "must name kinds of fault among"),
    ({"dropout": "lose"}, "got 'lose' for dropout"),
    ({"dropout": None}, "got None for dropout"),
])
def test_handling_is_checked(faults, words):
    with pytest.raises(InputError, match=words):
        handling_of(faults)


@pytest.mark.parametrize(("lost_s", "times"), [(1, 1), (9, 2)])
@pytest.mark.parametrize("role", ["device", "reference"])
def test_faults_are_found_once_and_twice_only_if_more_than_a_hundredth_is_lost(power, role, lost_s, times, monkeypatch):
    bad = np.convolve(power, np.exp(-np.arange(30) / 3.0) * (1 - np.exp(-1 / 3.0)))[:power.size]
    for start in range(100, 1650, 110):
        bad[start:start + lost_s] = 0
        bad[start + 20:start + 60] /= 4
    calls = []
    real = set_aside.find_faults
    monkeypatch.setattr(set_aside, "find_faults", lambda *given, **more: calls.append(1) or real(*given, **more))
    made = set_aside.set_aside(*((power, bad) if role == "device" else (bad, power)))
    assert f"{role}_dropout" in {fault.reason for fault in made.faults}
    assert len(calls) == times


def test_spikes_of_a_trace_at_rest_are_its_own_and_no_late_start_of_the_other(power):
    rng = np.random.default_rng(2)
    x = power.copy()
    x[900:1500] = 0
    y = np.where(x > 0, np.rint(x + rng.normal(0, 3, x.size)), 0.0)
    spiked = np.arange(1000, 1400, 60)
    x[spiked] = 900.0
    made = set_aside.set_aside(x, y)
    assert {fault.reason for fault in made.faults} == {"reference_spike"}
    assert (made.reason[spiked] == "reference_spike").all()


def test_spikes_that_are_kept_do_not_hide_a_slow_response(power):
    slow = np.convolve(power, np.exp(-np.arange(60) / 6.0) * (1 - np.exp(-1 / 6.0)))[:power.size]
    slow[np.arange(100, 1700, 80)] += 3000
    kept = set_aside.set_aside(power, slow, set_aside.handling_of({"spike": "keep"}))
    assert (kept.matched.kind, kept.matched.smoother) == ("first order", "device")
    assert kept.matched.size_s == pytest.approx(6, rel=0.15)
