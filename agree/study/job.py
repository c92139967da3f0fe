"""One unit of a study, checked in a worker: its pairs one by one, and all of them together."""

from __future__ import annotations

import hashlib
import json
import os
import threading
from dataclasses import dataclass, field
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
    """Open a local file or a URL for reading.

    Raises
    ------
    OSError
        Also where what stands behind a URL raises errors of its own.
    """
    if "://" in path:
        try:
            import fsspec

            return fsspec.open(path, "rb").open()
        except OSError:
            raise
        except ImportError as error:
            raise OSError(f"{error}; URLs need fsspec and what opens their kind: pip install 'agree-devices[urls]'"
                          ) from None
        except Exception as error:  # of any library behind the URL; one pair must not stop the others
            raise OSError(f"{type(error).__name__}: {error}") from None
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

    from agree.core.errors import AgreeError, AgreeWarning
    from agree.study.kinds import check_together

    records: list[dict[str, Any]] = []
    found = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)  # the worker's process is ours; the result says the same
        for files, key in zip(job.files, job.keys, strict=True):
            try:
                pair = _paired(files, job.options)
                result = check_together([pair], job.claim, job.options).to_dict()
            except (AgreeError, OSError) as error:
                records.append({"key": key, "error": " ".join(str(error).split())})
                continue
            found.append(pair)
            records.append({"key": key, "result": result})
        if not job.alone and len(job.keys) > 1:
            records.append(_unit(found, records, job))
    return records


def _paired(files: tuple[str, str], options: dict[str, Any]) -> Any:
    """Open URLs here, in the worker; local files are left to their readers."""
    from contextlib import ExitStack

    from agree.study.kinds import read_pair

    with ExitStack() as open_files:
        sides = [open_files.enter_context(opened(path)) if "://" in path else path for path in files]
        return read_pair(sides, options)


def _unit(found: list[Any], records: list[dict[str, Any]], job: Job) -> dict[str, Any]:
    from agree.core.errors import AgreeError
    from agree.study.kinds import check_together

    key = unit_key(job.keys)
    if not found:
        return {"key": key, "error": "no session could be used"}
    if len(found) == 1:
        return {"key": key, "result": next(record["result"] for record in records if "result" in record)}
    try:
        return {"key": key, "result": check_together(found, job.claim, job.options).to_dict()}
    except AgreeError as error:
        return {"key": key, "error": " ".join(str(error).split())}
