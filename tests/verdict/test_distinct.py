"""One ride counts once: copies, shifted and re-stamped ones, overlaps; and what is only alike is let through."""

import numpy as np
import pytest

from agree import InputError, Pairs, check_claim, pair_recordings
from agree.core.data.source_identity import SourceIdentity
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


def other_device(rng, ride, **more):
    return Pairs(reference=ride.reference, device=ride.device * 1.01 + rng.normal(0, 1, ride.device.size),
                 reference_name="crank1.csv", device_name="pedals2.csv", **more)


def test_one_recording_of_the_reference_is_one_session(rng):
    """A device recorded twice against one reference in one effort is not two days, and neither are two devices."""
    ride = session(rng, seconds=900)
    with pytest.raises(InputError) as caught:
        check_claim([named(ride, 1), other_device(rng, ride)], "1.5 %")
    assert str(caught.value) == (
        "sessions 1 (crank1.csv and pedals1.csv) and 2 (crank1.csv and pedals2.csv) hold the same recording of the "
        "reference: one ride is one session, however many recordings of it there are; leave one of them out")


def test_one_recording_of_the_device_is_one_session(rng):
    ride = session(rng, seconds=900)
    other = Pairs(reference=ride.reference + rng.normal(0, 1, 900), device=ride.device, reference_name="crank2.csv",
                  device_name="pedals1.csv")
    with pytest.raises(InputError, match="hold the same recording of the device: one ride is one session"):
        check_claim([named(ride, 1), other], "1.5 %")


@pytest.mark.parametrize("reference_uncertainty", [None, "reads 2 % high ± 0.1 %"])
def test_files_exchanged_in_one_of_two_copies(rng, reference_uncertainty):
    """Errors of +2 and -2 % look like two sessions with a mean of 0; a corrected reference hides nothing."""
    ride = session(rng, seconds=900, scale=1.02)
    turned = Pairs(reference=ride.device, device=ride.reference, reference_name="pedals1.csv", device_name="crank1.csv")
    with pytest.raises(InputError, match=r"once as reference and once as device.*leave out the one whose files"):
        check_claim([named(ride, 1), turned], "1.5 %", reference_uncertainty=reference_uncertainty)


def test_played_backwards(rng):
    ride = session(rng, seconds=900)
    with pytest.raises(InputError, match="hold the same recordings"):
        check_claim([named(ride, 1), named(ride, 2, slice(None, None, -1))], "1.5 %")


def stamped(pairs, k, minutes):
    start = np.datetime64("2025-11-01T10:00:00") + np.timedelta64(round(60 * minutes), "s")
    return named(pairs, k, start=f"{start}Z")


@pytest.mark.parametrize(("apart_s", "refused"), [(0, True), (599, True), (600, False), (86400, False)])
def test_pieces_of_one_ride_by_dated_clocks(rng, apart_s, refused):
    one, two = (session(rng, seconds=900) for _ in range(2))
    items = [stamped(two, 1, (899 + apart_s) / 60), stamped(one, 2, 0)]
    if refused:
        with pytest.raises(InputError, match=rf"are {apart_s} s apart: pieces of one ride share zero, .* Join them"):
            check_claim(items, "1.5 %")
    else:
        assert check_claim(items, "1.5 %").verdict


def test_one_device_on_two_rides_at_once(rng):
    items = [stamped(session(rng, seconds=900), k, 5 * k) for k in range(2)]
    with pytest.raises(InputError, match="overlap in time by 599 s: one device cannot be on two rides at once"):
        check_claim(items, "1.5 %")
    never_set = [named(session(rng, seconds=900), k, start="1989-12-31T00:00:00Z") for k in range(2)]
    assert check_claim(never_set, "1.5 %").verdict


@pytest.mark.parametrize("hidden", ["time", "stamps"])
def test_consecutive_pieces_without_dates(rng, hidden):
    """Cut at 20 and 40 min, each piece was a day of its own: the interval came from three looks at one zero."""
    ride = session(rng, seconds=3600)
    cuts = [(0, 1200), (1200, 2400), (2410, 3600)]
    items = [named(ride, k, slice(*cut), **({"time": np.arange(*cut, dtype=float)} if hidden == "time" else
                                            {"stamps": (float(cut[0]), cut[1] - 1.0)})) for k, cut in enumerate(cuts)]
    with pytest.raises(InputError, match=r"sessions 1 .* and 2 .* are 1 s apart.*or let each count from 0"):
        check_claim(items, "1.5 %")
    with pytest.raises(InputError, match=r"sessions 1 .* and 2 .* are 11 s apart"):
        check_claim(items[1:], "1.5 %")


def test_files_cut_from_one_ride(rng, tmp_path):
    ride = session(rng, seconds=1200)
    items = []
    for k, part in enumerate((slice(0, 600), slice(600, 1200))):
        files = []
        for name, values in (("crank", ride.reference), ("pedals", ride.device)):
            files.append(tmp_path / f"{name}{k}.csv")
            rows = "".join(f"{t},{watts:.0f}\n" for t, watts in zip(range(1200)[part], values[part], strict=True))
            files[-1].write_text("time_s,power_W\n" + rows, encoding="utf-8")
        items.append(pair_recordings(*files))
    with pytest.raises(InputError, match=r"crank0 and pedals0\) and 2 \(crank1 .* are 1 s apart"):
        check_claim(items, "1.5 %")


def test_two_pieces_against_one_file(rng):
    same = SourceIdentity(name="crank.csv", size_bytes=1, sha256="a" * 64)
    items = [named(session(rng, seconds=900), k, sources=(same, None)) for k in range(2)]
    with pytest.raises(InputError, match="rest on one file: pieces of one recording are one session"):
        check_claim(items, "1.5 %")


def test_a_trainer_that_tells_its_target_repeats_each_ramp(rng):
    """The programme of two days is one, the reference is not; a rider's watts in both are one ride."""
    target = np.concatenate([np.arange(120.0, 320.0), np.arange(320.0, 120.0, -1)] * 3)
    days = [Pairs(reference=np.round(target + rng.normal(0, 5, target.size)), device=target) for _ in range(2)]
    assert check_claim(days, "1.5 %").verdict
    wobbly = np.round(target + rng.normal(0, 3, target.size))
    with pytest.raises(InputError, match="hold the same recording of the device"):
        check_claim([Pairs(reference=day.reference, device=wobbly) for day in days], "1.5 %")


def test_a_held_power_repeats_itself(rng):
    """Blocks of whole watts on an ergometer that hardly vary are no copies."""
    def block():
        watts = np.repeat(rng.permutation([150.0, 200.0, 250.0]), 300)
        return Pairs(reference=watts, device=watts + np.round(rng.normal(0, 2, 900)))
    assert check_claim([block(), block(), block()], "2 %").verdict
