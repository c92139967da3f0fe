"""One contract over all estimators: what comes of bad and degenerate input, with the whole text of each error."""

import dataclasses
import json
import math
import pickle

import numpy as np
import pytest

import agree
from agree import InputError, SampleSizeError, bias_by_band, deming, limits_of_agreement, passing_bablok
from tests.each import each


def bands(x, y, **options):
    return bias_by_band(x, y, edges=[-math.inf, math.inf], scale="difference", **options)


def equivalent(x, y, **options):
    """Test at 95 % on each side, which shows the 90 % interval."""
    options["level"] = 0.95 if options.get("level", 0.9) == 0.9 else options["level"]
    return agree.equivalence(x, y, margin=3, **options)


def york(x, y, **options):
    """Scaled by the scatter where that is allowed, so that no scatter means no width."""
    scaled = options.get("sampling", "independent") == "independent"
    return agree.york(x, y, u_reference=3, u_device=[3.0] * len(x), scaled=scaled, **options)


def curve(x, y, **options):
    return agree.bias_curve(x, y, knots=2, scale="difference", at=[150, 250], **options)


ESTIMATORS = {
    "york": york,
    "equivariant": lambda x, y, **options: passing_bablok(x, y, equivariant=True, **options),
    "linearity": agree.linearity,
    "curve": curve,
    "bands_jointly": lambda x, y, **options: bands(x, y, joint=True, pool=True, **options),
    "limits": limits_of_agreement,
    "deming": deming,
    "proportional": lambda x, y, **options: deming(x, y, weighting="proportional", **options),
    "passing_bablok": passing_bablok,
    "bands": bands,
    "concordance": agree.concordance,
    "deviation_index": agree.deviation_index,
    "deviation_index_any": lambda x, y, **options: agree.deviation_index(x, y, distribution="any", **options),
    "coverage_probability": lambda x, y, **options: agree.coverage_probability(x, y, limit=4, **options),
    "coverage_probability_any": lambda x, y, **options: agree.coverage_probability(x, y, limit=4, distribution="any",
                                                                                   **options),
    "tolerance": agree.tolerance_limits,
    "regression_limits": agree.regression_limits,
    "quantile_limits": agree.quantile_limits,
    "look": agree.look_at_errors,
    "equivalence": equivalent,
}
EVERY = each("fit", ESTIMATORS.values(), ids=ESTIMATORS.keys())
X = [100.0, 150, 200, 250, 300, 350, 220, 180]
Y = [103.0, 151, 208, 254, 312, 357, 221, 186]
NAN, INF = math.nan, math.inf


def message(fit, x, y, error=InputError, **options):
    with pytest.raises(error) as caught:
        fit(x, y, **options)
    assert type(caught.value) is error
    return str(caught.value)


def estimates(result):
    """All estimates in a result."""
    if isinstance(result, agree.BandBias):
        return [item for band in result.bands for item in (band.bias, band.joint, band.pooled) if item]
    if isinstance(result, agree.BiasCurve):
        return [agree.Estimate(value=float(v), low=float(low), high=float(high), level=result.level,
                               method=result.method)
                for pair in ((result.low, result.high), (result.joint_low, result.joint_high))
                for v, low, high in zip(result.value, *pair, strict=True)]
    fields = (getattr(result, field.name) for field in dataclasses.fields(result))
    return [item for item in fields if isinstance(item, agree.Estimate)]


def put(values, *changes):
    values = list(values)
    for index, value in changes:
        values[index] = value
    return values


@EVERY
@each(("x", "y", "text"), [
    (put(X, (2, NAN), (5, NAN)), Y,
     "`reference` holds 2 NaN, first at index 2, 5; remove them or pass nan_policy='omit'"),
    (X, put(Y, (0, NAN)), "`device` holds 1 NaN, first at index 0; remove them or pass nan_policy='omit'"),
    (X, put(Y, (7, INF)), "`device` holds 1 infinite value(s), first at index 7; remove them"),
    (put(X, (1, -INF)), Y, "`reference` holds 1 infinite value(s), first at index 1; remove them"),
    (X[:-1], Y, "`reference` and `device` must have equal lengths; got 7 and 8"),
    (X, Y[:2], "`reference` and `device` must have equal lengths; got 8 and 2"),
    (X, np.reshape(Y, (4, 2)), "`device` must be one-dimensional; got shape (4, 2)"),
    (X, put(Y, (3, "12,5")), "`device` must hold numbers; could not convert string to float: '12,5'"),
])
def test_readings_that_cannot_be_used(fit, x, y, text):
    assert message(fit, x, y) == text


@each("fit", [limits_of_agreement, deming, passing_bablok], ids=["limits", "deming", "passing_bablok"])
@each(("x", "y", "text"), [
    ([X], [Y], "`reference` must be one-dimensional; got shape (1, 8)"),
    (200.0, 201.0, "`reference` must be one-dimensional; got shape ()"),
    (put(X, (0, "abc")), Y, "`reference` must hold numbers; could not convert string to float: 'abc'"),
])
def test_reference_that_is_no_column_of_numbers(fit, x, y, text):
    assert message(fit, x, y) == text


@EVERY
@each("n", [0, 1, 2])
def test_too_few_pairs(fit, n):
    assert message(fit, X[:n], Y[:n], SampleSizeError) == f"at least 3 pairs are needed; got {n}"


@EVERY
def test_too_few_pairs_after_omitting(fit):
    text = message(fit, [100, 200, NAN], [101, 202, 303], SampleSizeError, nan_policy="omit")
    assert text == "at least 3 pairs are needed; got 2"


@EVERY
@each(("options", "text"), [
    ({"level": 95}, "`level` must be a fraction between 0 and 1, such as 0.95; got 95; did you mean 0.95?"),
    ({"level": 1.0}, "`level` must be a fraction between 0 and 1, such as 0.95; got 1.0"),
    ({"level": 0}, "`level` must be a fraction between 0 and 1, such as 0.95; got 0"),
    ({"level": "0.95"}, "`level` must be a fraction between 0 and 1, such as 0.95; got '0.95'"),
    ({"sampling": "iid"}, "`sampling` must be one of 'independent', 'serial', 'sessions'; got 'iid'"),
    ({"nan_policy": "drop"}, "`nan_policy` must be one of 'raise', 'omit'; got 'drop'"),
    ({"sampling": "sessions"}, "`session` is needed with sampling='sessions': one label for each pair"),
    ({"sampling": "sessions", "session": [1, 2, 1]},
     "`session` must have one label for each pair; got shape (3,) for 8 pairs"),
])
def test_options_that_cannot_be_used(fit, options, text):
    assert message(fit, X, Y, **options) == text


@EVERY
def test_one_session_is_too_few(fit):
    text = message(fit, X, Y, SampleSizeError, sampling="sessions", session=[1] * 8)
    assert text == ("sampling='sessions' needs at least 2 sessions; got 1: record another, or use sampling='serial' "
                    "and speak of this recording only")


@pytest.mark.parametrize(("fit", "options", "text"), [
    (limits_of_agreement, {"scale": "ratio"},
     "`scale` must be one of 'difference', 'percent', 'log'; got 'ratio'"),
    (limits_of_agreement, {"interval": "normal"},
     "`interval` must be one of 'exact', 'robust', 'approximate'; got 'normal'"),
    (limits_of_agreement, {"coverage": 95},
     "`coverage` must be a fraction between 0 and 1, such as 0.95; got 95; did you mean 0.95?"),
    (deming, {"weighting": "none"}, "`weighting` must be one of 'constant', 'proportional'; got 'none'"),
    (deming, {"error_variance_ratio": 0}, "`error_variance_ratio` must be a positive number; got 0"),
    (agree.deviation_index, {"scale": "log"}, "`scale` must be one of 'difference', 'percent'; got 'log'"),
    (agree.deviation_index, {"distribution": "t"}, "`distribution` must be one of 'normal', 'any'; got 't'"),
    (agree.deviation_index, {"coverage": 1}, "`coverage` must be a fraction between 0 and 1, such as 0.95; got 1"),
    (agree.coverage_probability, {"limit": -2}, "`limit` must be a positive number; got -2"),
    (bias_by_band, {"edges": [0, 500], "scale": "log"}, "`scale` must be one of 'percent', 'difference'; got 'log'"),
    (bias_by_band, {"edges": [0, 0]}, "`edges` must be at least two increasing numbers; got [0.0, 0.0]"),
    (bias_by_band, {"edges": "ab"}, "`edges` must hold numbers; could not convert string to float: 'ab'"),
])
def test_own_options_that_cannot_be_used(fit, options, text):
    assert message(fit, X, Y, **options) == text


@EVERY
def test_options_are_keywords_only(fit):
    with pytest.raises(TypeError):
        fit(X, Y, 0.95)


@EVERY
@each("sampling", ["independent", "serial", "sessions"])
def test_omit_equals_leaving_the_pairs_out(fit, sampling):
    session = [1, 1, 2, 2, 3, 3, 4, 4]
    kept = [0, 2, 3, 4, 6, 7]
    holed = fit(put(X, (1, NAN)), put(Y, (5, NAN)), sampling=sampling, session=session, nan_policy="omit")
    clean = fit([X[i] for i in kept], [Y[i] for i in kept], sampling=sampling, session=[session[i] for i in kept])
    for one, other in zip(estimates(holed), estimates(clean), strict=True):
        assert one.to_dict() == other.to_dict()


@EVERY
@each("sampling", ["independent", "serial", "sessions"])
def test_a_good_fit(fit, sampling):
    session = [1, 1, 2, 2, 3, 3, 4, 4]
    before = list(X), list(Y), list(session)
    result = fit(X, Y, sampling=sampling, session=session, level=0.9)
    assert (X, Y, session) == before
    for item in estimates(result):
        assert item.low <= item.value <= item.high
        assert item.level == 0.9
        assert item.method
        assert all(isinstance(getattr(item, name), float) for name in ("value", "low", "high", "level"))


@EVERY
def test_columns_of_any_kind_give_one_answer(fit, oracle):
    pandas = oracle("pandas")
    expected = [item.to_dict() for item in estimates(fit(X, Y))]
    for kind in (tuple, np.array, pandas.Series, lambda v: np.array(v, np.float32), lambda v: np.array(v, int),
                 lambda v: np.repeat(v, 2)[::2]):
        assert [item.to_dict() for item in estimates(fit(kind(X), kind(Y)))] == expected


@EVERY
def test_the_callers_array_stays_writeable(fit):
    x, y = np.array(X), np.array(Y)
    fit(x, y)
    x[0], y[0] = 1.0, 2.0


@EVERY
def test_results_are_frozen_and_survive_pickling(fit):
    result = fit(X, Y)
    for field in ("sampling", "unknown"):
        with pytest.raises((AttributeError, TypeError)):
            setattr(result, field, "serial")
    assert pickle.loads(pickle.dumps(result)).to_dict() == result.to_dict()


@EVERY
def test_results_are_json_safe(fit):
    for data in ((X, Y), (X[:3], Y[:3])):
        text = json.dumps(fit(*data).to_dict(), allow_nan=False)
        assert json.loads(text)["sampling"] == "independent"


@EVERY
def test_reversed_time_gives_the_same_serial_interval(fit):
    rng = np.random.default_rng(2)
    x = np.rint(rng.uniform(100, 350, 64))
    y = np.rint(1.02 * x + rng.normal(0, 3, 64))
    one, other = fit(x, y, sampling="serial"), fit(x[::-1], y[::-1], sampling="serial")
    for first, second in zip(estimates(one), estimates(other), strict=True):
        assert [second.low, second.value, second.high] == pytest.approx([first.low, first.value, first.high],
                                                                        rel=1e-9, abs=1e-8)


CONSTANT = [200.0] * 6
NO_COVARIANCE = "no line: `reference` and `device` do not vary together (covariance 0); record a wider range of power"
NO_SLOPE = "no slope: every pair of readings is equal or has slope -1; record a wider range of power"
FLAT_REFERENCE = "no correlation: `reference` is 200 throughout; record a range of power"
FLAT_DEVICE, DEAD = (f"no correlation: `device` is {level} throughout; record a range of power" for level in (200, 0))
VERTICAL = "no line: the median slope is vertical; `reference` hardly varies, record a wider range"


ONE_LEVEL = ("no regression on level: every pair has the same level; use limits_of_agreement, or record a wider range "
             "of power")
NOT_RISING = ("no line: `reference` and `device` do not rise together (Kendall's tau or the median slope is 0); record "
              "a wider range of power")
NO_CURVE = "no curve: the level does not vary between its 5th and 95th percentile; record a wider range of power"
ALIKE = "the errors are all equal: there is nothing to look at; the same file twice?"


@each(("x", "y", "texts"), [
    (CONSTANT, CONSTANT, {"deming": NO_COVARIANCE, "proportional": NO_COVARIANCE, "passing_bablok": NO_SLOPE,
                          "york": NO_COVARIANCE, "equivariant": NO_SLOPE, "linearity": NO_SLOPE, "curve": NO_CURVE,
                          "regression_limits": ONE_LEVEL, "look": ALIKE, "concordance": FLAT_REFERENCE}),
    (CONSTANT, Y[:6], {"deming": NO_COVARIANCE, "proportional": NO_COVARIANCE, "passing_bablok": VERTICAL,
                       "york": NO_COVARIANCE, "equivariant": VERTICAL, "linearity": VERTICAL, "curve": NO_CURVE,
                       "concordance": FLAT_REFERENCE}),
    (X[:6], CONSTANT, {"deming": NO_COVARIANCE, "proportional": NO_COVARIANCE, "concordance": FLAT_DEVICE,
                       "york": NO_COVARIANCE, "equivariant": NOT_RISING}),
    (X[:6], [0.0] * 6, {"deming": NO_COVARIANCE, "proportional": NO_COVARIANCE, "concordance": DEAD,
                        "york": NO_COVARIANCE, "equivariant": NOT_RISING}),
    ([1.0, 2, 3], [3.0, 2, 1], {"passing_bablok": NO_SLOPE, "linearity": NO_SLOPE, "regression_limits": ONE_LEVEL,
                                "look": ONE_LEVEL}),
], ids=["both constant", "constant reference", "constant device", "dead device", "slope -1"])
@each("name", ESTIMATORS)
def test_degenerate_readings(x, y, texts, name):
    """One clear error, or finite estimates: never a warning, never NaN."""
    if name in texts:
        assert message(ESTIMATORS[name], x, y) == texts[name]
    else:
        assert all(math.isfinite(item.value) for item in estimates(ESTIMATORS[name](x, y)))


@each("sampling", ["independent", "serial", "sessions"])
@each("name", ESTIMATORS)
def test_the_same_readings_twice(name, sampling):
    """A device equal to its reference: bias 0, slope or share 1, and an interval of no width unless it only counts."""
    options = {"sampling": sampling, "session": [1, 1, 2, 2, 3, 3, 4, 4]}
    if name == "look":
        assert message(ESTIMATORS[name], X, X, **options) == ALIKE
        return
    same = np.array(X) + 2.0**-20 * np.arange(1, 9) ** 2  # readings on a grid would leave the rounding
    result = ESTIMATORS[name](same, same, **options)
    ones = [getattr(result, field, None) for field in ("slope", "probability", "concordance", "precision", "accuracy",
                                                       "scale_shift")]
    for item in estimates(result):
        expected = int(any(item is one for one in ones) and name != "regression_limits")
        assert item.value == pytest.approx(expected, abs=1e-12)
        if name == "quantile_limits":  # 8 pairs do not bound an outer quantile on its far side
            assert [item.low in (0, -INF), item.high in (0, INF)] == [True, True]
            continue
        if name.endswith("_any") or name == "coverage_probability":  # equal errors are counted
            assert item.low < item.value or item.high > item.value
            continue
        assert [item.low, item.high] == pytest.approx([expected] * 2, abs=1e-9)


@each("sampling", ["independent", "serial", "sessions"])
@EVERY
def test_massive_ties(fit, sampling):
    rng = np.random.default_rng(3)
    x = rng.choice([100.0, 200.0, 300.0], 60)
    y = x + rng.choice([-1.0, 0.0, 1.0], 60)
    for item in estimates(fit(x, y, sampling=sampling, session=np.arange(60) // 6)):
        assert item.low <= item.value <= item.high
        assert math.isfinite(item.value)
