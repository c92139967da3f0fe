"""Tables that compare a method with itself, and units that were mixed up: refused, with what to do."""

import numpy as np
import pytest

from agree import InputError, check_trials, pair_trials
from agree.core.quantities.known import quantity
from agree.core.quantities.mixups import mixup
from agree.quantities.overlay import lay_over

SUBJECTS = [name for name in "abcdefghijkl" for _ in range(2)]


def table(times=1.0, names=("plate_cm", "mat_cm"), level=38.0):
    rng = np.random.default_rng(1)
    plate = np.round(level * (1 + 0.2 * rng.normal(size=24)), 6)
    mat = plate * times * (1 + 0.01 * rng.normal(size=24))
    return {"subject": SUBJECTS, "trial": [1, 2] * 12, names[0]: plate.tolist(), names[1]: mat.tolist()}


def pair(data, **options):
    names = list(data)[2:]
    return pair_trials(data, reference_column=names[0], device_column=names[1], **options)


@pytest.mark.parametrize(("names", "times", "said"), [
    (("plate_cm", "mat_cm"), 0.01, r"'mat_cm' are 0.0.* times those of 'plate_cm', as if 'mat_cm' were in m, not cm"),
    (("plate_cm", "mat_cm"), 100, r"as if 'plate_cm' were in m, not cm"),
    (("radar (m/s)", "watch (m/s)"), 3.6, r"as if 'watch \(m/s\)' were in km/h, not m/s"),
    (("plates (kg)", "scale (kg)"), 2.2046, r"as if 'scale \(kg\)' were in lb, not kg"),
    (("gates (s)", "mat (s)"), 1000, r"as if 'mat \(s\)' were in ms, not s"),
    (("gates", "mat"), 1000, r"as ms and s differ"), (("one", "two"), 2.2046, r"as lb and kg differ")])
def test_units_mixed_up(names, times, said):
    with pytest.raises(InputError, match=said + ".*the units look mixed up; write the"):
        pair(table(times, names))
    with pytest.raises(InputError, match="the units look mixed up"):
        pair(table(times, names), unpaired=True)
    assert pair(table(1.2, names)).count == 24  # a device that is 20 % off is the device's fault


def test_a_temperature_in_fahrenheit():
    pill = np.linspace(36.5, 39.5, 24)
    with pytest.raises(InputError, match="as if 'pill_°C' were in °F, not °C"):
        pair({"subject": SUBJECTS, "trial": [1, 2] * 12, "probe_°C": pill.tolist(),
              "pill_°C": (1.8 * pill + 32.1).tolist()})


@pytest.mark.parametrize(("times", "found"), [(2.2046 * 1.049, True), (2.2046 * 1.051, False), (2.2046 / 1.04, True)])
def test_how_near_another_unit_counts(times, found):
    lifted = np.linspace(50, 200, 9)
    assert (mixup(lifted, times * lifted, "kg") is not None) == found


@pytest.mark.parametrize(("cold", "found"), [(-61.0, True), (-57.0, False)])
def test_how_far_apart_a_mixup_is(cold, found):
    # Near -40 a temperature is much the same in °C and °F: within a quarter nothing is called mixed up.
    freezer = np.full(9, cold)
    assert (mixup(freezer, 1.8 * freezer + 32, "°C") is not None) == found


def test_recordings_in_other_units():
    t = np.arange(600.0)
    belt = 3 + 0.5 * np.sin(t / 40)
    with pytest.raises(InputError, match="as if watch were in km/h, not m/s"):
        lay_over((t, belt), (t, 3.6 * belt), quantity("speed"), absolute=True, names=("belt", "watch"))
    assert lay_over((t, belt), (t, 1.2 * belt), quantity("speed"), absolute=True).reference.size == 600


@pytest.mark.parametrize(("level", "refused"), [(3.7, True), (4.6, False)])
def test_a_limit_beside_which_readings_are_small(level, refused):
    # Jumps of 0.35 in a column without a unit, a claim of 2 cm: everything "held", since 0.35 was read as cm.
    trials = pair(table(names=("plate", "mat"), level=level), claim_unit="cm")
    if refused:
        with pytest.raises(InputError, match=r"`claim` allows 2 cm, and the usual reading is .*: no column names a "
                                             r"unit, and readings so small are hardly in cm; state the readings' unit"):
            check_trials(trials, "2 cm")
    else:
        assert check_trials(trials, "2 cm").verdict == "holds"
        assert "trials_unit_of_claim" in [note.kind for note in check_trials(trials, "2 cm").notes]


def test_a_method_beside_itself():
    data = table()
    data["mat_cm"] = data["plate_cm"]
    said = (r"column 'plate_cm' and .*column 'mat_cm' hold the same readings in all 24 trials: a method was compared "
            "with itself")
    with pytest.raises(InputError, match=said):
        pair(data)
    data["mat (m)"] = [value / 100 for value in data["plate_cm"]]
    with pytest.raises(InputError, match="hold the same readings"):
        pair_trials(data, reference_column="plate_cm", device_column="mat (m)")
    with pytest.raises(InputError, match="hold the same readings"):
        pair(data, unpaired=True)
    with pytest.raises(InputError, match="compared with itself"):
        pair_trials(data, reference_column="plate_cm", device_column="plate_cm")


@pytest.mark.parametrize(("distinct", "refused"), [(7, False), (8, True)])
def test_few_whole_numbers_may_agree(distinct, refused):
    counts = [5 + k % distinct for k in range(24)]
    data = {"subject": SUBJECTS, "trial": [1, 2] * 12, "counted": counts, "sensed": counts}
    if refused:
        with pytest.raises(InputError, match="compared with itself"):
            pair(data)
    else:
        assert pair(data).count == 24
