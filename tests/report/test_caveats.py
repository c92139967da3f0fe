"""Warnings over several sessions: one sentence for a note that several have, with their numbers."""

from dataclasses import replace

from agree import Note
from agree.diagnosis.finding import Finding
from agree.report.story.caveats import caveats
from agree.report.story.record import to_record
from tests.report.made import made


def delay(rest, cause="undecided", severity="trust"):
    return Note(kind="pair_delay", severity=severity, values={"rest_s": rest, "explained_s": 0.0, "cause": cause})


def said(*notes):
    """What is said of as many sessions, each with these notes."""
    check = made(-0.04, 0.5, sessions=len(notes))
    pairs = tuple(replace(item, notes=own) for item, own in zip(check.pairs, notes, strict=True))
    return [item.text for item in caveats(replace(check, pairs=pairs)) if "late" in item.text or "column" in item.text]


def test_delays_of_one_cause_are_one_sentence():
    ends = (": a delay of the device, or a difference of the clocks: nothing in the files decides it; the lag was "
            "taken out.")
    late = "by the stamps of both, which have a date, the device is "
    assert said((delay(2.0),), (delay(11.0),), (delay(19.0),)) == [f"{late}2.0 to 19.0 s late{ends}"]
    assert said((delay(9.0),), (), (delay(9.0),)) == [f"sessions 1 and 3: {late}9.0 s late{ends}"]
    assert said((), (delay(9.0),), ()) == [f"session 2: {late}9.0 s late{ends}"]
    apart = said((delay(9.0),), (delay(-4.0),), (delay(3.0, "device"),))
    assert [text.split(":")[0] for text in apart] == ["session 1", "session 2", "session 3"]
    assert "the reference is 4.0 s late" in apart[1]


def test_other_notes_name_their_sessions_unless_all_have_them():
    note = Note(kind="read_unit_assumed", severity="trust", role="device", values={"column": "p", "unit": "W"})
    text = "device: column 'p': no unit in its name, taken as W."
    assert said((note,), (note,)) == [text]
    assert said((note,), (), (note,), ()) == [f"sessions 1 and 3: {text}"]
    assert said((note,)) == [text]


def test_sessions_that_drift_speak_of_rides_as_long_as_these():
    """A finding of a drift of the mean over sessions: "nothing to record" is true of such rides only."""
    drift = Finding(cause="drift", size=None, unit="% per hour", strength=0.99, percent=1.0, values={})
    still = replace(made(-0.04, 0.5, sessions=3), next_step=Note(kind="next_nothing"))
    for check, told in ((replace(still, findings=(drift,)), True), (replace(still, findings=()), False)):
        assert any("are true of rides as long as these" in item.text for item in caveats(check)) == told
        assert to_record(check)[0].startswith("nothing for rides as long as these;" if told else "nothing: all four")
