"""Worker processes of this machine: each works through plots of its own, and falls out without the others.

Imports nothing heavy, so that the processes can start, and load the rooms, before the program itself has.
"""

import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import active_children, get_context
from multiprocessing.context import BaseContext
from multiprocessing.process import BaseProcess
from typing import TYPE_CHECKING, Any

from packpale.free_memory import with_room_for_calls
from packpale.holding import end_with_the_run
from packpale.warming import load_rooms, warm

if TYPE_CHECKING:
    from packpale.one_plot import Job, PlotOutcome

FORKED = sys.platform == "linux"


class OneProcess(ProcessPoolExecutor):
    """A worker process, begun with the first thing it is given.

    A key that stops the run is for the run alone; it ends the process at once, whatever that is doing.
    """

    def __init__(self) -> None:
        super().__init__(1, mp_context=way_to_start(), initializer=_begin)
        self._begun: list[BaseProcess] = []

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Give it something to do."""
        with stopped_later():
            given = super().submit(with_room_for_calls, fn, *args, **kwargs)
            self._begun = list((self._processes or {}).values())
        return given

    def end(self) -> None:
        """End it in the middle of what it does, which is lost."""
        for process in self._begun:
            process.terminate()

    def __exit__(self, kind: type[BaseException] | None, *others: Any) -> None:
        if kind is KeyboardInterrupt:
            self.end()
        super().__exit__(kind, *others)


def _begin() -> None:
    # Forked it has this from its beginning.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    end_with_the_run()


class Crew(Executor):
    """Worker processes, from the start of a run until its files stand."""

    def __init__(self, workers: int) -> None:
        self.workers = workers
        # A pool for each process: then a plot can be given to one of them, and only that one is lost with its pool.
        self._pools: list[OneProcess] = []
        self._loader = False
        """Whether there is a process that has loaded what plots need, from which these can be forked."""
        self._getting_ready: list[BaseProcess] = []
        self._handed_on = 0

    def __enter__(self) -> "Crew":
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is KeyboardInterrupt:
            for process in self._pools:
                process.end()
        self.leave()

    @property
    def at_hand(self) -> Executor | None:
        """The processes, where they have been begun or can be without delay; else None."""
        return self if self._pools or self._loader else None

    def get_ready(self) -> None:
        """Let the processes start and load what plots need while this one does so itself and looks at the inputs."""
        if self.workers == 1:
            return
        if FORKED:
            way_to_start()
            _start_loader()
            self._loader = True
        else:
            others = active_children()
            self._pools = [OneProcess() for _ in range(self.workers)]
            for pool in self._pools:
                pool.submit(load_rooms)
            self._getting_ready = [p for p in active_children() if p not in others]

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Give something to do to the processes by turns."""
        self._getting_ready = []
        self.begin(self.workers)
        self._handed_on += 1
        return self._given(self._handed_on % len(self._pools), fn, *args, **kwargs)

    def begin(self, most: int) -> int:
        """How many processes there are; if there are none yet, no more than ``most`` are begun."""
        self._pools = self._pools or [OneProcess() for _ in range(min(self.workers, most))]
        return len(self._pools)

    def over(
        self,
        jobs: Sequence["Job"],
        compute: Callable[["Job"], "PlotOutcome"],
        parts: Sequence[str],
        finish: Callable[["PlotOutcome"], None],
        look: Callable[[Collection["Job"]], None],
    ) -> list["Job"]:
        """Compute plots in the order given, each in the process that is free, after the ``parts`` to be compiled.

        ``finish`` is called with each plot that ends, ``look`` about once a second with the jobs being computed.
        Returns the jobs that brought their process down.
        """
        self._getting_ready = []
        to_compile, to_compute = deque(parts), deque(jobs)
        running: dict[Future[Any], tuple[int, Job | None]] = {}
        fallen: list[Job] = []
        try:
            while self._hand_out(to_compile, to_compute, compute, running):
                ended, _ = wait(running, timeout=1.0, return_when=FIRST_COMPLETED)
                for future in ended:
                    _, job = running.pop(future)
                    if job is None:
                        continue  # what went wrong with compiling, plots will say
                    if isinstance(future.exception(), BrokenProcessPool):
                        fallen.append(job)
                    else:
                        finish(future.result())
                look([job for _, job in running.values() if job])
        except BaseException:
            for process in self._pools:
                process.shutdown(wait=False, cancel_futures=True)
            raise
        return fallen

    def _hand_out(
        self,
        to_compile: deque[str],
        to_compute: deque["Job"],
        compute: Callable[["Job"], "PlotOutcome"],
        running: dict[Future[Any], tuple[int, "Job | None"]],
    ) -> bool:
        """Give each process that does nothing its next task; False if none has anything to do any more."""
        busy = {n for n, _ in running.values()}
        for n in range(len(self._pools)):
            if n in busy:
                continue
            if to_compile:
                running[self._given(n, warm, to_compile.popleft())] = n, None
            elif to_compute:
                job = to_compute.popleft()
                running[self._given(n, compute, job)] = n, job
        return bool(running)

    def leave(self) -> None:
        """End the processes once they have done what they were given."""
        # Where that was nothing, nobody is to wait until they have loaded everything.
        for process in self._getting_ready:
            process.terminate()
        self._getting_ready, self._loader = [], False
        if self._pools:
            with ThreadPoolExecutor(len(self._pools)) as together:
                together.map(OneProcess.shutdown, self._pools)
        self._pools = []

    def _given(self, n: int, fn: Callable[..., Any], *args: Any, **kwargs: Any) -> Future[Any]:
        try:
            return self._pools[n].submit(fn, *args, **kwargs)
        except BrokenProcessPool:
            # It was lost with the last thing it did.
            self._pools[n] = OneProcess()
            return self._given(n, fn, *args, **kwargs)


class Apart(Executor):
    """A process for each call, no more than so many at one time: what one took of memory is free when it ends."""

    def __init__(self, at_once: int) -> None:
        self.at_once = at_once
        self._running: dict[Future[Any], OneProcess] = {}

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is KeyboardInterrupt:
            for process in self._running.values():
                process.end()
        self.shutdown()

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Make a call in a process of its own, as soon as there is room for one more."""
        while len(self._running) >= self.at_once:
            ended, _ = wait(self._running, return_when=FIRST_COMPLETED)
            for call in ended:
                self._running.pop(call).shutdown()
        process = OneProcess()
        call = process.submit(fn, *args, **kwargs)
        self._running[call] = process
        return call

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Wait until all processes have ended, or let them end by themselves."""
        for process in self._running.values():
            process.shutdown(wait=wait, cancel_futures=cancel_futures)
        self._running = {}


@contextmanager
def stopped_later() -> Iterator[None]:
    """Let a key that stops the run wait until a process has started.

    Asked for while the process it is forked from still loads, a process of a run that is gone would end in a traceback.
    """
    if not FORKED:
        yield
        return
    # Before: it is for the processes that it forks to wait for the key, not for itself.
    _start_loader()
    with _key_waits():
        yield


def _start_loader() -> None:
    """Start the process that workers are forked from, unless it runs; at a key that stops the run it keeps silent."""
    from multiprocessing import forkserver, resource_tracker

    # First, since its start lets the key through again.
    resource_tracker.ensure_running()
    with _key_waits():
        # It begins with the key waiting too, and lets it through when it knows what to do with it (``loaded``).
        forkserver.ensure_running()


@contextmanager
def _key_waits() -> Iterator[None]:
    """Heed the key that stops the run afterwards; a process that is started meanwhile begins with the key waiting."""
    if threading.current_thread() is not threading.main_thread() or signal.getsignal(signal.SIGINT) is None:
        yield  # where no key is heard, or not by Python
        return
    heard: list[int] = []
    handler = signal.signal(signal.SIGINT, lambda number, _: heard.append(number))
    # The handler alone is not handed on, and what is let through by the mask alone reaches threads of libraries.
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        signal.signal(signal.SIGINT, handler)
        if heard:
            signal.raise_signal(signal.SIGINT)


def way_to_start() -> BaseContext:
    """How worker processes are started: forked from one that has loaded what plots need, and does nothing else.

    What is loaded is loaded once for all, and its memory shared. A fork of the run's own process would not do: compiled
    kernels and raster handles do not survive it. Elsewhere than on Linux libraries do not survive any fork, so that
    each worker loads for itself.
    """
    # Workers have one core each: threads of the linear algebra beside them would wait there for work, and wait busily.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if not FORKED:
        return get_context("spawn")
    context = get_context("forkserver")
    context.set_forkserver_preload(["packpale.loaded"])
    return context
