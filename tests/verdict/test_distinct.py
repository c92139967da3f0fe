"""One ride counts once: copies, shifted and re-stamped ones, overlaps; and what is only alike is let through."""

import numpy as np
import pytest

from agree import InputError, Pairs, check_claim
from tests.rides import session

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


def named(pairs, k, part=slice(None), **more):
    return Pairs(reference=pairs.reference[part], device=pairs.device[part], session=str(k),
                 reference_name=f"crank{k}.csv", device_name=f"pedals{k}.csv", **more)


def test_the_same_session_twice(rng):
    ride, other = session(rng, seconds=900), session(rng, seconds=900)
    with pytest.raises(InputError) as caught:
        check_claim([named(ride, 1), named(other, 2), named(ride, 3)], "1.5 %")
    assert str(caught.value) == (
        "sessions 1 (crank1.csv and pedals1.csv) and 3 (crank3.csv and pedals3.csv) hold the same recordings: a "
        "session counts once, whatever its file is called or its clock says; leave one of them out")


@pytest.mark.parametrize("time", [np.arange(897.0), np.arange(897.0) + 1e6, np.arange(897) * 1.0 + 0.37])
def test_shifted_and_stamped_anew(rng, time):
    ride = session(rng, seconds=900)
    with pytest.raises(InputError, match="hold the same recordings"):
        check_claim([named(ride, 1), named(ride, 2, slice(3, None), time=time)], "1.5 %")


def test_overlap_is_named(rng):
    ride = session(rng, seconds=1200)
    with pytest.raises(InputError, match=r"hold the same 400 s of one ride.*cut them so that they do not overlap"):
        check_claim([named(ride, 1, slice(0, 800)), named(ride, 2, slice(400, None))], "1.5 %")


@pytest.mark.parametrize(("common", "refused"), [(89, True), (88, False)])
def test_how_much_must_be_common(rng, common, refused):
    """60 runs of 30 readings: 89 s in a row."""
    ride = session(rng, seconds=1200)
    parts = [named(ride, 1, slice(0, 600 + common)), named(ride, 2, slice(600, None))]
    if refused:
        with pytest.raises(InputError, match="hold the same 89 s"):
            check_claim(parts, "1.5 %")
    else:
        check_claim(parts, "1.5 %")


def test_another_device_on_the_same_ride_counts_if_the_clocks_say_so(rng):
    ride = session(rng, seconds=900)
    twin = Pairs(reference=ride.reference, device=ride.device * 1.01 + rng.normal(0, 1, 900), session="2")
    assert check_claim([ride, twin], "1.5 %").verdict  # the same programme on two days, as far as anybody knows
    stamped = [Pairs(reference=item.reference, device=item.device, start=start, session=str(k)) for k, (item, start) in
               enumerate(((ride, "2025-11-01T10:00:00"), (twin, "2025-11-01T10:00:02")))]
    with pytest.raises(InputError, match="hold the same recordings"):
        check_claim(stamped, "1.5 %")


def test_a_held_power_repeats_itself(rng):
    """Blocks of whole watts on an ergometer that hardly vary are no copies."""
    def block():
        watts = np.repeat(rng.permutation([150.0, 200.0, 250.0]), 300)
        return Pairs(reference=watts, device=watts + np.round(rng.normal(0, 2, 900)))
    assert check_claim([block(), block(), block()], "2 %").verdict
