"""The rider's own changes: which seconds are a step, and when one of two recordings is averaged."""

from itertools import pairwise

import numpy as np
import pytest

from agree.core.data.runs import runs
from agree.core.thresholds import AFTER_S, EDGE_SD, LEAST_EVEN, SURE_SE, SURER
from agree.pairing.clocks.fine import Fine
from agree.pairing.same_ride.rider import (
    AHEAD_S,
    BESIDE_S,
    GROUPS,
    PIECE_S,
    QUARTER_SD,
    Own,
    more_surely,
    own_changes,
    pieces,
    steps,
)

SLOPE = 0.1
AT = 150


def climbing(height):
    """A line, of which all means of 5 s change alike, and a step."""
    return 200 + SLOPE * np.arange(300) + height * (np.arange(300) >= AT)


@pytest.mark.parametrize(("more", "told"), [(0.01, True), (-0.01, False)])
def test_limit_of_a_step(more, told):
    """EDGE_SD: what is usual is told by the quarter of the smallest changes, those of the line."""
    usual = BESIDE_S * SLOPE
    height = EDGE_SD * usual / QUARTER_SD - usual
    found = steps(climbing(height + more))
    assert found[AT - 3:AT + 3].all() == told
    assert not found[20:AT - 20].any()


def test_seconds_after_a_step_belong_to_it():
    bare, whole = (np.flatnonzero(found[20:-20]) for found in (steps(climbing(50), 0), steps(climbing(50))))
    assert whole.min() == bare.min()
    assert whole.max() == bare.max() + AFTER_S


def own(share, ratio=1.0, se=0.05):
    return Own(1000, share, se, 0.5, 0.02, 0.3, 0.05, 0.03, ratio)


@pytest.mark.parametrize(("found", "averaged"), [
    (own(1 + SURER + 0.01), True), (own(1 + SURER - 0.01), False),
    (own(2.0, LEAST_EVEN + 0.01), True), (own(2.0, LEAST_EVEN - 0.01), False),
    (own(1 + SURER + SURE_SE * 0.05 + 0.01, se=0.1), True), (own(1 + SURER + SURE_SE * 0.05 - 0.01, se=0.1), False)])
def test_limits_of_averaging_one_of_the_two(found, averaged):
    assert more_surely(found, own(1.0)) == averaged


def pieces_one_by_one(calm, length):
    out, count = np.full(calm.size, -1), 0
    for start, stop in runs(calm):
        edges = np.linspace(start, stop, max(round((stop - start) / length), 1) + 1).astype(int)
        for a, b in pairwise(edges):
            if b - a >= length // 2:
                out[a:b], count = count, count + 1
    return out


@pytest.mark.parametrize("share", [0.0, 0.9, 0.99, 1.0])
def test_pieces_are_those_cut_one_by_one(rng, share):
    calm = rng.random(3000) < share
    assert (pieces(calm, PIECE_S) == pieces_one_by_one(calm, PIECE_S)).all()


def sums_of_a_piece(x, y, at):
    """Sums and numbers of products: of either with itself and with the next second, of both at each shift."""
    u, *shifts = (v - np.nanmean(v) for v in [x[at], *(y[at + by] for by in range(-AHEAD_S, AHEAD_S + 1))])
    v = shifts[AHEAD_S]
    products = [u * u, v * v, u[1:] * u[:-1], v[1:] * v[:-1], *(u * w for w in shifts)]
    return [(np.nansum(one), np.isfinite(one).sum()) for one in products]


def share_of(sums):
    """Share of covariance at the shift at which the two are best alike, (pieces, products, 2) summed."""
    total, count = sums.sum(axis=0).T
    own, near = (total / count)[:2], (total / count)[2:4]
    near = near + (own - near) * len(sums) / count[:2]
    return (total / count)[4:].max() / np.sqrt(near.prod())


@pytest.mark.parametrize("gaps", [0, 60])
def test_share_and_its_error_are_those_of_pieces_one_by_one(rng, gaps):
    x = 200 + np.convolve(rng.normal(0, 20, 1204), np.ones(5) / 3, "valid")
    y = x + rng.normal(0, 4, x.size)
    x[::100] = x[-1] = 0
    y[rng.integers(0, x.size, gaps)] = np.nan
    found = own_changes(x, y, Fine(0.0, 0.0, 0.0, 0.0, 0.0, False))
    piece = pieces((x > 50) & (y > 50) & ~(steps(x) | steps(y)), PIECE_S)
    count = piece.max() + 1
    assert found.seconds == (piece >= 0).sum() > 600
    sums = np.array([sums_of_a_piece(x, y, np.flatnonzero(piece == number)) for number in range(count)])
    assert found.share == pytest.approx(share_of(sums), rel=1e-9)
    without = [share_of(sums[np.arange(count) * GROUPS // count != g]) for g in range(GROUPS)]
    error = np.sqrt((GROUPS - 1) / GROUPS * np.square(np.array(without) - np.mean(without)).sum())
    assert found.share_se == pytest.approx(error, rel=0.05)  # groups differ a little in their pieces
