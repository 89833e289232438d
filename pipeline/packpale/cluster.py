"""Plots on a Dask cluster: an executor whose workers share the output folder and the inputs with this machine."""

import functools
import hashlib
import importlib
import importlib.metadata
import logging
import os
import platform
import secrets
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import CancelledError, Executor, Future
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from packpale import __version__
from packpale.faults import Faults
from packpale.free_memory import with_room_for_calls

CONNECT_S = 20.0
"""How long a scheduler may take to answer, and its first worker to appear. [s]"""
NO_WORKER_S = 60.0
"""How long a cluster may be without any worker before the run gives up; a worker ended is often started again. [s]"""
SAME_LIBRARIES = ("numpy", "numba", "shapely", "pyproj", "rasterio", "fiona", "typst")
"""Libraries that figures and drawings hang on: of one version on all machines, so that plots compare."""

_ONE_AT_A_TIME = threading.Lock()


class WorkersEnded(Exception):  # noqa: N818 - says what happened
    """A plot whose workers were ended from outside again and again."""


class ClusterExecutor(Executor):
    """An executor over the workers of a cluster, one call at a time on each.

    A worker that ends takes its call with it to another one. A call whose workers end again and again raises
    WorkersEnded; when the cluster is lost every call raises Faults.
    """

    def __init__(self, client: Any, address: str) -> None:
        self._client, self._address = client, address
        self._inner = client.get_executor(pure=False)
        self._last_worker = time.monotonic()

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Send a call to the cluster; ``fn`` is found by its name there."""
        ours: Future[Any] = Future()
        ours.set_running_or_notify_cancel()
        try:
            theirs = self._inner.submit(_alone, code_hash(), functools.partial(fn, *args, **kwargs))
        except Exception as error:
            raise self._lost() from error
        theirs.add_done_callback(functools.partial(self._settle, ours))
        return ours

    def raise_if_lost(self) -> None:
        """Raises Faults if the scheduler cannot be reached any more, or all workers are gone for NO_WORKER_S."""
        comm = getattr(self._client.scheduler_comm, "comm", None)
        if self._client.status != "running" or comm is None or comm.closed():
            raise self._lost()
        if self._client.scheduler_info()["workers"]:
            self._last_worker = time.monotonic()
        elif time.monotonic() - self._last_worker > NO_WORKER_S:
            raise Faults(
                [
                    f"--cluster {self._address}: no worker is left; start some, and the same command goes on: "
                    "plots already complete are kept"
                ]
            )

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Let go of the calls; those running on workers end there by themselves."""
        with suppress(Exception):  # the cluster may be gone, which is no reason to hide why we stop
            self._inner.shutdown(wait=wait and not cancel_futures)

    def _settle(self, ours: Future[Any], theirs: Future[Any]) -> None:
        from distributed import KilledWorker

        try:
            ours.set_result(theirs.result())
        except CancelledError:
            ours.set_exception(self._lost())
        except KilledWorker:
            ours.set_exception(
                WorkersEnded(
                    "each worker computing this plot was ended from outside, perhaps for lack of memory; "
                    "give them more, or set a smaller run.memory_mb or land.margin_m, or a larger land.cell_m"
                )
            )
        except ModuleNotFoundError as error:
            # A worker that came after the first look.
            ours.set_exception(Faults([f"--cluster {self._address}: a worker has no {error.name}; {_INSTALL}"]))
        except BaseException as error:  # noqa: BLE001 - it is raised where the result is asked for
            ours.set_exception(error)

    def _lost(self) -> Faults:
        return Faults(
            [
                f"--cluster {self._address}: the connection to the scheduler was lost; start the cluster again, or "
                "leave --cluster out, and the same command goes on: plots already complete are kept"
            ]
        )


_INSTALL = f"install packpale {__version__} with the same libraries on every worker"


@contextmanager
def cluster_executor(address: str, *, folder: Path, files: Sequence[Path]) -> Iterator[ClusterExecutor]:
    """An executor on the cluster whose scheduler is at ``address``.

    ``folder`` is where workers write and ``files`` what they read, all of it under the same absolute paths as here.
    Raises Faults if the extra is not installed, nothing answers at the address, there is no worker, or a worker does
    not see the folder and the files or has another version of packpale, Python or the libraries.
    """
    try:
        distributed: Any = importlib.import_module("distributed")
    except ImportError as error:
        raise Faults(
            ['--cluster: needs the package distributed, which is not installed; pip install "packpale[cluster]"']
        ) from error
    # What the connection has to say is said in our own words, also when it comes late.
    logging.getLogger("distributed.client").setLevel(logging.CRITICAL + 1)
    logging.getLogger("tornado.application").addFilter(_not_of_a_lost_connection)
    try:
        client = distributed.Client(address, timeout=CONNECT_S, set_as_default=False, name="packpale")
    except (OSError, ValueError, ImportError) as error:
        reason = " ".join(str(error).split()) or type(error).__name__
        raise Faults(
            [
                f"--cluster {address}: no scheduler answers ({reason}); "
                "start one with `dask scheduler` and give the address that it prints"
            ]
        ) from error
    try:
        _check_workers(client, address, folder, files)
        yield ClusterExecutor(client, address)
    finally:
        with suppress(Exception):
            client.close(timeout=2)


def _not_of_a_lost_connection(record: logging.LogRecord) -> bool:
    """Whether a message is of something else than a connection that ended while a result was on its way."""
    from distributed.comm.core import CommClosedError

    return not (record.exc_info and isinstance(record.exc_info[1], CommClosedError))


def _check_workers(client: Any, address: str, folder: Path, files: Sequence[Path]) -> None:
    """Let every worker look at the folder, the files and its own versions. Raises Faults."""
    try:
        client.wait_for_workers(1, timeout=CONNECT_S)
    except TimeoutError as error:
        raise Faults(
            [f"--cluster {address}: has no worker; start some with `dask worker {address} --nthreads 1 --nworkers 4`"]
        ) from error
    here = _python(platform.python_version())
    pythons = {w: _python(said["host"]["python"]) for w, said in client.get_versions()["workers"].items()}
    others = {w: [f"runs Python {p}, here {here}; {_INSTALL}"] for w, p in pythons.items() if p != here}
    if others:
        # A function does not travel between versions of Python: nothing more can be asked.
        raise Faults(_by_worker(others))
    mark = folder / f"mark-{secrets.token_hex(8)}"
    mark.write_text(mark.name, encoding="utf-8")
    try:
        seen = {str(f): f.stat().st_size for f in files}
        said = client.run(_looking(mark, seen, _versions(), code_hash()), on_error="return")
    except OSError as error:
        raise Faults(
            [f"--cluster {address}: the workers do not answer ({error}); look at their own messages"]
        ) from error
    finally:
        for file in folder.glob(f"{mark.name}*"):
            file.unlink(missing_ok=True)
    lines = _by_worker(
        {w: [f"{type(s).__name__}: {s}"] if isinstance(s, BaseException) else s for w, s in said.items()}
    )
    if lines:
        raise Faults(lines)


def _looking(mark: Path, files: Mapping[str, int], versions: Mapping[str, str], code: str) -> Callable[[], list[str]]:
    # Made here so that it travels whole: a worker without packpale could not find it by name.
    mark_file, install, version = str(mark), _INSTALL, __version__

    def look() -> list[str]:
        import importlib.metadata
        import uuid
        from pathlib import Path

        its_mark, lines = Path(mark_file), []
        try:
            if its_mark.read_text(encoding="utf-8") != its_mark.name:
                lines.append(f"has another folder at {its_mark.parent}")
            its_mark.with_name(f"{its_mark.name}-{uuid.uuid4().hex}").touch()
        except OSError as error:
            lines.append(f"cannot read and write the output folder {its_mark.parent} ({error.strerror})")
        unseen = [f for f, size in files.items() if not Path(f).is_file() or Path(f).stat().st_size != size]
        if unseen:
            lines.append(
                f"does not see {len(unseen)} of {len(files)} input files as they are here, such as {unseen[0]}"
            )
        lines = [f"{line}; share folder and inputs with it under the same path" for line in lines]
        try:
            from packpale.cluster import code_hash as its_code
        except ImportError as error:
            return [*lines, f"cannot use packpale ({error}); {install}"]
        for name, wanted in versions.items():
            found = importlib.metadata.version(name)
            if found != wanted:
                lines.append(f"has {name} {found}, here {wanted}; {install}")
        if its_code() != code:
            lines.append(f"has another packpale than the {version} here; {install}")
        return lines

    return look


def _by_worker(said: Mapping[str, Sequence[str]]) -> list[str]:
    """One line for each thing said, however many workers say it."""
    workers: dict[str, list[str]] = {}
    for worker, lines in sorted(said.items()):
        for line in lines:
            workers.setdefault(line, []).append(worker)
    return [
        f"worker {who[0]}{f' and {len(who) - 1} more' if len(who) > 1 else ''}: {line}" for line, who in workers.items()
    ]


def _python(version: str) -> str:
    return ".".join(version.split(".")[:2])


def _versions() -> dict[str, str]:
    return {name: importlib.metadata.version(name) for name in SAME_LIBRARIES}


@functools.cache
def code_hash() -> str:
    """Stands for every source file and table of this package."""
    home = Path(__file__).parent
    digest = hashlib.sha256()
    for file in sorted(home.rglob("*")):
        if file.suffix in {".py", ".csv", ".css", ".js", ".html", ".typ"}:
            digest.update(file.relative_to(home).as_posix().encode() + b"\0" + file.read_bytes())
    return digest.hexdigest()


def _alone(code: str, call: Callable[[], Any]) -> Any:
    """On a worker: make the call, one at a time, since a plot takes a whole process; workers may have more threads."""
    if code_hash() != code:
        raise Faults([f"worker on {platform.node()}, process {os.getpid()}: has another packpale; {_INSTALL}"])
    with _ONE_AT_A_TIME:
        return with_room_for_calls(call)
