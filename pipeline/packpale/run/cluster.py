"""The workers of a Dask cluster as an executor for plots."""

import importlib
import logging
import os
import time
import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Executor, Future
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from packpale.faults import Faults
from packpale.run.cache_key import LIBRARIES, near_elevation
from packpale.run.plot import Job, PlotOutcome, lacks

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
def cluster(address: str) -> Iterator[tuple["Workers", Callable[[], None]]]:
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
            yield Workers(client, address), _check(client, address)
        except Faults:
            raise
        except Exception as error:
            if isinstance(error, CancelledError) or client.status != "running":
                raise _lost(address) from error
            raise


class Workers(Executor):
    """The workers of a cluster. One that lacks what it takes to compute a plot gets no more while there are others."""

    def __init__(self, client: Any, address: str) -> None:
        self._client, self._address = client, address
        self._unfit: dict[str, str] = {}

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Make a call on a worker."""
        # Others too, or a plot would wait for ever for one that is gone.
        only = {"workers": self._fit(), "allow_other_workers": True} if self._unfit else {}
        future: Future[Any] = self._client.get_executor(pure=False, **only).submit(_on_worker, fn, *args, **kwargs)
        return future

    def refused(self, outcome: PlotOutcome) -> str:
        """Note that a worker is unfit; what is to be told of it, nothing where that was done.

        Raises Faults if no other has been there for NO_WORKER_S.
        """
        known = outcome.worker in self._unfit
        self._unfit[outcome.worker] = outcome.reason
        since = time.monotonic()
        while not self._fit():
            if time.monotonic() - since > NO_WORKER_S:
                reasons = "; ".join(dict.fromkeys(self._unfit.values()))
                raise Faults(
                    f"--cluster {self._address}: no worker can compute plots: {reasons}; then the same command goes "
                    "on: plots complete are kept"
                )
            time.sleep(0.2)
        return "" if known else f"{outcome.reason}; its plots go to other workers ({outcome.worker})"

    def _fit(self) -> list[str]:
        return [worker for worker in self._client.nthreads() if worker not in self._unfit]


def _on_worker(fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Any:
    """Make a call on this worker; the outcome of a plot says which that was."""
    distributed: Any = importlib.import_module("distributed")
    job = args[0] if args and isinstance(args[0], Job) else None
    missing = _missing_input(job) if job else None
    outcome = lacks(job, f"does not see {missing}") if job and missing else fn(*args, **kwargs)
    if isinstance(outcome, PlotOutcome):
        return replace(outcome, worker=distributed.get_worker().address)
    return outcome


def _missing_input(job: Job) -> Path | None:
    """A file that the plot is read from and that is not to be had here."""
    tiles = near_elevation(job.project, job.inputs).tiles
    return next((file for tile in tiles for file in tile.files if not os.access(file, os.R_OK)), None)


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
