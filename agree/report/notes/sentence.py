"""The sentence of a note: made here from its kind and values, nowhere else."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from agree.core.results.note import Note
from agree.core.results.plain import plain_name

Maker = str | Callable[[Note], str | tuple[str, ...]]


def known() -> Mapping[str, Maker]:
    """Return what makes the sentence of each kind: a template of the note's values, or a function of the note."""
    from agree.report.notes import (
        checking,
        corrected_copies,
        grounds,
        pairing,
        planning,
        quantities,
        reading,
        trail,
        trials,
    )

    return (checking.SENTENCES | corrected_copies.SENTENCES | grounds.GROUNDS | pairing.SENTENCES
            | planning.SENTENCES | quantities.SENTENCES | reading.SENTENCES | trail.SENTENCES | trials.SENTENCES)


def note_text(note: Note | str) -> str:
    """Return the sentence of a note; what is already a sentence is given back.

    Examples
    --------
    >>> from agree.core.results.note import Note
    >>> from agree.report.notes.sentence import note_text
    >>> note_text(Note(kind="next_other_days", values={"sessions": 2}))
    '2 or more sessions on other days, the zero set afresh each time.'
    """
    return " ".join(note_sentences(note))


def note_sentences(note: Note | str) -> tuple[str, ...]:
    """Return what a note says in sentences, what matters most first: the later ones may be left out."""
    if isinstance(note, str):
        return (plain_name(note),)
    maker = known().get(note.kind)
    if maker is None:
        values = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in note.values.items())
        return (plain_name(f"{note.kind.replace('_', ' ')}" + (f" ({values})" if values else "")),)
    said = maker.format(role=note.role, **note.values) if isinstance(maker, str) else maker(note)
    return tuple(plain_name(text) for text in ((said,) if isinstance(said, str) else said))
