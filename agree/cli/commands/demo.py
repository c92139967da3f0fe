"""`agree demo`: invented data, written and checked."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from agree.cli.deliver import Outputs, deliver
from agree.cli.groups import Grouped
from agree.cli.progress import progress
from agree.cli.run import checked, paired
from agree.cli.session_list import SessionFiles
from agree.cli.terminal import as_typed, say, written

KINDS = ("power", "trials", "heart-rate", "study", "fleet", "trail")


@click.command(cls=Grouped, example="agree demo my-folder")
@click.argument("words", nargs=-1, metavar="[power|trials|heart-rate|study|fleet|trail] [FOLDER]")
def demo(words: tuple[str, ...]) -> None:
    """Write invented data into FOLDER (agree-demo if not given) and check them.

    Power of a crank and of pedals; a table of jumps by a plate and a mat; heart rates of a strap and a wrist; a study
    of 24 pairs; a fleet of 60 units; or the trail of one device through four states.
    """
    from agree.core.errors import InputError

    kind, rest = (words[0], words[1:]) if words and words[0] in KINDS else ("power", words)
    if len(rest) > 1:
        raise InputError(f"agree demo takes one of {', '.join(KINDS)}, then a folder; got {' '.join(words)!r}")
    folder = Path(rest[0] if rest else "agree-demo")
    {"power": _power, "trials": _trials, "heart-rate": _heart_rate,
     "study": _study, "fleet": _fleet, "trail": _trail}[kind](folder)


def _power(folder: Path) -> None:
    from agree.demo.power import write_recordings
    from agree.report.story.provenance import Provenance

    reference, device = write_recordings(folder)
    options: dict[str, Any] = {"claim": "1.5 %", "reference_uncertainty": "0.5 %", "meaning": "average",
                               "bands": None, "window": 30, "level": 0.95}
    result = checked(paired([SessionFiles(str(reference), str(device))], options), options)
    again = ("agree", "check", str(reference), str(device), "--claim", "1.5%", "--reference-uncertainty", "0.5 %")
    say("Invented data: a 50-min indoor test with a crank as reference and pedals under test.\n")
    deliver(result, Outputs(pages=(str(folder / "page.pdf"),)), Provenance(command=again),
            already=(str(reference), str(device)))
    say("Again:   " + as_typed(*again))


def _left(files: Sequence[object], *commands: Sequence[object]) -> None:
    """Say what was written, and how to look at it again."""
    say("\n" + written(files))
    say("Again:   " + "\n         ".join(as_typed(*words) for words in commands))


def _trials(folder: Path) -> None:
    from agree.demo.trials import write_tables
    from agree.trials.check import check_trials
    from agree.trials.pair import pair_trials

    reference, device = write_tables(folder)
    result = check_trials(pair_trials(reference, device, by="athlete,jump"), "2 cm")
    say("Invented data: 24 athletes, three jumps each, on a plate as reference and a mat under test.\n")
    say(result.summary())
    _left([reference, device], ["agree", "trials", reference, device, "--by", "athlete,jump", "--claim", "2 cm"])


def _heart_rate(folder: Path) -> None:
    from agree.demo.heart_rate import write_recordings
    from agree.quantities.check import check_quantity
    from agree.quantities.read import overlay_recordings

    reference, device = write_recordings(folder)
    result = check_quantity(overlay_recordings(reference, device, "heart rate"), "5 bpm", meaning="readings")
    say("Invented data: 50 min of running, a chest strap as reference and a wrist sensor under test.\n")
    say(result.summary())
    _left([reference, device], ["agree", "check", reference, device, "--quantity", "heart rate", "--claim", "5 bpm",
                                "--meaning", "readings"])


def _study(folder: Path) -> None:
    from agree.demo.many import write_study

    say("Invented data: 3 athletes, 2 devices, 2 conditions, 2 sessions: 24 pairs.\n")
    _many(write_study(folder), "{athlete}_{condition}_{session}_{unit}_{role}")


def _fleet(folder: Path) -> None:
    from agree.demo.many import write_fleet

    say("Invented data: 60 units of one to three short sessions; two of them are off.\n")
    _many(write_fleet(folder), None)


def _many(folder: Path, pattern: str | None) -> None:
    """List the pairs of a folder, and check them."""
    from agree.files.writing import write_text
    from agree.report.studies.pages import write_study_page
    from agree.study import find_pairs, run
    from agree.study.listing import list_text

    listed, results, page = folder / "list.csv", folder / "results", folder / "page.pdf"
    write_text(listed, list_text(find_pairs(folder, pattern).rows))
    with progress("checking every pair"):
        study = run(listed, "1.5 %", out=results)
        write_study_page(study, page)
    say(study.summary())
    _left([listed, results / "pairs.csv", "units.csv", "results.jsonl", page],
          ["agree", "study", "check", listed, "--claim", "1.5%", "--out", results])


def _trail(folder: Path) -> None:
    import csv

    from agree.cli.terminal import width
    from agree.demo.many import write_trail
    from agree.devices.compare import compare_devices
    from agree.pairing.pair import pair_recordings
    from agree.report.plain_text.answer_rows import Row
    from agree.report.texts.trail_text import trail_text
    from agree.trail.trail import check_trail

    sessions, together = write_trail(folder)
    with sessions.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    with progress("checking nine sessions"):
        pairs = [pair_recordings(folder / row["reference"], folder / row["device"], session=row["session"])
                 for row in rows]
        trail = check_trail(pairs, [row["state"] for row in rows], "1.5 %", reference_uncertainty="0.5 %")
        three = compare_devices(together)
    apart = next((device.name for device in three.devices if device.stands_apart), "none of them")
    third = f"{apart} stands apart where all three rode together"
    page = folder / "trail.pdf"
    with progress(f"drawing {page}"):
        from agree.report.trail_page import write_trail_page

        write_trail_page(trail, page, remarks=[f"Third device: {third} (agree devices). Invented data."])
    say("Invented data: nine sessions of one device in four states, and one with a third device beside it.\n")
    say(trail_text(trail, width=width(), more=[Row("Third device", f"{third}.")]))
    _left([page, f"{sessions} and the recordings it names", *together],
          ["agree", "check", "--sessions", sessions, "--claim", "1.5%", "--reference-uncertainty", "0.5 %"],
          ["agree", "devices", *together])
