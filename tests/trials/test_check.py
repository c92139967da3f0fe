"""The check of trials: one verdict whatever the unit, the order or the names; refusals; what it rests on."""

import numpy as np
import pytest

from agree import InputError, check_trials, pair_trials
from agree.trials.meanings import MEANINGS


def table(seed=1, subjects=12, each=3, between=0.5, within=0.5, bias=0.2, level=(38, 6)):
    """Jumps in cm."""
    rng = np.random.default_rng(seed)
    subject = np.repeat(np.arange(subjects), each)
    x = np.repeat(rng.normal(*level, subjects), each) + rng.normal(0, 1, subject.size)
    y = x + bias + np.repeat(rng.normal(0, between, subjects), each) + rng.normal(0, within, subject.size)
    return {"subject": [f"s{k}" for k in subject], "trial": list(np.tile(np.arange(each), subjects)),
            "x_cm": x, "y_cm": y}


def checked(data, claim, names=("x_cm", "y_cm"), **options):
    return check_trials(pair_trials(data, reference_column=names[0], device_column=names[1]), claim, **options)


def answers(check):
    return [item.verdict for item in check.meanings]


def relative(check):
    return [[item.estimate.low / item.limit, item.estimate.high / item.limit] for item in check.meanings]


@pytest.mark.parametrize(("unit", "factor"), [("m", 0.01), ("in", 1 / 2.54), ("mm", 10.0)])
@pytest.mark.parametrize("claim", ["2 cm", "5 %", "4 % or 1 cm", "1.5 cm above 35 cm"])
def test_units_change_no_verdict(unit, factor, claim):
    data = table()
    other = {"subject": data["subject"], "trial": data["trial"],
             f"x_{unit}": data["x_cm"] * factor, f"y_{unit}": data["y_cm"] * factor}
    one, two = checked(data, claim), checked(other, claim, (f"x_{unit}", f"y_{unit}"))
    assert answers(one) == answers(two)
    assert np.allclose(relative(one), relative(two), rtol=1e-6)


def test_celsius_fahrenheit_kelvin_give_one_verdict():
    data = table(level=(37.5, 0.5), between=0.1, within=0.1, bias=0.1)
    found = []
    for unit, turn in (("°C", lambda v: v), ("°F", lambda v: v * 1.8 + 32), ("K", lambda v: v + 273.15)):
        own = {"subject": data["subject"], "trial": data["trial"], f"x [{unit}]": turn(data["x_cm"]),
               f"y [{unit}]": turn(data["y_cm"])}
        found.append(checked(own, "0.3 °C", (f"x [{unit}]", f"y [{unit}]")))
    assert answers(found[0]) == answers(found[1]) == answers(found[2])
    assert np.allclose(relative(found[0]), relative(found[1]), rtol=1e-6)
    assert np.allclose(relative(found[0]), relative(found[2]), rtol=1e-6)


def test_a_device_in_another_unit_than_the_reference():
    data = table()
    mixed = {"subject": data["subject"], "trial": data["trial"], "x_cm": data["x_cm"], "y_in": data["y_cm"] / 2.54}
    assert checked(mixed, "2 cm", ("x_cm", "y_in")).bias.value == pytest.approx(checked(data, "2 cm").bias.value)


def test_pace_is_judged_as_speed():
    rng = np.random.default_rng(1)
    speed = np.repeat(rng.normal(4, 0.5, 10), 3) + rng.normal(0, 0.05, 30)
    read = speed * (1.01 + rng.normal(0, 0.005, 30))
    keys = {"subject": [str(k // 3) for k in range(30)], "trial": list(range(30))}
    one = checked(keys | {"a [m/s]": speed, "b [m/s]": read}, "2 %", ("a [m/s]", "b [m/s]"))
    two = checked(keys | {"pace a [min/km]": 1000 / 60 / speed, "pace b [min/km]": 1000 / 60 / read}, "2 %",
                  ("pace a [min/km]", "pace b [min/km]"))
    assert two.trials.quantity.name == "pace"
    assert two.bias.value == pytest.approx(one.bias.value)


def test_order_and_names_do_not_matter():
    data = table()
    order = np.random.default_rng(2).permutation(len(data["subject"]))
    mixed = {name: [values[k] for k in order] for name, values in data.items()}
    mixed["subject"] = [f"athlete {99 - int(name[1:])}" for name in mixed["subject"]]
    one, two = checked(data, "2 cm"), checked(mixed, "2 cm")
    assert answers(one) == answers(two)
    assert np.allclose(relative(one), relative(two), rtol=1e-9)


@pytest.mark.parametrize("each", [1, 3])
def test_every_trial_doubled_makes_nothing_narrower(each):
    data = table(each=each)
    doubled = {name: list(values) * 2 for name, values in data.items()}
    doubled["trial"] = [f"{trial}{copy}" for copy in "ab" for trial in data["trial"]]
    one, two = checked(data, "2 cm"), checked(doubled, "2 cm")
    for first, second in zip(one.meanings, two.meanings, strict=True):
        assert second.estimate.high - second.estimate.low >= (first.estimate.high - first.estimate.low) * (1 - 1e-9)
    for name in ("bias", "sd", "lower", "upper"):
        first, second = getattr(one, name), getattr(two, name)
        assert second.high - second.low >= (first.high - first.low) * (1 - 1e-9)


def test_five_trials_of_each_are_not_five_times_as_many_subjects():
    # With all the variance between subjects, trials add nothing.
    few, many = (checked(table(each=m, within=1e-9), "2 cm") for m in (1, 5))
    width = [item.bias.high - item.bias.low for item in (few, many)]
    assert width[1] > 0.5 * width[0]
    assert many.of("readings").ground.values["effective"] == pytest.approx(12, abs=0.01)


@pytest.mark.parametrize(("claim", "options", "message"), [
    ("5 bpm", {}, "claim '5 bpm': column 'y_cm' is in cm; write the claim in cm or %"),
    ("2 cm", {"meaning": "all"}, "`meaning` must be one of 'average', 'levels', 'readings', 'next_subject', "
     "'mean_absolute'; got 'all'"),
    ("2 cm", {"mean_of": 0}, "`mean_of` must be a whole number of trials, 1 or more; got 0"),
    ("2 cm", {"assume": "x"}, "`assume` must be one of 'nothing', 'normal'; got 'x'"),
    ("2 cm", {"reference_uncertainty": "1 kg"}, "`reference_uncertainty` '1 kg': readings are in cm; write it in cm"),
    ("2 cm above 2 m", {}, "`claim` ±2 cm above 2 m: at least 2 subjects must reach that level; got 0"),
])
def test_refusals(claim, options, message):
    with pytest.raises(InputError) as caught:
        checked(table(), claim, **options)
    assert str(caught.value) == message


def test_per_cent_of_zero_is_refused_with_the_way_out():
    data = table()
    data["x_cm"][4] = 0.0
    with pytest.raises(InputError) as caught:
        checked(data, "5 %")
    assert str(caught.value) == (
        "`claim` ±5 %: 1 of 36 trials have a reference of 0, first of subject s1, of which per cent means nothing; "
        "write the claim in cm, or with a least limit, like '5 % or 1 cm'")
    assert checked(data, "5 % or 1 cm").unit == "% of the limit"


def test_per_cent_of_temperature_is_refused():
    data = {name.replace("_cm", " core temperature [°C]"): v for name, v in table(level=(37.5, 0.5)).items()}
    with pytest.raises(InputError) as caught:
        checked(data, "1 %", ("x core temperature [°C]", "y core temperature [°C]"))
    assert str(caught.value) == ("claim '1 %': core temperature has no natural zero, so per cent of it means nothing; "
                                 "write it in °C, like '0.3 °C'")


def test_the_reference_uncertainty_widens_and_never_narrows():
    plain, known = checked(table(), "2 cm"), checked(table(), "2 cm", reference_uncertainty="±1 cm")
    assert known.reference_u == pytest.approx(1 / 3**0.5)
    for one, two in zip(plain.meanings, known.meanings, strict=True):
        assert two.estimate.low <= one.estimate.low
        assert two.estimate.high >= one.estimate.high
    percent = checked(table(), "2 cm", reference_uncertainty="1 % k=2")
    assert percent.reference_u == pytest.approx(0.005 * np.median(table()["x_cm"]))


def test_readings_are_counted_and_normal_theory_stands_beside():
    # 36 trials within, SD a third of the limit: too few to count, settled if errors are normal.
    data = table(between=0.35, within=0.35, bias=0.0)
    check = checked(data, "2 cm", meaning="readings")
    assert (check.verdict, check.of("readings").ground.values["normal"]) == ("not settled", "holds")
    assert check.of("readings").assumes == ("any_shape",)
    asked = checked(data, "2 cm", meaning="readings", assume="normal")
    assert (asked.verdict, asked.of("readings").assumes) == ("holds", ("errors_normal",))
    tiny = checked(table(between=0.1, within=0.1, bias=0.0), "2 cm", meaning="readings")
    assert (tiny.verdict, tiny.of("readings").assumes) == ("holds", ("shape_margin",))


def test_next_subject_of_three_trials_is_tighter_than_of_one():
    data = table(subjects=20, between=0.1, within=0.6)
    one, three = (checked(data, "2 cm", meaning="next_subject", mean_of=m, assume="normal") for m in (1, 3))
    assert three.of("next_subject").estimate.low > one.of("next_subject").estimate.low
    single = checked(table(each=1), "2 cm", mean_of=3)
    assert single.of("next_subject").estimate is None


def test_unpaired_adds_both_scatters():
    rng = np.random.default_rng(7)
    truth = np.repeat(rng.normal(40, 5, 40), 4)
    first = {"subject": [str(k // 4) for k in range(160)], "x_cm": truth + rng.normal(0, 1, 160)}
    second = {"subject": first["subject"], "y_cm": truth + rng.normal(0, 2, 160)}
    check = check_trials(pair_trials(first, second, by="subject", unpaired=True), "2 cm")
    assert check.sd.low < 5**0.5 < check.sd.high  # sqrt(1 + 4)
    assert "constant_truth" in check.answer.assumes
    # 63 % of normal errors of that SD are within 2 cm; a margin for skew leaves it open.
    assert check.of("readings").verdict == "not settled"
    asked = check_trials(check.trials, "2 cm", assume="normal")
    assert asked.of("readings").verdict == "does not hold"


def test_notes_of_what_to_distrust():
    rng = np.random.default_rng(8)
    data = table(subjects=40)
    skewed = dict(data, y_cm=data["x_cm"] + np.repeat(np.exp(rng.normal(0, 1, 40)), 3))
    assert "trials_skewed" in [note.kind for note in checked(skewed, "2 cm").notes]
    level = np.repeat(np.linspace(10, 80, 40), 3)
    grows = dict(data, x_cm=level, y_cm=level * (1 + 0.05 * rng.normal(size=120)))
    assert "trials_spread_grows" in [note.kind for note in checked(grows, "2 cm").notes]
    assert "trials_few_subjects" in [note.kind for note in checked(table(subjects=7), "2 cm").notes]
    assert "trials_few_subjects" not in [note.kind for note in checked(table(subjects=8), "2 cm").notes]
    # Jumps that differ by 10 % are no noise where both methods saw them differ; where one did, it is that one's.
    alike = table(level=(10, 1))
    assert "trials_noisy_reference" not in [note.kind for note in checked(alike, "2 %").notes]
    noisy = dict(alike, x_cm=alike["x_cm"] + rng.normal(0, 1, alike["x_cm"].size))
    assert "trials_noisy_reference" in [note.kind for note in checked(noisy, "2 %").notes]


@pytest.mark.parametrize("meaning", MEANINGS)
@pytest.mark.parametrize("claim", ["2 cm", "0.1 cm", "5 %", "4 % or 1 cm"])
def test_the_text_is_one_screen_and_begins_with_the_answer(meaning, claim):
    data = table()
    data["y_cm"][3] = np.nan
    check = checked(data, claim, meaning=meaning)
    lines = check.summary().splitlines()
    assert len(lines) <= 16
    assert max(map(len, lines)) <= 80
    assert lines[0].startswith(check.verdict.upper())
    assert " W" not in check.summary()


def test_results_print_and_survive():
    check = checked(table(), "2 cm")
    assert repr(check).startswith("TrialsCheck(verdict=")
    assert len(repr(check)) < 3000


def test_unpaired_per_cent_is_that_of_the_readings_in_any_unit():
    rng = np.random.default_rng(4)
    level = np.repeat(np.linspace(20, 60, 24), 3)
    names = np.repeat(np.arange(24), 3)
    tables = [{"subject": names, column: level * (1 + shift + 0.02 * rng.normal(size=72))}
              for column, shift in (("mat", 0.0), ("plate", 0.01))]
    found = []
    for factor in (1.0, 10.0):
        first, second = ({k: v * factor if k != "subject" else v for k, v in one.items()} for one in tables)
        found.append(check_trials(pair_trials(first, second, by="subject", unpaired=True), "5 %"))
    for name in ("average", "readings", "next_subject"):
        item, other = (check.of(name) for check in found)
        assert item.verdict == other.verdict
        assert item.estimate.low == pytest.approx(other.estimate.low, rel=1e-9)
        assert item.estimate.high == pytest.approx(other.estimate.high, rel=1e-9)
