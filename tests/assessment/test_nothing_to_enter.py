"""Nothing to enter where a factor would make the rest wrong, or hide a wrong setting; other units are refused."""

import numpy as np
import pytest

from agree import InputError, Pairs, check_claim, find_correction
from agree.assessment.doubts.not_followed import followed
from agree.assessment.find_correction import unless_caused_otherwise, unless_one_ride
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.correction.find import Correction
from agree.diagnosis.finding import Finding
from agree.report.notes.sentence import note_text
from agree.report.plain_text.screen import MOST_LINES, screen
from agree.report.story.cause import causes
from agree.verdict.columns import table

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


@pytest.fixture
def ride(rng):
    """An hour of blocks of 100 to 300 W with a sprint of 12 s at 800 W every 3 min."""
    watts = np.repeat(rng.uniform(100, 300, 60), 60)
    for start in range(100, 3600, 180):
        watts[start:start + 12] = 800
    return watts


def checked(rng, ride, device):
    return check_claim(Pairs(reference=ride + rng.normal(0, 3, ride.size), device=device + rng.normal(0, 3, ride.size)),
                       "1.5 %")


def test_wrong_in_sprints_alone(rng, ride):
    check = checked(rng, ride, np.where(ride > 700, 0.93 * ride, ride))
    assert {item.cause for item in check.findings} >= {"bend"}
    assert (check.correction.action, check.correction.reason.kind) == ("refused", "correction_bend")
    assert "no single factor or zero brings the whole range inside the claim" in " ".join(screen(check).split())


def test_a_correction_asked_for_alone_has_the_same_guards(rng, ride):
    """A bend, one side not doubled, and a device that does not follow: what the check refuses is refused here too."""
    def pair(device):
        return Pairs(reference=ride + rng.normal(0, 3, ride.size), device=device + rng.normal(0, 3, ride.size))

    bent = pair(np.where(ride > 700, 0.93 * ride, ride))
    found = find_correction(bent)
    assert (found.action, found.reason.kind) == ("refused", "correction_bend")
    assert find_correction(bent, claim="1.5 %").action == check_claim(bent, "1.5 %").correction.action == "refused"
    assert find_correction(pair(0.5 * ride)).reason.kind == "correction_setting"
    assert find_correction(pair(0.96 * ride)).action == "scale"
    assert find_correction(pair(rng.permutation(0.96 * ride))).reason.kind == "correction_not_followed"


def test_sessions_that_look_like_one_ride_do_not_show_that_a_correction_lasts(rng, ride):
    days = [Pairs(reference=watts + rng.normal(0, 3, watts.size), device=0.96 * watts + rng.normal(0, 3, watts.size))
            for watts in (rng.permutation(ride.reshape(60, 60)).ravel() for _ in range(3))]
    found = find_correction(days)
    assert (found.stable, found.because[-1].kind) == (True, "correction_spread")
    alike = unless_one_ride(found, (Note(kind="sessions_alike", values={"sessions": "1 and 2"}),))
    assert (alike.stable, alike.because[-1].kind, np.isnan(alike.harm)) == (None, "correction_one_ride", True)
    assert alike.action == "scale"
    assert unless_one_ride(found, (Note(kind="sessions_undated", values={}),)) is found


def test_wrong_above_a_kink(rng, ride):
    blocks = np.minimum(ride, 300)
    check = checked(rng, blocks, np.where(blocks > 220, 0.9 * blocks, blocks))
    assert (check.verdict, check.correction.action) == ("does not hold", "refused")


@pytest.mark.parametrize(("scale", "offset", "action"), [
    (0.96, 0, "scale"), (1, 9, "offset"), (0.95, 12, "scale and offset")])
def test_a_straight_line_is_entered(rng, ride, scale, offset, action):
    check = checked(rng, ride, scale * ride + offset)
    assert check.correction.action == action


def test_a_slight_bend_that_a_line_brings_inside_the_claim_is_corrected(rng):
    """An error of 6 % at 300 W and 0.5 % at 100 W, bent a little: after the line every band holds."""
    watts = np.repeat(rng.uniform(100, 300, 60), 60)
    check = checked(rng, watts, watts * (1 + 0.06 * ((watts - 60) / 240) ** 1.2))
    assert any(item.cause == "bend" for item in check.findings)
    assert check.correction.after.verdicts["bands"] == "holds"
    assert check.correction.action == "scale and offset"
    assert "clearly the lowest error" in note_text(check.correction.reason)


@pytest.mark.parametrize(("factor", "words"), [
    (0.5, "the device reads one side and does not double it"),
    (2.0, "the device doubles the reading of one side twice")])
def test_a_wrong_setting_is_named_first_and_no_factor_entered(rng, ride, factor, words):
    watts = np.minimum(ride, 300)
    check = checked(rng, watts, factor * watts)
    assert causes(check)[0].startswith(words)
    assert (check.correction.action, check.correction.reason.kind) == ("refused", "correction_setting")
    assert "set that right first; a factor would hide it" in " ".join(screen(check).split())


@pytest.mark.parametrize(("factor", "unit"), [(1e-3, " (device may be in kW)"), (1 / 735.5, " (device may be in PS)"),
                                              (0.15, ""), (1 / 0.15, "")])
def test_a_column_in_another_unit_is_refused(rng, ride, factor, unit):
    with pytest.raises(InputError) as caught:
        check_claim(Pairs(reference=ride, device=factor * ride), "1.5 %")
    message = str(caught.value)
    assert "times apart, which no device is wrong by" in message
    assert f"is in another unit or is another column{unit}; write the unit into the header of its column" in message


def test_both_in_another_unit(rng, ride):
    with pytest.raises(InputError, match=r"0.2\d+ and 0.2\d+ W on average, which is no power of a rider.*may be in kW"):
        check_claim(Pairs(reference=ride / 1000, device=ride / 1000 * 1.01), "1.5 %")


@pytest.mark.parametrize(("kilowatts", "named"), [(0.031, True), (0.029, False)])
def test_the_least_mean_of_a_rider_in_kilowatts(kilowatts, named):
    """LEAST_KW, 0.03."""
    with pytest.raises(InputError, match="which is no power of a rider") as caught:
        check_claim(Pairs(reference=np.full(60, kilowatts), device=np.full(60, kilowatts)), "1.5 %")
    assert ("may be in kW" in str(caught.value)) is named


@pytest.mark.parametrize(("off", "named"), [(0.049, True), (0.051, False), (-0.049, True), (-0.051, False)])
def test_how_near_a_ratio_is_to_a_unit_that_is_named(ride, off, named):
    """UNIT_NEAR, 0.05 of the logarithm."""
    with pytest.raises(InputError, match="times apart") as caught:
        check_claim(Pairs(reference=ride, device=np.exp(off) / 1000 * ride), "1.5 %")
    assert ("may be in kW" in str(caught.value)) is named


@pytest.mark.parametrize(("factor", "reason"), [(1.251, "correction_setting"), (1.249, "correction_clear")])
def test_how_far_off_a_wrong_setting_explains_it_alone(ride, factor, reason):
    """SETTING_FAR_OFF, 0.25 of the factor to enter."""
    scale = Estimate(value=1 / factor, low=0.7, high=0.9, level=0.95, method="t")
    fix = Correction(scale=scale, kind="scale", stable=None, because=(), offset=None, action="scale",
                     reason=Note(kind="correction_clear"))
    data = table(Pairs(reference=ride, device=ride), 30)
    assert unless_caused_otherwise(fix, [Finding(cause="unit", strength=1.0)], data, None).reason.kind == reason


# MOST_RATIO
@pytest.mark.parametrize(("times", "refused"), [(1.002, True), (0.998, False)])
@pytest.mark.parametrize("side", [1, -1])
def test_how_far_apart_two_powers_may_be(ride, times, refused, side):
    pairs = Pairs(reference=ride, device=(5.0 * times) ** side * ride)
    if refused:
        with pytest.raises(InputError, match="5 times apart"):
            check_claim(pairs, "1.5 %")
    else:
        assert check_claim(pairs, "1.5 %").verdict == "does not hold"


def test_bands_that_were_not_ridden_are_named(rng, ride):
    pairs = Pairs(reference=ride, device=ride * 1.002)
    some = check_claim(pairs, "1.5 %", bands=(10, 40, 400, 700, 900), meaning="bands")
    text = " ".join(screen(some).split())
    assert "10-40, 700-900 W were hardly ridden (under 60 s): the answer does not speak of them." in text
    none = check_claim(pairs, "1.5 %", bands=(10, 40), meaning="bands")
    assert none.next_step.kind == "next_ride_in_bands"
    assert "10-40 W was hardly ridden" in " ".join(screen(none).split())


def test_a_bend_with_every_warning_keeps_to_sixteen_lines(rng, ride):
    """The longest cause, a withheld answer, a lost range and several warnings."""
    watts = np.minimum(ride, 300)
    device = np.where(watts > 220, 0.86 * watts, watts)
    lost = watts > 275
    pairs = Pairs(reference=watts + rng.normal(0, 3, watts.size), device=np.where(lost, 0, device),
                  reason=np.where(lost, "device_dropout", ""), device_name="a device of a long name, 2nd of two",
                  reference_name="the reference of the laboratory")
    check = check_claim(pairs, "1.5 %")
    assert len(screen(check).splitlines()) <= MOST_LINES


@pytest.mark.parametrize("device", ["stuck", "random"])
def test_a_device_that_does_not_move_with_the_reference_gets_no_factor_and_no_cause(rng, ride, device):
    watts = np.minimum(ride, 300)
    read = np.full(watts.size, 260.0) if device == "stuck" else rng.permutation(watts) * 1.3
    check = check_claim(Pairs(reference=watts, device=read), "1.5 %")
    assert (check.correction.action, check.correction.reason.kind) == ("refused", "correction_not_followed")
    assert check.findings == ()
    assert "does not move with the reference" in " ".join(screen(check).split())


# LEAST_FOLLOWED, LEAST_VARIED_SHARE
@pytest.mark.parametrize(("share", "refused"), [(0.26, True), (0.34, False)])
def test_how_much_must_be_followed(ride, share, refused):
    watts = np.minimum(ride, 300)
    noise = np.random.default_rng(5).normal(0, watts.std(), watts.size)
    device = 1.3 * (200 + share * (watts - watts.mean()) + np.sqrt(1 - share**2) * noise)
    assert followed(table(Pairs(reference=watts, device=device), 30)).not_at_all == refused


def test_at_constant_power_nothing_need_follow(rng):
    check = checked(rng, np.full(3600, 200.0), np.full(3600, 210.0))
    assert check.correction.reason.kind != "correction_not_followed"


@pytest.mark.parametrize(("sd", "asked"), [(19.0, False), (21.0, True)])
def test_the_variation_from_which_on_a_device_must_follow(sd, asked):
    noise = np.random.default_rng(6).normal(size=3600)
    watts = 200 + sd * (noise - noise.mean()) / noise.std()
    pairs = Pairs(reference=watts, device=np.random.default_rng(7).permutation(watts))
    assert followed(table(pairs, 30)).not_at_all == asked


def test_shuffled_readings_do_not_hold_for_being_right_in_the_mean(rng, ride):
    watts = np.minimum(ride, 300)
    check = check_claim(Pairs(reference=watts, device=rng.permutation(watts)), "30 %")
    assert check.verdict == "not settled"
    assert "used_not_followed" in {getattr(note, "kind", "") for note in check.notes}
