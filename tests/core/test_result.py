"""What every result keeps to: brief repr, read-only arrays through pickle and copies, JSON with its kind."""

import copy
import dataclasses
import json
import pickle

import numpy as np
import pytest

import agree
from agree import Pairs, check_claim
from tests.rides import session


@pytest.fixture(scope="module")
def results():
    """One result of each kind that is quick to make."""
    rng = np.random.default_rng(5)
    pairs = session(rng, seconds=900)
    order = rng.permutation(900)  # in order of time neighbours are alike, and warned of
    x, y = pairs.reference[order], pairs.device[order]
    check = check_claim(pairs, "1.5 %")
    return {type(item).__name__: item for item in (
        pairs, check, check.correction, *check.readings, *check.bands,
        agree.limits_of_agreement(x, y, sampling="serial"),
        agree.deming(x, y), agree.passing_bablok(x, y), agree.bias_curve(x, y), agree.concordance(x, y),
        agree.bias_by_band(x, y, edges=[0, 200, 400]),
        agree.equivalence(x, y, margin=5, sampling="serial"), agree.look_at_errors(x, y),
        agree.linearity(x, y), agree.deming(x, y).slope)}


def arrays(item):
    return [value for field in dataclasses.fields(item) if isinstance(value := getattr(item, field.name), np.ndarray)]


def test_repr_is_brief_and_begins_with_the_answer(results):
    for name, item in results.items():
        text = repr(item)
        assert len(text) < 2_000, name
        assert text.startswith(f"{name}("), text
    assert repr(results["ClaimCheck"]).startswith(f"ClaimCheck(verdict={results['ClaimCheck'].verdict!r}")
    assert repr(results["Estimate"]).startswith("Estimate(value=")


@pytest.mark.parametrize("copied", [copy.deepcopy, copy.copy, lambda item: pickle.loads(pickle.dumps(item))],
                         ids=["deepcopy", "copy", "pickle"])
def test_copies_are_alike_and_read_only(results, copied):
    for name, item in results.items():
        twin = copied(item)
        assert type(twin) is type(item)
        assert twin.to_dict() == item.to_dict(), name
        for before, after in zip(arrays(item), arrays(twin), strict=True):
            np.testing.assert_array_equal(before, after)
            with pytest.raises(ValueError, match="read-only"):
                after[...] = before[::-1]
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(twin, dataclasses.fields(twin)[0].name, 3)


def test_json_names_the_kind_and_html_shows_the_summary(results):
    for name, item in results.items():
        json.dumps(item.to_dict(), allow_nan=False)
        assert item._repr_html_().strip(), name
    assert results["LimitsOfAgreement"].to_dict()["kind"] == "LimitsOfAgreement"
    hostile = Pairs(reference=[100, 110], device=[100, 111], device_name="<script>alert(1)</script>")
    assert "<script>" not in hostile._repr_html_()


def test_a_result_made_of_another_shares_its_arrays_and_never_the_callers():
    mine = np.array([100.0, 200.0, 300.0])
    first = Pairs(reference=mine, device=mine + 1)
    second = dataclasses.replace(first, device=mine + 2)
    assert second.reference is first.reference
    mine[0] = 0.0
    assert first.reference[0] == 100.0
    view = np.array([1.0, 2.0, 3.0])
    seen = view[:]
    seen.setflags(write=False)  # who holds the base can still write it
    third = Pairs(reference=seen, device=seen + 1)
    view[0] = 9.0
    assert third.reference[0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        second.reference[0] = 1.0
