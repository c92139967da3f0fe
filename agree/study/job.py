"""One unit of a study, checked in a worker: its pairs one by one, and all of them together."""

from __future__ import annotations

import hashlib
import json
import os
import threading
from dataclasses import dataclass, field, replace
from typing import Any

THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
READ_BYTES = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What a worker needs: files of each pair, the claim, and options of pairing and check.

    `keys` are those of the pairs; `alone` leaves out the check of all together.
    """

    files: tuple[tuple[str, str], ...]
    keys: tuple[str, ...]
    claim: str
    options: dict[str, Any] = field(default_factory=dict)
    alone: bool = False


def start_worker() -> None:
    """Make a worker use one thread of linear algebra, and end with its parent, however that ends."""
    for name in THREADS:
        os.environ.setdefault(name, "1")
    import multiprocessing

    parent = multiprocessing.parent_process()
    if parent is not None:
        def watch() -> None:
            parent.join()
            os._exit(1)

        threading.Thread(target=watch, daemon=True).start()


def digest(path: str) -> str:
    """SHA-256 of a file's bytes, a local one or a URL that fsspec opens."""
    found = hashlib.sha256()
    with opened(path) as file:
        while piece := file.read(READ_BYTES):
            found.update(piece)
    return found.hexdigest()


def opened(path: str) -> Any:
    """Open a local file or a URL for reading."""
    if "://" in path:
        import fsspec

        return fsspec.open(path, "rb").open()
    return open(path, "rb")  # noqa: PTH123  (the caller closes it)


def pair_key(files: tuple[str, str], digests: tuple[str, str], claim: str, options: dict[str, Any]) -> str:
    """Key of a pair by content: what its record depends on, and nothing else; labels are not in it."""
    from agree import __version__

    text = json.dumps(["pair", 1, __version__, digests, claim, options], sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()


def unit_key(keys: tuple[str, ...]) -> str:
    """Key of a unit: of its pairs in order; a single pair is the unit."""
    if len(keys) == 1:
        return keys[0]
    return hashlib.sha256(json.dumps(["unit", *keys]).encode()).hexdigest()


def run_job(job: Job) -> list[dict[str, Any]]:
    """Check each pair, and the unit; errors of input are records too."""
    import warnings

    from agree.assessment.claim_check import check_claim
    from agree.core.errors import AgreeError, AgreeWarning

    asked = {name: value for name, value in job.options.items() if name in CHECK}
    records: list[dict[str, Any]] = []
    found = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)  # the worker's process is ours; the result says the same
        for files, key in zip(job.files, job.keys, strict=True):
            try:
                pairs = _paired(files, job.options)
                result = check_claim(pairs, job.claim, **asked).to_dict()
            except (AgreeError, OSError) as error:
                records.append({"key": key, "error": " ".join(str(error).split())})
                continue
            found.append(pairs)
            records.append({"key": key, "result": result})
        if not job.alone and len(job.keys) > 1:
            records.append(_unit(found, records, job, asked))
    return records


CHECK = ("reference_uncertainty", "meaning", "bands", "window_s", "level", "decision_rule")
PAIRING = ("max_lag_s", "lag_s", "power_columns", "faults")


def _paired(files: tuple[str, str], options: dict[str, Any]) -> Any:
    """Read and match two files under names that say nothing of where they lie."""
    from agree.pairing.pair import pair_recordings
    from agree.recordings.read import read_recording

    sides: list[Any] = []
    for role, path in zip(("reference", "device"), files, strict=True):
        if "://" in path:
            with opened(path) as file:
                sides.append(read_recording(file, name=role))
        else:
            sides.append(read_recording(path, name=role))
    return pair_recordings(*sides, **{name: value for name, value in options.items() if name in PAIRING})


def _unit(found: list[Any], records: list[dict[str, Any]], job: Job, asked: dict[str, Any]) -> dict[str, Any]:
    from agree.assessment.claim_check import check_claim
    from agree.core.errors import AgreeError

    key = unit_key(job.keys)
    if not found:
        return {"key": key, "error": "no session could be used"}
    if len(found) == 1:
        return {"key": key, "result": next(record["result"] for record in records if "result" in record)}
    sessions = [replace(pairs, session=str(number)) for number, pairs in enumerate(found, 1)]
    try:
        return {"key": key, "result": check_claim(sessions, job.claim, **asked).to_dict()}
    except AgreeError as error:
        return {"key": key, "error": " ".join(str(error).split())}
