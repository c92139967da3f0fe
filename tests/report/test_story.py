"""The story: the words of every report, in every state, on any terminal."""

import re
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from click.testing import CliRunner

from agree import Estimate, check_claim, pair_recordings
from agree.assessment import beside
from agree.cli.commands import check as command
from agree.core.data.alignment import Alignment, ClockStep
from agree.core.results.note import Note
from agree.core.results.plain import plain_name
from agree.diagnosis.finding import Cause, Finding
from agree.pairing.facts import step_facts
from agree.report.html.document import html_text
from agree.report.notes.sentence import known, note_text
from agree.report.plain_text.details import details
from agree.report.plain_text.lines import wrap
from agree.report.plain_text.screen import MOST_LINES, screen
from agree.report.story.answer import shown_band
from agree.report.story.cause import cause_words
from agree.report.story.caveats import Caveat
from agree.report.story.doubt import main_doubt
from agree.report.story.enter import to_enter
from agree.report.story.language.names import columns, short
from agree.report.story.language.vocabulary import BANNED
from agree.report.story.provenance import Provenance
from agree.report.story.tell import tell
from agree.verdict.sessions import OddSession
from tests.each import each
from tests.report import cases
from tests.report.made import item, made
from tests.rides import effort

ROOT = Path(__file__).parents[2]


def without(verdict):
    """What the answer is without the odd sessions."""
    return Note(kind="without_odd", severity="detail", values={"sessions": "4", "meaning": "average",
                                                              "verdict": verdict})


class Kept(Mapping):
    """Checks by name, each made when it is first asked for: workers that try none of them need none."""

    def __init__(self, makers):
        self.makers, self.made = makers, {}

    def __getitem__(self, name):
        if name not in self.made:
            self.made[name] = self.makers[name]()
        return self.made[name]

    def __iter__(self):
        return iter(self.makers)

    def __len__(self):
        return len(self.makers)


def later(*figures, **fields):
    """What makes a check of stated figures."""
    return partial(made, *figures, **fields)


CASES = Kept({
    "holds": later(-0.04, 0.5), "fails": later(-2.75, 0.59), "open": later(-1.4, 0.6), "exact": later(0.0, 0.2),
    "high": later(2.31, 0.4), "wide": later(3.0, 40.0), "narrow": later(1.44, 0.05), "at the limit": later(1.0, 0.5),
    "near the limit": later(-1.4, 0.0973), "two": later(-0.6, 5.7, sessions=2, errors=(-0.1, -1.0)),
    "four": later(0.0, 0.6, sessions=4, errors=(-0.1, -0.3, 0.4, -0.1)),
    "eight": later(-2.8, 0.65, sessions=8, errors=(-2.7, -3.0, -2.2, -3.4, -2.8, -3.1, -2.3, -3.3)),
    "fourteen": later(-1.0, 0.3, sessions=14, errors=(-1.0,) * 14),
    "bands": later(-2.75, 0.59, meaning="bands"), "readings": later(-0.1, 0.3, meaning="readings"),
    "next": later(-0.1, 0.3, meaning="next_session"),
    "next of four": later(0.0, 0.6, sessions=4, meaning="next_session"),
    "drifting": later(-0.04, 0.5, bias=item(-0.04, 0.5, drift=True)),
    "guarded": later(-0.04, 0.5, decision_rule="guard 2u"), "plainly": later(-0.04, 0.5, decision_rule="plain"),
    "slightly low": later(-0.31, 0.11), "far": later(-12.6, 2.0),
    "three": later(0.8, 0.5, sessions=3, errors=(0.5, 0.9, 1.0)),
    "no limits": later(0.4, float("inf")), "half a per cent": later(0.52, 0.07),
    "no cause": later(-2.75, 0.59, findings=()),
    "odd": later(-1.5, 3.7, sessions=4, errors=(-0.3, -0.6, -0.1, -4.9), odd=(3,), notes=(without("holds"),)),
    "odd and the same": later(-2.6, 0.9, sessions=5, errors=(-2.3, -2.6, -2.1, -2.4, -3.9), odd=(4,),
                             notes=(without("does not hold"),)),
    "two odd": later(-1.5, 3.7, sessions=6, errors=(-0.3, -0.6, -0.1, -4.9, -0.2, 3.1), odd=(3, 5)),
    "long names": later(-2.75, 0.59, sessions=2, device="a very long name of a device with serial and firmware 1.2.3",
                       reference="another long name of a reference that a careful tester wrote down in full"),
    "other scripts": later(-2.75, 0.59, device="Тренажёр в зале", reference="基準の測定器"),
    "thirty": later(-1.0, 0.3, sessions=30, errors=(-1.0,) * 30),
    "between looks": later(-0.04, 0.5, sessions=4, withheld="because_between_looks",
                          notes=(Note(kind="looks_between", severity="answer", values={"sessions": 4}),)),
    "too many faults": later(-0.04, 0.5, withheld="because_faults",
                            notes=(Note(kind="faults_too_many", severity="answer", values={"percent": 25.0}),)),
    **{f"computed {name}": make for name, make in cases.ALL.items()},
})


# Cases whose text rests on stated figures alone; the others are computed, and a computer's last digit may differ.
STATED = [name for name in CASES if not name.startswith("computed")]
DETAILED = ("fails", "odd", "long names", "fourteen")
WIDTHS = (60, 80, 120)


def golden(name, width, kind=""):
    return Path(__file__).with_name("golden") / f"{name.replace(' ', '-')}{kind}-{width}.txt"


def texts(name):
    """Every golden text of a case with the file it stands in."""
    check = CASES[name]
    for width in WIDTHS:
        yield golden(name, width), screen(check, width=width)
        if name in DETAILED:
            yield golden(name, width, "-details"), details(check, tell(check), width=width)


@each("name", STATED)
def test_golden_texts(name):
    for place, shown in texts(name):
        assert place.read_text(encoding="utf-8") == shown + "\n", f"renew by python -m tests.report.test_story: {place}"


def test_there_is_no_other_golden_text():
    kept = {place for name in STATED for place, _ in texts(name)}
    assert kept == set(golden("x", 80).parent.iterdir())
    assert len(STATED) >= 20


@each("name", STATED)
def test_what_is_piped_is_the_same_text(name, monkeypatch):
    monkeypatch.setattr(command, "paired", lambda files, options: [])
    monkeypatch.setattr(command, "checked", lambda pairs, options: CASES[name])
    monkeypatch.setattr(beside, "with_seconds", lambda check: check)
    for columns_asked, more, places in (
            (None, (), [golden(name, 80)]), ("60", (), [golden(name, 60)]), ("120", (), [golden(name, 120)]),
            *(((None, ("--details",), [golden(name, 80), golden(name, 80, "-details")]),) * (name in DETAILED))):
        done = CliRunner(env={"COLUMNS": columns_asked}).invoke(command.check, [
            "a.csv", "b.csv", "--claim", "1.5%", *more])
        assert done.output == "\n".join(place.read_text(encoding="utf-8") for place in places), done.exception


def test_quiet_says_the_answer_and_what_changes_it(monkeypatch):
    monkeypatch.setattr(command, "paired", lambda files, options: [])
    for name, lines in (("holds", 1), ("too many faults", 3), ("odd", 4)):
        monkeypatch.setattr(command, "checked", lambda pairs, options, name=name: CASES[name])
        done = CliRunner().invoke(command.check, ["a.csv", "b.csv", "--claim", "1.5%", "-q"])
        first, *more = done.output.splitlines()
        assert first.startswith(CASES[name].verdict.upper() + "  claim ±1.5 %")
        assert 1 + len(more) == lines
        assert all(line.startswith(("Warning", " " * 14)) for line in more)


def test_one_state_prints_the_ordinary_screen(monkeypatch, tmp_path):
    rides = [cases.ride(80 + k, 600, faults=False, session=str(k + 1)) for k in range(2)]
    monkeypatch.setattr(command, "paired", lambda files, options: rides)
    texts = {}
    for name, states in (("none", ""), ("one", ",new"), ("two", ",new,zeroed")):
        words = states.split(",")[1:]
        rows = [f"a,b{k}{',' + words[min(k, len(words) - 1)] if words else ''}" for k in range(2)]
        place = tmp_path / f"{name}.csv"
        place.write_text("reference,device" + (",state" if words else "") + "\n" + "\n".join(rows), encoding="utf-8")
        texts[name] = CliRunner().invoke(command.check, ["--sessions", str(place), "--claim", "1.5%"]).output
    assert texts["one"] == texts["none"]
    assert "2 sessions" in texts["one"]
    assert "in the state 'zeroed'" in texts["two"]
    assert "Also asked" not in texts["two"]


@each("width", [40, 60, 80, 100, 140])
@each("name", CASES)
def test_the_screen_is_short_and_answers_first(name, width):
    check = CASES[name]
    story = tell(check)
    lines = screen(check, width=width, story=story).splitlines()
    if width >= 80:
        assert len(lines) <= MOST_LINES
    assert max(map(columns, lines)) <= min(width, 100)
    assert max(map(columns, details(check, story, width=width).splitlines())) <= min(width, 100)
    assert lines[0].startswith(check.verdict.upper() + "  ")
    starts = [line.split("  ")[0].split(":")[0] for line in lines]
    for label in ("Main doubt", "Likely cause", "To enter", "To record", "More"):
        assert label in starts
    assert all(line == line.rstrip() for line in lines)


def test_colour_is_behind_the_verdict_alone():
    for name in ("holds", "fails", "open"):
        plain, coloured = (screen(CASES[name], colour=on) for on in (False, True))
        assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain
        first = coloured.splitlines()[0]
        assert re.fullmatch(r"\x1b\[[0-9;]+m(HOLDS|DOES NOT HOLD|NOT SETTLED)\x1b\[0m  claim.*", first)
        assert coloured.count("\x1b") == 2


def test_at_most_three_warnings_and_those_that_change_the_answer_first():
    source = CASES["holds"]
    notes = tuple(Note(kind=f"strange_{k}", severity="answer" if k == 4 else "trust", values={"at": k})
                  for k in range(6))
    check = replace(source, pairs=(replace(source.pairs[0], notes=notes),))
    text = screen(check)
    assert "Strange 4 (at 4)" in text.splitlines()[[line[:8] for line in text.splitlines()].index("Warnings")]
    assert re.search(r"\d more: --details\.", text)
    assert len(text.splitlines()) <= MOST_LINES


def test_every_printed_interval_is_the_one_that_decides():
    check = CASES["computed fails"]
    band = shown_band(check)
    assert band.verdict == next(one.verdict for one in check.readings if one.meaning == "bands")
    row = tell(check).questions[1]
    assert row.estimate is band.deciding
    for shown, stored in zip(tell(check).bands, [one for one in check.bands if one.seconds], strict=True):
        assert shown.estimate is stored.deciding


@each("name", CASES)
def test_no_word_of_statistics_or_of_earlier_drafts(name):
    check = CASES[name]
    story = tell(check)
    said = " ".join([screen(check), story.sentence, *story.doubt, *(c.text for c in story.caveats),
                     *(row.figures for row in story.questions)])
    assert [word for word in BANNED if re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", said)] == []


def test_all_renderers_set_the_same_words():
    check = CASES["computed fails"]
    story = tell(check)
    page = re.sub(r"<[^>]+>", "", html_text(check, Provenance())).replace("&#x27;", "'")
    text = " ".join(screen(check).split())
    sentence = story.sentence.replace("\N{MINUS SIGN}", "-").replace("–", "-")
    assert sentence in text
    assert story.sentence in page
    assert all(row.figures in page for row in story.questions)
    assert all(row.figures in page for row in story.bands)


def test_details_have_every_section_and_fit():
    for name in ("computed fails", "computed holds", "eight"):
        check = CASES[name]
        text = details(check, tell(check))
        for title in ("THE FOUR QUESTIONS", "BY POWER BAND", "BY SESSION", "WHERE THE UNCERTAINTY", "SECONDS USED",
                      "CLOCKS", "SCATTER", "LIKELY CAUSES", "TO ENTER", "WHAT THIS IS NOT"):
            assert any(line.startswith(title) for line in text.splitlines()), title


def test_every_kind_of_note_in_the_code_has_a_sentence():
    named = set()
    rooms = ("files", "recordings", "pairing", "faults", "verdict", "diagnosis", "correction", "assessment")
    for path in (path for room in rooms for path in (ROOT / "agree" / room).rglob("*.py")):
        named |= set(re.findall(r"Note\(\s*kind=\"(\w+)\"", path.read_text(encoding="utf-8")))
    assert sorted(named - set(known())) == []
    assert len(named) > 10


def test_wide_and_hostile_names():
    assert short("基準" * 30, 21) == "基準基準基準基…準基準"
    assert columns(short("基準" * 30, 21)) <= 21
    assert plain_name("a\x1b[31mb") not in ("a\x1b[31mb",)
    assert "\x1b" not in short("a\x1b[31mb")
    assert wrap("", 20) == [""]


def test_a_step_of_a_clock_is_a_warning_said_once():
    steps = (ClockStep(time_s=610.0, step_s=-12.0, se_s=0.1),)
    match = Alignment(lag_s=3.0, lag_se_s=0.1, drift_ppm=0.0, correlation=0.9, runner_up=0.1, steps=steps)
    source = CASES["holds"]
    pairs = replace(source.pairs[0], alignment=match, notes=tuple(step_facts(match)))
    said = [item.text for item in tell(replace(source, pairs=(pairs,))).caveats if "clock" in item.text]
    assert len(said) == 1
    assert "12" in said[0]


def test_every_cause_has_words():
    size = item(1.0, 0.2)
    values = defaultdict(lambda: 1)
    for cause in get_args(Cause):
        if cause != "noise_in_proportion":  # it is only held against others
            words = cause_words(Finding(cause=cause, role="device", size=size, unit="%", values=values))
            assert not re.search(r"[\[\]{}]", words)


def test_an_unknown_note_is_said_with_its_values():
    assert note_text(Note(kind="new_kind", values={"at_s": 3})) == "new kind (at s 3)"


def with_correction(name, **fields):
    return replace(CASES[name], correction=replace(CASES[name].correction, **fields))


@pytest.mark.parametrize(("stable", "said"), [
    (False, "do not rely on it: it changes from session to session, and agree correct refuses it."),
    (None, "wait for 3 sessions before relying on it."), (True, "")])
def test_what_speaks_against_a_factor_is_on_the_first_screen_with_it(stable, said):
    check = with_correction("odd and the same", stable=stable)
    text = " ".join(screen(check).split())
    assert "multiply by 1.027" in text
    assert said in text
    assert ("rely" in text) == bool(said)


def test_an_odd_session_is_named_with_what_would_explain_it():
    check = CASES["odd and the same"]
    one = OddSession(number=5, value=2.1, others=-2.1, suspicion="files exchanged")
    told = main_doubt(replace(check, effects=replace(check.effects, odd_sessions=(one,))))
    assert told[0].startswith("the files of session 5 look exchanged: it reads ")
    assert told[-1] == "Check that before you leave it out."
    doubled = replace(one, suspicion="twice as much")
    told = main_doubt(replace(check, effects=replace(check.effects, odd_sessions=(doubled,))))
    assert told[1] == "It looks doubled."
    two = replace(check.effects, odd=(3, 4), odd_sessions=(replace(one, number=4, suspicion=""), one))
    assert "In session 5 its two files look exchanged." in main_doubt(replace(check, effects=two))


def test_a_device_that_ages_is_the_main_doubt_and_is_not_said_twice():
    trend = Note(kind="sessions_trend", severity="trust", values={
        "change": -0.4, "low": -0.6, "high": -0.2, "unit": "%"})
    check = CASES["fourteen"]
    aged = replace(check, effects=replace(check.effects, odd=(), ageing=True, notes=(trend,)), budget=(
        replace(check.budget[0], name="spread between sessions"),))
    assert main_doubt(aged) == ("the error changes by -0.4 % from session to session: it is not constant yet.",)
    text = " ".join(screen(aged).split()).lower()
    assert text.count("it is not constant yet") == 1
    assert "exact the reference" in main_doubt(replace(aged, budget=check.budget))[0]  # most of the doubt comes first


def test_sessions_that_look_like_one_ride_are_the_main_doubt():
    check = replace(CASES["odd and the same"], notes=(Note(kind="sessions_alike", severity="answer", values={
        "sessions": "1 and 2", "rides": 1, "later": "2", "left_out": 1, "correlation": 0.5, "most": 0.5,
        "backwards": False}),))
    assert main_doubt(check)[0].startswith("sessions 1 and 2 look like one ride")
    assert "far from the others" in main_doubt(CASES["odd and the same"])[0]


# ONE_DAY_PERCENT
@pytest.mark.parametrize(("percent", "perhaps"), [(1.99, True), (2.01, False)])
def test_a_factor_of_one_day_says_so_and_that_a_small_one_may_be_none(percent, perhaps):
    factor = Estimate(value=1 + percent / 100, low=1.015, high=1.025, level=0.95, method="t")
    one = with_correction("fails", scale=factor, factor=factor)
    text = to_enter(one.correction)[0]
    assert text.startswith("nothing yet: this one session asks to multiply by ")
    assert ("others may not; perhaps none is needed; record 2 more first." in text) == perhaps
    days = replace(one.correction, because=(Note(kind="correction_few_sessions", values={"least": 3}),))
    assert to_enter(days)[0].endswith("; wait for 3 sessions before relying on it.")
    none = replace(days, factor=replace(factor, low=0.99), scale=replace(factor, low=0.99))
    assert to_enter(none)[0].startswith("nothing yet: the two sessions do not show an error; together they ask to ")
    one_day = replace(days, because=(Note(kind="correction_one_day"),))
    assert to_enter(one_day)[0].endswith("; wait for sessions of other days before relying on it.")


@pytest.mark.parametrize(("left", "few", "said"), [
    (0.634, False, "with it the next is expected to be 0.6 % off."),
    (0.06, False, "with it the next is expected to be less than 0.1 % off."),
    (0.634, True, "0.6 % off, but two sessions tell this badly: it may be several times as much."),
    (float("nan"), True, "On sessions held back to test it the error falls from ")])
def test_the_error_that_is_left_is_said_where_sessions_tell_it(left, few, said):
    item = with_correction("fails").correction
    why = Note(kind="correction_few_sessions", values={"least": 3}) if few else Note(
        kind="correction_spread", values={"sd": 0.5, "harm": 0.0})
    item = replace(item, error_left_percent=left, because=(why,), after=replace(item.after, left_out="sessions"))
    assert said in to_enter(item)[1]


def test_a_factor_in_few_words_is_not_without_what_speaks_against_it():
    told = [tell(with_correction("fails", stable=stable)).enter_briefly for stable in (False, None, True)]
    assert told == ["nothing to rely on: it changes from session to session.",
                    "nothing yet (to multiply by 1.028 would fit); record 2 more.", "multiply by 1.028."]


def crowded(others, warnings, words=18):
    """The story of a check with three long warnings of the severities given, and the answers to other questions."""
    check = CASES["two odd"]
    story = tell(check)
    rest = iter(others)
    rows = tuple(row if row.asked else row._replace(verdict=next(rest)) for row in story.questions)
    long = tuple(Caveat(item, f"warning {k} " + "is long " * words) for k, item in enumerate(warnings))
    text = screen(check, story=replace(story, questions=rows, caveats=long))
    assert len(text.splitlines()) <= MOST_LINES
    return " ".join(text.split())


def test_another_question_that_fails_is_never_left_out():
    failing = ("does not hold", "holds", "not settled")
    assert "Also asked each power band: does not hold; " in crowded(failing, ["trust"] * 3)
    assert "Also asked each power band: does not hold; " in crowded(failing, ["answer"] * 3)
    assert ("Also asked the next session: not settled; the others: does not hold." in
            crowded(("does not hold", "does not hold", "not settled"), ["trust"] * 3))
    assert "Also asked each of the 3 other questions: holds." in crowded(["holds"] * 3, ["trust"] * 3)


def test_what_changes_the_answer_goes_before_other_questions_that_do_not_fail():
    text = crowded(["holds"] * 3, ["answer", "answer", "trust"], 15)
    assert "Also asked" not in text
    assert "arning 1" in text


def test_room_that_is_left_is_used():
    """Leaving out a warning frees more lines than are needed: what was left out before it comes back."""
    long = tuple(Caveat("trust", f"warning {k} " + "is long " * 24) for k in range(2))
    assert len(screen(CASES["four"], story=replace(tell(CASES["four"]), caveats=long)).splitlines()) == MOST_LINES


if __name__ == "__main__":
    golden("x", 80).parent.mkdir(exist_ok=True)
    for old in golden("x", 80).parent.iterdir():
        old.unlink()
    for case in STATED:
        for place, shown in texts(case):
            place.write_text(shown + "\n", encoding="utf-8")


@pytest.mark.parametrize(("lost", "said"), [(0.04, "and the answer is 'not settled': it depends on leaving them out"),
                                            (0.001, "")])
def test_an_answer_that_depends_on_faults_says_so(lost, said):
    rng = np.random.default_rng(5)
    true = effort(rng, 2400)
    device = np.rint(true + rng.normal(0, 2, true.size))
    for start in rng.choice(220, max(round(lost * 240), 1), replace=False):
        device[100 + 10 * start:110 + 10 * start] = 0
    check = check_claim(pair_recordings(np.rint(true), device), "1.5 %")
    assert check.verdict == "holds"
    text = " ".join(screen(check).split())
    assert "set aside" in text
    assert ("it depends on leaving them out" in text) == bool(said)
    assert said in text
