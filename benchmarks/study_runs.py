"""What running a study costs, and that nothing is lost: throughput, memory of a worker, dask's overhead, kills.

    python benchmarks/study_runs.py [throughput memory dask kills] [--pairs 60] [--kills 20] [--seed 5]

Invented pairs: of one hour for throughput and memory, of ten minutes for kills. "throughput": pairs a second with one
and with two workers of the own pool, workers started before. "memory": resident size of one process over so many pairs.
"dask": time of jobs that do nothing, one by one and in batches of 20, on a local cluster of two workers. "kills": the
driver is killed at random moments, at every fourth a worker before it, then a last run ends although it loses a worker;
the tables must have the bytes of the run that nothing disturbed, and no process must be left. Bounds that hold whatever
the machine's speed (memory, kills) end the run with exit status 1.
"""

from __future__ import annotations

import argparse
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from agree.demo.many import effort, reading, write
from agree.study import find_pairs, run
from agree.study.job import Job, run_job
from agree.study.listing import list_text
from agree.study.pool import Runner, own_pool

MOST_MB, MOST_GROWTH_MB = 300, 30


def folder_of(root: Path, units: int, seconds: int) -> Path:
    """Write pairs of so many units, one session each, and their list."""
    rng = np.random.default_rng(11)
    root.mkdir(parents=True, exist_ok=True)
    for unit in range(units):
        true = effort(rng, seconds)
        write(root / f"u{unit}-1-ref.csv", true)
        write(root / f"u{unit}-1-dev.csv", reading(rng, true, rng.normal(0, 0.5)), 3.0)
    (root / "list.csv").write_text(list_text(find_pairs(root).rows))
    return root / "list.csv"


def throughput(root: Path, pairs: int) -> list[str]:
    listed = folder_of(root, pairs, 3600)
    print("| workers | pairs | pairs a second | processor ms a pair |\n|---:|---:|---:|---:|")
    rates = []
    for workers in (1, 2):
        pool = own_pool(workers)
        list(pool.map(run_job, [Job(files=(), keys=(), claim="1 %", alone=True)] * 4))
        warm = [{"unit": "w", "session": "1", "reference": str(root / "u0-1-ref.csv"),
                 "device": str(root / "u0-1-dev.csv")}]
        for _ in range(2):
            run(warm, "1.5 %", executor=pool, workers=workers, level=0.9)
        begin, before = time.perf_counter(), os.times()
        study = run(listed, "1.5 %", executor=pool, workers=workers)
        took = time.perf_counter() - begin
        pool.shutdown()
        after = os.times()
        spent = sum(after[:4]) - sum(before[:4])
        rates.append(study.computed / took)
        print(f"| {workers} | {study.computed} | {rates[-1]:.1f} | {1000 * spent / study.computed:.0f} |", flush=True)
    print(f"\ntwo workers over one: {rates[1] / rates[0]:.2f}; load of the machine {os.getloadavg()[0]:.1f} on "
          f"{len(os.sched_getaffinity(0))} cores\n")
    return []


def resident_mb() -> float:
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def memory(root: Path, pairs: int) -> list[str]:
    """Run jobs of 8 pairs again and again in this process."""
    folder_of(root, 8, 3600)
    files = [(str(root / f"u{k}-1-ref.csv"), str(root / f"u{k}-1-dev.csv")) for k in range(8)]
    seen = []
    for number in range(pairs):
        run_job(Job(files=(files[number % 8],), keys=("k",), claim="1.5 %"))
        if number in (7, pairs // 4, pairs // 2, pairs - 1):
            seen.append((number + 1, resident_mb()))
    print("| pairs | MB |\n|---:|---:|")
    print("\n".join(f"| {count} | {size:.0f} |" for count, size in seen) + "\n", flush=True)
    grown = seen[-1][1] - seen[0][1]
    return [f"a worker holds {seen[-1][1]:.0f} MB"] * (seen[-1][1] > MOST_MB) + [
        f"a worker grew by {grown:.0f} MB"] * (grown > MOST_GROWTH_MB)


def dask(root: Path, pairs: int) -> list[str]:
    from dask.distributed import Client, LocalCluster

    jobs = [Job(files=((str(root / "none"), str(root / "none")),), keys=(f"{k}",), claim="1.5 %") for k in range(400)]
    begin = time.perf_counter()
    for job in jobs:
        run_job(job)
    alone = (time.perf_counter() - begin) / len(jobs)
    print("| jobs in a batch | ms a job more than in this process |\n|---:|---:|")
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster, Client(cluster) as client:
        for batch in (1, 20):
            for _ in range(2):  # the first warms up
                begin = time.perf_counter()
                runner = Runner(lambda: client.get_executor(pure=False, retries=2), 2, batch)
                if len(list(runner.run(jobs))) != len(jobs):
                    return ["dask lost jobs"]
                took = (time.perf_counter() - begin) / len(jobs)
            print(f"| {batch} | {1000 * (took - alone):.2f} |", flush=True)
    print()
    return []


def tables(out: Path) -> list[bytes]:
    return [(out / name).read_bytes() for name in ("pairs.csv", "units.csv", "results.jsonl", "pairs.parquet")]


def children(pid: int) -> list[int]:
    """Processes whose parent is this one."""
    found = []
    for place in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = place.read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        if int(fields[1]) == pid:
            found.append(int(place.parent.name))
    return found


def running(pids: list[int]) -> list[int]:
    """Those of the processes that still work."""
    return [pid for pid in pids if Path(f"/proc/{pid}/stat").exists()
            and Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"]


def kills(root: Path, count: int, seed: int) -> list[str]:
    listed = folder_of(root, max(24, 3 * count), 600)
    started = time.perf_counter()
    command = [sys.executable, "-m", "agree", "study", "check", str(listed), "--claim", "1.5 %", "--workers", "2",
               "--quiet"]
    subprocess.run([*command, "--out", str(root / "plain")], check=True)
    whole = time.perf_counter() - started
    draw, wrong, done, orphans = np.random.default_rng(seed), [], 0, []
    out = root / "killed"
    for number in range(count):
        driver = subprocess.Popen([*command, "--out", str(out)], start_new_session=True)
        time.sleep(draw.uniform(0.3, 0.6 * whole))
        own = children(driver.pid)
        if number % 4 == 3 and own:  # a worker of the own pool, and the driver goes on for a while
            os.kill(int(draw.choice(own)), signal.SIGKILL)
            time.sleep(1)
            own = sorted({*own, *children(driver.pid)})
        done += driver.poll() is not None
        driver.kill()
        driver.wait()
        orphans += own
    run_last = subprocess.Popen([*command, "--out", str(out)])
    time.sleep(1.5)
    workers = children(run_last.pid)
    if workers:
        os.kill(workers[0], signal.SIGKILL)
    run_last.wait()
    for _ in range(50):
        if not running(orphans):
            break
        time.sleep(0.1)
    wrong += [f"{len(running(orphans))} processes were left"] * bool(running(orphans))
    wrong += ["tables differ from those of the undisturbed run"] * (tables(root / "plain") != tables(out))
    print(f"{count} kills ({done} came after the end), one of a worker in the last run: "
          f"{'; '.join(wrong) or 'tables identical, no process left'}\n", flush=True)
    return wrong


PARTS = {"throughput": throughput, "memory": memory, "dask": dask}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("parts", nargs="*", choices=[*PARTS, "kills", []], default=[])
    parser.add_argument("--pairs", type=int, default=60)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--seed", type=int, default=5, help="of the moments of the kills")
    given = parser.parse_args()
    wrong = []
    for name in given.parts or [*PARTS, "kills"]:
        print(f"## {name}\n", flush=True)
        with tempfile.TemporaryDirectory() as folder:
            root = Path(folder) / "study"
            wrong += kills(root, given.kills, given.seed) if name == "kills" else PARTS[name](root, given.pairs)
    if wrong:
        sys.exit("; ".join(wrong))


if __name__ == "__main__":
    main()
