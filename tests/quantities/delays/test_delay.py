"""Whose a delay is, and the answers as worn and with the delay taken out."""

import json

import numpy as np
import pytest

from agree import InputError, MatchError, check_quantity
from agree.core.quantities.known import quantity
from agree.quantities.delays.delay import find_delay, taken_out
from agree.quantities.overlay import lay_over


def session(seed=1, seconds=3600, effort=60, late=12.0, filtered=0):
    """Heart rate in efforts, with a wrist that is late; invented."""
    rng = np.random.default_rng(seed)
    t = np.arange(seconds, dtype=float)
    drive = np.where(t % (2 * effort) < effort, 165.0, 115.0)
    heart = np.empty(seconds)
    heart[0] = 110
    for k in range(1, seconds):
        heart[k] = heart[k - 1] + (drive[k] - heart[k - 1]) / 25
    worn = np.interp(t - late, t, heart)
    if filtered:
        worn = np.convolve(np.pad(worn, (filtered - 1, 0), mode="edge"), np.ones(filtered) / filtered, "valid")
    return t, np.round(heart + rng.normal(0, 0.5, seconds)), np.round(worn + rng.normal(0, 1, seconds))


def seen(absolute=True, of="heart rate", **options):
    t, heart, worn = session(**options)
    return lay_over((t, heart), (t, worn), quantity(of), absolute=absolute, names=("strap", "wrist"))


def test_late_wrist_does_not_hold_as_worn_and_holds_without_the_delay():
    check = check_quantity(seen(), "5 bpm", meaning="readings")
    assert (check.verdict, check.belongs_to) == ("does not hold", "device")
    assert (check.as_recorded.verdict, check.taken_out.verdict) == ("does not hold", "holds")
    assert check.lag_s == pytest.approx(12, abs=0.3)
    first = check.summary().splitlines()
    assert len(first) <= 16
    assert max(map(len, first)) <= 80
    assert first[0].startswith("DOES NOT HOLD (as worn)")
    assert "as recorded" in check.summary()
    assert "delay of 12.0 s taken out" in check.summary()
    assert " W" not in check.summary()


def test_unknown_clocks_leave_it_open_and_a_word_settles_it():
    free = seen(absolute=False)
    assert check_quantity(free, "5 bpm", meaning="readings").verdict == "not settled"
    assert check_quantity(free, "5 bpm", meaning="average").verdict == "holds"  # both answers agree
    assert check_quantity(free, "5 bpm", meaning="readings", delay="device").verdict == "does not hold"
    assert check_quantity(free, "5 bpm", meaning="readings", delay="clock").verdict == "holds"
    assert check_quantity(seen(), "5 bpm", meaning="readings", delay="unknown").verdict == "not settled"


@pytest.mark.parametrize(("late", "owner"), [(0.0, "unknown"), (1.7, "unknown"), (6.0, "device"), (20.0, "device"),
                                             (-6.0, "device")])
def test_a_delay_is_the_devices_where_it_is_certain(late, owner):
    found = find_delay(seen(late=late))
    assert (found.belongs_to, found.lag_s) == (owner, pytest.approx(late, abs=0.6))


def test_equal_efforts_are_alike_a_period_apart():
    # A delay of 20 s looks like one of -114 s where efforts repeat every 134 s; the nearer is taken.
    for seed in range(3):
        assert find_delay(seen(late=20.0, seed=seed, effort=67)).lag_s == pytest.approx(20, abs=0.6)


def test_the_boundary_of_two_seconds():
    sure = [find_delay(seen(late=late)) for late in (1.95, 2.6)]
    assert all(item.se_s < 0.25 for item in sure)
    assert [item.belongs_to for item in sure] == ["unknown", "device"]


def test_cadence_and_balance_have_their_delay_from_clocks():
    assert find_delay(seen(of="cadence")).belongs_to == "clock"
    check = check_quantity(seen(of="cadence"), "5 rpm", meaning="readings")
    assert check.verdict == check.taken_out.verdict == "holds"


def test_averaging_is_named():
    check = check_quantity(seen(late=3, filtered=20), "5 bpm")
    assert [note.kind for note in check.notes] == ["quantity_averages", "quantity_no_shadow"]
    assert check.delays[0].averaged_s in (15, 20, 30)
    assert not [note for note in check_quantity(seen(), "5 bpm").notes if note.kind == "quantity_averages"]


def test_a_lag_taken_out_gives_back_the_trace():
    t, heart, _ = session()
    late = lay_over((t, heart), (t, np.interp(t - 7.5, t, heart)), quantity("heart rate"), absolute=True)
    back = taken_out(late, 7.5)
    assert np.nanmax(np.abs(back[20:-20] - heart[20:-20])) < 1.5  # between whole beats


def test_noise_tells_no_lag():
    rng = np.random.default_rng(1)
    t = np.arange(1800.0)
    one, two = 120 + 10 * rng.normal(size=(2, 1800))
    apart = lay_over((t, one), (t, two), quantity("heart rate"), absolute=True)
    check = check_quantity(apart, "5 bpm")
    assert check.taken_out is None
    assert "quantity_no_lag" in [note.kind for note in check.notes]
    json.dumps(check.to_dict())
    with pytest.raises(MatchError, match=r"to tell a lag that could be taken out; give it with `lag_s`, or"):
        check_quantity(apart, "5 bpm", delay="clock")


def test_celsius_and_fahrenheit_give_one_verdict():
    rng = np.random.default_rng(2)
    t = np.arange(0, 7200.0, 10)
    core = 37 + 1.5 * (1 - np.exp(-t / 2000)) + 0.02 * np.sin(t / 300)
    pill = core + 0.15 + 0.02 * rng.normal(size=t.size)
    found = []
    for unit, turn in (("°C", lambda v: v), ("°F", lambda v: v * 1.8 + 32)):
        over = lay_over((t, turn(core)), (t, turn(pill)), quantity("core temperature", unit), absolute=True)
        for claim in ("0.1 °C", "0.3 °C"):
            check = check_quantity(over, claim)
            assert str(check.claim.unit) == unit
            found.append((unit, claim, check.verdict))
    assert [verdict for *_, verdict in found] == ["does not hold", "holds"] * 2
    with pytest.raises(InputError, match="core temperature has no natural zero, so per cent of it means nothing"):
        check_quantity(over, "1 %")


def test_speed_in_any_unit_gives_one_verdict():
    t, heart, worn = session(late=0)
    found = []
    for unit, by in (("m/s", 1.0), ("km/h", 3.6), ("mph", 1 / 0.44704)):
        over = lay_over((t, heart / 40 * by), (t, 1.015 * worn / 40 * by), quantity("speed", unit), absolute=True)
        found.append([check_quantity(over, claim, delay="device").verdict for claim in ("1 %", "0.05 m/s", "1 km/h")])
    assert found[0] == found[1] == found[2]
    assert found[0][0] == "does not hold"
    assert found[0][2] == "holds"


def test_several_sessions():
    check = check_quantity([seen(seed=k, seconds=1800) for k in (1, 2, 3)], "5 bpm", meaning="next_session")
    assert (check.verdict, len(check.delays)) == ("holds", 3)
    assert check.as_recorded.of("average").estimate.df == 2


@pytest.mark.parametrize(("noise", "told"), [(20.0, True), (21.0, False)])
def test_how_much_alike_changes_must_be_for_a_lag(noise, told):
    """LEAST_LAG_FIT, 0.5."""
    t, heart, worn = session()
    worn = worn + noise * np.random.default_rng(3).normal(size=t.size)
    delay = find_delay(lay_over((t, heart), (t, worn), quantity("heart rate"), absolute=True))
    assert abs(delay.correlation - 0.5) < 0.01
    assert (delay.correlation > 0.5, np.isfinite(delay.lag_s)) == (told, told)


def test_breaths_that_scatter_are_no_averaging_device():
    # Means of the reference lose its scatter and so fit better: that tells nothing of the device where no lag is told.
    rng = np.random.default_rng(5)
    ends = [np.cumsum(rng.uniform(2, 4, 800)) for _ in range(2)]
    cart, portable = ((t, (2.5 + 0.8 * np.sin(t / 200)) * (1 + rng.normal(0, 0.05, t.size))) for t in ends)
    check = check_quantity(lay_over(cart, portable, quantity("oxygen uptake"), absolute=False), "5 %")
    kinds = [note.kind for note in check.notes]
    assert "quantity_no_lag" in kinds
    assert "quantity_averages" not in kinds
