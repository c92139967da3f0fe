"""Texts that many docstrings share, said once: a line such as ``{level, sampling}`` in a docstring stands for them."""

from __future__ import annotations

import inspect
import re
import textwrap
from collections.abc import Callable, Sequence
from typing import TypeVar

Documented = TypeVar("Documented")

LINE = re.compile(r"^([ \t]*)\{([a-z_]+(?:, [a-z_]+)*)\}$", re.MULTILINE)

TEXTS = {
    "pairs": """
reference, device : (n,) array_like
    Paired readings in one unit, n >= 3; in order of time for serial sampling.""",
    "level": """
level : float
    Confidence level, in (0, 1).""",
    "sampling": """
sampling : {"independent", "serial", "sessions"}, optional
    How pairs depend on each other: separate trials, neighbours in time, or recordings named by `session`. Left out:
    "sessions" where `session` is given, else "independent".""",
    "session": """
session : (n,) array_like, optional
    Session label of each pair.""",
    "nan_policy": """
nan_policy : {"raise", "omit"}
    What to do with NaN: an error, or leave out the pair.""",
    "scale": """
scale : {"difference", "percent"}
    Error of a pair: device - reference, or 100 (device - reference)/reference.""",
    "log_scale": """
scale : {"difference", "percent", "log"}
    Error of a pair: device - reference; 100 (device - reference)/reference; or the log ratio, for which bias and
    limits are given as ratios device/reference.""",
    "coverage": """
coverage : float
    Share of the errors to lie between the limits, in (0, 1).""",
    "few": """
SampleSizeError
    Fewer than 3 pairs, or fewer than 2 sessions.""",
    "drift": """
DriftWarning
    Serial sampling, when the slowest component dominates: the interval is likely too narrow.""",
    "alike": """
AssumptionWarning
    Independent sampling, although neighbouring pairs resemble each other; `session` given with another `sampling`,
    although sessions differ.""",
    "shape": """
AssumptionWarning
    Independent pairs whose errors are skewed, or have heavier tails than normal ones, beyond chance (p < 0.001).""",
}


def shared(item: Documented) -> Documented:
    """Return a function or class whose docstring has the shared texts in place of the lines that name them.

    Raises
    ------
    KeyError
        A line that names no text.
    """
    if item.__doc__ is not None:  # python -OO has none
        item.__doc__ = LINE.sub(_texts, item.__doc__)
    return item


def _texts(found: re.Match[str]) -> str:
    indent, names = found[1], found[2].split(", ")
    lines = "".join(TEXTS[name] for name in names).strip("\n").split("\n")
    return "\n".join(f"{indent}{line}" if line else "" for line in lines)


def made_by(*functions: str, also: Sequence[str] = (), references: str = ""
            ) -> Callable[[type[Documented]], type[Documented]]:
    """Return a decorator that says in a result's docstring which functions make it, and where to read on.

    Parameters
    ----------
    functions : str
        Public functions that return or take the class.
    also : sequence of str
        Further public names of the same kind.
    references : str
        Sources; those of the functions, if none are given.
    """
    seen = ["See Also", "--------", ", ".join([*functions, *also]), ""]
    those = " and ".join(f"`{name}`" for name in functions)
    sources = ["References", "----------", *textwrap.wrap(references or f"Those of {those}.", 100), ""]

    def add(item: type[Documented]) -> type[Documented]:
        if item.__doc__ is not None:
            lines = [*inspect.cleandoc(item.__doc__).rstrip().split("\n"), ""]
            for section, before in ((seen, ("Notes", "References", "Examples")), (sources, ("Examples",))):
                heads = [k for k, line in enumerate(lines[:-1]) if line in before and lines[k + 1].startswith("---")]
                place = heads[0] if heads else len(lines)
                lines[place:place] = section
            item.__doc__ = "\n".join(lines)
        return item

    return add
