"""An interval that rests on normal errors says so in its method, and one that does not, does not."""

import numpy as np
import pytest

import agree

RNG = np.random.default_rng(1)
SUBJECT = np.repeat(np.arange(8), 4)
LEVEL = np.repeat(RNG.normal(200, 20, 8), 4)
X, Y = LEVEL + RNG.normal(0, 2, 32), LEVEL + RNG.normal(0, 2, 32)
NORMAL = {
    "exact limits": lambda: agree.limits_of_agreement(X, Y).upper,
    "approximate limits": lambda: agree.limits_of_agreement(X, Y, interval="approximate").upper,
    "limits over sessions": lambda: agree.limits_of_agreement(X, Y, session=SUBJECT).upper,
    "repeated limits": lambda: agree.repeated_limits(X, Y, SUBJECT).upper,
    "repeatability": lambda: agree.precision(X, SUBJECT).repeatability_sd,
    "reproducibility": lambda: agree.precision(X, SUBJECT).reproducibility_sd,
    "typical error": lambda: agree.typical_error(X, Y).typical_error,
    "one way": lambda: agree.intraclass(X.reshape(8, 4)).one_way,
    "agreement": lambda: agree.intraclass(X.reshape(8, 4)).agreement,
    "repeated correlation": lambda: agree.repeated_correlation(X, Y, SUBJECT).correlation,
}
ANY = {
    "limits": lambda: agree.limits_of_agreement(X, Y, interval="robust").upper,
    "quantile limits": lambda: agree.quantile_limits(X, Y, tails="usual").upper,
    "concordance over subjects": lambda: agree.concordance(X, Y, session=SUBJECT).concordance,
    "share": lambda: agree.coverage_probability(X, Y, limit=3, distribution="any").probability,
}


@pytest.mark.parametrize("name", [*NORMAL, *ANY])
def test_the_method_says_what_is_normal(name):
    assert ("normal" in {**NORMAL, **ANY}[name]().method) == (name in NORMAL)
