"""Published figures that rest on no data: tables, printed summaries, and errors made up to have a given mean and SD."""

import numpy as np
from scipy import special
from scipy.optimize import brentq

import agree
from agree.core.interval.engine import t_quantile
from agree.estimators.components import Part, combined
from agree.estimators.joint import joint_level
from agree.estimators.limits.agreement import exact_limit
from agree.estimators.limits.repeated import variance_and_limits
from agree.estimators.limits.tolerance import one_sided_approximation, tolerance_factor
from agree.estimators.lines.linearity import chance_of_cusum
from agree.verdict.rule import conformance_probability
from agree.verdict.sessions import session_effects


def made(n, mean=0.0):
    """Return n errors with this mean and an SD of 1, in no order that looks dependent."""
    errors = np.random.default_rng(n).normal(size=n)
    return mean + (errors - errors.mean()) / errors.std(ddof=1)


def limits_of_made_errors(call, figure):
    """Limits of errors with mean 0 and SD 1; the outer end of one is the one-sided factor."""
    errors = made(figure["n"])
    return agree.limits_of_agreement(np.zeros(errors.size), errors, coverage=2 * figure["content"] - 1,
                                     level=2 * figure["confidence"] - 1)


def index_of_made_errors(call, figure):
    """Deviation index of errors with mean 0 and SD 1."""
    errors = made(figure["n"])
    return agree.deviation_index(np.zeros(errors.size), errors, coverage=figure["content"])


def share_of_made_errors(call, figure):
    """Share of errors that lie below a limit, `factor` SDs above their mean and far from the other one."""
    errors = made(figure["n"], 1000 - figure["factor"])
    return agree.coverage_probability(np.zeros(errors.size), errors, limit=1000.0, level=2 * figure["confidence"] - 1)


def ranks(call, figure):
    """Quantile limits of the numbers 1 to n, shuffled."""
    n = figure["n"]
    numbers = 1.0 + np.random.default_rng(n).permutation(n)
    return agree.quantile_limits(np.zeros(n), numbers, tails="usual", **call["options"])


def _least(finite, figure):
    """Least number for which `finite` holds, by doubling and halving: once it holds it goes on holding.

    The print is tried first, with the number below it, to save time.
    """
    printed = int(figure["printed"])
    if finite(printed) and not finite(printed - 1):
        return float(printed)
    low, high = figure["rank"] + 1, 16 * figure["rank"]
    while not finite(high):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if finite(middle) else (middle, high)
    return float(high)


def least_pairs(call, figure):
    """Least number of readings of which the one of this rank from above is the upper limit of a quantile."""
    coverage, level = 2 * figure["content"] - 1, 2 * figure["confidence"] - 1

    def finite(n):
        numbers = 1.0 + np.random.default_rng(n).permutation(n)
        found = agree.quantile_limits(np.zeros(n), numbers, coverage=coverage, level=level, tails="usual")
        return found.upper.high <= n - figure["rank"] + 1

    return _least(finite, figure)


def least_pairs_of_index(call, figure):
    """The same by the deviation index of errors of any distribution."""
    def finite(n):
        numbers = 1.0 + np.random.default_rng(n).permutation(n)
        found = agree.deviation_index(np.zeros(n), numbers, coverage=figure["content"], distribution="any",
                                      level=2 * figure["confidence"] - 1)
        return found.index.high <= n - figure["rank"] + 1

    return _least(finite, figure)


def least_pairs_of_share(call, figure):
    """The same by the share of counted errors within a limit, one fewer outside than the rank."""
    def finite(n):
        counts = {"n": n, "hits": n - figure["rank"] + 1}
        return share_of_counts(call, counts, level=2 * figure["confidence"] - 1).probability.low >= figure["content"]

    return _least(finite, figure)


def share_of_counts(call, figure, level=0.95):
    """Share of errors within a limit, by count: `hits` of n."""
    outside = figure["n"] - figure["hits"]
    errors = np.zeros(figure["n"])
    errors[np.arange(outside) * figure["n"] // max(outside, 1)] = 1.0  # far from each other, so that none are alike
    return agree.coverage_probability(np.zeros(errors.size), errors, limit=0.5, distribution="any",
                                      level=level)


def wilson(hits, n, level=0.95):
    """Value and limits of a share (Wilson 1927)."""
    z = t_quantile(level, np.inf)
    middle, half = hits + z * z / 2, z * np.sqrt(hits * (1 - hits / n) + z * z / 4)
    return hits / n, (middle - half) / (n + z * z), (middle + half) / (n + z * z)


def difference_of_shares(call, figure):
    """Difference of two shares by the rule that adds mean squares elsewhere."""
    a, m, b, n = figure["counts"]
    value, low, high = wilson(b, n)
    return combined([wilson(a, m), (-value, -high, -low)])


def critical_cusum(call, figure):
    """Cusum that chance exceeds with this probability."""
    return brentq(lambda z: chance_of_cusum(z) - figure["p"], 0.1, 5)


def bend_of_sides(call, figure):
    """Test of linearity of points that lie as often above a line as below, `ahead` more of them above all along it."""
    above = [1] * figure["ahead"] + [-1, 1] * (figure["below"] - figure["ahead"]) + [-1] * figure["ahead"]
    reference = np.arange(1.0, len(above) + 1)
    line = agree.passing_bablok(reference, reference, sampling="independent")
    return agree.linearity(reference, reference + 0.1 * np.array(above), line=line, sampling="independent")


def law_of_cusum(call, figure):
    """Probability that the cusum stays below."""
    return 1 - chance_of_cusum(figure["z"])


def widest_of_many(call, figure):
    """Critical value of so many independent intervals at once, from the function that joint bands use."""
    return t_quantile(joint_level(np.eye(figure["count"]), np.inf, 0.95), np.inf)


def normed_residual_of_odd_session(call, figure):
    """Distance from the mean of all, in their SD, from which one session of n is odd beside the others."""
    rest = made(figure["n"] - 1)

    def odd(value):
        sessions = [agree.Estimate(value=item, low=item, high=item, level=0.95, method="made",
                                   standard_error=0.0) for item in (*rest, value)]
        return figure["n"] - 1 in session_effects(sessions).odd

    low, high = 0.0, 100.0
    for _ in range(24):
        middle = (low + high) / 2
        low, high = (low, middle) if odd(middle) else (middle, high)
    values = np.r_[rest, high]
    return (high - values.mean()) / values.std(ddof=1)


def exact_factor(call, figure):
    """Ends of the exact interval of mean + z sd with mean 0 and sd 1; each tail holds 1 - confidence."""
    z = figure.get("z") or float(special.ndtri(figure["content"]))
    return exact_limit(0.0, 1.0, figure["n"], z, 1 - 2 * (1 - figure["confidence"]))


def factor(call, figure):
    """Tolerance factor."""
    return tolerance_factor(figure["n"], figure["content"], figure["confidence"], **call["options"])


def approximate_factor(call, figure):
    """Parts of an approximate one-sided factor."""
    return one_sided_approximation(figure["n"], figure["content"], figure["confidence"])


def repeated_summary(call, figure):
    """SD of a single difference and limits from a printed bias and its [coefficient, mean square, df]."""
    bias = agree.Estimate(value=call["bias"], low=call["bias"], high=call["bias"], level=0.95, method="printed")
    return variance_and_limits(bias, [Part(*part) for part in call["parts"]], 1.96, 0.95)


def conformance(call, figure):
    """Probability within an interval, moved so that it is centred on 0."""
    low, high = figure["interval"]
    return conformance_probability(figure["at"] - (low + high) / 2, figure["u"], (high - low) / 2)


def least_reading(call, figure):
    """Reading at which the probability of a true value above the limit reaches the confidence."""
    limit = figure["limit"]

    def lacking(reading):
        within = conformance(call, {"interval": [-limit, limit], "at": reading, "u": figure["relative_u"] * reading})
        return 1 - within - figure["confidence"]

    return brentq(lacking, limit, 2 * limit)


WITHOUT_DATA = {
    "exact_limit": exact_factor, "tolerance_factor": factor, "one_sided_approximation": approximate_factor,
    "conformance": conformance, "least_reading": least_reading, "repeated_summary": repeated_summary,
} | {function.__name__: function for function in (
    limits_of_made_errors, index_of_made_errors, share_of_made_errors, ranks, least_pairs, least_pairs_of_index,
    least_pairs_of_share, share_of_counts, difference_of_shares, critical_cusum, law_of_cusum, bend_of_sides,
    widest_of_many, normed_residual_of_odd_session)}
