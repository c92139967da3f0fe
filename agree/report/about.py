"""What the tester states of the instruments and the days, in one TOML file: read, written blank, and said in words."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any, NamedTuple

from agree.core.errors import InputError
from agree.report.story.language.names import printable, short

FIELDS = {"name": "name", "serial": "serial", "firmware": "firmware", "zero_before": "zero before",
          "zero_after": "zero after", "crank_length": "crank length"}
SESSION_FIELDS = {"date": "date", "temperature": "temperature", "remark": "remark"}
WANTED = ("serial", "firmware", "zero_before", "zero_after", "crank_length")
LONGEST = 60

BLANK_HEAD = """# What the tester states, for agree check --about THIS_FILE.
# Fill in what you know, as text; leave the rest empty.
"""


class About(NamedTuple):
    """What is stated of the device, the reference and each session; empty texts are left out."""

    device: dict[str, str]
    reference: dict[str, str]
    session: tuple[dict[str, str], ...]


NOTHING_STATED = About({}, {}, ())


def read_about(path: str | Path) -> About:
    """Read what a tester states.

    Raises
    ------
    InputError
        No TOML, or a table or field that is not known.
    """
    try:
        stored = tomllib.loads(Path(path).read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path} is no TOML ({error}); agree plan --sheet writes a blank one") from None
    strange = sorted(set(stored) - {"device", "reference", "session"})
    if strange:
        raise InputError(f"{path}: found [{strange[0]}]; expected [device], [reference] and [[session]]")
    sessions = stored.get("session", [])
    if not isinstance(sessions, list):
        raise InputError(f"{path}: write [[session]] with two brackets, one for each session")
    return About(_texts(path, "device", stored.get("device", {}), FIELDS),
                 _texts(path, "reference", stored.get("reference", {}), FIELDS),
                 tuple(_texts(path, "session", item, SESSION_FIELDS) for item in sessions))


def _texts(path: str | Path, table: str, stored: Any, fields: dict[str, str]) -> dict[str, str]:
    if not isinstance(stored, dict):
        raise InputError(f"{path}: [{table}] must be a table of fields")
    strange = sorted(set(stored) - set(fields))
    if strange:
        raise InputError(f"{path}: [{table}] has no field {strange[0]}; expected {', '.join(fields)}")
    return {name: short(str(value), LONGEST) for name, value in stored.items() if printable(str(value))}


def blank_about(sessions: int = 1) -> str:
    """Return the file to fill in."""
    lines = [BLANK_HEAD]
    for table in ("device", "reference"):
        lines += [f"[{table}]", *(f'{name} = ""' for name in FIELDS), ""]
    for _ in range(max(sessions, 1)):
        lines += ["[[session]]", *(f'{name} = ""' for name in SESSION_FIELDS), ""]
    return "\n".join(lines)


def about_words(about: About) -> str:
    """Say what is stated, and what is not.

    Examples
    --------
    >>> from agree.report.about import About, about_words
    >>> about_words(About({"serial": "P-1", "firmware": "1.2"}, {"serial": "R-7"}, ({"temperature": "19 °C"},)))
    'device serial P-1, firmware 1.2; reference serial R-7; temperature 19 °C; not stated: zero, crank length'
    """
    parts = [f"{role} {', '.join(f'{FIELDS[name]} {value}' for name, value in stated.items())}"
             for role, stated in (("device", about.device), ("reference", about.reference)) if stated]
    warmth = [item["temperature"] for item in about.session if "temperature" in item]
    if warmth:
        parts.append("temperature " + (", ".join(warmth) if len(warmth) < 4 else f"{warmth[0]} ... {warmth[-1]}"))
    known = {name for stated in (about.device, about.reference) for name in stated}
    missing = [FIELDS[name] for name in WANTED if name not in known and not name.startswith("zero")]
    missing[2:2] = [] if {"zero_before", "zero_after"} & known else ["zero"]
    missing += [] if warmth else ["temperature"]
    order = ["serial", "firmware", "zero", "crank length", "temperature"]
    absent = [name for name in order if name in missing]
    return "; ".join([*parts, *([f"not stated: {', '.join(absent)}"] if absent else [])])
