"""Who flies the chunks: this process, a pool of processes, or a cluster."""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from importlib.util import find_spec
from typing import Any

from simcheck.errors import InputError

_LOOK_S = 0.5
_ANSWER_S = 10


class HereExecutor(Executor):
    """Runs each call at once in this process: for one worker, without a pool's start-up."""

    def submit(self, function: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """The finished future; an interrupt is not caught."""
        future: Future[Any] = Future()
        try:
            future.set_result(function(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


def local(workers: int) -> Callable[[], Executor]:
    """Makes executors of this machine."""
    if workers == 1:
        return HereExecutor
    # Forked workers start with what is imported and compiled already; elsewhere they are spawned.
    methods = multiprocessing.get_all_start_methods()
    context = multiprocessing.get_context("fork" if "fork" in methods else "spawn")
    return lambda: ProcessPoolExecutor(
        workers, mp_context=context, initializer=_serve, initargs=(os.getpid(),)
    )


class ClusterExecutor(Executor):
    """Runs calls on the Dask cluster of a scheduler, which heals itself when a worker dies.

    Raises InputError where nobody answers at the address.
    """

    def __init__(self, address: str) -> None:
        from distributed import Client

        try:
            asyncio.run(asyncio.wait_for(_knock(address), 1.2 * _ANSWER_S))
            self.client = Client(address, timeout=_ANSWER_S, set_as_default=False)
        except Exception as error:  # of many kinds, by what is wrong with the address
            why = str(error) or "what answers is no scheduler"
            raise InputError(f"--dask {address}: no scheduler answers there: {why}") from None
        self.inner = self.client.get_executor()

    def submit(self, function: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """A future of the call's result."""
        future: Future[Any] = self.inner.submit(function, *args, **kwargs)
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Leave the cluster as it was."""
        self.inner.shutdown(wait=wait and not cancel_futures)
        self.client.close()


async def _knock(address: str) -> None:
    """Connect and leave: a client that fails to connect ends in Dask's own traceback, 20 s late."""
    from distributed.comm import connect
    from distributed.security import Security

    known = Security().get_connection_args("client")
    comm = await connect(address, timeout=_ANSWER_S, **known)
    await comm.close()


def dask(address: str) -> Callable[[], Executor]:
    """Makes executors on the Dask cluster whose scheduler is at this address.

    Raises InputError where Dask is not installed.
    """
    if find_spec("distributed") is None:
        raise InputError("--dask: needs Dask; install simcheck[dask]")
    return lambda: ClusterExecutor(address)


def _serve(master: int) -> None:
    """Leave Ctrl-C to the process that gathers, and end when that one is gone (kill -9 too)."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def watch() -> None:
        while os.getppid() == master:
            time.sleep(_LOOK_S)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
