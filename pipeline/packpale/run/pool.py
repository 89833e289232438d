"""Many plots in parallel: over worker processes of this machine, or over any other executor such as a cluster's."""

import itertools
import math
import multiprocessing
import os
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

from packpale.faults import LESS_MEMORY
from packpale.run.memory import worker_bytes
from packpale.run.plot import Job, PlotOutcome, compute_plot, failure, read_stage

KILLED = "the process computing this plot was ended from outside, twice, perhaps for lack of memory"

LOOK_S = 1.0
"""Between two looks at how plots that are being computed stand. [s]"""
MOST_STAGES = 32
"""Plots of which that is looked up: each is a file, on a cluster one in a shared folder."""


@dataclass
class Progress:
    """What a caller is told while a run goes on."""

    total: int
    done: int = 0
    failed: int = 0
    started: float = field(default_factory=time.monotonic)
    stages: Mapping[str, str] = field(default_factory=dict)
    """Stage of each plot that is being computed, by plot."""
    compiling: bool = False
    """Whether the calculations are being compiled, which is done once on each machine."""
    remarks: list[str] = field(default_factory=list)
    """What a caller has to be told beside how plots ended, one line each; who tells them takes them away."""
    told: set[str] = field(default_factory=set)
    """All remarks there have been."""

    @property
    def seconds_left(self) -> float | None:
        """Estimate from the plots finished so far; None before the first."""
        if not self.done:
            return None
        return (time.monotonic() - self.started) / self.done * (self.total - self.done)


class Watcher(Protocol):
    """Called whenever a plot ends and about once a second in between."""

    def __call__(self, progress: Progress, finished: PlotOutcome | None) -> None: ...


class Plots:
    """Plots of a run that are left to compute, and how those that have ended did."""

    def __init__(
        self, jobs: Iterable[Job], progress: Progress, watch: Watcher, send: Callable[[Job], Job] = lambda job: job
    ) -> None:
        """Jobs for plots of about one size stay in their order.

        ``send`` makes of a job what a worker gets, at the last moment: thousands of those take much memory.
        """
        # The largest first, to a factor of two: begun last, one would leave the other workers idle.
        self.waiting = deque(sorted(jobs, key=lambda job: -job.cells.bit_length()))
        self.outcomes: dict[str, PlotOutcome] = {}
        self._progress, self._watch, self._send = progress, watch, send

    def compute(
        self,
        executor: Executor,
        *,
        at_once: int,
        memory: float,
        most: int | None = None,
        check: Callable[[], None] = lambda: None,
        refused: Callable[[PlotOutcome], str] | None = None,
    ) -> list[Job]:
        """Compute the plots that are waiting, or the first ``most`` of them, over an executor.

        No more than ``at_once`` at one time, and so many that they take no more than ``memory`` [bytes] together, but
        one at least. ``check`` is called about once a second and may raise. A plot whose worker was unfit is tried
        again after ``refused``, which returns what is to be told of it and may raise. Returns nothing, or, if a process
        of the executor was killed, the plots that were being computed; those not begun are left waiting.
        """
        running: dict[Future[PlotOutcome], Job] = {}
        looked = -math.inf
        last = len(self.waiting) - (len(self.waiting) if most is None else most)
        while len(self.waiting) > last or running:
            while len(self.waiting) > last and self._room_for_next(running.values(), at_once, memory):
                job = self.waiting.popleft()
                try:
                    with _ctrl_c_for_this_process_alone():
                        running[executor.submit(compute_plot, self._send(job))] = job
                except BrokenProcessPool:
                    return [job, *running.values()]
            ended, _ = wait(running, timeout=1.0, return_when=FIRST_COMPLETED)
            for future in ended:
                try:
                    outcome = future.result()
                except BrokenProcessPool:
                    return list(running.values())
                except CancelledError:
                    raise  # the cluster is lost
                except Exception as error:  # noqa: BLE001 - a plot whose workers are lost must not end the others
                    outcome = failure(running[future], error)
                job = running.pop(future)
                if outcome.unfit and refused is not None:
                    self.waiting.append(job)
                    self._tell(refused(outcome))
                else:
                    self.end(outcome)
            if time.monotonic() - looked >= LOOK_S:
                looked = time.monotonic()
                check()
                self._look(running.values())
        return []

    def _look(self, running: Iterable[Job]) -> None:
        # Those begun first are the ones that are being computed.
        begun = itertools.islice(running, MOST_STAGES)
        self._progress.stages = {j.plot_id: stage for j in begun if (stage := read_stage(j.stage_file))}
        self._watch(self._progress, None)

    def _tell(self, remark: str) -> None:
        if remark and remark not in self._progress.told:
            self._progress.told.add(remark)
            self._progress.remarks.append(remark)
            self._watch(self._progress, None)

    def end(self, outcome: PlotOutcome) -> None:
        """Note how a plot ended."""
        self.outcomes[outcome.plot_id] = outcome
        self._progress.compiling = False
        self._progress.done += 1
        self._progress.failed += outcome.status == "failed"
        self._watch(self._progress, outcome)

    def _room_for_next(self, running: Iterable[Job], at_once: int, memory: float) -> bool:
        taken = [worker_bytes(job.cells) for job in running]
        room = memory - sum(taken) >= worker_bytes(self.waiting[0].cells)
        return not taken or (len(taken) < at_once and room)


def compute_here(
    jobs: Iterable[Job],
    *,
    workers: int,
    memory: float,
    progress: Progress,
    watch: Watcher,
    send: Callable[[Job], Job] = lambda job: job,
) -> dict[str, PlotOutcome]:
    """Compute plots over worker processes of this machine; with one worker, or for one plot, in this process.

    A plot whose process is killed is computed once more, alone; if that is killed too, the plot has failed. Ctrl-C
    ends the workers at once.
    """
    plots = Plots(jobs, progress, watch, send)
    if plots.waiting and not compiled_before():
        progress.compiling = True
        watch(progress, None)
    if workers == 1 or len(plots.waiting) <= 1:
        plots.compute(ThisProcess(), at_once=1, memory=memory)
        return plots.outcomes
    if progress.compiling:
        # Else every worker would compile the same.
        with process_pool(1) as pool:
            again = plots.compute(pool, at_once=1, memory=memory, most=1)
        _alone(again, plots)
    while plots.waiting:
        with process_pool(min(workers, len(plots.waiting))) as pool:
            again = plots.compute(pool, at_once=workers, memory=memory)
        _alone(again, plots)
    return plots.outcomes


def _alone(jobs: Iterable[Job], plots: Plots) -> None:
    """Compute plots once more whose process was killed: each by itself, so that the one that brings it down shows."""
    for job in jobs:
        plots.waiting.appendleft(job)
        with process_pool(1) as pool:
            killed = plots.compute(pool, at_once=1, memory=0.0, most=1)
        if killed:
            plots.end(PlotOutcome(job.plot_id, "failed", f"{KILLED}; {LESS_MEMORY}", 0.0, None))


def compiled_before() -> bool:
    """Whether compiled calculations are kept on disk from an earlier run; those of changed code count too."""
    from packpale.enclosure._kernels import refine

    folder = refine.stats.cache_path
    # ".nbi" are the index files of numba's cache.
    return folder is not None and any(Path(folder).glob("*.nbi"))


class ThisProcess(Executor):
    """An executor that makes each call at once, in this process."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Make the call; the future has ended when it is returned."""
        future: Future[Any] = Future()
        future.set_result(fn(*args, **kwargs))
        return future


@contextmanager
def process_pool(workers: int) -> Iterator[Executor]:
    """A pool of worker processes, which end with the block, and at once where it ends by an error or Ctrl-C."""
    others = multiprocessing.active_children()
    pool = ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=end_with_parent)
    try:
        yield pool
    except BaseException:
        for process in multiprocessing.active_children():
            if process not in others:
                process.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


@contextmanager
def _ctrl_c_for_this_process_alone() -> Iterator[None]:
    """Let processes that are started in the block ignore Ctrl-C: the run hears it, and ends them."""
    if threading.current_thread() is not threading.main_thread():
        yield  # only there signals are heard
        return
    # What is ignored here is ignored by a process started here, from its first moment on.
    handler = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, handler if handler is not None else signal.SIG_DFL)


def end_with_parent() -> None:
    """Let this worker process end when the process that started it does, however that ends.

    A worker of a killed run would otherwise go on with its plot, and then wait for ever.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def wait_for_end() -> None:
        with suppress(OSError):
            parent.join()
        os._exit(1)

    threading.Thread(target=wait_for_end, daemon=True).start()
