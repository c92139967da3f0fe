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

    See Also
    --------
    InputError, ConvergenceError : Its two kinds.

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
    """Input that cannot be used: wrong values, a file that is not a recording, no common effort.

    See Also
    --------
    SampleSizeError, MatchError : Kinds of it.
    AgreeError : What it carries beside its message.

    Examples
    --------
    >>> from agree import InputError, limits_of_agreement
    >>> try:
    ...     limits_of_agreement([200, 250, 300], [198, 251, 294], level=95)
    ... except InputError as error:
    ...     print(error)
    `level` must be a fraction between 0 and 1, such as 0.95; got 95; did you mean 0.95?
    """


class SampleSizeError(InputError):
    """Too few pairs, seconds or sessions for what was asked.

    See Also
    --------
    InputError : Input that cannot be used for other reasons.

    Examples
    --------
    >>> from agree import SampleSizeError, deming
    >>> try:
    ...     deming([200, 250], [198, 251])
    ... except SampleSizeError as error:
    ...     print(error)
    at least 3 pairs are needed; got 2
    """


class MatchError(InputError):
    """Two recordings that cannot be laid over one another with confidence.

    See Also
    --------
    pair_recordings : What raises it.
    InputError : Input that cannot be used for other reasons.

    Examples
    --------
    >>> from agree import InputError, MatchError
    >>> issubclass(MatchError, InputError)
    True
    """


class ConvergenceError(AgreeError, RuntimeError):
    """An iteration that did not settle.

    See Also
    --------
    InputError : Input that cannot be used.

    Examples
    --------
    >>> from agree import AgreeError, ConvergenceError
    >>> issubclass(ConvergenceError, AgreeError)
    True
    """


class AgreeWarning(UserWarning):
    """Root of every warning this package issues.

    See Also
    --------
    DriftWarning, AssumptionWarning : The two kinds.

    Examples
    --------
    >>> import warnings
    >>> from agree import AgreeWarning
    >>> with warnings.catch_warnings():
    ...     warnings.simplefilter("error", AgreeWarning)  # a warning now ends what it speaks of
    """


class DriftWarning(AgreeWarning):
    """The error wanders so slowly that a single recording cannot bound it.

    See Also
    --------
    AssumptionWarning : Other doubts about an interval.
    Estimate : Its field `drift` says the same.

    Examples
    --------
    >>> import warnings
    >>> from agree import DriftWarning, limits_of_agreement
    >>> ride = range(100, 400, 5)
    >>> with warnings.catch_warnings(record=True) as caught:
    ...     warnings.simplefilter("always")
    ...     result = limits_of_agreement(ride, [1.1 * w for w in ride], sampling="serial")
    >>> caught[0].category is DriftWarning, result.bias.drift
    (True, True)
    """


class AssumptionWarning(AgreeWarning):
    """The data contradict, or cannot bear, what the method takes for granted.

    See Also
    --------
    look_at_errors : Whether limits of agreement may be used at all.
    DriftWarning : A doubt about one recording.

    Examples
    --------
    >>> import warnings
    >>> from agree import AssumptionWarning, limits_of_agreement
    >>> ride = range(100, 400, 5)
    >>> with warnings.catch_warnings(record=True) as caught:
    ...     warnings.simplefilter("always")
    ...     result = limits_of_agreement(ride, [1.1 * w for w in ride])
    >>> caught[0].category is AssumptionWarning
    True
    """
