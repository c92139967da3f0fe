"""What is remembered, for how long, and by whom."""

import threading

import numpy as np
import pytest

from agree.core.remember import once, remembering


@pytest.fixture
def count():
    """A function, and how often it was called."""
    calls = []

    def total(*arrays):
        calls.append(1)
        return float(np.nansum(arrays))

    return total, calls


def test_the_same_arrays_are_not_worked_on_twice(count):
    total, calls = count
    one, two = np.array([1.0, np.nan]), np.array([2.0, 3.0])
    with remembering():
        assert [once(total, one, two), once(total, one.copy(), two)] == [6.0, 6.0]
        assert len(calls) == 1
        assert once(total, two, one) == 6.0
        one[0] = 5.0
        assert once(total, one, two) == 10.0
    assert len(calls) == 3


def test_all_is_forgotten_at_the_end(count):
    total, calls = count
    for _ in range(2):
        with remembering():
            once(total, np.ones(2))
            with pytest.raises(ZeroDivisionError):
                once(lambda one: 1 // int(one[0]), np.zeros(2))
        once(total, np.ones(2))
    assert len(calls) == 4


def test_another_thread_knows_nothing_of_it(count):
    total, calls = count
    with remembering():
        once(total, np.ones(2))
        thread = threading.Thread(target=once, args=(total, np.ones(2)))
        thread.start()
        thread.join()
    assert len(calls) == 2
