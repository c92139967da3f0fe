"""Executors of any kind: those that break are made anew, nothing is lost, nothing comes twice."""

import gc
import os
import signal
from collections import Counter
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from contextlib import suppress

import dask
import numpy as np
import pytest
from dask.distributed import Client, LocalCluster, Status

from agree.study import run
from agree.study.job import Job
from agree.study.pool import IN_FLIGHT, Runner


class Small(Executor):
    """The least of an executor: `shutdown` knows `wait` alone. Submission number `breaks` never comes back."""

    def __init__(self, log, breaks=None):
        self.log, self.breaks, self.count, self.broken = log, breaks, 0, False

    def submit(self, function, jobs):
        self.count += 1
        self.broken |= self.count == self.breaks
        if self.broken and self.count > (self.breaks or 0) + 1:
            raise BrokenExecutor("broken before")
        future = Future()
        if self.broken:
            future.set_exception(BrokenExecutor("worker lost"))
        else:
            self.log.append(len(jobs) if isinstance(jobs, list) else 1)
            future.set_result([[{"key": key} for key in job.keys] for job in jobs] if isinstance(jobs, list)
                              else [{"key": key, "result": 1} for key in jobs.keys])
        return future

    def shutdown(self, wait=True):
        self.log.append("shut")


def jobs(count):
    return [Job(files=(("r", "d"),), keys=(f"{k}",), claim="1 %") for k in range(count)]


@pytest.mark.parametrize("breaks", [[None], [1, None], [3, None], [3, 2, None], [3, 2, 1, 1, None]])
def test_every_job_comes_once_whatever_breaks(breaks):
    log, made = [], iter(breaks)
    runner = Runner(lambda: Small(log, next(made)), workers=2, batch=5)
    done = [job.keys[0] for job, _ in runner.run(jobs(57))]
    assert Counter(done) == {f"{k}": 1 for k in range(57)}
    runner.close()
    assert log.count("shut") == len(breaks)


def test_batches_are_small_enough_for_all_workers():
    log = []
    list(Runner(lambda: Small(log), workers=4, batch=20).run(jobs(30)))
    assert log[0] == 30 // (4 * IN_FLIGHT) == 2
    log.clear()
    list(Runner(lambda: Small(log), workers=1, batch=20).run(jobs(600)))
    assert set(log) == {20}


def test_an_executor_that_was_given_stays_open():
    log = []
    given = Small(log)
    runner = Runner(lambda: given, 1, owned=False)
    list(runner.run(jobs(3)))
    runner.close()
    assert "shut" not in log


def test_urls_are_opened_by_the_workers_and_one_that_fails_is_a_row(tmp_path):
    import fsspec

    rng = np.random.default_rng(2)
    watts = np.clip(200 + 80 * np.sin(np.arange(400) / 40) + rng.normal(0, 20, 400), 0, None).round()
    for role, values in (("ref", watts), ("dev", (0.97 * watts + rng.normal(0, 3, 400)).round())):
        text = "time_s,power_W\n" + "".join(f"{k},{value:g}\n" for k, value in enumerate(values))
        (tmp_path / f"{role}.csv").write_text(text)
        with fsspec.open(f"memory://study/{role}.csv", "w") as file:
            file.write(text)
    rows = [{"unit": "m", "session": "1", "reference": "memory://study/ref.csv", "device": "memory://study/dev.csv"},
            {"unit": "n", "session": "1", "reference": "nowhere://x", "device": "memory://study/dev.csv"}]
    with ThreadPoolExecutor(1) as executor:
        by_url = run(rows, "1.5 %", executor=executor)
        local = run([rows[0] | {name: str(tmp_path / f"{name[:3]}.csv") for name in ("reference", "device")}], "1.5 %",
                    executor=executor)
    assert by_url.results[0]["result"] == local.results[0]["result"]
    assert by_url.pairs[1].error == "nowhere://x: ValueError: Protocol not known: nowhere"


class Dask:
    """Makes clusters of one worker, and ends a part of the first one when the first pairs are done."""

    def __init__(self, lose, processes):
        self.lose, self.processes, self.made = lose, processes, []

    def __call__(self):
        cluster = LocalCluster(n_workers=1, threads_per_worker=1, processes=self.processes, dashboard_address=None)
        self.made.append((cluster, Client(cluster)))
        return self.made[-1][1].get_executor(pure=False, retries=2)

    def progress(self, done, total):
        lose, self.lose = self.lose, ""
        cluster, client = self.made[-1]
        if lose == "worker":
            os.kill(next(iter(client.run(os.getpid).values())), signal.SIGKILL)
        elif lose == "scheduler":
            cluster.sync(cluster.scheduler.close)

    def close(self):
        for cluster, client in self.made[::-1]:
            client.close(timeout=1)
            with suppress(TimeoutError, OSError):  # where its scheduler was closed
                cluster.close(timeout=1)
            cluster.status = Status.closed  # else one that could not be closed is named tests later
        self.made = [(None, None)] * len(self.made)
        gc.collect()


@pytest.mark.filterwarnings("ignore")  # of the cluster that is ended
@pytest.mark.parametrize(("lose", "processes", "clusters"), [("worker", True, 1), ("scheduler", False, 2)])
def test_dask_with_a_part_lost_gives_the_undisturbed_tables(folder, undisturbed, tables, tmp_path, lose, processes,
                                                            clusters):
    maker = Dask(lose, processes)
    with dask.config.set({"distributed.comm.timeouts.connect": "1s", "distributed.comm.retry.count": 0}):
        study = run(folder / "list.csv", "1.5 %", out=tmp_path, workers=2, executor=maker, progress=maker.progress)
        maker.close()
    assert (study.computed, study.failed, len(maker.made)) == (6, 0, clusters)
    assert tables(tmp_path) == undisturbed
