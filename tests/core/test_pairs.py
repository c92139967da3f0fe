"""`Pairs` and the faults it lists."""

import dataclasses
import math
import pickle
import tracemalloc

import numpy as np
import pytest

from agree import InputError, Pairs
from agree.core.data import reason_codes
from agree.core.data.fault import Fault


def test_faults_are_those_of_the_reasons_if_none_are_given():
    pairs = Pairs(reference=[100, 100, 200, 200, 0], device=[100, 50, 100, 200, 0],
                  reason=["", "device_partial", "device_partial", "", "both_coasting"])
    fault, = pairs.faults
    assert (fault.kind, fault.start_s, fault.seconds, fault.handling) == ("device_partial", 1.0, 2, "set aside")
    assert fault.energy_share == pytest.approx(0.5)
    row, = pairs.fault_table()
    assert (row.bias_without, row.bias_with) == (0, -25)
    assert pairs.to_dict()["fault_table"][0]["bias_with"] == -25


def test_a_reported_fault_is_in_the_mean_and_told_without_it():
    fault = Fault(kind="auto_zero_step", start_s=2.0, seconds=2, energy_share=0.5, handling="report")
    pairs = Pairs(reference=[100] * 4, device=[100, 100, 110, 110], faults=(fault,))
    row, = pairs.fault_table()
    assert (row.events, row.seconds, row.first_s) == (1, 2, (2.0,))
    assert (row.bias_without, row.bias_with) == (0, 5)


def test_nothing_left_has_no_bias():
    pairs = Pairs(reference=[100], device=[0], reason=["device_dropout"])
    assert math.isnan(pairs.fault_table()[0].bias_without)
    assert pairs.to_dict()["fault_table"][0]["bias_without"] is None


def test_unknown_kinds_are_refused():
    fault = Fault(kind="dropout", start_s=0.0, seconds=1, energy_share=0.0)
    with pytest.raises(InputError, match="`faults` must hold items of `Fault`"):
        Pairs(reference=[100], device=[100], faults=(fault,))


def test_many_faults_take_no_more_memory_than_one():
    """With a mask for each of 10,000 faults, 40,000 s took 400 MB."""
    reason = np.where(np.arange(40_000) % 4 == 0, "device_dropout", "")
    reference = np.full(40_000, 200.0)
    tracemalloc.start()
    pairs = Pairs(reference=reference, device=np.where(reason == "", 200.0, 0.0), reason=reason)
    row, = pairs.fault_table()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert (row.events, row.seconds) == (10_000, 10_000)
    assert (row.bias_without, row.bias_with) == (0, -25)
    assert pairs.faults[-1].energy_share == pytest.approx(1 / 40_000)
    assert peak < 30e6


def test_events_are_listed_from_the_bytes(monkeypatch):
    """The names of all seconds were made anew for each event: 3 s of a check of 200,000 s, growing as its square."""
    pairs = Pairs(reference=np.full(9, 200.0), device=np.full(9, 200.0),
                  reason=["", "device_dropout", "device_dropout", "", "", "both_coasting", "", "", "reference_spike"])
    monkeypatch.setattr(reason_codes, "NAMED", None)
    assert [tuple(event) for event in pairs.events()] == [
        ("device_dropout", 1.0, 2), ("both_coasting", 5.0, 1), ("reference_spike", 8.0, 1)]


def test_reasons_take_one_byte_a_second_and_are_read_as_names():
    n = 10_000
    reason = np.array(["", "both_coasting", "reference_saturation"] * n)[:n]
    tracemalloc.start()
    pairs = Pairs(reference=np.zeros(n), device=np.zeros(n), reason=reason, faults=())
    held = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    assert held < 27 * n  # three columns of 8 bytes; with names of 20 characters 104
    assert (pairs.reason == reason).all()
    assert not pairs.reason.flags.writeable
    assert (pairs.has_reason("", "both_coasting") == np.isin(reason, ["", "both_coasting"])).all()
    longer = pairs.reason.copy()
    longer[0] = "reference_saturation"  # room for each name, whatever the longest of these pairs
    assert dataclasses.replace(pairs, reason=longer).reason[0] == "reference_saturation"
    assert (pickle.loads(pickle.dumps(pairs)).reason == reason).all()
    with pytest.raises(InputError, match="`reason` must be one column; got 2 dimensions"):
        Pairs(reference=[1, 2], device=[1, 2], reason=[["", ""]])
