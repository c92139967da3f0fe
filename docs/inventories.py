"""Inventories for links to the documentation of other packages, made here so that a build needs no network.

Only names that our pages use stand below: an inventory is a list of names and where each one is described.
"""

from __future__ import annotations

import zlib
from pathlib import Path

GENERATED = "reference/generated/$.html#$"
SITES = {
    "numpy": "https://numpy.org/doc/stable/",
    "scipy": "https://docs.scipy.org/doc/scipy/",
    "pandas": "https://pandas.pydata.org/docs/",
    "matplotlib": "https://matplotlib.org/stable/",
    "python": "https://docs.python.org/3/",
}
NAMES = {
    "numpy": [
        ("numpy.ndarray", "py:class", GENERATED),
        ("numpy.random.Generator", "py:class", "reference/random/generator.html#$"),
        ("array_like", "std:term", "glossary.html#term-array_like"),
    ],
    "scipy": [
        ("scipy.stats.theilslopes", "py:function", GENERATED),
        ("scipy.stats.ttest_rel", "py:function", GENERATED),
        ("scipy.stats.pearsonr", "py:function", GENERATED),
    ],
    "pandas": [
        ("pandas.DataFrame", "py:class", "reference/api/$.html#$"),
        ("pandas.Series", "py:class", "reference/api/$.html#$"),
    ],
    "matplotlib": [
        ("matplotlib.axes.Axes", "py:class", "api/_as_gen/$.html#$"),
    ],
    "python": [
        *((name, "py:class", place) for name, place in (
            ("str", "library/stdtypes.html#$"), ("float", "library/functions.html#$"),
            ("int", "library/functions.html#$"),
            ("complex", "library/functions.html#$"), ("tuple", "library/stdtypes.html#$"),
            ("list", "library/stdtypes.html#$"), ("dict", "library/stdtypes.html#$"),
            ("set", "library/stdtypes.html#$"),
            ("frozenset", "library/stdtypes.html#$"), ("object", "library/functions.html#$"))),
        ("None", "py:data", "library/constants.html#$"),
        ("bltin-boolean-values", "std:label", "library/stdtypes.html#boolean-type-bool"),
        *((name, "std:term", f"glossary.html#term-{name}") for name in ("iterator", "iterable", "mapping", "sequence")),
        ("ValueError", "py:exception", "library/exceptions.html#$"),
        ("concurrent.futures.Executor", "py:class", "library/concurrent.futures.html#$"),
    ],
}


def write(target: Path) -> dict[str, tuple[str, str]]:
    """Write an inventory for each site, and return what Sphinx wants to know of them."""
    target.mkdir(parents=True, exist_ok=True)
    mapping = {}
    for site, names in NAMES.items():
        head = f"# Sphinx inventory version 2\n# Project: {site}\n# Version: \n" \
               "# The remainder is compressed with zlib.\n"
        lines = "".join(f"{name} {role} 1 {place} -\n" for name, role, place in names)
        path = target / f"{site}.inv"
        path.write_bytes(head.encode() + zlib.compress(lines.encode()))
        mapping[site] = (SITES[site], str(path))
    return mapping
