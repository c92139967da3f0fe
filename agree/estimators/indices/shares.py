"""Numerics of the deviation index and the share within a limit: normal errors, or any."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from agree.core.checks import FloatArray
from agree.core.interval.engine import estimate, spread, t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import mean_over
from agree.estimators.limits.ordered import ordered
from agree.estimators.limits.tolerance import half_width
from agree.estimators.pivots import PIVOTAL, least_sd_about_zero, pivots_of_errors
from agree.estimators.scales import transformed

FARTHEST = 1e100  # times the largest error: no limit, and no logarithm of odds, is further off
CERTAIN = 1e8  # standard deviations from the nearer limit at which a share is 0 or 1 for all purposes


def _moments(error: FloatArray) -> tuple[float, float, FloatArray, FloatArray]:
    """Mean, SD, and their influences; safe at 1e-300 and 1e300."""
    mean = float(error.mean())
    centred = error - mean
    unit = float(np.abs(centred).max())
    if unit <= 4 * np.finfo(float).eps * abs(mean):  # of rounding size only
        return mean, 0.0, np.zeros(error.size), np.zeros(error.size)
    square = (centred / unit) ** 2
    variance = float(square.sum()) / (error.size - 1)
    return mean, unit * math.sqrt(variance), centred, unit * (square - variance) / (2 * math.sqrt(variance))


def normal_index(error: FloatArray, p: float, options: dict[str, Any]) -> Estimate:
    """Root k of Phi((k - m)/s) - Phi((-k - m)/s) = p; serial, interval of log k by implicit differentiation.

    Where the mean is near 0 the pairs of mean and SD give a low end that is too high: whichever sign chance gives the
    mean, the index is that much greater. Errors of mean 0 have an exact low end, z_p times the least SD about 0; the
    lower of the two errs no more than either, and one of them is right for every mean.
    """
    mean, sd, d_mean, d_sd = _moments(error)
    if sd == 0:
        return estimate(abs(mean), d_mean, **options)
    if options["sampling"] != "serial":
        both = pivots_of_errors(error, options["session"])
        value = both.sd * float(half_width(p, np.array([both.mean / both.sd]))[0])
        values = both.sds * half_width(p, both.means / both.sds)
        item = both.interval(value, values, options["level"], _pivotal(options))
        centred = float(special.ndtri((1 + p) / 2)) * least_sd_about_zero(error, options["session"], item.level)
        return replace(item, low=min(item.low, centred))
    c = abs(mean) / sd

    def excess(t: float) -> float:
        # The share in both tails, which does not cancel.
        return 1 - p - float(special.ndtr(c - t) + special.ndtr(-t - c))

    near, far = c + float(special.ndtri(p)), c + float(special.ndtri((1 + p) / 2))
    t = float(optimize.brentq(excess, max(0.0, near) * (1 - 1e-9), far * (1 + 1e-9), xtol=1e-15 * far, rtol=1e-14))
    sign = math.copysign(1.0, mean)
    a, b = t - c, -t - c
    # Densities at both ends, as shares of their sum.
    w = 1 / (1 + math.exp((a * a - b * b) / 2))
    d_index = w * (sign * d_mean + a * d_sd) - (1 - w) * (sign * d_mean + b * d_sd)
    return transformed(estimate(math.log(t) + math.log(sd), d_index / sd / t, **options), math.exp)


def _logistic(value: float) -> float:
    return float(special.expit(value))


def _pivotal(options: dict[str, Any]) -> str:
    method = PIVOTAL if options["sampling"] == "sessions" else "generalised pivots, normal errors"
    return method + "; at least as cautious as for mean 0"


def _logit_inside(means: FloatArray, sds: FloatArray, limit: float) -> FloatArray:
    """Logarithm of P(inside) over P(outside), whatever their size, from the ends nearer and farther from the mean."""
    far, near = (-limit - np.abs(means)) / sds, (np.abs(means) - limit) / sds
    log_out = np.logaddexp(special.log_ndtr(near), special.log_ndtr(far))
    # Of Phi(-near) - Phi(far) or, what is the same, of what the two tails leave.
    upper, lower = special.log_ndtr(-near), special.log_ndtr(far)
    with np.errstate(divide="ignore"):
        log_in = upper + np.log(-np.expm1(np.minimum(lower - upper, 0.0)))
    # For a narrow limit the density at 0 times the width.
    log_in = np.where(limit < 1e-6 * sds, np.log(2 * limit) - np.log(sds) - (np.square(means / sds) +
                      math.log(2 * math.pi)) / 2, log_in)
    result: FloatArray = np.clip(log_in - log_out, -FARTHEST, FARTHEST)  # of infinite ones no quantile is taken
    return result


def normal_share(error: FloatArray, limit: float, options: dict[str, Any]) -> Estimate:
    """Phi((L - m)/s) - Phi((-L - m)/s); interval on the logit scale, all in logarithms so that no tail is lost.

    Equal errors show no scatter that could be taken for normal: they are counted.
    """
    if _moments(error)[1] == 0:
        item = any_share(error, limit, options)
        return replace(item, method=item.method + ", equal errors counted")
    size = float(np.abs(error).max())
    error, limit = error / size, min(limit / size, FARTHEST)  # safe at 1e-300 and 1e300
    mean, sd, d_mean, d_sd = _moments(error)
    if options["sampling"] != "serial":
        both = pivots_of_errors(error, options["session"])
        value = float(_logit_inside(np.array([both.mean]), np.array([both.sd]), limit)[0])
        item = both.interval(value, _logit_inside(both.means, both.sds, limit), options["level"], _pivotal(options))
        centred = least_sd_about_zero(error, options["session"], item.level)  # as for the index, turned round
        high = max(item.high, float(_logit_inside(np.zeros(1), np.array([centred]), limit)[0]))
        return replace(item, value=_logistic(item.value), low=_logistic(item.low), high=_logistic(high))
    ends = np.array([mean - limit, -limit - mean]) / sd  # P(outside) = Phi(first) + Phi(second)
    if not np.isfinite(ends).all() or np.abs(ends).min() > CERTAIN:
        return estimate(float(abs(mean) <= limit), np.zeros(error.size), **options)
    log_out = float(special.logsumexp(special.log_ndtr(ends)))
    c, reach = abs(mean) / sd, limit / sd
    if reach < 1e-6:  # the density at 0 times the width
        d_log = (c * c - 1) * d_sd / sd - c * math.copysign(1.0, mean) * d_mean / sd
        value = math.log(2 * reach) - (c * c + math.log(2 * math.pi)) / 2
        missed = -math.expm1(value)
        return transformed(estimate(value - math.log(missed), d_log / missed, **options), _logistic)
    near, far = (float(special.log_ndtr(end - c)) for end in (reach, -reach))
    log_in = near + math.log(-math.expm1(far - near))
    density = np.exp(-ends**2 / 2 - math.log(2 * math.pi) / 2 - log_out - log_in)
    d_ends = np.stack(((d_mean - ends[0] * d_sd) / sd, (-d_mean - ends[1] * d_sd) / sd))
    item = estimate(log_in - log_out, -(density @ d_ends), **options)
    return transformed(item, _logistic)


def _effective(error: FloatArray, inside: NDArray[np.bool_], options: dict[str, Any]) -> float:
    """Effective number of pairs, after Korn & Graubard (1998), Surv Methodol 24:193 (citation from memory).

    Pairs over the inflation of the variance of a mean, with the t quantile's excess over the normal one taken off.
    The inflation is the larger of that of the errors and of their lying inside: with all inside the latter says
    nothing.
    """
    if options["sampling"] == "independent":
        return float(error.size)
    inflation, level = 1.0, options["level"]
    for series in (error, inside.astype(float)):
        centred = series - series.mean()
        alone = spread(centred, "independent").standard_error
        whole = spread(centred, options["sampling"], options["session"])
        if alone > 0:
            inflation = max(inflation, (whole.standard_error / alone) ** 2)
    return error.size / inflation * (t_quantile(level, math.inf) / t_quantile(level, whole.df)) ** 2


def _method(number: float, options: dict[str, Any], n: int) -> str:
    if options["sampling"] == "independent":
        return "exact, binomial"
    return f"binomial, {number:.1f} effective of {n} pairs ({options['sampling']})"


def any_share(error: FloatArray, limit: float, options: dict[str, Any]) -> Estimate:
    """Share inside, with binomial limits (Clopper & Pearson 1934)."""
    inside = np.abs(error) <= limit
    share = float(inside.all()) if inside.all() or not inside.any() else mean_over(options["session"])(
        inside.astype(float))
    number, tail = _effective(error, inside, options), (1 - options["level"]) / 2
    hit, missed = share * number, (1 - share) * number
    return Estimate(value=share, low=float(special.betaincinv(hit, missed + 1, tail)) if share > 0 else 0.0,
                    high=float(special.betaincinv(hit + 1, missed, 1 - tail)) if share < 1 else 1.0,
                    level=options["level"], method=_method(number, options, error.size))


def any_index(error: FloatArray, p: float, options: dict[str, Any]) -> Estimate:
    """Order statistic of the absolute errors; limits are those whose ranks bound a binomial count.

    Independent pairs: exact (Hahn & Meeker 1991, section 5.2, citation from memory); else with the effective number.
    Where even the largest error does not bound the index, the upper limit is infinite.
    """
    size = ordered(np.abs(error), options["session"])
    value, tail = size.first(p), (1 - options["level"]) / 2
    number = _effective(error, np.abs(error) <= value, options)
    return Estimate(value=value, low=min(max(size.low(p, number, tail), 0.0), value),
                    high=max(size.high(p, number, tail), value), level=options["level"],
                    method=_method(number, options, error.size))
