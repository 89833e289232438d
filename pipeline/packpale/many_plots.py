"""Many plots over the processes of this machine or the workers of a cluster, and what is told meanwhile."""

import hashlib
import pickle
import time
from collections import deque
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Protocol

from packpale.cluster import WorkersEnded, cluster_executor
from packpale.crew import Crew, in_shares, one_process
from packpale.faults import LESS_MEMORY
from packpale.free_memory import give_back
from packpale.holding import PARTIAL
from packpale.one_plot import Job, PlotOutcome, compute_plot, read_stage
from packpale.site.raster_files import close_kept
from packpale.warming import parts_to_compile, warm

FEW_EACH = 8
"""Plots for each process up to which the largest come first, instead of one beside the other."""


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

    def compiled(self) -> None:
        """The first plot begins: what came before says nothing of how long plots take."""
        if self.compiling:
            self.compiling, self.started = False, time.monotonic()

    @property
    def seconds_left(self) -> float | None:
        """Estimate from the plots finished so far; None before the first."""
        if not self.done:
            return None
        return (time.monotonic() - self.started) / self.done * (self.total - self.done)


class Watcher(Protocol):
    """Called whenever a plot ends and about once a second in between."""

    def __call__(self, progress: Progress, finished: PlotOutcome | None) -> None: ...


def compute_here(
    jobs: Sequence[Job], workers: int, progress: Progress, watch: Watcher, crew: Crew | None = None
) -> dict[str, PlotOutcome]:
    """All jobs over worker processes; a plot that brings its worker down is tried once more, alone.

    The processes are still there afterwards if a ``crew`` is given, unless one of them was brought down.
    """
    outcomes: dict[str, PlotOutcome] = {}
    finish = _gathering(outcomes, progress, watch)
    parts = parts_to_compile() if jobs else []
    progress.compiling = bool(parts)
    alone = len(jobs) <= 1 and not (crew and crew.at_hand)
    if workers == 1 or alone or not jobs:
        _in_this_process(jobs, parts, progress, watch, finish)
        return outcomes
    if crew is None:
        with Crew(workers) as own:
            return compute_here(jobs, workers, progress, watch, own)
    shares = shared_out(jobs, crew.begin(len(jobs)))
    file = _inputs_in_a_file(jobs)
    given = [deque(replace(job, inputs=file) for job in share) for share in shares]
    fallen = crew.over(given, compute_plot, parts, finish, partial(_looked_at, progress, watch))
    if fallen:
        # Any of them may be too large for the memory there is beside others.
        crew.leave()
    for job in fallen:
        _alone(job, progress, watch, finish)
    return outcomes


def _in_this_process(
    jobs: Sequence[Job], parts: Sequence[str], progress: Progress, watch: Watcher, finish: Callable[[PlotOutcome], None]
) -> None:
    watch(progress, None)
    for part in parts:
        with suppress(Exception):  # the plots will say so
            warm(part)
    progress.compiled()
    for job in jobs:
        watch(progress, None)
        finish(compute_plot(job))


def _alone(job: Job, progress: Progress, watch: Watcher, finish: Callable[[PlotOutcome], None]) -> None:
    try:
        with one_process() as pool:
            _over(pool, [job], progress, watch, finish)
    except BrokenProcessPool:
        reason = f"the process computing this plot was ended from outside, perhaps for lack of memory; {LESS_MEMORY}"
        finish(PlotOutcome(job.plot_id, "failed", reason, 0.0, None))


def compute_on_cluster(
    address: str, jobs: Sequence[Job], files: Sequence[Path], progress: Progress, watch: Watcher
) -> dict[str, PlotOutcome]:
    """All jobs on the workers of a Dask cluster, which see the output folder under the same absolute path."""
    outcomes: dict[str, PlotOutcome] = {}
    if not jobs:
        return outcomes
    jobs = [replace(job, out=job.out.absolute()) for job in jobs]
    file = _inputs_in_a_file(jobs)
    jobs = [replace(job, inputs=file) for job in jobs]
    with cluster_executor(address, folder=jobs[0].out / PARTIAL, files=files) as executor:

        def watching(progress: Progress, finished: PlotOutcome | None) -> None:
            executor.raise_if_lost()
            watch(progress, finished)

        _over(executor, jobs, progress, watching, _gathering(outcomes, progress, watching))
    return outcomes


def shared_out(jobs: Sequence[Job], number: int) -> list[deque[Job]]:
    """So many shares of jobs in the order in which plots lie beside each other.

    A process takes neighbours, which find in its memory what it has read for the one before. Where there are few plots
    that saves nothing to speak of, and the largest come first, so that no process is left with one at the end.
    """
    if len(jobs) > FEW_EACH * number:
        return in_shares(jobs, number)
    by_size = sorted(jobs, key=lambda job: -job.area_m2)
    return [deque(by_size[n::number]) for n in range(number)]


def _inputs_in_a_file(jobs: Sequence[Job]) -> Path:
    """The inputs of all jobs in a file beside what they build, which each worker reads once.

    This process reads no more of the elevations from here on, and lets go what it holds of them.
    """
    close_kept()
    give_back()
    held = pickle.dumps(jobs[0].inputs)
    file = jobs[0].out / PARTIAL / f"inputs-{hashlib.sha256(held).hexdigest()[:16]}.pickle"
    file.write_bytes(held)
    return file


def _gathering(outcomes: dict[str, PlotOutcome], progress: Progress, watch: Watcher) -> Callable[[PlotOutcome], None]:
    def finish(outcome: PlotOutcome) -> None:
        outcomes[outcome.plot_id] = outcome
        progress.done += 1
        progress.failed += outcome.status == "failed"
        watch(progress, outcome)

    return finish


def _over(
    executor: Executor,
    jobs: Sequence[Job],
    progress: Progress,
    watch: Watcher,
    finish: Callable[[PlotOutcome], None],
) -> None:
    futures: dict[Future[PlotOutcome], Job] = {executor.submit(compute_plot, job): job for job in jobs}
    try:
        while futures:
            ended, _ = wait(futures, timeout=1.0, return_when=FIRST_COMPLETED)
            for future in ended:
                finish(_ended(future, futures.pop(future)))
            _looked_at(progress, watch, futures.values())
    except BaseException:
        executor.shutdown(wait=False, cancel_futures=True)
        raise


def _looked_at(progress: Progress, watch: Watcher, running: Collection[Job]) -> None:
    progress.stages = {job.plot_id: stage for job in running if (stage := read_stage(job.stage_file))}
    if progress.stages or progress.done:
        progress.compiled()
    watch(progress, None)


def _ended(future: Future[PlotOutcome], job: Job) -> PlotOutcome:
    try:
        return future.result()
    except WorkersEnded as error:
        return PlotOutcome(job.plot_id, "failed", str(error), 0.0, None)
