"""How much more smoothly one of two devices answers than the other, and pairs freed from that."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.core.thresholds import TOGETHER
from agree.estimators.response import transfer
from agree.estimators.response.choice import Choice, choose, explained, line_errors, opposite
from agree.estimators.response.kernels import Kernel, kernel, smoothed
from agree.estimators.response.matched_slope import allowing_between, matched_slope
from agree.estimators.response.matching import LEAST_SECONDS, Filter, chosen_filter, nonlinear_beside
from agree.estimators.response.nonlinear.any_filter import AnyFilter, answered
from agree.estimators.response.nonlinear.holding import Holding
from agree.estimators.response.nonlinear.uneven import Uneven
from agree.estimators.response.unbroken import of_columns, telling

SHIFTS_S = 16          # whole-second delays tried for the scatter without a filter
SPRINT_W = 1000.0      # W that the largest reading counts as
NO_KIND = "none: no kind of response fits"


@made_by("response_difference", also=("Pairs",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Response(Result):
    """Difference in response of two devices.

    Attributes
    ----------
    kind : {"none", "running mean", "first order", "two lags", "mean and lag", "uneven"}
        How the smoother trace is made from the other: by a mean, a lag, two of them in a row, or a lag with another
        time constant to less power than to more.
    smoother : {"", "device", "reference"}
        Which trace is the smoother; with kind "none" that whose readings lie between seconds of the other, if so.
    width_s : Estimate or None
        Width of the running mean, s; interval by the serial engine.
    time_constant_s : Estimate or None
        Time constant of the lag, s; the longer one of two lags in a row; to more power, of an uneven one.
    second_constant_s, down_constant_s : Estimate or None
        Time constant of the shorter one of two lags in a row, s, and that of an uneven lag to less power.
    alike : tuple of str
        Models that the data cannot distinguish from the one named, such as "first-order lag of the device". With kind
        "none": those among a 3-s mean and a lag of 1 s that would not have been seen, and what looks the same as a part
        of a second (`between_s`).
    delay_s : Estimate
        Device behind reference beside the response, s: delay of the middle of a running mean; of a lag beyond its own.
    slope : Estimate
        Slope of Deming's line (equal errors of both) at matched response; limits for any share of the errors in either.
    explained : Estimate or None
        Share of the variance of the second-by-second error about the straight line that the difference in response
        explains; None without one.
    scatter_before_w, scatter_after_w : float
        Root mean square of that error, W, with the best delay in whole seconds, and with matched response.
    n : int
        Seconds at which both are known.
    level : float
        Confidence level.
    misfit : float
        Mean square that the model leaves, over what chance leaves: near 1 if it describes the difference.
    fits : bool
        The model describes the difference; False where its misfit is above 1.95, as with a response that varies. Sizes
        and slope have no limits then.
    between_s : float
        Part of a second by which readings of the smoother trace lie between whole seconds of the other.
    held_s : int
        Seconds for which the smoother trace goes on with its last reading after pedalling ends.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import response_difference
    >>> watts = 200 + 30 * np.random.default_rng(1).normal(size=900)
    >>> response_difference(watts, np.convolve(watts, np.ones(5) / 5)[:900]).alike
    ()
    """

    kind: str
    smoother: str
    width_s: Estimate | None
    time_constant_s: Estimate | None
    alike: tuple[str, ...]
    delay_s: Estimate
    slope: Estimate
    explained: Estimate | None
    scatter_before_w: float
    scatter_after_w: float
    n: int
    level: float
    misfit: float = math.nan
    fits: bool = True
    second_constant_s: Estimate | None = None
    down_constant_s: Estimate | None = None
    between_s: float = 0.0
    held_s: int = 0

    def kernel(self) -> AnyFilter:
        """Filter that makes the smoother trace of the other, or without one the delay."""
        delay = opposite(self.delay_s) if self.smoother == "reference" else self.delay_s
        if self.kind == "uneven" and self.time_constant_s is not None and self.down_constant_s is not None:
            return Uneven(self.time_constant_s.value, self.down_constant_s.value, delay.value)
        second = self.time_constant_s if self.width_s else self.second_constant_s
        made = kernel(self.kind, self.width_s or self.time_constant_s, delay, second, self.between_s)
        return Holding(self.held_s, made) if self.held_s else made


@shared
def response_difference(
    reference: ArrayLike | Pairs,
    device: ArrayLike | None = None,
    *,
    time: ArrayLike | None = None,
    level: float = 0.95,
) -> Response:
    r"""How much more smoothly one of two devices answers than the other.

    Use it to see whether scatter from second to second, or a slope below 1 between raw readings, comes from one device
    averaging longer than the other. It needs power that changes from second to second, and cannot distinguish filters
    that both devices have in common. It knows a running mean, trailing or not (that is a matter of delay), a
    first-order lag, two of these in a row, a lag with two time constants, and readings that are held at stops; and
    says so if no kind fits.

    Parameters
    ----------
    reference, device : (n,) array_like, W
        Readings on a 1-s grid, NaN where not used; coasting is 0, not NaN. Or, as the only one, `Pairs`: its used
        seconds and those in which both coast.
    time : (n,) array_like, s, optional
        Time of each reading, increasing whole seconds; 0, 1, 2 ... if not given. Seconds left out are unknown.
    {level}

    Returns
    -------
    Response
        ``.kind``, ``.smoother``, ``.width_s`` or ``.time_constant_s``, ``.slope`` at matched response.

    Raises
    ------
    InputError
        Bad options or readings, a trace that does not change, or traces that do not change together.
    SampleSizeError
        Fewer than 300 changes from one second to the next known in both.

    See Also
    --------
    match_response : Take the difference out.
    best_efforts : What it does to bests.

    Notes
    -----
    Changes x, y from second to second have cross-spectrum :math:`S_{xy}` and coherence
    :math:`C = \lvert S_{xy} \rvert^2/(S_{xx} S_{yy})`. Noise of one trace is not shared by the other. It makes x look
    sharper than it is by the signal share c of x, which is no less than C, and turns neither sign nor phase:

    .. math:: S_{xy}/S_{xx} = b\, F(f)\, e^{-2 \pi i f d}\, c, \qquad
              \frac{1}{C} = \frac{1}{c} \left(1 + \frac{1 - c}{c} \frac{1 - k}{k \lvert F \rvert^2}\right),

    with F the running mean over W s, :math:`\sin(\pi f W)/(W \sin \pi f)`, the lag
    :math:`\alpha/(1 - (1 - \alpha) e^{-2 \pi i f})` with :math:`\alpha = 1 - e^{-1/\tau}`, or 1; and k from 0 (all
    noise in y) to 1 (all in x). b, k, the delay d and W or tau minimise the squares weighted by :math:`S_{xx}` over the
    spectrum left (Whittle's likelihood), with either trace as x.
    Without a filter a part p of a second of the delay is
    :math:`1 - p + p e^{-2 \pi i f}`, :math:`e^{-2 \pi i f p}`, or between them, as power within a second is not known.
    A filter is named if it is better than none by 20 in twice the log-likelihood and W is at least 1.5 s or tau 0.3 s;
    two in a row, if they are better by 30 than one whose readings may lie between seconds. Intervals: the influence of
    each second on the weighted normal equations, serial engine, plus 0.3 % of the size for what the spectra cannot
    resolve; C is taken as known. They also take in what the size would be, were readings of the smoother trace to lie
    between seconds of the other (the filter times :math:`1 - p + p e^{-2 \pi i f}`, p = 0.1 to 0.9) where that fits as
    well, and below, what a drift of the delay over the recording adds to the variance of the filter's weights.

    ``slope`` takes the errors of both as equal; its limits are the lower one of least squares of the device on the
    reference, right if all errors are the device's, and the upper one of least squares the other way round (Frisch
    1934). A slope of raw readings is lowered by a smoother device, this one not.

    References
    ----------
    Bendat JS, Piersol AG (2010) Random Data, 6.1 (noise at input and output); Whittle P (1953) Ark Mat 2:423; Frisch R
    (1934) Statistical Confluence Analysis (all from memory).

    Examples
    --------
    >>> import numpy as np
    >>> from agree import response_difference
    >>> rng = np.random.default_rng(1)
    >>> watts = 200 + 30 * rng.normal(size=900)
    >>> mean = np.convolve(watts, np.ones(5) / 5)[:900] + rng.normal(0, 3, 900)
    >>> found = response_difference(watts + rng.normal(0, 3, 900), mean)
    >>> found.kind, found.smoother, round(found.width_s.value), round(found.slope.value, 1)
    ('running mean', 'device', 5, 1.0)
    """
    checks.fraction(level, "level")
    if isinstance(reference, Pairs):
        if device is not None or time is not None:
            raise InputError("with `Pairs` neither `device` nor `time` is needed; leave them out")
        grid = telling(reference)
    else:
        grid = of_columns(reference, device, time)
    x, y = grid.reference, grid.device
    pair = transfer.cross(x, y)
    if pair.known < LEAST_SECONDS:
        raise SampleSizeError(f"at least {LEAST_SECONDS} changes from one second to the next are needed, known in "
                              f"both; got {pair.known}")
    for name, column in (("reference", pair.x), ("device", pair.y)):
        if not column.any():
            raise InputError(f"no response: `{name}` does not change from one second to the next; record a ride whose "
                             "power changes")
    if pair.correlation * math.sqrt(pair.known) < TOGETHER:
        raise InputError("no response: changes of `reference` and `device` from second to second do not go together "
                         f"within {transfer.LAGS_S} s (largest correlation {pair.correlation:.2f}): the clocks do not "
                         "match, or the power changes too slowly to tell")
    return _result(x, y, pair.lag, level)


def _result(x: FloatArray, y: FloatArray, lag: int, level: float) -> Response:
    """Choose, match and compare the scatter."""
    unit = float(np.nanmax(np.abs([x, y])))
    chosen = chosen_filter(x / unit, y / unit, level, alike=True)[1]
    blank = Estimate(value=math.nan, low=-math.inf, high=math.inf, level=level, method="")
    result = Response(kind=chosen.kind, smoother=chosen.smoother, alike=chosen.alike or (), delay_s=chosen.delay,
                      slope=blank, explained=None, scatter_before_w=0.0, scatter_after_w=0.0, level=level,
                      n=int((np.isfinite(x) & np.isfinite(y)).sum()), misfit=chosen.misfit, fits=chosen.fits,
                      between_s=chosen.part, **_sizes(chosen, chosen.fits))
    # Its limits are in W, and its answer must not change with the unit.
    bent = nonlinear_beside(Filter(result.kernel(), chosen.smoother or "device", chosen), x / unit * SPRINT_W,
                            y / unit * SPRINT_W)
    if bent is not None:
        result = _bent(result, bent, x / unit, y / unit)
    return _matched(result, chosen if bent is None else chosen._replace(ways=()), x / unit, y / unit, lag, unit)


def _sizes(chosen: Choice, fits: bool) -> dict[str, Any]:
    """Sizes by the name of their field; without limits where the kind does not fit."""
    size, second = (None if one is None else _unlimited(one, fits) for one in (chosen.size, chosen.second))
    if chosen.kind in ("running mean", "mean and lag"):
        return {"width_s": size, "time_constant_s": second, "second_constant_s": None}
    return {"width_s": None, "time_constant_s": size, "second_constant_s": second}


def _bent(result: Response, made: Filter, x: FloatArray, y: FloatArray) -> Response:
    """Response with what no linear filter has: another constant downwards, or readings held at stops.

    It fits if nothing is left between the two columns that it makes alike.
    """
    rest = choose(*made.columns(x, y), result.level, alike=False)
    fits = rest.kind == "none" and rest.fits
    result = replace(result, smoother=made.smoother, alike=(), misfit=rest.misfit, fits=fits)
    if isinstance(made.kernel, Holding) and made.choice is not None:
        found = made.choice
        return replace(result, held_s=made.kernel.seconds, kind=found.kind, delay_s=found.delay, between_s=found.part,
                       **_sizes(found, fits))
    if made.constants is None:
        return result
    up, down, late = (_unlimited(one, fits) for one in made.constants[1:])
    return replace(result, kind="uneven", width_s=None, time_constant_s=up, second_constant_s=None,
                   down_constant_s=down, delay_s=opposite(late) if made.smoother == "reference" else late)


def _unlimited(size: Estimate, fits: bool) -> Estimate:
    """A size, without limits where the kind does not fit."""
    return size if fits else replace(size, low=-math.inf, high=math.inf, method=NO_KIND)


def _matched(result: Response, chosen: Choice, x: FloatArray, y: FloatArray, lag: int, unit: float) -> Response:
    """Slope and scatter at matched response; traces in units of their largest reading."""
    riding = np.where((x == 0) & (y == 0), np.nan, 1.0)  # a line has nothing to say of coasting
    shifts = (smoothed(x, Kernel(lag + extra, np.ones(1))) for extra in range(-SHIFTS_S, SHIFTS_S + 1))
    ridden = y * riding
    trials = (line_errors(trial, ridden)[1] for trial in shifts if np.isfinite(trial * ridden).any())
    # One by one: of a long ride all at once would take the most memory of a check.
    before = min((trial for trial in trials if np.isfinite(trial).any()), key=lambda trial: float(np.nanmean(trial**2)))
    sharp, other = (y, x) if result.smoother == "reference" else (x, y)
    made = Filter(result.kernel(), result.smoother, chosen).sure(answered(sharp, result.kernel()))
    made, seen = made * riding, other * riding
    a, b = (seen, made) if result.smoother == "reference" else (made, seen)
    good = np.isfinite(a) & np.isfinite(b)
    after = line_errors(a, b)[1]
    both = np.isfinite(before) & np.isfinite(after)
    was, now = (unit * float(np.sqrt(np.mean(errors[both]**2))) for errors in (before, after))
    slope = matched_slope(a[good], b[good], result.level)
    if chosen.ways:
        slope = allowing_between(slope, chosen, sharp, other, riding)
    if not result.fits:
        slope = replace(slope, low=-math.inf, high=math.inf, method=NO_KIND)
    return replace(result, slope=slope, scatter_before_w=was, scatter_after_w=now,
                   explained=None if result.kind == "none" else explained(before, after, result.level))
