"""Many plots over the processes of this machine or the workers of a cluster, and what is told meanwhile."""

import hashlib
import pickle
import time
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, cast

from packpale.cluster import WorkersEnded, cluster_executor
from packpale.crew import Crew, OneProcess
from packpale.faults import LESS_MEMORY
from packpale.holding import PARTIAL
from packpale.one_plot import Job, PlotOutcome, Shared, compute_plot, read_stage
from packpale.warming import parts_to_compile, warm

if TYPE_CHECKING:
    from packpale.enclosure.proof import Prepared
    from packpale.site.inputs import Inputs


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
    read: float | None = None
    """Part of the elevations that has been read, while they are."""

    def begin(self) -> None:
        """Plots begin: what came before says nothing of how long they take."""
        if self.compiling or self.read is not None:
            self.compiling, self.read, self.started = False, None, time.monotonic()

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
    from packpale.enclosure.place import prepared

    if crew is None:
        with Crew(workers) as own:
            return compute_here(jobs, workers, progress, watch, own)
    crew.begin(len(jobs))
    # The processes may still be loading: what each would work out for itself is worked out for all meanwhile.
    file = _shared_in_a_file(jobs, prepared(jobs[0].project))
    given = [replace(job, inputs=file) for job in largest_first(jobs)]
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
    progress.begin()
    for job in jobs:
        watch(progress, None)
        finish(compute_plot(job))


def _alone(job: Job, progress: Progress, watch: Watcher, finish: Callable[[PlotOutcome], None]) -> None:
    try:
        with OneProcess() as pool:
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
    jobs = [replace(job, out=job.out.absolute()) for job in largest_first(jobs)]
    file = _shared_in_a_file(jobs)
    jobs = [replace(job, inputs=file) for job in jobs]
    with cluster_executor(address, folder=jobs[0].out / PARTIAL, files=files) as executor:

        def watching(progress: Progress, finished: PlotOutcome | None) -> None:
            executor.raise_if_lost()
            watch(progress, finished)

        _over(executor, jobs, progress, watching, _gathering(outcomes, progress, watching))
    return outcomes


def largest_first(jobs: Sequence[Job]) -> list[Job]:
    """The jobs by the size of their plots: begun last, a large one would leave the other processes idle."""
    return sorted(jobs, key=lambda job: -job.area_m2)


def _shared_in_a_file(jobs: Sequence[Job], prepared: "Prepared | None" = None) -> Path:
    """What all jobs share in a file beside what they build, which each worker reads once."""
    held = pickle.dumps(Shared(cast("Inputs", jobs[0].inputs), prepared))
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
        progress.begin()
    watch(progress, None)


def _ended(future: Future[PlotOutcome], job: Job) -> PlotOutcome:
    try:
        return future.result()
    except WorkersEnded as error:
        return PlotOutcome(job.plot_id, "failed", str(error), 0.0, None)
