"""Heart rate and speed from FIT, TCX and GPX; one verdict in any unit; and no W where nothing is power."""

import base64
import json
import re
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from agree import check_quantity, check_trials, overlay_recordings, pair_trials
from agree.core.quantities.known import plain, quantity
from agree.files.writing import json_text
from agree.quantities.overlay import lay_over
from agree.report.other_page import write_other_page

sys.path.insert(0, str(Path(__file__).parents[1] / "files"))
from fit_writer import EPOCH, FitWriter

START = datetime(2026, 3, 1, 9, tzinfo=UTC)
N = 900
RNG = np.random.default_rng(3)
BEATS = np.round(138 + 25 * np.convolve(RNG.normal(size=N + 60), np.ones(61), "valid") / np.sqrt(61)).astype(int)
SPEED = np.round(3 + 0.5 * np.convolve(RNG.normal(size=N + 30), np.ones(31), "valid") / np.sqrt(31), 3)


def stamp(k):
    return (START + timedelta(seconds=int(k))).strftime("%Y-%m-%dT%H:%M:%SZ")


def fit(beats, speed):
    writer = FitWriter()
    first = int(START.timestamp()) - EPOCH
    for k, (beat, metres) in enumerate(zip(beats, speed, strict=True)):
        writer.record(timestamp=first + k, heart_rate=int(beat), speed=round(1000 * metres))
    return writer.done()


def tcx(beats, speed):
    points = "".join(
        f"<Trackpoint><Time>{stamp(k)}</Time><HeartRateBpm><Value>{beat}</Value></HeartRateBpm><Extensions><TPX>"
        f"<Speed>{metres}</Speed></TPX></Extensions></Trackpoint>" for k, (beat, metres) in enumerate(
            zip(beats, speed, strict=True)))
    return (f"<TrainingCenterDatabase><Activities><Activity><Lap><Track>{points}</Track></Lap></Activity></Activities>"
            "</TrainingCenterDatabase>").encode()


def gpx(beats, speed):
    points = "".join(
        f'<trkpt lat="1" lon="2"><time>{stamp(k)}</time><extensions><g:TrackPointExtension><g:hr>{beat}</g:hr><g:speed>'
        f"{metres}</g:speed></g:TrackPointExtension></extensions></trkpt>" for k, (beat, metres) in enumerate(
            zip(beats, speed, strict=True)))
    return f'<gpx xmlns:g="a"><trk><trkseg>{points}</trkseg></trk></gpx>'.encode()


@pytest.mark.parametrize(("kind", "claim"), [("heart rate", "3 bpm"), ("speed", "2 %"), ("pace", "2 %")])
def test_heart_rate_and_speed_of_fit_tcx_and_gpx(kind, claim):
    noise = np.random.default_rng(5)
    worn = (BEATS + noise.integers(-1, 2, N), np.round(SPEED * 1.004 + noise.normal(0, 0.01, N), 3))
    found = []
    for strap, watch in ((fit, tcx), (tcx, gpx), (gpx, fit)):
        seen = overlay_recordings(strap(BEATS, SPEED), watch(*worn), kind)
        assert seen.absolute
        check = check_quantity(seen, claim)
        found.append((check.verdict, round(check.as_recorded.bias.value, 6), check.as_recorded.seconds))
    assert found[0] == found[1] == found[2]
    assert found[0][0] == "holds"
    assert found[0][2] == N


UNITS = {"temperature": (("°C", 1.0, 0.0), ("°F", 1.8, 32.0), ("K", 1.0, 273.15)),
         "length": (("cm", 1.0, 0.0), ("m", 0.01, 0.0), ("in", 1 / 2.54, 0.0), ("mm", 10.0, 0.0))}


@pytest.mark.parametrize(("dimension", "level", "claims", "meaning"), [
    ("temperature", 37.6, ("0.18 °F", "0.3 °C"), "readings"), ("temperature", 37.6, ("0.1 °C", "0.25 K"), "average"),
    ("temperature", -7.0, ("0.1 °C", "0.6 °F"), "average"),  # cold: a sum of readings below 0 is no error
    ("temperature", -7.0, ("0.1 K", "0.3 °C"), "mean_absolute"),
    ("length", 38.0, ("0.1 cm", "0.11 in", "1 %"), "average"), ("length", 38.0, ("1 mm", "0.004 m"), "readings")])
def test_one_verdict_in_any_unit(dimension, level, claims, meaning):
    rng = np.random.default_rng(2)
    t = np.arange(1200.0)
    true = level + 0.4 * np.sin(t / 90) + 0.2 * np.sin(t / 31)
    read = true + 0.2 + 0.02 * rng.normal(size=t.size)
    answers, sizes = [], []
    for unit, by, zero in UNITS[dimension]:
        seen = lay_over((t, true * by + zero), (t, read * by + zero), plain(unit), absolute=True)
        checks = [check_quantity(seen, claim, meaning=meaning, delay="device") for claim in claims]
        answers.append([check.verdict for check in checks])
        bias = checks[0].as_recorded.bias
        sizes.append(np.array([bias.value, bias.low, bias.high]) / by)
    assert all(answer == answers[0] for answer in answers)
    assert {"holds", "does not hold"} <= set(answers[0])
    assert all(np.allclose(size, sizes[0], rtol=1e-6) for size in sizes)


def visible(path):
    """What a reader can see or copy of a page of HTML, its pictures' texts and its JSON."""
    text = path.read_text(encoding="utf-8")
    text = re.sub(r"<style.*?</style>|<script(?! type=\"application/json\").*?</script>", " ", text, flags=re.DOTALL)
    text = re.sub(r"data:[\w/+.-]*;base64,[A-Za-z0-9+/=]+", lambda m: _decoded(m[0]), text)
    return re.sub(r"(?<=\s)(d|points|id|class|href|style|viewBox|transform|clip-path)=\"[^\"]*\"", " ", text)


def _decoded(text):
    kind, data = text.split(";base64,")
    return base64.b64decode(data).decode("utf-8") if "json" in kind or "text" in kind else " "


POWER = re.compile(r"(?<![A-Za-z0-9])(W|watts?|Watts?)(?![A-Za-z0-9])|_w\b|watts_|_watts")


def no_power_in(text, where):
    found = POWER.search(text)
    assert found is None, f"{where}: ...{text[max(found.start() - 60, 0):found.end() + 40]!r}..."


def test_no_watt_in_a_check_of_heart_rate_or_of_jumps(tmp_path):
    rng = np.random.default_rng(4)
    t = np.arange(1500.0)
    wrist = np.interp(t - 9, t[:N], BEATS) + rng.normal(0, 1, 1500)
    seen = lay_over((t[:N], BEATS.astype(float)), (t[:N], np.round(wrist[:N])), quantity("heart rate"), absolute=True)
    jumps = {"subject": [k // 3 for k in range(36)], "trial": [k % 3 for k in range(36)],
             "plate_cm": rng.normal(38, 6, 36)}
    jumps["mat_cm"] = jumps["plate_cm"] + rng.normal(0.3, 1, 36)
    trials = check_trials(pair_trials(jumps, reference_column="plate_cm", device_column="mat_cm"), "5 % or 1 cm",
                          reference_uncertainty="0.2 cm")
    for name, check in (("heart", check_quantity(seen, "10 % or 5 bpm", reference_uncertainty="1 bpm",
                                                 meaning="readings")), ("jumps", trials)):
        page = tmp_path / f"{name}.html"
        write_other_page(check, page)
        for where, text in (("text", check.summary()), ("repr", repr(check)), ("json", json_text(check)),
                            ("html", visible(page)), ("notes", json.dumps(check.to_dict()))):
            no_power_in(text, f"{name} {where}")
    with pytest.raises(AssertionError):
        no_power_in("limits: -3.1 to 4.0 W.", "the test itself")
