"""The workers of a Dask cluster as an executor for plots."""

import importlib
import logging
import time
import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Executor
from contextlib import contextmanager
from typing import Any

from packpale.faults import Faults
from packpale.run.cache_key import LIBRARIES

CONNECT_S = 20.0
"""How long a scheduler may take to answer, and its first worker to appear. [s]"""
NO_WORKER_S = 60.0
"""How long a cluster may be without any worker before the run gives up; a worker ended is often started again. [s]"""
AT_ONCE = 500
"""Plots that the scheduler holds at one time: enough for many workers, those that come later too, and for it to see
that more would be of use; few enough that thousands of plots do not fill its memory."""
TALKATIVE = ("distributed", "distributed.client", "tornado.application")
"""Loggers of libraries: what a lost connection makes them say is said by us, in one line."""


@contextmanager
def cluster(address: str) -> Iterator[tuple[Executor, Callable[[], None]]]:
    """The executor of the cluster whose scheduler is at ``address``, and a check to call while plots are computed.

    The check raises Faults if the scheduler is lost, or all workers are gone for NO_WORKER_S. Raises Faults if the
    extra is not installed, nothing answers, there is no worker, or workers have other versions of Python or libraries.
    """
    try:
        distributed: Any = importlib.import_module("distributed")
    except ImportError as error:
        raise Faults(
            '--cluster: needs the package distributed, which is not installed; pip install "packpale[cluster]"'
        ) from error
    with _loggers_quiet(), _connected(distributed, address) as client:
        _check_workers(client, address)
        try:
            yield client.get_executor(pure=False), _check(client, address)
        except Faults:
            raise
        except Exception as error:
            if isinstance(error, CancelledError) or client.status != "running":
                raise _lost(address) from error
            raise


@contextmanager
def _connected(distributed: Any, address: str) -> Iterator[Any]:
    try:
        client = distributed.Client(address, timeout=CONNECT_S, set_as_default=False, name="packpale")
    except (OSError, ValueError, ImportError) as error:
        reason = " ".join(str(error).split()) or type(error).__name__
        raise Faults(
            f"--cluster {address}: no scheduler answers ({reason}); "
            "start one with `dask scheduler` and give the address that it prints"
        ) from error
    try:
        yield client
    finally:
        client.close(timeout=2)


def _check_workers(client: Any, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=CONNECT_S)
    except TimeoutError as error:
        raise Faults(
            f"--cluster {address}: has no worker; start some with `dask worker {address} --nthreads 1 --nworkers 4`"
        ) from error
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        client.get_versions(check=True, packages=["packpale", *LIBRARIES])
    if said:
        # A table of the library, one row for each package that differs.
        rows = [line.strip("| ") for line in str(said[0].message).splitlines() if line.startswith("|")][1:]
        found = "; ".join(" ".join(row.replace("|", " ").split()) for row in rows)
        raise Faults(
            f"--cluster {address}: versions differ (package, here, scheduler, workers): {found}; "
            "install the same Python, packpale and libraries on every worker"
        )


def _check(client: Any, address: str) -> Callable[[], None]:
    last_worker = time.monotonic()

    def check() -> None:
        nonlocal last_worker
        if client.status != "running":
            raise _lost(address)
        if client.scheduler_info()["workers"]:
            last_worker = time.monotonic()
        elif time.monotonic() - last_worker > NO_WORKER_S:
            raise Faults(
                f"--cluster {address}: no worker is left; start some, and the same command goes on: "
                "plots already complete are kept"
            )

    return check


def _lost(address: str) -> Faults:
    return Faults(
        f"--cluster {address}: the connection to the scheduler was lost; start the cluster again, or "
        "leave --cluster out, and the same command goes on: plots already complete are kept"
    )


@contextmanager
def _loggers_quiet() -> Iterator[None]:
    loggers = [logging.getLogger(name) for name in TALKATIVE]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)
