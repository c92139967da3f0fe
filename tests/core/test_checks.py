"""Every input check with its whole text."""

import math

import numpy as np
import pytest
from scipy import stats

import agree
from agree import AgreeError, InputError, SampleSizeError
from agree.core import checks


def message(error, function, *args, **options):
    with pytest.raises(error) as caught:
        function(*args, **options)
    assert isinstance(caught.value, AgreeError)
    assert isinstance(caught.value, ValueError)
    assert type(caught.value) is error
    assert caught.value.__suppress_context__ or caught.value.__context__ is None
    return str(caught.value)


GOOD = ([1.0, 2.0, 3.0], [1.0, 2.0, 4.0])


def test_good_columns_come_back_as_floats():
    x, y, labels = checks.columns([1, 2, 3], (True, 2, 4.5))
    assert x.dtype == y.dtype == np.float64
    assert (x.tolist(), y.tolist(), labels) == ([1, 2, 3], [1, 2, 4.5], None)


def test_labels_are_numbered_and_kept_only_for_sessions():
    assert checks.columns(*GOOD, session=[1, 1, 2]).session is None  # too few to tell that sessions differ
    assert checks.columns(*GOOD, session=["a", "a", "b"], sampling="sessions").session.tolist() == [0, 0, 1]


def test_omit_takes_pair_and_label_away():
    x, y, labels = checks.columns([1, math.nan, 3, 4, 5], [1, 2, math.nan, 4, 5], session=[1, 2, 3, 4, 5],
                                  sampling="sessions", nan_policy="omit")
    assert (x.tolist(), y.tolist(), labels.tolist()) == ([1, 4, 5], [1, 4, 5], [0, 3, 4])


NAN, INF = math.nan, math.inf


@pytest.mark.parametrize(("x", "y", "options", "text"), [
    (["a", 2, 3], GOOD[1], {}, "`reference` must hold numbers; could not convert string to float: 'a'"),
    (GOOD[0], [[1, 2, 3]], {}, "`device` must be one-dimensional; got shape (1, 3)"),
    (5.0, GOOD[1], {}, "`reference` must be one-dimensional; got shape ()"),
    (GOOD[0], [1, 2], {}, "`reference` and `device` must have equal lengths; got 3 and 2"),
    (GOOD[0], [1, INF, -INF], {}, "`device` holds 2 infinite value(s), first at index 1, 2; remove them"),
    ([1, NAN, 3], GOOD[1], {},
     "`reference` holds 1 NaN, first at index 1; remove them or pass nan_policy='omit'"),
    ([NAN] * 7, [1.0] * 7, {},
     "`reference` holds 7 NaN, first at index 0, 1, 2, 3, 4, ...; remove them or pass nan_policy='omit'"),
    (*GOOD, {"sampling": "blocks"},
     "`sampling` must be one of 'independent', 'serial', 'sessions'; got 'blocks'"),
    (*GOOD, {"nan_policy": "drop"}, "`nan_policy` must be one of 'raise', 'omit'; got 'drop'"),
    (*GOOD, {"sampling": "sessions"},
     "`session` is needed with sampling='sessions': one label for each pair"),
    (*GOOD, {"sampling": "sessions", "session": [1, 2]},
     "`session` must have one label for each pair; got shape (2,) for 3 pairs"),
])
def test_bad_columns(x, y, options, text):
    assert message(InputError, checks.columns, x, y, **options) == text


@pytest.mark.parametrize(("x", "y", "options", "text"), [
    ([], [], {}, "at least 3 pairs are needed; got 0"),
    ([1, 2], [1, 2], {}, "at least 3 pairs are needed; got 2"),
    ([1, 2, NAN], [1, 2, 3], {"nan_policy": "omit"}, "at least 3 pairs are needed; got 2"),
    (*GOOD, {"sampling": "sessions", "session": [1, 1, 1]},
     "sampling='sessions' needs at least 2 sessions; got 1: record another, or use sampling='serial' and speak of "
     "this recording only"),
])
def test_too_few(x, y, options, text):
    assert message(SampleSizeError, checks.columns, x, y, **options) == text


def test_infinite_values_are_refused_even_with_omit():
    text = message(InputError, checks.columns, [1, INF, 3, 4], [1, 2, 3, 4], nan_policy="omit")
    assert text == "`reference` holds 1 infinite value(s), first at index 1; remove them"


@pytest.mark.parametrize(("value", "shown"), [
    (95, "95; did you mean 0.95?"), (1.5, "1.5; did you mean 0.015?"), (0, "0"), (1, "1"), (-0.5, "-0.5"), (100, "100"),
    (NAN, "nan"), ("0.95", "'0.95'"), (None, "None"),
])
def test_fraction(value, shown):
    assert message(InputError, checks.fraction, value, "level") == (
        f"`level` must be a fraction between 0 and 1, such as 0.95; got {shown}")


def test_good_numbers_pass():
    assert checks.fraction(np.float64(0.9), "level") == 0.9
    assert checks.positive(np.int64(3), "ratio") == 3.0
    assert checks.choice("b", "kind", ("a", "b")) == "b"
    assert checks.edges([-INF, 0, INF]).tolist() == [-INF, 0, INF]


@pytest.mark.parametrize(("value", "shown"), [(0, "0"), (-1, "-1"), (INF, "inf"), (NAN, "nan"), ("2", "'2'")])
def test_positive(value, shown):
    assert message(InputError, checks.positive, value, "ratio") == (
        f"`ratio` must be a positive number; got {shown}")


def test_choice():
    assert message(InputError, checks.choice, "c", "kind", ("a", "b")) == "`kind` must be one of 'a', 'b'; got 'c'"


def test_edges():
    assert message(InputError, checks.edges, [3, 2]) == (
        "`edges` must be at least two increasing numbers; got [3.0, 2.0]")
    assert message(InputError, checks.edges, 3) == "`edges` must be one-dimensional; got shape ()"


def test_series_are_paired_by_label_or_refused(oracle):
    pd = oracle("pandas")
    x = pd.Series([100.0, 150, 200, 250], index=["a", "b", "c", "d"])
    y = pd.Series([254.0, 151, 208, 103], index=["d", "b", "c", "a"])
    with pytest.raises(InputError) as caught:
        agree.limits_of_agreement(x, y)
    assert str(caught.value) == (
        "`reference` and `device` are labelled differently: 2 of 4 labels, first a and d; line them up with "
        "device.reindex(reference.index), or pass .to_numpy() of each to pair them by position")
    lined = agree.limits_of_agreement(x, y.reindex(x.index))
    assert lined.to_dict() == agree.limits_of_agreement(x.to_list(), [103, 151, 208, 254]).to_dict()
    session = pd.Series([1, 1, 2, 2], index=[3, 2, 1, 0])
    with pytest.raises(InputError, match=r"^`reference` and `session` are labelled differently: 4 of 4 labels"):
        agree.limits_of_agreement(x, x + 1, sampling="sessions", session=session)


def test_columns_of_every_library(oracle):
    pd, pl, pa = oracle("pandas"), oracle("polars"), oracle("pyarrow")
    x, y = [100.0, 150, 200, 250], [103.0, 151, 208, 254]
    expected = agree.deming(x, y).to_dict()
    for kind in (tuple, np.array, pd.Series, pl.Series, pa.array, lambda v: pa.chunked_array([v[:2], v[2:]]),
                 lambda v: pd.Series(v, dtype="Float64"), lambda v: pd.Series(v, dtype="float64[pyarrow]")):
        assert agree.deming(kind(x), kind(y)).to_dict() == expected
    for strange in (None, object(), pl.Series(["a", "b", "c"]), {"a": 1}, pd.Series(["x", "y", "z"])):
        with pytest.raises(InputError):
            agree.deming(strange, strange)


def test_labels_of_two_kinds_are_not_mixed_up():
    assert checks.codes([1, "1", 2, "2", 1], 5).tolist() == [0, 1, 2, 3, 0]
    assert checks.codes(("a", "b", "a"), 3).tolist() == [0, 1, 0]


def test_labels_alone_mean_sessions():
    """An interval that leaves out sessions named by the caller is too narrow without a word."""
    rng = np.random.default_rng(7)
    session = np.repeat(np.arange(6), 30)
    x = rng.uniform(100, 300, 180)
    y = x + rng.normal(0, 4, 6)[session] + rng.normal(0, 1, 180)
    calls = (agree.limits_of_agreement, agree.deming, agree.passing_bablok, agree.linearity, agree.bias_curve,
             agree.concordance, agree.typical_error, agree.quantile_limits, agree.tolerance_limits,
             agree.regression_limits, agree.deviation_index, agree.look_at_errors,
             lambda *a, **o: agree.coverage_probability(*a, limit=5, **o),
             lambda *a, **o: agree.equivalence(*a, margin=5, **o),
             lambda *a, **o: agree.bias_by_band(*a, edges=[100, 301], **o),
             lambda *a, **o: agree.york(*a, u_reference=1, u_device=1, **o),
             lambda *a, **o: agree.split_errors(*a, x, **o))
    for call in calls:
        assert call(x, y, session=session).sampling == "sessions"
    width = [agree.limits_of_agreement(x, y, session=labels, **options).bias for labels, options in (
        (session, {}), (session, {"sampling": "sessions"}))]
    assert width[0].to_dict() == width[1].to_dict()


def test_sessions_left_out_on_demand_are_named_where_they_differ():
    """F of two sessions of 50 errors, just above and just below what chance gives in one of a thousand."""
    error = np.tile([-1.0, 1.0], 50)
    x, session = np.full(100, 200.0), np.tile([0, 1, 1, 0], 25)
    step = 2 * math.sqrt(stats.f.isf(0.001, 1, 98) / 98)  # explained n step^2/4 over 100/98
    for sampling in ("independent", "serial"):
        with pytest.warns(agree.AssumptionWarning, match="the errors differ between sessions"):
            agree.limits_of_agreement(x, x + error + step * 1.001 * session, sampling=sampling, session=session)
        agree.limits_of_agreement(x, x + error + step * 0.999 * session, sampling=sampling, session=session)
    agree.limits_of_agreement(x, x + error, sampling="serial", session=np.zeros(100))
    agree.limits_of_agreement(x, x + session, sampling="independent", session=np.arange(100))
