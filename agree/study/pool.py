"""Jobs through an executor that may break: sent again, suspects singly, given up after three lost workers."""

from __future__ import annotations

import multiprocessing
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from dataclasses import replace
from typing import Any

from agree.study.job import Job, run_job, start_worker, unit_key

TRIES = 3
IN_FLIGHT = 3  # batches for each worker, so that a lost worker loses little and none waits

Records = list[dict[str, Any]]
MakeExecutor = Callable[[], Executor]


def own_pool(workers: int) -> ProcessPoolExecutor:
    """Return a pool of spawned processes: none inherits threads or locks, each uses one thread of linear algebra."""
    return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=start_worker)


def run_batch(jobs: Sequence[Job]) -> list[Records]:
    """Run several jobs in one call: executors over a network cost milliseconds a call."""
    return [run_job(job) for job in jobs]


class Runner:
    """Runs jobs on executors that are made anew when one breaks.

    Parameters
    ----------
    make : callable
        Makes an executor.
    workers : int
        How many work at once: so many batches, times 3, are sent at a time.
    batch : int
        Jobs in one call.
    """

    def __init__(self, make: MakeExecutor, workers: int, batch: int = 1, *, owned: bool = True) -> None:
        self.make, self.workers, self.batch, self.owned = make, max(workers, 1), max(batch, 1), owned
        self.executor: Executor | None = None
        self.flying: dict[Future[list[Records]], list[Job]] = {}

    def _executor(self) -> Executor:
        if self.executor is None:
            self.executor = self.make()
        return self.executor

    def close(self) -> None:
        """End the executor; one that was given stays the caller's."""
        for future in self.flying:  # not every executor can do so when it is shut down
            future.cancel()
        self.flying.clear()
        if self.executor is not None and self.owned:
            self.executor.shutdown(wait=False)
        self.executor = None

    def run(self, jobs: Sequence[Job]) -> Iterator[tuple[Job, Records]]:
        """Yield each job with its records, in the order they are done.

        What was on its way when an executor broke is sent again, one job to a worker; what was on its way when that
        broke is run by itself, so that the pair that ends its worker is known.
        """
        batch = max(1, min(self.batch, len(jobs) // (IN_FLIGHT * self.workers)))
        broken: list[Job] = []
        suspects: list[Job] = []
        yield from self._round(jobs, batch, IN_FLIGHT * self.workers, broken)
        yield from self._round(broken, 1, self.workers, suspects)
        for job in suspects:
            yield job, self._singly(job)

    def _round(self, jobs: Sequence[Job], batch: int, most: int, broken: list[Job]) -> Iterator[tuple[Job, Records]]:
        """Run jobs, so many batches at a time; those that are lost with their executor are added to `broken`."""
        todo = deque(list(jobs[k:k + batch]) for k in range(0, len(jobs), batch))
        flying = self.flying
        while todo or flying:
            lost = False
            while todo and len(flying) < most and not lost:
                sent = todo.popleft()
                try:
                    flying[self._executor().submit(run_batch, sent)] = sent
                except Exception as error:
                    if not _lost(error):
                        raise
                    broken += sent
                    lost = True
            done, _ = wait(flying, return_when=FIRST_COMPLETED) if flying and not lost else (set(flying), None)
            for future in done:
                sent = flying.pop(future)
                try:
                    found = future.result(timeout=0 if lost else None)
                except (Exception, CancelledError) as error:
                    if not _lost(error) and not isinstance(error, TimeoutError):
                        raise
                    broken += sent
                    lost = True
                else:
                    yield from zip(sent, found, strict=True)
            if lost:
                broken += [job for sent in flying.values() for job in sent]
                self.close()

    def _singly(self, job: Job) -> Records:
        """Run a job whose worker was lost: each pair by itself, then what is left together."""
        records, kept = [], []
        for files, key in zip(job.files, job.keys, strict=True):
            one = replace(job, files=(files,), keys=(key,), alone=True)
            found = self._tried(one)
            records.append(found[0])
            if "result" in found[0]:
                kept.append((files, key))
        if job.alone or len(job.keys) == 1:
            return records
        whole = replace(job, files=tuple(files for files, _ in kept), keys=tuple(key for _, key in kept))
        last = self._tried(whole)[-1] if kept else {"error": "no session could be used"}
        return [*records, {**last, "key": unit_key(job.keys)}]

    def _tried(self, job: Job) -> Records:
        for _ in range(TRIES):
            try:
                return self._executor().submit(run_job, job).result()
            except Exception as error:
                if not _lost(error):
                    raise
                self.close()
        return [{"key": job.keys[0] if job.keys else "", "lost": True,
                 "error": f"its worker ended {TRIES} times while it was checked; it is not tried again unless asked"}]


def _lost(error: BaseException) -> bool:
    """Whether a worker or a whole cluster was lost, not the job refused; dask's errors are known by their names."""
    return isinstance(error, BrokenExecutor | CancelledError | ConnectionError | EOFError) or any(
        word in type(error).__name__ for word in ("KilledWorker", "CommClosed", "Cancelled", "LostRun", "ClosedClient"))
