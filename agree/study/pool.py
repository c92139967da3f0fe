"""Jobs through an executor that may break: sent again, suspects singly, given up after three lost workers."""

from __future__ import annotations

import multiprocessing
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, ProcessPoolExecutor, wait
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

    def _executor(self) -> Executor:
        if self.executor is None:
            self.executor = self.make()
        return self.executor

    def close(self) -> None:
        """End the executor; one that was given stays the caller's."""
        if self.executor is not None and self.owned:
            self.executor.shutdown(wait=False, cancel_futures=True)
        self.executor = None

    def run(self, jobs: Sequence[Job]) -> Iterator[tuple[Job, Records]]:
        """Yield each job with its records, in the order they are done."""
        suspects: list[Job] = []
        todo = deque(list(jobs[k:k + self.batch]) for k in range(0, len(jobs), self.batch))
        flying: dict[Future[list[Records]], list[Job]] = {}
        while todo or flying:
            while todo and len(flying) < IN_FLIGHT * self.workers:
                batch = todo.popleft()
                try:
                    flying[self._executor().submit(run_batch, batch)] = batch
                except BrokenExecutor:
                    todo.appendleft(batch)
                    break
            done, _ = wait(flying, return_when=FIRST_COMPLETED)
            broken = not flying
            for future in done:
                batch = flying.pop(future)
                try:
                    yield from zip(batch, future.result(), strict=True)
                except Exception as error:
                    if not _lost(error):
                        raise
                    suspects += batch
                    broken = True
            if broken:
                suspects += [job for batch in flying.values() for job in batch]
                flying.clear()
                self.close()
        for job in suspects:
            yield job, self._singly(job)

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


def _lost(error: Exception) -> bool:
    """Whether a worker or a whole cluster was lost, not the job refused."""
    return isinstance(error, BrokenExecutor | ConnectionError | EOFError) or any(
        word in type(error).__name__ for word in ("KilledWorker", "CommClosed", "Cancelled", "LostRun"))
