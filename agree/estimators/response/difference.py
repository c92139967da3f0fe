"""How much more smoothly one of two devices answers than the other, and pairs freed from that."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.data.fault import NO_FAULT
from agree.core.data.matched import Matched
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.estimators.response import transfer
from agree.estimators.response.choice import choose, explained, line_errors, opposite
from agree.estimators.response.kernels import Kernel, kernel, smoothed
from agree.estimators.response.matched_slope import allowing_between, matched_slope
from agree.estimators.response.matching import LEAST_SECONDS, Filter, reasons
from agree.estimators.response.unbroken import of_columns, of_pairs

SHIFTS_S = 16          # whole-second delays tried for the scatter without a filter


@made_by("response_difference", also=("Pairs",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Response(Result):
    """Difference in response of two devices.

    Attributes
    ----------
    kind : {"none", "running mean", "first order"}
        How the smoother trace is made from the other.
    smoother : {"", "device", "reference"}
        Which trace is the smoother.
    width_s : Estimate or None
        Width of the running mean, s; interval by the serial engine.
    time_constant_s : Estimate or None
        Time constant of the lag, s.
    alike : tuple of str
        Models that the data cannot distinguish from the one named, such as "first-order lag of the device". With kind
        "none": those among a 3-s mean and a lag of 1 s that would not have been seen.
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
        The model describes the difference; False where its misfit is above 1.8, as with a response that varies.

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

    def kernel(self) -> Kernel:
        """Weights that make the smoother trace of the other, or without a filter the delay in whole seconds."""
        delay = self.delay_s
        if self.smoother == "reference":
            delay = opposite(delay)
        return kernel(self.kind, self.width_s or self.time_constant_s, delay)


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
    that both devices have in common. It knows two kinds: a running mean, trailing or not (that is a matter of delay),
    and a first-order lag.

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
    spectrum left (Whittle's likelihood), with either trace as x. A filter is named if it is better than none by 20 in
    twice the log-likelihood and W is at least 1.5 s or tau 0.3 s. Intervals: the influence of each
    second on the weighted normal equations, serial engine, plus 0.3 % of the size for what the spectra cannot
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
        grid = of_pairs(reference)
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
    if pair.correlation * math.sqrt(pair.known) < transfer.TOGETHER:
        raise InputError("no response: changes of `reference` and `device` from second to second do not go together "
                         f"within {transfer.LAGS_S} s (largest correlation {pair.correlation:.2f}): the clocks do not "
                         "match, or the power changes too slowly to tell")
    return _result(x, y, pair.lag, level)


def _result(x: FloatArray, y: FloatArray, lag: int, level: float) -> Response:
    """Choose, match and compare the scatter."""
    unit = float(np.nanmax(np.abs([x, y])))
    x, y = x / unit, y / unit
    riding = np.where((x == 0) & (y == 0), np.nan, 1.0)  # a line has nothing to say of coasting
    chosen = choose(x, y, level)
    mean, lagged = (chosen.size if chosen.kind == kind else None for kind in ("running mean", "first order"))
    shifts = [smoothed(x, Kernel(lag + extra, np.ones(1))) for extra in range(-SHIFTS_S, SHIFTS_S + 1)]
    trials = [line_errors(trial, y * riding)[1] for trial in shifts]
    before = min((trial for trial in trials if np.isfinite(trial).any()), key=lambda trial: float(np.nanmean(trial**2)))
    blank = Estimate(value=math.nan, low=-math.inf, high=math.inf, level=level, method="")
    result = Response(kind=chosen.kind, smoother=chosen.smoother, width_s=mean, time_constant_s=lagged,
                      alike=chosen.alike or (), delay_s=chosen.delay, slope=blank, explained=None, scatter_before_w=0.0,
                      scatter_after_w=0.0, n=int((np.isfinite(x) & np.isfinite(y)).sum()), level=level,
                      misfit=chosen.misfit, fits=chosen.fits)
    sharp, other = (y, x) if chosen.smoother == "reference" else (x, y)
    sharp = smoothed(sharp, result.kernel())
    sharp, other = sharp * riding, other * riding
    a, b = (other, sharp) if chosen.smoother == "reference" else (sharp, other)
    good = np.isfinite(a) & np.isfinite(b)
    after = line_errors(a, b)[1]
    both = np.isfinite(before) & np.isfinite(after)
    was, now = (unit * float(np.sqrt(np.mean(errors[both]**2))) for errors in (before, after))
    slope = matched_slope(a[good], b[good], level)
    if chosen.between is not None:
        slope = allowing_between(slope, chosen, *((y, x) if chosen.smoother == "reference" else (x, y)), riding)
    return replace(result, slope=slope,
                   explained=None if chosen.kind == "none" else explained(before, after, level),
                   scatter_before_w=was, scatter_after_w=now)


def match_response(pairs: Pairs, response: Response | None = None) -> Pairs:
    """Return pairs whose matched columns have one response: the sharper trace is smoothed and moved like the other.

    `pair_recordings` does this by itself. Use it for pairs that you made from arrays.

    Parameters
    ----------
    pairs : Pairs
        Two recordings.
    response : Response, optional
        What `response_difference` found on these pairs, or on others of the same devices; found anew if not given.

    Returns
    -------
    Pairs
        A copy with ``.matched``; ``.reference`` and ``.device`` stay as recorded. Coasting counts as 0 W. A second that
        draws on one that is missing gets the reason "beside_gap", one that draws on a faulty one "beside_fault"; all
        others keep their reason, but those in which one matched column shows power do not count as both coasting.

    Raises
    ------
    InputError
        Something other than `Pairs` or `Response`; and as `response_difference`.
    SampleSizeError
        As `response_difference`.

    See Also
    --------
    response_difference : Find the difference that is taken out.
    pair_recordings : Does this for recordings by itself.

    References
    ----------
    As for `response_difference`.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs, match_response
    >>> watts = 200 + 30 * np.random.default_rng(1).normal(size=900)
    >>> pairs = Pairs(reference=watts, device=np.convolve(watts, np.ones(3) / 3)[:900])
    >>> matched = match_response(pairs)
    >>> error = (matched.matched_device - matched.matched_reference)[matched.used]
    >>> matched.counts()["beside_gap"], bool(abs(error).max() < 1e-9)
    (2, True)
    """
    if not isinstance(pairs, Pairs):
        raise InputError(f"`pairs` must be `Pairs`; got {type(pairs).__name__}", option="pairs")
    found = response_difference(pairs) if response is None else response
    if not isinstance(found, Response):
        raise InputError(f"`response` must come from `response_difference`; got {type(found).__name__}",
                         option="response")
    size = found.width_s or found.time_constant_s
    made = Filter(found.kernel(), found.smoother or "device", None)
    grid, sound = of_pairs(pairs, every=True), of_pairs(pairs)
    record, clean = made.columns(grid.reference, grid.device), made.columns(sound.reference, sound.device)
    sign = -1.0 if found.smoother == "reference" else 1.0
    matched = Matched(
        reference=record[0][grid.place], device=record[1][grid.place], kind=found.kind, smoother=found.smoother,
        size_s=math.nan if size is None else size.value, size_se_s=math.nan if size is None else size.standard_error,
        size_low_s=math.nan if size is None else size.low, size_high_s=math.nan if size is None else size.high,
        delay_s=found.delay_s.value, mean_delay_s=sign * made.mean_delay, misfit=found.misfit, fits=found.fits)
    aside = np.where(np.isin(pairs.reason, NO_FAULT), "", pairs.reason)
    reason = reasons(aside, (pairs.reference, pairs.device), (clean[0][grid.place], clean[1][grid.place]),
                     (matched.reference, matched.device))
    return replace(pairs, matched=matched, reason=reason)
