"""The table of a study for a paper: devices by conditions, and how far they are apart."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.study.running import Study
from agree.study.statistics.cells import Cell, Reading, cell_of, codes
from agree.study.statistics.clustered import CellMeans, cell_means, contrast
from agree.study.statistics.readings import BLANK, column_of, readings_of

MOST_LEVELS = 8  # of a factor whose levels are all held against each other: 28 differences are a page


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contrast(Result):
    """How far two devices, or two conditions, are apart in mean error.

    Attributes
    ----------
    factor : {"device", "condition"}
    first, second : str
        Levels: the difference is first minus second.
    within : str
        The level of the other factor that it is taken in; "" for the mean over all levels that both have.
    difference : Estimate or None
        None where too few athletes or efforts have both.
    unit : str
    """

    factor: str
    first: str
    second: str
    within: str
    difference: Estimate | None
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StudyTable(Result):
    """Devices by conditions, and contrasts.

    Attributes
    ----------
    device, condition, athlete : str
        Names of the columns of the list; "" where there is none.
    cells : tuple of Cell
    contrasts : tuple of Contrast
        Each interval stands by itself; a shared error of the reference is in both sides and leaves them.
    clusters : {"athletes", "efforts", "units", "athletes and units"}
        What the intervals of the contrasts count as independent.
    claim : str
    reference : str
        What was stated of the reference, "" for nothing.
    rule : str
        The decision rule of the cells' answers.
    level : float
    pairs, athletes : int
        Pairs in the table, and how many athletes they name.
    overlap_s, used_s : float
        Seconds that reference and device have in common, and those that were used.
    by : str
        The keys of trials where the pairs are tables of them; "" for recordings.
    notes : tuple of Note
        Pairs that are not in the table.
    """

    device: str
    condition: str
    athlete: str
    cells: tuple[Cell, ...]
    contrasts: tuple[Contrast, ...]
    clusters: str
    claim: str
    reference: str
    rule: str
    level: float
    pairs: int
    athletes: int
    overlap_s: float
    used_s: float
    notes: tuple[Note, ...]
    by: str = ""


def study_table(
    study: Study, *, device: str | None = None, condition: str | None = None, athlete: str | None = None
) -> StudyTable:
    """Summarise a study by device and condition.

    Parameters
    ----------
    study : Study
    device, condition, athlete : str, optional
        Columns of the list. By default "model" or "product" if there is one, else the unit, for devices; "condition",
        "terrain" or "intensity"; "athlete", "rider", "subject" or "participant". "" for none.

    Returns
    -------
    StudyTable

    Raises
    ------
    InputError
        A column that the list does not have, or no pair that was checked.

    Notes
    -----
    A cell's figures are those of its pairs' mean errors: athletes count alike, limits by Thomas and Hultquist's
    unweighted sums of squares (`agree.estimators.trials.unweighted`). Contrasts rest on cell means with clusters
    (`agree.study.statistics.clustered`), so athletes need not have all cells. Where one device of the table is several
    specimens, the variance between these is added to that between athletes, and the fewer degrees of freedom count.

    Examples
    --------
    >>> from agree.study import run, study_table
    >>> study = run([{"unit": "7", "session": "1", "reference": "none.csv", "device": "none.csv"}], "1.5 %")
    >>> study_table(study)
    Traceback (most recent call last):
    ...
    agree.core.errors.InputError: the study has no pair that was checked; expected some; see the column error
    """
    names = {"device": device, "condition": condition, "athlete": study.athlete if athlete is None else athlete}
    factors = dict.fromkeys(name for line in study.pairs for name in line.factors)
    chosen = {what: column_of(what, name, factors) for what, name in names.items()}
    readings = readings_of(study.pairs, study.results, chosen)
    if not readings:
        raise InputError("the study has no pair that was checked; expected some; see the column error")
    kind = Counter((item.quantity, item.unit) for item in readings).most_common(1)[0][0]
    kept, unit = [item for item in readings if (item.quantity, item.unit) == kind], kind[1]
    level = float(study.options.get("level", 0.95))
    groups: dict[tuple[str, str], list[Reading]] = {}
    for item in kept:
        groups.setdefault((item.device, item.condition), []).append(item)
    rule = str(study.options.get("decision_rule", "interval"))
    cells = tuple(cell_of(own, level, rule) for own in groups.values())
    if chosen["device"] == "unit":
        cells = tuple(_as_the_unit(cell, study, level) for cell in cells)
    contrasts, clusters = _contrasts(kept, list(groups), level, unit)
    left = len(study.pairs) - len(kept)
    notes = [Note(kind="study_pairs_not_in_table", values={"pairs": left, "of": len(study.pairs)})] if left else []
    blank = {"device": sum(item.device == BLANK for item in kept),
             "condition": sum(item.condition == BLANK for item in kept),
             "athlete": sum(not item.athlete for item in kept) if chosen["athlete"] else 0}
    notes += [Note(kind="study_blank_cells", values={"column": chosen[what], "pairs": count, "what": what})
              for what, count in blank.items() if count]
    return StudyTable(device=chosen["device"], condition=chosen["condition"], athlete=chosen["athlete"], cells=cells,
                      contrasts=contrasts, clusters=clusters, claim=study.claim, rule=rule, level=level,
                      notes=tuple(notes), pairs=len(kept), by=str(study.options.get("by") or ""),
                      reference=str(study.options.get("reference_uncertainty") or ""),
                      athletes=len({item.athlete for item in kept} - {""}),
                      overlap_s=sum(item.overlap_s for item in kept), used_s=sum(item.used_s for item in kept))


def _as_the_unit(cell: Cell, study: Study, level: float) -> Cell:
    """Give a cell of all of a unit's sessions the unit's own figure and answer: one figure, one answer."""
    lines = [line for line in study.units if line.labels["unit"] == cell.device]
    line = lines[0] if len(lines) == 1 else None
    if (line is None or line.over != "sessions" or line.sessions != cell.pairs or line.bias_unit != cell.unit
            or study.options.get("meaning", "average") != "average"):
        return cell
    numbers = [math.nan if value is None else value for value in (line.bias, line.low, line.high)]
    return replace(cell, verdict=line.verdict, bias=Estimate(
        value=numbers[0], low=numbers[1], high=numbers[2], level=level, method="the unit's own, over its sessions"))


def _contrasts(readings: Sequence[Reading], cells: Sequence[tuple[str, str]], level: float,
               unit: str) -> tuple[tuple[Contrast, ...], str]:
    y = np.array([item.error for item in readings])
    cell = np.array([cells.index((item.device, item.condition)) for item in readings])
    athletes = codes([item.athlete for item in readings])
    several = any(len({item.specimen for item in readings if item.device == name}) > 1 for name, _ in cells)
    fits: list[CellMeans] = []
    names = []
    if athletes.max() > 0:
        fits, names = [cell_means(y, cell, athletes)], ["athletes"]
    if several:
        fits.append(cell_means(y, cell, codes([item.specimen for item in readings])))
        names.append("units")
    if not fits:
        fits, names = [cell_means(y, cell, codes([item.effort for item in readings]))], ["efforts"]
    made = [replace_difference(item, fits, weights, level) for item, weights in _asked(cells, unit)]
    return tuple(made), " and ".join(names)


def _asked(cells: Sequence[tuple[str, str]], unit: str) -> Iterator[tuple[Contrast, list[float]]]:
    """Every two levels of each factor, over all levels of the other that both have, then within each of these."""
    for place, factor in enumerate(("device", "condition")):
        levels = list(dict.fromkeys(cell[place] for cell in cells if cell[place] != BLANK))
        if len(levels) > MOST_LEVELS:
            continue
        for second, first in combinations(levels, 2):
            has = [[cell[1 - place] for cell in cells if cell[place] == name] for name in (first, second)]
            common = [other for other in has[0] if other in has[1]]
            for within in [common, *([other] for other in common if len(common) > 1)]:
                if not within:
                    continue
                sides = [(cell[place] == first) - (cell[place] == second) for cell in cells]
                weights = [side * (cell[1 - place] in within) / len(within)
                           for side, cell in zip(sides, cells, strict=True)]
                yield Contrast(factor=factor, first=first, second=second, unit=unit, difference=None,
                               within=within[0] if len(within) == 1 and len(common) > 1 else ""), weights


def replace_difference(item: Contrast, fits: Sequence[CellMeans], weights: Sequence[float], level: float) -> Contrast:
    """Return a contrast with its interval, of all kinds of clusters together; as it is where one cannot be told."""
    try:
        found = [contrast(fitted, weights, level) for fitted in fits]
    except SampleSizeError:
        return item
    if len(found) == 1:
        return replace(item, difference=found[0])
    se, df = math.hypot(*(one.standard_error for one in found)), min(one.df for one in found)
    half = t_quantile(level, df) * se
    return replace(item, difference=replace(found[0], low=found[0].value - half, high=found[0].value + half,
                                            standard_error=se, df=df, method=f"{found[0].method}, athletes and units"))
