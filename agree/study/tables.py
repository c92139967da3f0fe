"""Tables of a study: a row for each pair and each unit, and every result whole, always in the list's order."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from agree.core.results.plain import cell_text
from agree.files.writing import write_text
from agree.study.listing import StudyRow
from agree.study.told import average_of

WHOLE = ("sessions", "listed", "repeats")
FIGURES = ("verdict", "bias", "low", "high", "bias_unit")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One row: its labels and factors, the verdict, the mean error with its interval in `bias_unit`, or the error.

    `repeats` is the row of the list that a pair gives again, `listed` the pairs that the list has of a unit, `over`
    what the answer of a unit counts as independent: "athletes", "sessions", "trials" of its table, or "recording" where
    there is one pair, whose interval says nothing of other days.
    """

    labels: Mapping[str, str]
    sessions: int
    verdict: str
    bias: float | None
    low: float | None
    high: float | None
    bias_unit: str
    error: str = ""
    factors: Mapping[str, str] = field(default_factory=dict)
    repeats: int | None = None
    listed: int = 1
    over: str = ""


def _figures(record: Mapping[str, Any]) -> dict[str, Any]:
    """Verdict and mean error of a stored result of either schema."""
    result = record.get("result")
    if result is None:
        return {"verdict": "", "bias": None, "low": None, "high": None, "bias_unit": "",
                "error": record.get("error", "not checked")}
    percent = "bias_percent" in result
    bias = result["bias_percent"] if percent else result["bias"]
    told = average_of(result)
    unit = "%" if percent else told.unit if told is not None else result.get("error_unit") or result["unit"]
    return {"verdict": result["verdict"], **{name: bias[key] for name, key in (("bias", "value"), ("low", "low"),
                                                                             ("high", "high"))}, "bias_unit": unit}


def pair_line(row: StudyRow, record: Mapping[str, Any], repeats: int | None = None) -> Line:
    """Return the line of one pair."""
    labels = {"unit": row.unit, "session": row.session, "reference": row.reference, "device": row.device,
              "claim": row.claim, "quantity": row.quantity}
    return Line(labels=labels, sessions=1, factors=row.factors, repeats=repeats, **_figures(record))


def unit_line(unit: str, rows: Sequence[StudyRow], sessions: int, record: Mapping[str, Any]) -> Line:
    """Return the line of one unit over its sessions; factors in which its pairs differ are left out."""
    factors = {key: value for key, value in rows[0].factors.items()
               if all(row.factors.get(key) == value for row in rows)}
    labels = {"unit": unit, "claim": rows[0].claim, "quantity": rows[0].quantity}
    return Line(labels=labels, sessions=sessions, factors=factors, listed=len(rows),
                over="" if "result" not in record else "sessions" if sessions > 1 else "recording", **_figures(record))


def table(lines: Sequence[Line], *, units: bool) -> tuple[list[str], list[list[Any]]]:
    """Return header and cells."""
    factors = list(dict.fromkeys(key for line in lines for key in line.factors))
    labels = ["unit"] if units else ["unit", "session", "reference", "device"]
    labels += [name for name in ("claim", "quantity") if any(line.labels.get(name) for line in lines)]
    header = [*labels, *(["sessions", "listed", "over"] if units else []), *factors, *FIGURES, "error",
              *([] if units else ["repeats"])]
    cells = [[*(line.labels[name] for name in labels), *([line.sessions, line.listed, line.over] if units else []),
              *(line.factors.get(name, "") for name in factors), *(getattr(line, name) for name in FIGURES), line.error,
              *([] if units else [line.repeats])] for line in lines]
    return header, cells


def csv_text(header: Sequence[str], cells: Sequence[Sequence[Any]]) -> str:
    """Return a table as CSV: numbers with all their digits, nothing where there is none, text as `cell_text` has it."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([cell_text(name) for name in header])
    writer.writerows([["" if cell is None else repr(cell) if isinstance(cell, float) else cell_text(cell)
                       for cell in row] for row in cells])
    return out.getvalue()


def write_tables(pairs: Sequence[Line], units: Sequence[Line], results: Sequence[Mapping[str, Any]],
                 rows: Sequence[StudyRow], folder: Path) -> None:
    """Write pairs.csv, units.csv and results.jsonl, and Parquet tables where pyarrow is installed."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, lines in (("pairs", pairs), ("units", units)):
        header, cells = table(lines, units=name == "units")
        write_text(folder / f"{name}.csv", csv_text(header, cells))
        _write_parquet(header, cells, folder / f"{name}.parquet")
    text = "".join(json.dumps({"row": _row(row), **_kept(record)}, ensure_ascii=False, allow_nan=False) + "\n"
                   for row, record in zip(rows, results, strict=True))
    write_text(folder / "results.jsonl", text)


def _kept(record: Mapping[str, Any]) -> dict[str, Any]:
    return {"result": record["result"]} if "result" in record else {"error": record.get("error", "not checked")}


def _row(row: StudyRow) -> dict[str, Any]:
    return {"unit": row.unit, "session": row.session, "reference": row.reference, "device": row.device,
            "claim": row.claim, **({"quantity": row.quantity} if row.quantity else {}), **row.factors}


def _write_parquet(header: Sequence[str], cells: Sequence[Sequence[Any]], path: Path) -> None:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        return
    from agree.files.writing import write_whole

    numbers = {"bias", "low", "high"}
    columns = {name: pa.array([row[k] for row in cells], type=pa.float64() if name in numbers else
                              pa.int64() if name in WHOLE else pa.string()) for k, name in enumerate(header)}
    made = pa.table(columns)
    write_whole(path, lambda part: pq.write_table(made, part))
