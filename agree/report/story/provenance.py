"""Where a report comes from: seconds, what the tester states, files with their digests, command and versions."""

from __future__ import annotations

import math
import platform
import shlex
from hashlib import sha256
from typing import Any, NamedTuple

import numpy as np

import agree
from agree.assessment.claim_check import ClaimCheck
from agree.assessment.schema_1 import SCHEMA
from agree.core.data.pairs import Pairs
from agree.core.results.note import Note
from agree.report.about import NOTHING_STATED, About, about_words
from agree.report.story.caveats import faulty_seconds
from agree.report.story.clocks import clock_words
from agree.report.story.language.names import printable, short

FEW_FILES = 4
DIGEST = 12  # digits of a SHA-256 that are shown


class Provenance(NamedTuple):
    """What a report is told besides the check: what the tester states, and the command that made it."""

    about: About = NOTHING_STATED
    command: tuple[str, ...] = ()


def provenance_rows(check: ClaimCheck, provenance: Provenance) -> list[tuple[str, str]]:
    """Return label and text of each row."""
    rows = [("Data", _data(check)), ("Stated by the tester", about_words(provenance.about))]
    files = _files(check)
    if files:
        rows.append(files)
    if provenance.command:
        rows.append(("Command", printable(shlex.join(provenance.command))))
    rows.append(("Made with", f"agree {agree.__version__}, schema {SCHEMA}, numpy {np.__version__}, "
                              f"Python {platform.python_version()}"))
    return rows


def ridden_text(check: ClaimCheck) -> str:
    """Return how long the references rode, as a sentence after a blank, where a part of it is not used."""
    partly = any(isinstance(note, Note) and note.kind in ("used_part", "used_hardly_any") for note in check.notes)
    ridden = sum(item.ridden_s for item in check.pairs)
    who = "The reference's recording shows" if len(check.pairs) == 1 else "The references' recordings show"
    return f" {who} {ridden:,.0f} s of riding." if partly and math.isfinite(ridden) else ""


def _data(check: ClaimCheck) -> str:
    seconds = check.seconds()
    aside = seconds["set_aside"]
    text = (f"{seconds['used']:,} of {seconds['overlap']:,} s used; not used: coasting {aside['both_coasting']:,}, "
            f"missing {aside['missing']:,}, faulty {faulty_seconds(check):,}"
            + (f", beside gaps {aside['beside_gap']:,} s" if aside["beside_gap"] else " s"))
    if ridden := ridden_text(check):
        text = f"{text}.{ridden.rstrip('.')}"
    return f"{text}; {clock_words(check.pairs[0].alignment).rstrip('.')}" if len(check.pairs) == 1 else text


def digests(item: Pairs) -> list[tuple[str, str]]:
    """Return name and SHA-256 of the files of one session, where they are known."""
    sources: Any = getattr(item, "sources", None) or ()
    return [(short(str(one.name), 40), str(one.sha256)) for one in sources if one is not None and one.sha256]


def _files(check: ClaimCheck) -> tuple[str, str] | None:
    known = [entry for item in check.pairs for entry in digests(item)]
    if not known:
        return None
    if len(known) <= FEW_FILES:
        return "Files (SHA-256)", "; ".join(f"{name} {digest[:DIGEST]}" for name, digest in known)
    joint = sha256("\n".join(digest for _, digest in known).encode()).hexdigest()
    return "Files", f"{len(known)} files, joint SHA-256 {joint[:16]} (one by one in the HTML and the JSON)"
