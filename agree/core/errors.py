"""Error and warning classes; every message says what was found, what was expected and what to do."""

from __future__ import annotations

from typing import Any


class AgreeError(Exception):
    """Root of every error this package raises on purpose.

    Parameters
    ----------
    *args
        The message: one clear line.
    option : str
        Name of the Python argument that the message is about, or that would help, such as "power_column"; "" if
        there is none. A command line may name its own option for it.
    code : str
        What went wrong, as an identifier, such as "several_columns"; "" if it has none.

    Examples
    --------
    >>> from agree import InputError
    >>> error = InputError("ride.csv: found 2 columns; expected one", option="power_column", code="several_columns")
    >>> str(error), error.option, error.code
    ('ride.csv: found 2 columns; expected one', 'power_column', 'several_columns')
    """

    def __init__(self, *args: object, option: str = "", code: str = "") -> None:
        super().__init__(*args)
        self.option, self.code = option, code

    def __reduce__(self) -> tuple[Any, ...]:
        return _again, (type(self), self.args, self.option, self.code)


def _again(kind: type[AgreeError], args: tuple[object, ...], option: str, code: str) -> AgreeError:
    """Return an error as it was before it was pickled."""
    return kind(*args, option=option, code=code)


class InputError(AgreeError, ValueError):
    """Input that cannot be used: wrong values, a file that is not a recording, no common effort."""


class SampleSizeError(InputError):
    """Too few pairs, seconds or sessions for what was asked."""


class MatchError(InputError):
    """Two recordings that cannot be laid over one another with confidence."""


class ConvergenceError(AgreeError, RuntimeError):
    """An iteration that did not settle."""


class AgreeWarning(UserWarning):
    """Root of every warning this package issues."""


class DriftWarning(AgreeWarning):
    """The error wanders so slowly that a single recording cannot bound it."""


class AssumptionWarning(AgreeWarning):
    """The data contradict, or cannot bear, what the method takes for granted."""
