"""Many cases in one test: all are tried, all that fail are named."""

import inspect

import pytest

from tests.each import Failed, each


def test_all_cases_are_tried_and_those_that_fail_are_named():
    tried = []

    @each("x", [1, 2, 3], ids=["one", "two", "three"])
    @each(("y", "z"), [(0, 0), (0, 1)])
    def trial(x, y, z, fixture):
        tried.append((x, y, z, fixture))
        assert (x, z) not in {(1, 1), (3, 0)}

    assert list(inspect.signature(trial).parameters) == ["fixture"]
    with pytest.raises(Failed, match="2 cases failed") as caught:
        trial(fixture="given")
    assert tried == [(x, 0, z, "given") for x in (1, 2, 3) for z in (0, 1)]
    assert [error.__notes__ for error in caught.value.exceptions] == [["the case: 0, 1", "the case: one"],
                                                                      ["the case: 0, 0", "the case: three"]]


def test_no_case_and_cases_of_another_length_are_seen():
    with pytest.raises(AssertionError, match="no case"):
        each("x", [])
    with pytest.raises(AssertionError, match="must give"):
        each(("x", "y"), [(1, 2), (1, 2, 3)])
    with pytest.raises(AssertionError, match="1 names of 2 cases"):
        each("x", [1, 2], ids=["one"])
