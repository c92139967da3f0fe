"""What was fixed before the first ride, written to a file with a digest, and held against the check that was made."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from agree.core.errors import InputError
from agree.core.results.result import Result
from agree.verdict.reference import ReferenceUncertainty

FORMAT = "agree declaration 1"
LATER = ("reference_uncertainty", "loss", "window_s", "faults")  # fields that the first declarations did not have


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Declaration(Result):
    """What a tester fixes beforehand.

    Attributes
    ----------
    claim, meaning : str
        The claim as it is repeated in reports, and the meaning the verdict is given in.
    level : float
        Confidence level.
    rule : str
        Decision rule.
    bands : tuple of float
        Edges of power bands, W; empty for the default ones.
    looks : tuple of int
        Numbers of sessions after which the data are looked at; empty for one look at the end.
    splits, exclusions : tuple of str
        Where sessions are split, and what will be left out, in the tester's words.
    reference_uncertainty, loss : str
        What is known of the reference, and the drivetrain loss, as `check_claim` takes them; empty for none.
    window_s : int
        Averaging time of a reading, s.
    faults : tuple of str
        What is done with faulty seconds where it is not the usual, as "spike=keep".
    """

    claim: str
    meaning: str = "average"
    level: float = 0.95
    rule: str = "interval"
    bands: tuple[float, ...] = ()
    looks: tuple[int, ...] = ()
    splits: tuple[str, ...] = ()
    exclusions: tuple[str, ...] = ()
    reference_uncertainty: str = ""
    loss: str = ""
    window_s: int = 30
    faults: tuple[str, ...] = ()

    def content(self) -> dict[str, Any]:
        """Return the fields as JSON types; those of `LATER` only if they say something, so that old digests stand."""
        stated = [(item, getattr(self, item.name)) for item in fields(self)]
        return {item.name: list(value) if isinstance(value, tuple) else value for item, value in stated
                if item.name not in LATER or value != item.default}

    @property
    def digest(self) -> str:
        """SHA-256 of the content: print it or send it to somebody before the first ride.

        Examples
        --------
        >>> from agree.verdict.declaration import Declaration
        >>> Declaration(claim="±1.5 %").digest[:12]
        'a2114740924d'
        """
        plain = json.dumps(self.content(), sort_keys=True, ensure_ascii=True, separators=(",", ":"))
        return hashlib.sha256(plain.encode("ascii")).hexdigest()

    def text(self) -> str:
        """Return the file's content."""
        content = {"format": FORMAT, **self.content(), "digest": self.digest}
        return json.dumps(content, indent=2, ensure_ascii=False) + "\n"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Difference(Result):
    """One thing that was done otherwise than declared: its name, as declared, as done."""

    what: str
    declared: str
    done: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Declared(Result):
    """A declaration beside what was done: its digest and every difference; none if it was done as declared."""

    declaration: Declaration
    digest: str
    differences: tuple[Difference, ...]
    done: Declaration = field(repr=False)  # of one's own; the JSON has the differences


def read_declaration(path: str | Path) -> Declaration:
    """Read a declaration, and make sure that it was not changed since.

    Raises
    ------
    InputError
        A file that cannot be read, is no declaration, or whose content does not have its digest.
    """
    try:
        found = json.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, ValueError) as error:
        raise InputError(f"declaration {str(path)!r} cannot be read: {type(error).__name__}; it is written by "
                         "agree plan --declare FILE") from None
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise InputError(f"{str(path)!r} is not a declaration; expected a file written by agree plan --declare FILE")
    try:
        values: dict[str, Any] = {item.name: tuple(value) if isinstance(value := found[item.name], list) else value
                                  for item in fields(Declaration) if item.name in found or item.name not in LATER}
        result = Declaration(**values)
    except (KeyError, TypeError):
        raise InputError(f"declaration {str(path)!r} lacks a field; expected "
                         f"{', '.join(item.name for item in fields(Declaration) if item.name not in LATER)}") from None
    if result.digest != found.get("digest"):
        raise InputError(f"declaration {str(path)!r} was changed after it was written: its content has the digest "
                         f"{result.digest[:12]}..., its last line says {str(found.get('digest'))[:12]}...")
    return result


def compare(declaration: Declaration, done: Declaration) -> Declared:
    """Hold what was done against what was declared; only the exclusions, in the tester's words, are not compared."""
    differences = []
    for item in fields(Declaration):
        before, after = getattr(declaration, item.name), getattr(done, item.name)
        if item.name != "exclusions" and _meant(item.name, before) != _meant(item.name, after):
            differences.append(Difference(what=item.name, declared=_said(before), done=_said(after)))
    return Declared(declaration=declaration, digest=declaration.digest, differences=tuple(differences), done=done)


def uncertainty_text(stated: str | float | None) -> str:
    """Return what is stated of a reference as a declaration writes it; "" for nothing."""
    return "" if stated is None else f"±{stated:g} %" if isinstance(stated, int | float) else stated


def _meant(name: str, value: Any) -> Any:
    """Return what a field says, however it is written: "1%" and "±1 %" are one, and the order of splits is none."""
    if name in ("splits", "faults"):
        return sorted(value)
    if name in ("reference_uncertainty", "loss") and value:
        known = (ReferenceUncertainty.parse(None, loss=value) if name == "loss" else ReferenceUncertainty.parse(value))
        return known.text
    return value


def _said(value: Any) -> str:
    if isinstance(value, tuple):
        return ", ".join(f"{part:g}" if isinstance(part, float) else str(part) for part in value) or "none"
    return str(value) or "none"
