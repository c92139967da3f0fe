"""Which part of the report makes the text, the HTML and the picture of a result; each is loaded when it is needed."""

from __future__ import annotations

from typing import Any

from agree.core.errors import InputError
from agree.core.results.words import summary


def render(how: str, result: Any, *arguments: Any) -> Any:
    """Return a result as "text", "html" or "picture".

    Raises
    ------
    InputError
        Another kind of report.

    Examples
    --------
    >>> from agree import Estimate
    >>> from agree.report.registry import render
    >>> render("text", Estimate(value=-5.93, low=-6.21, high=-5.65, level=0.95, method="t"))
    '-5.93 [-6.21, -5.65]'
    """
    if how == "text":
        _know_text_of(type(result).__module__)
        return summary(result)
    if how == "picture":
        from agree.report.figures import results

        return results.plot(result, *arguments)
    if how == "html":
        from agree.report.html.notebook import notebook_html

        return notebook_html(result, render("text", result))
    raise InputError(f"`how` must be text, html or picture; got {how!r}", option="how")


def _know_text_of(module: str) -> None:
    """Load the texts of the results of one room: those of recordings need what reads files, the others do not."""
    if module.startswith("agree.recordings"):
        from agree.report.texts import look_text  # noqa: F401
    elif module.startswith("agree.physics"):
        from agree.report.texts import climb_text, static_plan_text, static_text  # noqa: F401
    elif module.startswith("agree.devices"):
        from agree.report.texts import devices_text
    elif module.startswith("agree.trail"):
        from agree.report.texts import devices_text, trail_text  # noqa: F401
    elif module.startswith("agree.study"):
        from agree.report.texts import study_text  # noqa: F401
    elif module.startswith("agree.planning"):
        from agree.report.texts import plan_text  # noqa: F401
    elif module.startswith("agree.quantities"):
        from agree.report.texts import quantity_text  # noqa: F401
    elif module.startswith("agree.trials"):
        from agree.report.texts import trials_text  # noqa: F401
    else:
        from agree.report.texts import text  # noqa: F401
