"""Several devices over sessions and states: whose readings vary, and which one moved."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from agree import Estimate, InputError
from agree.cli import main
from agree.devices.compare import Device, DeviceComparison
from agree.trail import device_sessions
from agree.trail.device_sessions import compare_device_sessions


def run(*words):
    done = CliRunner().invoke(main.command, list(map(str, words)), standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done.stdout


def ride(seed, errors, seconds=700):
    """Recordings of devices that err by so many per cent in one session."""
    rng = np.random.default_rng(seed)
    t = np.arange(seconds)
    true = 220 + 80 * np.sin(t / 60) + np.convolve(rng.normal(0, 60, seconds + 4), np.ones(5) / 5, "valid")
    return [np.round((1 + error / 100) * true + rng.normal(0, 3, seconds)).clip(0) for error in errors]


@pytest.fixture
def known(monkeypatch):
    """Sessions whose comparison is known: each session is the devices' errors in per cent."""
    def compared(errors, **_):
        factors = [Estimate(value=(1 + errors[0] / 100) / (1 + error / 100), low=0.9, high=1.1, level=0.95, method="t")
                   for error in errors]
        devices = tuple(Device(name=str(k), error_sd=None, factor=item, factor_to_mean=item, lag_s=0.0,
                               stands_apart=False) for k, item in enumerate(factors))
        return DeviceComparison(devices=devices, differences=(), seconds=600, windows=20, notes=())

    monkeypatch.setattr(device_sessions, "compared_each", lambda sessions, **_: tuple(map(compared, sessions)))


def test_what_varies_is_charged_to_the_device_that_varies(known):
    wander = (1.2, -1.3, 0.9, -0.8, 0.4, -0.2)
    rng = np.random.default_rng(1)
    found = compare_device_sessions([(error, *rng.normal(0, 0.05, 2)) for error in wander],
                                    names=("hub", "crank", "pedals"))
    hub, crank, pedals = found.devices
    assert hub.session_sd.value == pytest.approx(np.std(wander, ddof=1), abs=0.05)
    assert hub.session_sd.low > max(crank.session_sd.value, pedals.session_sd.value)
    assert pedals.factor.low < 1 < pedals.factor.high  # six sessions of a wandering first device tell little
    assert (hub.factor.low, hub.factor.high) == (1.0, 1.0)
    assert not found.notes


def test_where_all_move_against_the_first_the_first_moved(known):
    steady = [(0.02, 0.0, 0.01), (0.0, 0.03, 0.0), (3.0, 0.01, 0.0), (3.03, 0.0, 0.02)]
    found = compare_device_sessions(steady, names=("hub", "crank", "pedals"), states=["a", "a", "b", "b"])
    assert [item.changes[0].answer for item in found.devices[1:]] == ["changed", "changed"]
    assert [note.kind for note in found.notes] == ["devices_first_changed", "devices_few_sessions"]
    text = " ".join(found.summary().split())
    assert "it is hub that changed" in text
    assert max(map(len, found.summary().splitlines())) <= 80
    assert len(found.summary().splitlines()) <= 16


def test_a_device_that_moves_alone_is_not_the_first(known):
    steady = [(0.02, 0.0, 0.01), (0.0, 0.03, 0.0), (0.0, 3.01, 0.0), (0.03, 3.0, 0.02)]
    found = compare_device_sessions(steady, names=("hub", "crank", "pedals"), states=["a", "a", "b", "b"])
    assert [item.changes[0].answer for item in found.devices] == ["not changed", "changed", "not changed"]
    assert [note.kind for note in found.notes] == ["devices_few_sessions"]
    stored = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert [item["name"] for item in stored["devices"]] == ["hub", "crank", "pedals"]
    assert len(stored["sessions"]) == 4


def test_the_command_reads_a_list(tmp_path):
    rows = ["session,state,crank,pedals"]
    for k in range(2):
        for name, watts in zip(("crank", "pedals"), ride(k, (0.0, -4.0)), strict=True):
            (tmp_path / f"{name}-{k}.csv").write_text(
                "time_s,power_W\n" + "".join(f"{i},{w:g}\n" for i, w in enumerate(watts)), encoding="utf-8")
        rows.append(f"{k},all,crank-{k}.csv,pedals-{k}.csv")
    listed = tmp_path / "list.csv"
    listed.write_text("\n".join(rows) + "\n", encoding="utf-8")
    said = run("devices", "--sessions", listed)
    assert said.startswith("2 DEVICES over 2 sessions, none trusted")
    assert "a third tells the day-to-day error" in " ".join(said.split())
    stored = json.loads(run("devices", "--sessions", listed, "--json", "-"))
    assert stored["devices"][1]["factor"]["value"] == pytest.approx(1 / 0.96, abs=0.003)
    listed.write_text("\n".join([*rows, "3,all,crank-0.csv,"]), encoding="utf-8")
    with pytest.raises(InputError, match="row 4: pedals names no file"):
        run("devices", "--sessions", listed)
    listed.write_text("session,crank\n1,a.csv\n", encoding="utf-8")
    with pytest.raises(InputError, match="expected a column of files for each of two or more devices"):
        run("devices", "--sessions", listed)


def test_what_cannot_be_compared():
    one = ride(1, (0.0, 1.0))
    with pytest.raises(InputError, match=r"^`sessions` must hold 3 recordings each"):
        compare_device_sessions([one], names=("a", "b", "c"))
    with pytest.raises(InputError, match=r"^`states` must have one label for each session; got 2 for 1$"):
        compare_device_sessions([one], names=("a", "b"), states=["x", "y"])


def test_a_session_given_twice_is_refused():
    """It would count as two days, with an interval of width 0."""
    one = ride(1, (0.0, -2.0))
    with pytest.raises(InputError, match="session"):
        compare_device_sessions([one, one], names=("crank", "pedals"))
    with pytest.raises(InputError, match="session"):
        compare_device_sessions([one, ride(2, (0.0, -2.0)), [x[5:] for x in one]], names=("crank", "pedals"))


def test_one_state_spelt_in_two_ways_is_refused(known):
    for one, other in (("new", "New"), ("new", "ne w"), ("factor 1.02", "factor-1,02")):
        with pytest.raises(InputError, match="differ only in how they are written"):
            compare_device_sessions([(0.0, 0.0)] * 3, names=("hub", "crank"), states=["old", one, other])
    assert compare_device_sessions([(0.0, 0.1)] * 2, names=("hub", "crank"), states=["a", "b"]).states == ("a", "b")
