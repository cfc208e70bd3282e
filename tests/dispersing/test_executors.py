"""Who flies makes no difference: this process, a pool, a cluster one of whose workers dies."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path

import pytest

from simcheck.dispersing.executors import dask, local
from simcheck.dispersing.flights import Job, fly_chunk
from simcheck.dispersing.running import chunks, run
from simcheck.files.chunk_store import MemoryStore
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Errors
from simcheck.records.wish import Wish
from tests.cases_for_tests import MARS, case

SAMPLES = 24


@pytest.fixture(scope="module")
def job() -> Job:
    """An open-loop dispersion of an invented case."""
    errors = Errors(thrust_bias=0.01, pointing_proportional_rad=0.01, magnitude_fixed_m_s=0.005)
    made = replace(case(MARS, slot=3, forces=("j2",)), errors=errors)
    return Job(case=made, plan=plan_ring(made, Wish(effort=0)), seed=5, planner="ring")


@pytest.fixture(scope="module")
def alone(job: Job) -> bytes:
    """The rows of all samples, flown one by one in this process."""
    return b"".join(fly_chunk(job, k, 1).tobytes() for k in range(SAMPLES))


def together(job: Job, start: Callable[[], Executor], workers: int, size: int) -> bytes:
    """The same through an executor, in order of samples."""
    found = run(job, chunks(SAMPLES, size), MemoryStore(), start, workers)
    return b"".join(rows.tobytes() for _, rows in sorted(found, key=lambda pair: pair[0]))


@pytest.mark.parametrize(("workers", "size"), [(1, 24), (1, 7), (2, 5)])
def test_rows_do_not_depend_on_workers_or_chunks(
    job: Job, alone: bytes, workers: int, size: int
) -> None:
    """The same bytes as one by one."""
    assert together(job, local(workers), workers, size) == alone


def test_a_cluster_that_loses_a_worker_gives_the_same_bytes(job: Job, alone: bytes) -> None:
    """A scheduler and two workers on loopback, one of them killed once flights are under way."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        processes=True,
        host="127.0.0.1",
        dashboard_address=None,
        silence_logs=50,
    ) as cluster:
        found = []
        for chunk, rows in run(
            job, chunks(SAMPLES, 2), MemoryStore(), dask(cluster.scheduler_address), 2
        ):
            found.append((chunk, rows))
            if len(found) == 2:
                worker = next(iter(cluster.workers.values()))
                os.kill(worker.pid, signal.SIGKILL)
        ordered = sorted(found, key=lambda pair: pair[0])
        assert b"".join(rows.tobytes() for _, rows in ordered) == alone


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "nonsense-address", "foo://x:1", "a b:c"])
def test_a_scheduler_that_is_not_there_is_wrong_input(address: str) -> None:
    """Nobody at the address, or none at all: one message with it, and not a word of Dask's.

    In a process of its own, since Dask speaks up when its objects are torn down.
    """
    pytest.importorskip("distributed")
    code = (
        "import sys\n"
        "from simcheck.dispersing import executors\n"
        "from simcheck.errors import InputError\n"
        "executors._ANSWER_S = 0.3\n"
        "try:\n"
        "    executors.dask(sys.argv[1])()\n"
        "except InputError as error:\n"
        "    print(error)\n"
    )
    command = [sys.executable, "-c", code, address]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stdout.startswith(f"--dask {address}: no scheduler answers there: ")
    assert done.stdout.count("\n") == 1
    assert done.stderr == ""


def test_workers_end_with_the_process_that_gathers(tmp_path: Path) -> None:
    """Killed with -9, a run leaves no worker behind."""
    script = tmp_path / "run.py"
    script.write_text(
        "import os, time\n"
        "from simcheck.dispersing.executors import local\n"
        "pool = local(2)()\n"
        "print(*{f.result() for f in [pool.submit(os.getpid) for _ in range(8)]}, flush=True)\n"
        "time.sleep(60)\n",
        encoding="utf-8",
    )
    run = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True)
    assert run.stdout is not None
    workers = [int(x) for x in run.stdout.readline().split()]
    run.kill()
    run.wait()
    run.stdout.close()
    assert workers
    for _ in range(100):
        if not any(Path(f"/proc/{pid}").exists() for pid in workers):
            return
        time.sleep(0.1)
    raise AssertionError("workers are left")
