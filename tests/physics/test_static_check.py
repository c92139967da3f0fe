"""The static torque check: check values, coverage by simulation, and slips that are named."""

import json

import numpy as np
import pytest
from scipy import stats

from agree import InputError, SampleSizeError
from agree.physics.gravity import local_gravity
from agree.physics.static_check import static_check
from agree.physics.static_fit import checked_hangs
from agree.physics.static_line import line_of
from agree.physics.torque import HungMass, length_mm
from agree.report.texts.static_text import static_text

HANG = HungMass(crank_length_mm=172.5)
MASSES = np.array([0.0, 5, 10, 15, 20, 25])


def test_torque_of_a_mass():
    """20 kg on 172.5 mm and 10 kg on 170 mm at 9.80665 m/s2: m g L by hand."""
    assert round(float(HANG.torque(20.0)), 2) == 33.83
    assert round(float(HungMass(crank_length_mm=170).torque(10.0)), 2) == 16.67
    # 1 - cos of 2, 2.56, 5 and 10 degrees in per cent, by hand
    for angle, loss in ((2, 0.06), (2.56, 0.10), (5, 0.38), (10, 1.52)):
        assert 100 * (1 - float(HANG.torque(20.0, angle)) / float(HANG.torque(20.0))) == pytest.approx(loss, abs=0.005)


def test_gravity():
    """Normal gravity at the equator, 45 degrees and the poles as printed for WGS 84 (9.7803253359, 9.8061977694,
    9.8321849379 m/s2; NIMA TR8350.2, from memory)."""
    for latitude, printed in ((0, 9.7803253359), (45, 9.8061977694), (-90, 9.8321849379)):
        assert local_gravity(latitude) == pytest.approx(printed, abs=2e-9)
    assert local_gravity(45) - local_gravity(45, 1000) == pytest.approx(0.003086, abs=2e-6)  # 0.3086 mGal a metre
    with pytest.raises(InputError, match="latitude_deg"):
        local_gravity(91)


def test_an_exact_line_is_found_whole():
    torque = HANG.torque(MASSES) * (1 - HANG.mean_loss())
    check = static_check(MASSES, 0.3 + 0.97 * torque, hang=HANG, claim="1.5%")
    assert check.scale.value == pytest.approx(0.97)
    assert check.offset_Nm.value == pytest.approx(0.3)
    assert check.factor.value == pytest.approx(1 / 0.97)
    assert check.verdict == "not settled"  # -3 % of scale and +0.3 N m: -1.6 % on average, +-0.3 %
    assert [level.verdict for level in check.levels][-1] == "does not hold"
    assert check.error_percent.value == pytest.approx(100 * (0.3 * 6 - 0.03 * torque.sum()) / torque.sum())
    json.dumps(check.to_dict(), allow_nan=False)
    assert len(check.summary().splitlines()) <= 16
    assert check.summary().startswith("NOT SETTLED")


@pytest.mark.parametrize(("masses", "u"), [((0.0, 10, 20), {}), ((0.0, 5, 10, 15, 20), {"u_mass_kg": 0.05}),
                                           ((0.0, 3, 6, 10, 14, 18, 22, 25), {"u_angle_deg": 3.0, "u_mass_kg": 0.02})])
def test_intervals_cover(masses, u):
    """150 checks, up and down with hysteresis (more in benchmarks/static.py): standard error of 95 % is 1.8 points."""
    rng = np.random.default_rng(8)
    hang = HungMass(crank_length_mm=172.5, **u)
    mass, way = np.repeat(masses, 2), np.tile(["up", "down"], len(masses))
    scale, offset, lost = 0.98, 0.2, 0.1
    found = np.zeros(4)
    runs = 150
    for _ in range(runs):
        own = np.repeat(rng.normal(0, hang.u_mass_kg, len(masses)), 2) * (mass > 0)
        arm = 0.1725 + rng.normal(0, hang.u_length_mm) / 1000
        gravity = 9.80665 + rng.normal(0, hang.u_gravity)
        weighed = 1 + rng.normal(0, hang.u_mass_percent) / 100
        angle = np.radians(rng.normal(0, hang.u_angle_deg, mass.size))
        true = (mass * weighed + own) * gravity * arm * np.cos(angle)
        reading = np.round(offset + scale * true + lost * (way == "down") + rng.normal(0, 0.05, mass.size), 2)
        check = static_check(mass, reading, hang=hang, direction=way)
        plain = HANG.torque(mass)
        truth = (scale, offset + lost / 2, lost, 100 * ((offset + lost / 2) / plain.mean() + scale - 1))
        found += [item.low <= value <= item.high for item, value in zip(
            (check.scale, check.offset_Nm, check.hysteresis_Nm, check.error_percent), truth, strict=True)]
    assert (found / runs >= 0.95 - 2 * 0.018).all(), found / runs


def test_sides_are_told_apart():
    torque = HANG.torque(MASSES)
    readings = np.r_[0.97 * torque, 1.01 * torque] + np.tile([0.01, -0.01], 6)
    check = static_check(np.tile(MASSES, 2), readings, hang=HANG, side=["left"] * 6 + ["right"] * 6)
    assert [item.side for item in check.sides] == ["left", "right"]
    assert check.side_difference_percent.value == pytest.approx(100 * (1.01 / 0.97 - 1), abs=0.1)
    assert check.side_difference_percent.low > 3.5
    assert check.scale.value == pytest.approx(0.99, abs=0.001)
    # the length is shared: it widens each side's scale, not their difference
    long = static_check(np.tile(MASSES, 2), readings, hang=HungMass(crank_length_mm=172.5, u_length_mm=5.0),
                        side=["left"] * 6 + ["right"] * 6)
    assert long.side_difference_percent.high == pytest.approx(check.side_difference_percent.high)
    assert long.scale.high - long.scale.low > 5 * (check.scale.high - check.scale.low)


@pytest.mark.parametrize(("factor", "slip"), [
    (-1, "sign"), (0.5, "one side is not counted"), (2.02, "one side is counted twice"),
    (1 / 9.80665, "reading in kgf m"), (0.7376, "reading in lbf ft"), (100, "reading in N cm"),
    (0.4536, "mass in lb")])
def test_slips_are_named(factor, slip):
    """A slip in writing leaves the answer open: a device is not called wrong for it."""
    check = static_check(MASSES, factor * HANG.torque(MASSES), hang=HANG, claim="1.5%")
    assert [note.values["slip"] for note in check.hints] == [slip]
    assert (check.verdict, check.entered) == ("not settled", None)
    assert "nothing before that is cleared" in check.summary()
    plain = static_check(MASSES, 0.96 * HANG.torque(MASSES), hang=HANG, claim="1.5%")
    assert not plain.hints
    assert plain.verdict == "does not hold"


def noisy(factors=1.0, masses=MASSES):
    rng = np.random.default_rng(4)
    return np.round(factors * (0.99 * HANG.torque(masses) + rng.normal(0, 0.05, masses.size)), 3)


@pytest.mark.parametrize(("factors", "hangs", "slip"), [
    ((1, 1, 1, 1, -1, 1), [5], "sign"), ((1, 1, -1, 1, -1, 1), [3, 5], "sign"), ((1, -1, 1, 1, 1, 1), [2], "sign"),
    ((1, 1, 1, 10, 1, 1), [4], "decimal"), ((1, 1, 0.1, 1, 1, 1), [3], "decimal")])
def test_single_hangs_written_wrongly_are_named(factors, hangs, slip):
    check = static_check(MASSES, noisy(np.array(factors)), hang=HANG, claim="1.5%")
    assert [(note.values["hang"], note.values["slip"]) for note in check.hints] == [(k, slip) for k in hangs]
    assert check.verdict == "not settled"
    text = check.summary()
    assert f"hang {hangs[0]} (" in text
    assert len(text.splitlines()) <= 20
    mended = check.reading_Nm.copy()
    for note in check.hints:
        mended[int(note.values["hang"]) - 1] = note.values["meant_Nm"]
    assert static_check(MASSES, mended, hang=HANG, claim="1.5%").verdict == "holds"


def test_no_slip_is_named_where_none_is():
    rng = np.random.default_rng(7)
    for _ in range(60):
        reading = rng.normal(0, 0.3) + rng.uniform(0.95, 1.05) * HANG.torque(MASSES) + rng.normal(0, 0.3, MASSES.size)
        check = static_check(MASSES, np.round(reading, 1), hang=HANG)
        assert not [note for note in check.hints if note.values["written_wrongly"]]


def test_a_side_with_the_opposite_sign_is_named():
    reading = np.r_[noisy(), -noisy()]
    check = static_check(np.tile(MASSES, 2), reading, hang=HANG, side=["L"] * 6 + ["R"] * 6, claim="1.5%")
    assert [(note.values["side"], note.values["slip"]) for note in check.hints] == [("right", "sign")]
    assert check.verdict == "not settled"


# STATIC_NO_RESPONSE
@pytest.mark.parametrize(("scale", "named"), [(0.00045, True), (0.00055, False)])
def test_a_device_that_senses_nothing_is_not_called_wrong(scale, named):
    check = static_check(MASSES, 5 + scale * HANG.torque(MASSES), hang=HANG, claim="1.5%")
    assert ([note.kind for note in check.hints] == ["static_no_response"]) is named
    if named:
        assert (check.verdict, check.entered) == ("not settled", None)
        assert "do not follow the masses" in check.summary().replace("\n              ", " ")
        assert "contains 1" not in check.summary()


def test_a_side_that_is_not_sensed_is_named():
    both = static_check(np.tile(MASSES, 2), np.r_[noisy(), np.zeros(6)], hang=HANG, side=["left"] * 6 + ["right"] * 6)
    assert [(note.kind, note.values["side"]) for note in both.hints] == [("static_no_response", "right")]


@pytest.mark.parametrize(("sides", "text"), [
    (["left"] * 5 + ["right"], "side 'right' has 1 hangs with 1 masses; at least 3 hangs with 2 masses are needed on"),
    (["left"] * 4 + ["right"] * 2, "side 'right' has 2 hangs with 2 masses; at least 3 hangs with 2 masses are")])
def test_a_side_needs_three_hangs(sides, text):
    with pytest.raises(SampleSizeError) as caught:
        static_check(MASSES, MASSES, hang=HANG, side=sides)
    assert str(caught.value).startswith(text)


@pytest.mark.parametrize(("real", "named"), [(170.0, [170.0]), (172.4, [])])
def test_a_crank_length_set_in_the_device_is_named_if_no_other_fits(real, named):
    reading = np.round(HANG.torque(MASSES) * real / 172.5, 2)
    check = static_check(MASSES, reading, hang=HANG, claim="1%")
    assert [note.values["length_mm"] for note in check.hints if note.kind == "static_length"] == named
    assert check.verdict == ("does not hold" if named else "holds")  # a setting is an error of the device as it stands


@pytest.mark.parametrize(("scale", "step", "entered"), [
    (0.97, 0.01, 1.0309), (0.97, 0.5, 1.03), (0.97, 1.0, 1.03), (0.9985, 0.01, None), (0.994, 5.0, None)])
def test_a_factor_is_entered_only_where_1_does_not_fit(scale, step, entered):
    """1 / 0.97 = 1.0309; 1 / 0.9985 lies within the length's uncertainty of 1; 5 % steps are too coarse for 0.6 %."""
    check = static_check(MASSES, np.round(scale * HANG.torque(MASSES), 2), hang=HANG, step=step)
    assert check.entered == (None if entered is None else pytest.approx(entered, abs=2e-4))
    if entered is None:
        assert "multiply" not in check.summary()
    if scale == 0.9985:
        assert "nothing but the zero" in check.summary().replace("\n              ", " ")


@pytest.mark.parametrize("sign", [-1, 1])
def test_the_factor_is_entered_from_where_its_interval_leaves_1_out(sign):
    half = static_check(MASSES, np.round(HANG.torque(MASSES), 2), hang=HANG).factor
    room = (half.high - half.low) / 2
    found = [static_check(MASSES, HANG.torque(MASSES) * (1 + sign * share * room), hang=HANG).entered
             for share in (0.9, 1.2)]
    assert found[0] is None
    assert found[1] == pytest.approx(1 - sign * 1.2 * room, abs=2e-3)


@pytest.mark.parametrize(("call", "text"), [
    (lambda: static_check(1000 * MASSES, MASSES, hang=HANG),
     "`mass_kg` must be at most 60 kg; got 25000; in grams? 25000 g are 25 kg"),
    (lambda: static_check(-MASSES, MASSES, hang=HANG),
     "`mass_kg` must be 0 or more; got -25: the sign of a torque belongs to the reading"),
    (lambda: HungMass(crank_length_mm=17.25),
     "`crank_length_mm` must lie between 80 and 220 mm; got 17.25; did you mean 172.5 mm?"),
    (lambda: HungMass(crank_length_mm=0.17),
     "`crank_length_mm` must lie between 80 and 220 mm; got 0.17; did you mean 170 mm?"),
    (lambda: static_check(MASSES, MASSES, hang=HANG, direction=["up"] * 5 + ["sideways"]),
     "`direction` must be 'up' or 'down' for each hang; got ['sideways']"),
    (lambda: static_check(MASSES, MASSES, hang=HANG, claim="2 W"),
     "claim '±2 W': a static check is judged on torque; write the claim in % or N m"),
    (lambda: static_check(MASSES, MASSES, hang=HANG, side=["left", "left", "rigth", "right", "right", "left"]),
     "`side` must hold one or two sides; got 'left', 'rigth', 'right': write each side in one way"),
    (lambda: static_check(MASSES, MASSES, hang=HANG, side=["left", "left", "", "right", "right", "left"]),
     "`side` must be given for each hang or for none; hang 3 has none"),
    (lambda: static_check(MASSES, MASSES, hang=HANG, step=6.0),
     "`step` must be the step of the factor in per cent, at most 5; got 6"),
    (lambda: length_mm("long"), "crank length 'long' is not understood; write it like '172.5 mm'"),
])
def test_errors_say_what_to_do(call, text):
    with pytest.raises(InputError) as caught:
        call()
    assert str(caught.value) == text


def test_too_few_masses():
    with pytest.raises(SampleSizeError, match=r"^a static check needs at least 3 different masses"):
        static_check([10, 10, 20, 20], [16, 16, 33, 33], hang=HANG)


# STATIC_NEAR
@pytest.mark.parametrize(("factor", "named"), [(1.943, True), (1.937, False), (2.057, True), (2.063, False)])
def test_a_slip_explains_a_scale_within_3_percent_of_it(factor, named):
    check = static_check(MASSES, factor * HANG.torque(MASSES), hang=HANG)
    assert bool([note for note in check.hints if note.kind == "static_slip"]) is named


# STATIC_NEAR_SMALL
@pytest.mark.parametrize(("u_length", "named"), [(0.40, True), (0.43, False)])
def test_gravity_of_10_is_named_only_where_the_interval_is_narrow(u_length, named):
    """Ten times 0.001 is the widest: that of 0.40 mm in 172.5 and of the rest is 0.96 %, of 0.43 mm 1.02 %."""
    hang = HungMass(crank_length_mm=172.5, u_length_mm=u_length)
    check = static_check(MASSES, 10 / 9.80665 * HANG.torque(MASSES), hang=hang)
    assert ("g taken as 10 m/s2" in [note.values.get("slip") for note in check.hints]) is named


# STATIC_SLIP_SD
@pytest.mark.parametrize(("off", "named"), [(3.9, True), (4.1, False)])
def test_a_turned_reading_must_lie_on_the_line_of_the_others(off, named):
    """Readings scatter by SD 1 by hand: a reading turned round lies on the others' line up to 4 of their SDs."""
    masses = np.array([0.0, 4, 8, 12, 16, 20, 24, 28])
    reading = HANG.torque(masses) + np.array([1.0, -1, 1, -1, 1, -1, 1, -1])
    design = np.column_stack([np.ones(7), HANG.torque(np.delete(masses, 4))])
    rest = np.delete(reading, 4)
    line = np.linalg.lstsq(design, rest, rcond=None)[0]
    sd = np.sqrt(((rest - design @ line) ** 2).sum() / 5)
    meant = line[0] + line[1] * HANG.torque(masses[4])
    reading[4] = 10 * (meant + off * sd)  # its decimal point moved, and so far off the line
    check = static_check(masses, np.round(reading, 3), hang=HANG)
    assert [note.values["hang"] for note in check.hints if note.kind == "static_hang_slip"] == [5] * named


# STATIC_MISFIT_P
@pytest.mark.parametrize("beyond", [False, True])
def test_scatter_beyond_repeats_and_stated_masses_widens_the_interval(beyond):
    """F test at 5 %: the scatter about the line is put just within and just beyond it by one bent mass."""
    mass = np.repeat(MASSES, 2)
    base = HANG.torque(mass) * (1 - HANG.mean_loss()) + np.tile([0.05, -0.05], 6)

    def ratio(bend):
        data = checked_hangs(mass, base + bend * (mass == 15), HANG, 0.0, None, None)
        line = line_of(data)
        own = np.where(data.mass > 0, HANG.own_u(data.mass, data.angle)[0], 0.0)
        return line.fit.sd / np.hypot(line.fit.repeat_sd, np.sqrt((own**2).mean())), line.fit

    low, high = 0.0, 2.0
    limit = np.sqrt(stats.f.ppf(0.95, ratio(0.0)[1].df, ratio(0.0)[1].repeat_df))
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if ratio(middle)[0] < limit else (low, middle)
    bend = 1.01 * high if beyond else 0.99 * low
    check = static_check(mass, base + bend * (mass == 15), hang=HANG)
    fit = ratio(bend)[1]
    assert fit.df > fit.repeat_df
    assert check.scale.df == (fit.df if beyond else fit.repeat_df)  # the interval that counts


def two_sides(left, right, claim="1.5%", **more):
    reading = np.r_[left * HANG.torque(MASSES), right * HANG.torque(MASSES)] + np.tile([0.01, -0.01], 6)
    return static_check(np.tile(MASSES, 2), np.round(reading, 2), hang=HANG, side=["L"] * 6 + ["R"] * 6, claim=claim,
                        **more)


def test_sides_that_cancel_do_not_hold():
    """+3 % and -3 %: the mean holds, no side does, no single factor mends it, and the first lines say so."""
    check = two_sides(1.03, 0.97)
    assert (check.verdict, check.mean_verdict) == ("does not hold", "holds")
    assert {item.side: item.verdict for item in check.sides} == {"left": "does not hold", "right": "does not hold"}
    assert [round(item.error_percent.value, 1) for item in check.sides] == [3.0, -3.0]
    assert (check.entered, check.one_factor) == (None, False)
    text = " ".join(check.summary().split())
    assert text.startswith("DOES NOT HOLD")
    assert "Left +3.0 % (" in text
    assert "only because the sides cancel" in text
    assert "no single factor sets both sides" in text
    assert two_sides(1.03, 0.97, claim=None).entered is None
    # one side within, the other just open: not settled
    assert [two_sides(1.0, right).verdict for right in (1.001, 1.014, 1.03)] == [
        "holds", "not settled", "does not hold"]


def test_a_side_is_judged_at_a_level_for_both_at_once():
    plain, check = static_check(MASSES, 0.99 * HANG.torque(MASSES), hang=HANG, claim="1.5%"), two_sides(0.99, 0.99)
    assert check.sides[0].error_percent.level == pytest.approx(0.95**0.5)
    assert plain.sides == ()
    one = static_check(MASSES, 0.99 * HANG.torque(MASSES), hang=HANG, claim="1.5%", side=["left"] * 6)
    assert one.sides[0].error_percent.to_dict() == one.error_percent.to_dict()
    assert "left side alone)" in one.summary()


# STATIC_SIDES_OF_CLAIM, STATIC_SIDES_USUAL
@pytest.mark.parametrize(("apart", "one"), [(0.0145, True), (0.0156, False)])
def test_one_factor_for_both_sides(apart, one):
    """Half the difference of the sides against half the claim."""
    for claim in ("1.5%", None):
        assert two_sides(0.96, 0.96 * (1 + apart), claim=claim).one_factor is one


def test_errors_by_mass_are_those_of_the_readings():
    """A bend that a straight line hides: at the middle the device reads 3 % high, at the ends it is right."""
    torque = HANG.torque(MASSES) * (1 - HANG.mean_loss())
    reading = torque * (1 + 0.03 * np.array([0, 0, 1, 1, 0, 0]))
    check = static_check(MASSES, reading, hang=HANG, claim="1.5%")
    assert [round(item.error_percent.value, 6) for item in check.levels] == [0, 3, 3, 0, 0]
    assert check.residual_Nm == pytest.approx(reading - np.polyval(np.polyfit(torque, reading, 1), torque))


def bowed(scale=165 / 172.5, bow=0.4):
    torque = HANG.torque(MASSES)
    return scale * torque + bow * (1 - (2 * torque / torque.max() - 1) ** 2)


def test_no_setting_is_named_where_the_readings_are_bent():
    """A crank length scales all readings alike; beside "not straight" it is no explanation."""
    straight = static_check(MASSES, bowed(bow=0.0), hang=HANG)
    assert [note.kind for note in straight.hints] == ["static_length"]
    bent = static_check(np.tile(MASSES, 2), np.r_[bowed(), bowed()] + np.tile([0.02, -0.02], 6), hang=HANG)
    assert bent.curvature_Nm.low > 0
    assert not bent.hints
    assert "Not straight" in bent.summary()
    assert "crank length of" not in bent.summary()


def test_readings_under_one_mass_are_no_wider_for_a_bend():
    """The bend is no scatter: repeats of 0.02 N m give the middle to better than 1 %."""
    reading = np.r_[bowed(1.0), bowed(1.0)] + np.tile([0.02, -0.02], 6)
    check = static_check(np.tile(MASSES, 2), reading, hang=HANG, claim="1.5%")
    middle = check.levels[2].error_percent
    assert middle.high - middle.low < 2


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_the_screen_is_short_and_as_wide_as_the_terminal(width):
    way = ["up"] * 6 + ["down"] * 6
    checks = [two_sides(1.03, 0.97), two_sides(1.03, -0.97), two_sides(1.03, 0.97, direction=way)]
    many = np.linspace(0, 25, 9)
    checks.append(static_check(np.tile(many, 2), np.r_[0.97 * HANG.torque(many), HANG.torque(many)], hang=HANG,
                               side=["left"] * 9 + ["right"] * 9, direction=["up", "down"] * 9, claim="1.5%"))
    for check in checks:
        lines = static_text(check, width=width).splitlines()
        assert max(map(len, lines)) <= min(width, 100)
        assert len(static_text(check, width=max(width, 80)).splitlines()) <= 16
        whole = static_text(check, width=width, details=True)
        assert "--details" not in whole
        assert all(f"{item.torque_Nm:.3g} N m" in " ".join(whole.split()) for item in check.levels)
