"""Error and warning classes; every message says what was found, what was expected and what to do."""


class AgreeError(Exception):
    """Root of every error this package raises on purpose."""


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
