"""Errors of a pace in the words of a runner: seconds a kilometre at a pace, signs as of device - reference."""

import math
from dataclasses import replace

import matplotlib.pyplot as plt
import numpy as np
import pytest

from agree import check_quantity, limits_of_agreement, read_recording
from agree.core.quantities.known import quantity
from agree.quantities.overlay import lay_over
from agree.quantities.pace import limits_as_pace
from agree.report.figures.quantity_panels import traces

SPEED = 3.3 + 0.3 * np.sin(np.arange(1800.0) / 30)
LIMITS = limits_of_agreement(SPEED[::30], SPEED[::30] * 1.01 + 0.02 * np.random.default_rng(1).normal(size=60))


def test_limits_of_a_pace_are_those_of_the_speed_at_its_mean():
    found = limits_as_pace(LIMITS, 3.2, "min/km")
    assert found.at == pytest.approx(1000 / 3.2 / 60)
    for item, other in ((found.lower, LIMITS.upper), (found.upper, LIMITS.lower)):
        for mine, its in ((item.value, other.value), (item.low, other.high), (item.high, other.low)):
            assert mine == pytest.approx(1000 / (3.2 + its) - 1000 / 3.2)
    assert (limits_as_pace(LIMITS, 3.2, "min/mi").lower.value / found.lower.value) == pytest.approx(1.609344)
    assert limits_as_pace(LIMITS, 3.2, "s/km").lower.value == pytest.approx(found.lower.value)


def test_a_limit_that_leaves_no_speed_has_no_pace():
    bad = replace(LIMITS, lower=replace(LIMITS.lower, low=-3.3))
    assert limits_as_pace(bad, 3.2, "min/km") is None
    assert limits_as_pace(LIMITS, 3.2, "km/h") is None
    endless = replace(LIMITS, upper=replace(LIMITS.upper, high=math.inf))
    assert limits_as_pace(endless, 3.2, "min/km").lower.low == -math.inf


def test_the_axis_of_a_pace_is_marked_in_paces():
    time = np.arange(SPEED.size)
    seen = lay_over((time, SPEED), (time, SPEED * 1.01 + 0.02 * np.cos(time)), quantity("pace"), absolute=True)
    check = check_quantity(seen, "2 %")
    figure, ax = plt.subplots()
    traces(ax, check)
    texts = [label.get_text() for label in ax.get_yticklabels()]
    places = ax.get_yticks()
    plt.close(figure)
    assert ax.get_ylabel() == "pace, min/km"
    assert len(texts) >= 3
    for text, place in zip(texts, places, strict=True):
        minutes, seconds = map(int, text.split(":"))
        assert 60 * minutes + seconds == pytest.approx(1000 / place, abs=0.5)


def test_a_median_that_is_questioned_is_told_as_a_pace():
    found = read_recording(b"time,pace\n" + b"".join(b"%d,0.05\n" % k for k in range(5)), quantity="pace")
    told = next(note for note in found.notes if note.kind == "read_level").values
    assert (told["median"], told["unit"], told["low"], told["high"]) == (0.05, "min/km", 0.667, 33.3)
