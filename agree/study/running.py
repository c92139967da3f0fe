"""`run`: a study from its list to a row for each pair and each unit, on any executor."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from agree.core import checks
from agree.core.errors import InputError
from agree.core.results.result import Result
from agree.study.checkpoint import Checkpoint
from agree.study.contents import contents_of, options_of, path_of
from agree.study.job import Job, unit_key
from agree.study.kinds import refuse_unknown
from agree.study.listing import StudyRow, read_list
from agree.study.pool import MakeExecutor, Runner, own_pool
from agree.study.statistics.fleet import fleet_of
from agree.study.statistics.many_units import Assume, ManyUnits
from agree.study.statistics.readings import column_of, over_athletes, readings_of
from agree.study.tables import Line, pair_line, unit_line, write_tables
from agree.verdict.claim import Claim

BATCH = 20  # jobs in one call to an executor that is not our own
DEFAULTS = {"meaning": "average", "level": 0.95}  # a default that is named is the same question
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Study(Result):
    """A study's results.

    Attributes
    ----------
    pairs, units : tuple of Line
        A line for each pair in the list's order, and for each unit in the order of its first pair.
    results : tuple of mapping
        The whole result of each pair, or its error.
    claim : str
    options : mapping
        Options of pairing and check, as given; the verdicts are those of `options["meaning"]`.
    computed, reused, failed : int
        Pairs checked now, found done already, and ended in an error.
    fleet : ManyUnits or None
        Statistics over the units, in the unit that most claims have; None with fewer than 3 units.
    athlete : str
        The column that tells athletes apart; "" for none, None for the usual names.
    """

    pairs: tuple[Line, ...]
    units: tuple[Line, ...]
    results: tuple[Mapping[str, Any], ...] = field(repr=False)
    claim: str
    options: Mapping[str, Any]
    computed: int
    reused: int
    failed: int
    fleet: ManyUnits | None
    athlete: str | None = None


@dataclass(frozen=True, slots=True)
class _Unit:
    name: str
    claim: str
    rows: list[int] = field(default_factory=list)


def run(
    source: str | Path | Iterable[Mapping[str, Any]] | Any,
    claim: str,
    *,
    executor: Executor | MakeExecutor | None = None,
    out: str | Path | None = None,
    workers: int | None = None,
    retry: bool = False,
    progress: Progress | None = None,
    assume_units: Assume = "nothing",
    athlete: str | None = None,
    **options: Any,
) -> Study:
    """Check every pair of a list, and every unit over its sessions.

    Parameters
    ----------
    source : path, mappings or data frame
        The list: unit, session, reference, device, if wanted claim and quantity; all else are factors. Paths are
        relative to it.
    claim : str
        The maker's claim, for pairs without one of their own.
    executor : Executor, callable or None
        Any `concurrent.futures.Executor`, or a function that makes one (better: one that breaks is then made anew); by
        default a pool of processes of our own.
    out : path, optional
        A folder for tables and for the records of finished pairs; a study that was interrupted goes on from them.
    workers : int, optional
        Processes of our own pool, or how many of the executor's work at once; by default the number of cores.
    retry : bool
        Try pairs again that ended in an error.
    progress : callable, optional
        Called with the pairs that are done and all of them.
    assume_units : {"nothing", "normal"}
        "normal" takes the units' true errors for normal in the statistics over them, before 500 units can show it.
    athlete : str, optional
        The column that tells athletes apart; by default "athlete", "rider", "subject" or "participant", "" for none.
        Where a unit has several sessions of an athlete, its mean error and that answer are over athletes.
    **options
        Of `pair_recordings` (max_lag_s, lag_s, power_columns, faults) and `check_claim` (reference_uncertainty,
        meaning, bands, window_s, level, decision_rule). With `quantity` those of `check_quantity`
        (reference_uncertainty, meaning, window_s, level, delay). With `by`, the columns that tell trials apart, files
        are tables of trials, with options of `pair_trials` (reference_column, device_column, unit, unpaired) and
        `check_trials` (reference_uncertainty, meaning, level, mean_of, assume).

    Returns
    -------
    Study

    Raises
    ------
    InputError
        A list, claim or option that cannot be used; what is wrong with single pairs is a row of the result.

    See Also
    --------
    agree.check_claim : one unit.

    Examples
    --------
    >>> from agree.study import run
    >>> study = run([{"unit": "7", "session": "1", "reference": "none.csv", "device": "none.csv"}], "1.5 %")
    >>> study.failed, study.pairs[0].error
    (1, 'none.csv: No such file or directory')
    """
    Claim.parse(claim)
    checks.choice(assume_units, "assume_units", ("nothing", "normal"))
    refuse_unknown(options)
    if workers is not None and workers < 1:
        raise InputError(f"`workers` must be 1 or more; got {workers}", option="workers")
    options = {**DEFAULTS, **options}
    rows, folder = read_list(source)
    who = column_of("athlete", athlete, dict.fromkeys(name for row in rows for name in row.factors))
    store = Checkpoint(None if out is None else Path(out) / "pairs")
    contents = contents_of(rows, folder, claim, options)
    keys = [item.key for item in contents]
    units = _units(rows, claim)
    jobs, reused = _jobs(units, rows, folder, keys, store, options, retry=retry)
    total, done = len({key for key in keys if key}), reused
    runner = _runner(executor, workers)
    try:
        for job, records in runner.run(jobs):
            for record in records:
                store.put(record)
            done += len(job.keys)
            if progress is not None:
                progress(done, total)
    finally:
        runner.close()
    records = [{"error": item.error} if item.error else store.get(item.key) or {"error": "not checked"}
               for item in contents]
    lines = tuple(pair_line(row, record, item.repeats)
                  for row, record, item in zip(rows, records, contents, strict=True))
    unit_lines = tuple(_unit_line(unit, rows, keys, records, store) for unit in units)
    if options.get("by"):
        unit_lines = tuple(replace(line, over=line.over and "trials") for line in unit_lines)
    elif who and options["meaning"] == "average":
        unit_lines = tuple(_over_athletes(line, unit, lines, records, who, options)
                           for line, unit in zip(unit_lines, units, strict=True))
    study = Study(athlete=who, pairs=lines, units=unit_lines, results=tuple(records), claim=claim,
                  options=dict(options), computed=total - reused,
                  reused=reused, failed=sum(bool(line.error) for line in lines),
                  fleet=fleet_of(lines, records, options, assume_units, who))
    if out is not None:
        write_tables(study.pairs, study.units, study.results, rows, Path(out))
    return study


@dataclass(frozen=True, slots=True, kw_only=True)
class Intended:
    """What a run would do: pairs to check and found done, rows with an error before that, rows given twice, units."""

    to_check: int
    done: int
    errors: int
    repeats: int
    units: int


def intended(source: str | Path | Iterable[Mapping[str, Any]] | Any, claim: str, *, out: str | Path | None = None,
             retry: bool = False, **options: Any) -> Intended:
    """Return what `run` would do; nothing is written, but the files of the list are read once.

    Examples
    --------
    >>> from agree.study import intended
    >>> intended([{"unit": "7", "session": "1", "reference": "none.csv", "device": "none.csv"}], "1.5 %").errors
    1
    """
    Claim.parse(claim)
    refuse_unknown(options)
    options = {**DEFAULTS, **options}
    rows, folder = read_list(source)
    place = None if out is None else Path(out) / "pairs"
    store = Checkpoint(place if place is not None and place.is_dir() else None)
    contents = contents_of(rows, folder, claim, options)
    keys, units = [item.key for item in contents], _units(rows, claim)
    done = _jobs(units, rows, folder, keys, store, options, retry=retry)[1]
    return Intended(to_check=len({key for key in keys if key}) - done, done=done, units=len(units),
                    errors=sum(bool(item.error) for item in contents),
                    repeats=sum(item.repeats is not None for item in contents))


def _units(rows: list[StudyRow], claim: str) -> list[_Unit]:
    units: dict[tuple[str, str, str], _Unit] = {}
    for k, row in enumerate(rows):
        if row.unit:
            own = (row.unit, row.claim or claim, row.quantity)
            units.setdefault(own, _Unit(*own[:2])).rows.append(k)
    return list(units.values())


def _members(unit: _Unit, keys: list[str]) -> list[int]:
    """Rows of a unit whose files can be read, each content once."""
    first: dict[str, int] = {}
    for k in unit.rows:
        if keys[k]:
            first.setdefault(keys[k], k)
    return list(first.values())


def _jobs(units: list[_Unit], rows: list[StudyRow], folder: Path, keys: list[str], store: Checkpoint,
          options: dict[str, Any], *, retry: bool) -> tuple[list[Job], int]:
    jobs, reused = [], 0
    for unit in units:
        members = _members(unit, keys)
        mine = tuple(keys[k] for k in members)
        if not mine:
            continue
        records = [store.get(key) for key in (*mine, unit_key(mine))]
        if all(record is not None and not (retry and "error" in record) for record in records):
            reused += len(mine)
            continue
        files = tuple((path_of(folder, rows[k].reference), path_of(folder, rows[k].device)) for k in members)
        jobs.append(Job(files=files, keys=mine, claim=unit.claim,
                        options=options_of(rows[members[0]], options)))
    return jobs, reused


def _runner(executor: Executor | MakeExecutor | None, workers: int | None) -> Runner:
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    count = cores if workers is None else workers
    if executor is None:
        return Runner(lambda: own_pool(count), count)
    if isinstance(executor, Executor):
        given = executor
        return Runner(lambda: given, count, BATCH, owned=False)
    if callable(executor):
        return Runner(executor, count, BATCH)
    raise InputError(f"`executor` must be an Executor or a function that makes one; got {type(executor).__name__}",
                     option="executor")


def _unit_line(unit: _Unit, rows: list[StudyRow], keys: list[str], records: list[dict[str, Any]],
               store: Checkpoint) -> Line:
    mine = tuple(keys[k] for k in _members(unit, keys))
    sessions = sum("result" in records[k] for k in _members(unit, keys))
    record = (store.get(unit_key(mine)) if sessions else None) or {"error": "no session could be used"}
    return unit_line(unit.name, [rows[k] for k in unit.rows], sessions, record)


def _over_athletes(line: Line, unit: _Unit, lines: Sequence[Line], records: Sequence[Mapping[str, Any]], who: str,
                   options: Mapping[str, Any]) -> Line:
    """Give a unit the answer over its athletes, where sessions are not independent."""
    own = readings_of([lines[k] for k in unit.rows], [records[k] for k in unit.rows],
                      {"device": "unit", "condition": "", "athlete": who})
    cell = over_athletes(own, float(options.get("level", 0.95)), str(options.get("decision_rule", "interval")))
    if cell is None:
        return line
    return replace(line, over="athletes", verdict=cell.verdict, bias=cell.bias.value, low=cell.bias.low,
                   high=cell.bias.high, bias_unit=cell.unit)
