"""Prints in another form than the package's own: what the paper printed, worked out of what a function gives."""

from itertools import combinations
from types import SimpleNamespace

import numpy as np
from scipy import special

import agree
from agree.core.interval.engine import t_quantile
from agree.study.statistics.many_units import q_profile
from agree.verdict.sessions import pooled


def split(columns, call):
    """Error variances of three devices and the variances of their differences, all with the divisor n.

    Grubbs's variance of a device is the covariance of its differences from the other two.
    """
    names = call["devices"]
    found = agree.split_errors(*(columns[name] for name in names), names=names)
    variance = np.array(found.variance) * (found.n - 1) / found.n
    return SimpleNamespace(
        **dict(zip(names, variance, strict=True)), mean=float(np.mean(found.variance)),
        sums={f"{i}{j}": variance[names.index(i)] + variance[names.index(j)] for i, j in combinations(names, 2)},
        bias={f"{item.second}-{item.first}": item.bias.value for item in found.contrasts}
        | {f"{item.first}-{item.second}": -item.bias.value for item in found.contrasts})


def with_replicates(columns, call):
    """Deming's line of means, at the ratio that two readings about each mean give, in the units of the columns.

    The readings lie `steps` on either side of the mean; the device is read in units of which `unit` make one.
    """
    x, y = columns[call["reference"]], columns[call["device"]] * call["unit"]
    steps = np.array([[-1.0], [1.0]])
    apart = [value + steps * step for value, step in zip((x, y), call["steps"], strict=True)]
    ratio = agree.variance_ratio(*(item.T for item in apart)).ratio.value
    line = agree.deming(*(item.mean(axis=0) for item in apart), error_variance_ratio=ratio)
    return SimpleNamespace(ratio=ratio, slope=line.slope.value / call["unit"],
                           intercept=line.intercept.value / call["unit"])


def replicates(columns, call):
    """SD of the difference of two readings by either device."""
    rows = [np.stack([columns[name] for name in call[side]], axis=1) for side in ("reference", "device")]
    found = agree.variance_ratio(*rows)
    return SimpleNamespace(reference=found.sd_reference * 2**0.5, device=found.sd_device * 2**0.5)


def influence_of_correlation(columns, call):
    """Standard error of a correlation from the interval of `concordance`, with the divisor n of the delta method."""
    found = agree.concordance(columns[call["reference"]], columns[call["device"]])
    low, high = np.arctanh([found.precision.low, found.precision.high])
    on_z = (high - low) / 2 / t_quantile(0.95, found.n - 1)
    return SimpleNamespace(error=on_z * (1 - found.precision.value**2) * ((found.n - 1) / found.n) ** 0.5)


def _log_ratios(columns, measure):
    """Log ratios and variances of a events among n against c among m; None if there are more events than people."""
    a, n, c, m = (columns[name] for name in ("a", "n", "c", "m"))
    if not ((a > 0) & (a < n) & (c > 0) & (c < m)).all():
        return None
    if measure == "relative risk":  # variances smoothed over trials
        return np.log(a / n / (c / m)), sum(((t - k) / k).mean() / t for k, t in ((a, n), (c, m)))
    return np.log(a * (m - c) / (c * (n - a))), 1 / a + 1 / (n - a) + 1 / c + 1 / (m - c)


def log_ratios(columns, call):
    """Random-effects mean of log ratios and the variance between trials, as sessions are put together."""
    found = _log_ratios(columns, call["measure"])
    if found is None:
        return SimpleNamespace(mean=np.nan, error=np.nan, between=np.nan, tau=np.nan)
    mean, between = pooled(*found, 0.95)
    return SimpleNamespace(mean=mean.value, error=mean.standard_error, between=between, tau=between**0.5)


def equal_groups(columns, call):
    """Random-effects mean of values that are known alike, far better than they differ."""
    values = columns[call["values"]]
    return pooled(values, np.full(values.size, 1e-6 * values.var()), 0.95)[0]


def q_profile_of_odds(columns, call):
    """Interval of the variance between log odds ratios."""
    found = _log_ratios(columns, "odds ratio")
    if found is None:
        return SimpleNamespace(low=np.nan, high=np.nan)
    low, high = (q_profile(*found, float(special.chdtri(found[0].size - 1, p))) for p in (0.025, 0.975))
    return SimpleNamespace(low=low, high=high)


FORMS = {function.__name__: function for function in (
    split, with_replicates, replicates, influence_of_correlation, log_ratios, equal_groups, q_profile_of_odds)}
