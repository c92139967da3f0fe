"""Sets of published figures as they are written down: folders with `expected.toml`, nothing computed."""

import tomllib
from pathlib import Path

HERE = Path(__file__).parent
COUNTED = ("read", "memory")


def figures(expected):
    """Figures of a set: those told one by one, and the rows of its tables, each a figure with the table's words."""
    yield from expected.get("figure", ())
    for table in expected.get("table", ()):
        common = {key: value for key, value in table.items() if key not in ("columns", "rows")}
        for row in table["rows"]:
            values = dict(zip(table["columns"], row, strict=True))
            yield {**common, **values, "what": table["what"].format(**values)}


def load(folder=HERE):
    """Contents of every expected.toml, by the name of its folder."""
    return {path.parent.name: tomllib.loads(path.read_text()) for path in sorted(folder.glob("*/expected.toml"))}


def kind(figure):
    """One of "read", "memory", "rounded inputs", "again", "summary", "afterwards", "computed"."""
    if figure["source"] in COUNTED and figure.get("again"):
        return "again"
    return "rounded inputs" if figure["source"] in COUNTED and "rounded_inputs" in figure else figure["source"]


def publication(expected, figure):
    """Name of the publication a figure is of; sets of one publication name the same."""
    return figure.get("publication") or expected.get("publication") or expected["cite"]
