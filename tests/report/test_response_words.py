"""What is said of a difference in response: found, none, not to be told, or of no kind that was tried."""

from dataclasses import replace

import numpy as np
import pytest

from agree import response_difference
from agree.report.plain_text.details import response_words

NONE = "No difference in how fast the two respond was found."


@pytest.fixture(scope="module")
def found():
    """A mean over 5 s, and the same trace twice."""
    rng = np.random.default_rng(8)
    power = np.repeat(rng.uniform(150, 350, 30), 30) + rng.normal(0, 8, 900)
    return response_difference(power, np.convolve(power, np.ones(5) / 5)[:900]), response_difference(power, power)


def test_a_response_that_fits_is_told(found):
    assert response_words(found[0]).startswith("The device averages over 5.0")
    assert response_words(found[1]) == NONE
    assert str(found[1]).startswith("No difference in response found.")


def test_where_no_kind_fits_no_width_is_told(found):
    """A lag of 12 s and a mean over 30 s was said to show no difference; a mean with a lag to be one mean."""
    for item in (replace(one, fits=False, misfit=5.9) for one in found):
        words = response_words(item)
        assert "no kind of response that was tried" in words.lower()
        assert "over 5" not in words
        assert "no kind" in str(item).lower()
        assert "No difference" not in words + str(item)


def test_where_none_is_chosen_and_others_fit_as_well_it_cannot_be_told(found):
    item = replace(found[1], alike=("a mean over 3 s of the device", "a lag of 1 s of the device"))
    assert response_words(item) == ("Whether the two respond equally fast cannot be told from these readings: not "
                                    "excluded are a mean over 3 s of the device and a lag of 1 s of the device.")
    assert str(item).startswith("Whether the two differ in response cannot be told.")
