"""Kinds of values of options: words without blanks, levels, files to write; old spellings get the new one."""

from __future__ import annotations

from typing import Any

import click

from agree.cli.terminal import say


class Words(click.Choice[str]):
    """A choice of words, given on to the library in its own spelling; an old spelling is taken, with a hint."""

    def __init__(self, names: dict[str, str]) -> None:
        super().__init__(list(names))
        self.names = names

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the library's word."""
        if value in self.names.values() and value not in self.names:
            new = next(word for word, name in self.names.items() if name == value)
            hint(f"write {_option(param)} {new}")
            return value
        return self.names[str(super().convert(value, param, ctx))]


class Level(click.ParamType):  # type: ignore[type-arg]  # not generic in the lowest click allowed
    """A level such as 95% or 0.95."""

    name = "level"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the level as a fraction."""
        text = str(value).strip()
        try:
            level = float(text.removesuffix("%").strip()) / (100 if text.endswith("%") else 1)
        except ValueError:
            self.fail(f"{value!r} is not a level; write 95% or 0.95", param, ctx)
        if not 0 < level < 1:
            more = f"; if you mean {level:g} per cent, write {level:g}%" if 1 < level < 100 else ""
            self.fail(f"{value} does not lie between 0 and 100 %{more}", param, ctx)
        return level


class IntervalLevel(Level):
    """The level of intervals: one that holds at least as often as it misses."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the level as a fraction."""
        from agree.core.thresholds import LEAST_LEVEL

        level = super().convert(value, param, ctx)
        if level < LEAST_LEVEL:
            self.fail(f"{value} is below {LEAST_LEVEL:.0%}: an interval that misses more often than it holds settles "
                      "nothing; write 95%", param, ctx)
        return level


def _option(param: click.Parameter | None) -> str:
    return "" if param is None else param.opts[-1]


def hint(text: str) -> None:
    """Say on stderr how something is written now."""
    say(f"agree: hint: {text}", err=True)


# What arguments of the library are called by commands whose options have other names.
COMMAND_OPTIONS = {
    "static": {"crank_length_mm": "--crank-length", "gravity": "--gravity", "latitude_deg": "--latitude",
               "height_m": "--height", "step": "--step", "claim": "--claim", "u_length_mm": "--length-uncertainty",
               "u_mass_kg": "--mass-uncertainty", "u_mass_percent": "--scale-uncertainty",
               "u_angle_deg": "--angle-uncertainty", "masses_kg": "--masses", "reading_sd_Nm": "--reading-sd",
               "rides": "--beside"},
    "climb": {"mass_kg": "--mass", "grade": "--grade", "speed": "--speed", "rolling": "--rolling",
              "drag_area": "--drag-area", "density": "--density", "head_wind": "--wind", "efficiency": "--efficiency",
              "gravity": "--gravity", "readings_W": "--reading", "grade_down": "--coast"},
    "devices": {"window_s": "--window", "max_lag_s": "--max-lag", "states": "the column state of --sessions"},
}
MEANINGS = {"average": "average", "bands": "bands", "readings": "readings", "next-session": "next_session"}
RULES = {"interval": "interval", "guard-2u": "guard 2u", "guard-1.645u": "guard 1.645u", "plain": "plain"}
# What was written before -> what is written now.
OLD_OPTIONS = {"--power": "--chance"}


class JsonFile(click.ParamType):  # type: ignore[type-arg]  # as Level
    """A file to write JSON to; the standard output by one of its other names is "-", so that nothing else is in it."""

    name = "file"

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the name, or "-" where it is that of the standard output."""
        return "-" if value in ("/dev/stdout", "/dev/fd/1", "/proc/self/fd/1") else value
