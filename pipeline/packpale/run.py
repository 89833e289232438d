"""Which room follows which for one plot, many plots over an executor, and going on where a run stopped."""

import errno
import functools
import hashlib
import json
import os
import pickle
import platform
import re
import shutil
import time
import zlib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass, field, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Literal, Protocol

from packpale import __version__
from packpale.cluster import WorkersEnded, cluster_executor
from packpale.faults import Faults, Gathering, in_words
from packpale.holding import KEY, PARTIAL, PLOTS, end_with_the_run, held, put_in_place
from packpale.ranking import rank, unknown_figures
from packpale.result import PlotSummary
from packpale.settings import Project, read_settings
from packpale.site.digest import digest
from packpale.site.inputs import Inputs, open_inputs
from packpale.site.model import Site
from packpale.site.neighbourhood import near_after_near
from packpale.warming import parts_to_compile, warm

STAGES = ("reading", "scoring land", "fitting", "earthworks", "care", "writing")
LITTLE_ROOM_MB = 10.0
"""Less room than this beside the output counts as a full disk when something could not be written."""


@dataclass(frozen=True)
class PlotOutcome:
    """How one plot ended."""

    plot_id: str
    status: str
    """done, kept (from an earlier run) or failed."""
    reason: str
    seconds: float
    summary: PlotSummary | None


@dataclass
class Progress:
    """What a caller is told while a run goes on."""

    total: int
    done: int = 0
    failed: int = 0
    started: float = field(default_factory=time.monotonic)
    stages: Mapping[str, str] = field(default_factory=dict)
    """Stage of each plot that is being computed, by plot."""

    @property
    def seconds_left(self) -> float | None:
        """Estimate from the plots finished so far; None before the first."""
        if not self.done:
            return None
        return (time.monotonic() - self.started) / self.done * (self.total - self.done)


class Watcher(Protocol):
    """Called whenever a plot ends and about once a second in between."""

    def __call__(self, progress: Progress, finished: PlotOutcome | None) -> None: ...


@dataclass(frozen=True)
class RunOutcome:
    """What a run leaves: its folder and how every plot ended, in the order of the plots."""

    folder: Path
    plots: tuple[PlotOutcome, ...]

    @property
    def complete(self) -> bool:
        return all(p.status != "failed" for p in self.plots)


def run(
    settings: Path,
    *,
    out: Path,
    plots: Sequence[str] = (),
    workers: int = 1,
    cluster: str | None = None,
    fresh: bool = False,
    watch: Watcher = lambda progress, finished: None,
) -> RunOutcome:
    """Compute the plots of a settings file into the folder ``out``.

    Plots already complete there from the same settings and version, and from the same inputs as far as they concern
    the plot, are kept unless ``fresh``. Nothing outside ``out`` is written; a plot appears under ``out/plots`` only
    when it is complete. With the address of a Dask
    scheduler as ``cluster`` its workers compute the plots, else ``workers`` processes of this machine.

    Raises Faults if settings or inputs are at fault, or another run is writing to ``out``; then nothing is written.
    Raises Faults too if the cluster cannot
    serve or is lost; then the same call goes on where it was.
    """
    project, inputs = read_and_open(settings, unreadable_ground="fails its plot")
    chosen = _chosen(inputs, plots)
    folders = folder_names([p.plot_id for p in inputs.plots])
    seen = {f: _seen(f) for f in inputs.files}
    # Relative names: the same inputs in another place, or on another machine, are the same inputs.
    home = settings.resolve().parent
    hashes = {Path(os.path.relpath(f, home)).as_posix(): _file_hash(f) for f in sorted(set(inputs.files))}
    key = _key(project, hashes)
    with held(out) as name:
        kept: dict[str, PlotOutcome] = {}
        for plot_id in chosen:
            summary = None if fresh else _finished(out / PLOTS / folders[plot_id], 0, f"{key}-{plot_id}")
            if summary:
                kept[plot_id] = PlotOutcome(plot_id, "kept", "", 0.0, summary)
        # Neighbours one after the other: what one has read of a raster's blocks the next finds in memory.
        left = [p.plot_id for p in near_after_near(p for p in inputs.plots if p.plot_id in chosen)]
        jobs = [_Job(inputs, project, p, folders[p], out, f"{key}-{p}", name, fresh) for p in left if p not in kept]
        progress = Progress(total=len(jobs))
        if cluster is None:
            outcomes = {**kept, **_compute(jobs, workers, progress, watch)}
        else:
            outcomes = {**kept, **_compute_on_cluster(cluster, jobs, inputs.files, progress, watch)}
        _refuse_changed(seen, [job.finished for job in jobs])
        ordered = tuple(outcomes[plot_id] for plot_id in chosen)
        try:
            _write_run_files(ordered, project, hashes, inputs, out)
        except Exception as error:
            if isinstance(error, OSError) and error.errno and not error.filename:
                raise OSError(error.errno, error.strerror, str(out)) from error
            if isinstance(error, OSError | Faults) or not _full(out):
                raise
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(out)) from error
    return RunOutcome(out, ordered)


def read_and_open(
    settings: Path, *, unreadable_ground: Literal["is a fault", "fails its plot"] = "is a fault"
) -> tuple[Project, Inputs]:
    """Read the settings and open every input; nothing is computed.

    With ``unreadable_ground`` "fails its plot", elevation that cannot be read in the middle of a file is no fault as
    long as it can be read for another plot: the plot fails when it is computed.

    Raises Faults with all faults of the inputs and of the comparisons between criteria; those of the settings file
    itself come first and alone, since they say which inputs there are.
    """
    from packpale.land.pairwise import comparison_matrix

    project = read_settings(settings)
    faults = Gathering()
    if project.land.pairwise is not None:
        try:
            comparison_matrix(project.land.pairwise)
        except ValueError as error:
            faults.lines.extend(str(error).splitlines())
    inputs = None
    with faults.gather():
        inputs = open_inputs(project, unreadable_ground=unreadable_ground)
    if inputs is None or faults.lines:
        raise Faults(faults.lines)
    return project, inputs


def folder_names(plot_ids: Sequence[str]) -> dict[str, str]:
    """A folder name for each plot: the id where it can stand as one, else a plain form of it and a check sum.

    Two ids that differ only in case, or in what a file name cannot hold, get different folders.
    """
    names: dict[str, str] = {}
    seen: set[str] = set()
    for plot_id in sorted(plot_ids):
        name = re.sub(r"[^A-Za-z0-9_-]+", "-", plot_id).strip("-")[:60]
        reserved = re.fullmatch(r"(?i)con|prn|aux|nul|com\d|lpt\d", name)
        if not name or name != plot_id or reserved or name.lower() in seen:
            name = f"{name or 'plot'}-{zlib.crc32(plot_id.encode()):08x}"
        seen.add(name.lower())
        names[plot_id] = name
    return names


@dataclass(frozen=True)
class _Job:
    """One plot to compute; goes to a worker process."""

    inputs: Inputs | Path
    """Or a file of this run that holds them, so that not every plot takes all of them to its worker."""
    project: Project
    plot_id: str
    folder: str
    out: Path
    key: str
    """Of settings, version and all input files; a plot's folder under the same key is complete without a look."""
    run: str = "run"
    """Name of the run's own folder in PARTIAL: what is left of a killed run never mixes with it."""
    fresh: bool = True
    """Compute the plot also where the same stands already."""

    @property
    def building(self) -> Path:
        # Of this run and process alone: a worker of a killed run, or one given up for lost, may still be writing.
        return self.out / PARTIAL / self.run / f"{platform.node()}-{os.getpid()}" / self.folder

    @property
    def finished(self) -> Path:
        return self.out / PLOTS / self.folder

    @property
    def stage_file(self) -> Path:
        return self.out / PARTIAL / f"{self.folder}.stage"


def compute_plot(job: _Job) -> PlotOutcome:
    """Take one plot through all rooms and put its finished folder in place; a failure is an outcome, not an error."""
    started = time.monotonic()
    try:
        status, summary = _through_the_rooms(job)
    except Exception as error:  # noqa: BLE001 - one plot's trouble must not end the others; the run exits with 3
        reason = in_words(error)
        if not isinstance(error, OSError | MemoryError | Faults) and _full(job.out):
            reason += f"; less than {LITTLE_ROOM_MB:g} MB are free: make room and start the same command again"
        # On a full disk the other plots need the room.
        shutil.rmtree(job.building, ignore_errors=True)
        return PlotOutcome(job.plot_id, "failed", reason, time.monotonic() - started, None)
    return PlotOutcome(job.plot_id, status, "", time.monotonic() - started, summary)


def _full(folder: Path) -> bool:
    return shutil.disk_usage(folder).free < LITTLE_ROOM_MB * 1e6


def _through_the_rooms(job: _Job) -> tuple[str, PlotSummary]:
    from packpale.care.assess import assess as assess_care
    from packpale.earthworks.work_out import work_out
    from packpale.enclosure.place import place
    from packpale.land.assess import assess as assess_land
    from packpale.result import PlotResult
    from packpale.review.plot import write_plot
    from packpale.site.inputs import read_site

    stage = _stages(job.stage_file)
    stage("reading")
    inputs = _read_back(job.inputs) if isinstance(job.inputs, Path) else job.inputs
    site = read_site(inputs, job.plot_id, job.project)
    reads = _reads_key(job.project, site)
    if not job.fresh and (summary := _finished(job.finished, 1, reads)):
        # Something in the inputs has changed, and nothing that concerns this plot.
        job.building.parent.mkdir(parents=True, exist_ok=True)
        _write_key(job, reads, job.building.with_name(f"{job.folder}.key")).replace(job.finished / KEY)
        job.stage_file.unlink(missing_ok=True)
        return "kept", summary
    stage("scoring land")
    land = assess_land(site, job.project)
    stage("fitting")
    enclosure = place(site, land, job.project)
    earthworks = care = None
    if enclosure.feasible:
        stage("earthworks")
        earthworks = work_out(site, enclosure, job.project)
        stage("care")
        mounds = earthworks.haul.den_mounds if earthworks.haul else 0
        care = assess_care(site, land, enclosure, job.project, den_mounds=mounds)
    stage("writing")
    shutil.rmtree(job.building, ignore_errors=True)
    job.building.mkdir(parents=True)
    summary = write_plot(PlotResult(site, land, enclosure, earthworks, care), job.project, job.building)
    if unknown := unknown_figures(summary):
        raise Faults([f"could not be worked out: {', '.join(unknown)}; look for gaps in the elevations there"])
    _write_key(job, reads, job.building / KEY)
    put_in_place(job.building, job.finished)
    job.stage_file.unlink(missing_ok=True)
    return "done", summary


def _write_key(job: _Job, reads: str, file: Path) -> Path:
    file.write_text(f"{job.key}\n{reads}\n", encoding="utf-8")
    return file


def _stages(file: Path) -> Callable[[str], None]:
    # A small file, not a queue: it works for any executor that shares the output folder.
    def stage(name: str) -> None:
        file.write_text(name, encoding="utf-8")

    return stage


def _finished(folder: Path, line: int, key: str) -> PlotSummary | None:
    """Summary of a plot that an earlier run completed, if ``line`` of its keys is ``key``."""
    from packpale.review.summary import read_summary

    try:
        if not folder.is_symlink() and (folder / KEY).read_text(encoding="utf-8").splitlines()[line] == key:
            return read_summary(folder / "result.json")
    except (OSError, ValueError, KeyError, IndexError):
        # Damaged or from an older layout: compute it again.
        return None
    return None


def _compute(jobs: Sequence[_Job], workers: int, progress: Progress, watch: Watcher) -> dict[str, PlotOutcome]:
    """All jobs over worker processes; a plot that brings its worker down is tried once more, alone."""
    outcomes: dict[str, PlotOutcome] = {}
    finish = _gathering(outcomes, progress, watch)
    if workers == 1 or len(jobs) <= 1:
        for job in jobs:
            watch(progress, None)
            finish(compute_plot(job))
        return outcomes
    left = jobs = _sharing(jobs)
    try:
        with _pool(min(workers, len(jobs))) as pool:
            # Ahead of the plots in the queue; should one go wrong, the plots will say so.
            for part in parts_to_compile():
                pool.submit(warm, part)
            _over(pool, left, progress, watch, finish)
    except BrokenProcessPool:
        for job in [j for j in jobs if j.plot_id not in outcomes]:
            try:
                with _pool(1) as alone:
                    _over(alone, [job], progress, watch, finish)
            except BrokenProcessPool:
                reason = "the process computing this plot was ended from outside, perhaps for lack of memory"
                finish(PlotOutcome(job.plot_id, "failed", reason, 0.0, None))
    return outcomes


def _compute_on_cluster(
    address: str, jobs: Sequence[_Job], files: Sequence[Path], progress: Progress, watch: Watcher
) -> dict[str, PlotOutcome]:
    """All jobs on the workers of a Dask cluster, which see the output folder under the same absolute path."""
    outcomes: dict[str, PlotOutcome] = {}
    if not jobs:
        return outcomes
    jobs = _sharing([replace(job, out=job.out.absolute()) for job in jobs])
    with cluster_executor(address, folder=jobs[0].out / PARTIAL, files=files) as executor:

        def watching(progress: Progress, finished: PlotOutcome | None) -> None:
            executor.raise_if_lost()
            watch(progress, finished)

        _over(executor, jobs, progress, watching, _gathering(outcomes, progress, watching))
    return outcomes


def _sharing(jobs: Sequence[_Job]) -> list[_Job]:
    """The same jobs, their inputs in a file beside what they build, which each worker reads once."""
    held = pickle.dumps(jobs[0].inputs)
    file = jobs[0].out / PARTIAL / f"inputs-{hashlib.sha256(held).hexdigest()[:16]}.pickle"
    file.write_bytes(held)
    return [replace(job, inputs=file) for job in jobs]


@functools.lru_cache(maxsize=1)
def _read_back(file: Path) -> Inputs:
    inputs: Inputs = pickle.loads(file.read_bytes())  # noqa: S301 - written by this run, in its own folder
    return inputs


def _gathering(outcomes: dict[str, PlotOutcome], progress: Progress, watch: Watcher) -> Callable[[PlotOutcome], None]:
    def finish(outcome: PlotOutcome) -> None:
        outcomes[outcome.plot_id] = outcome
        progress.done += 1
        progress.failed += outcome.status == "failed"
        watch(progress, outcome)

    return finish


def _pool(workers: int) -> ProcessPoolExecutor:
    # spawn: compiled kernels and raster handles do not survive a fork.
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=end_with_the_run)


def _over(
    executor: Executor,
    jobs: Sequence[_Job],
    progress: Progress,
    watch: Watcher,
    finish: Callable[[PlotOutcome], None],
) -> None:
    futures: dict[Future[PlotOutcome], _Job] = {executor.submit(compute_plot, job): job for job in jobs}
    try:
        while futures:
            ended, _ = wait(futures, timeout=1.0, return_when=FIRST_COMPLETED)
            for future in ended:
                finish(_ended(future, futures.pop(future)))
            progress.stages = {j.plot_id: s for j in futures.values() if (s := _read_stage(j.stage_file))}
            watch(progress, None)
    except BaseException:
        executor.shutdown(wait=False, cancel_futures=True)
        raise


def _ended(future: Future[PlotOutcome], job: _Job) -> PlotOutcome:
    try:
        return future.result()
    except WorkersEnded as error:
        return PlotOutcome(job.plot_id, "failed", str(error), 0.0, None)


def _read_stage(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except OSError:
        return ""


def _write_run_files(
    outcomes: Sequence[PlotOutcome],
    project: Project,
    hashes: Mapping[str, str],
    inputs: Inputs,
    out: Path,
) -> None:
    from packpale.review.run import write_run

    own = [o.summary for o in outcomes if o.summary]
    # What holds for all plots is no part of a plot's own files: it may change when another plot does.
    summaries = [replace(s, notes=tuple(dict.fromkeys((*inputs.notes, *s.notes)))) for s in own]
    ranking = rank(summaries, project.ranking.weights, draws=project.run.draws, seed=project.run.seed)
    record = {
        "version": __version__,
        "settings_hash": _settings_hash(project),
        "settings": _shown_settings(project),
        "crs": inputs.crs,
        "input_hashes": dict(hashes),
        "seed": project.run.seed,
        "plots": {
            o.plot_id: {"status": o.status, "reason": _reason(o), "seconds": round(o.seconds, 3)} for o in outcomes
        },
        "warnings": [*inputs.notes, *(f"{s.plot_id}: {n}" for s in own for n in s.notes)],
    }
    # No folder of a plot has a dot in its name.
    building = out / PARTIAL / "files.run"
    shutil.rmtree(building, ignore_errors=True)
    building.mkdir(parents=True)
    write_run(summaries, ranking, project, record, building, plots=out / PLOTS)
    for file in sorted(building.iterdir()):
        file.replace(out / file.name)


def _reason(outcome: PlotOutcome) -> str:
    return outcome.reason or (str(outcome.summary.figures.get("reason") or "") if outcome.summary else "")


def _chosen(inputs: Inputs, wanted: Sequence[str]) -> list[str]:
    known = [p.plot_id for p in inputs.plots]
    unknown = [w for w in wanted if w not in known]
    if unknown:
        raise Faults([f"--plot {w}: no such plot; the plots are {', '.join(known)}" for w in unknown])
    return [p for p in known if p in wanted] if wanted else known


def _settings_hash(project: Project) -> str:
    # Without the paths: the same settings on another machine are the same settings.
    return hashlib.sha256(_without_paths(project).encode()).hexdigest()


def _shown_settings(project: Project) -> dict[str, object]:
    """Every value the run used, defaults included, without the paths of this machine."""
    values: dict[str, object] = project.model_dump(mode="json", exclude={"inputs": True, "enclosure": {"fence_line"}})
    return values


def _without_paths(project: Project) -> str:
    # That a fence line is given counts; where its file lies does not.
    settings = project.model_dump_json(exclude={"inputs": True, "enclosure": {"fence_line"}})
    return settings if project.enclosure.fence_line is None else settings + " fence_line"


def _key(project: Project, hashes: Mapping[str, str]) -> str:
    """Stands for everything that a plot's files depend on but its id."""
    text = json.dumps([__version__, _without_paths(project), sorted(hashes.items())])
    names = project.inputs.model_dump(include={"elevation_unit", "plots_layer", "plot_id"})
    return hashlib.sha256((text + json.dumps(names, sort_keys=True)).encode()).hexdigest()


def _seen(file: Path) -> tuple[int, int]:
    state = file.stat()
    return state.st_size, state.st_mtime_ns


def _refuse_changed(seen: Mapping[Path, tuple[int, int]], finished: Sequence[Path]) -> None:
    """Raise Faults if an input has changed since it was looked at: plots may have read either.

    The first key of the plots of this run is taken back, so that the next one looks at what they read.
    """
    changed = [f for f, state in seen.items() if not f.exists() or _seen(f) != state]
    if not changed:
        return
    for folder in finished:
        with suppress(OSError):
            reads = (folder / KEY).read_text(encoding="utf-8").splitlines()[1:]
            (folder / KEY).write_text("\n".join(["", *reads, ""]), encoding="utf-8")
    raise Faults(
        [
            f"{f}: changed while the run was going on; start the same command again, it redoes what that concerns"
            for f in changed
        ]
    )


def _reads_key(project: Project, site: Site) -> str:
    """Stands for all that a plot's files depend on, inputs by what is read of them; a Site tells which were given."""
    text = json.dumps([__version__, _without_paths(project), digest(site)])
    return hashlib.sha256(text.encode()).hexdigest()


def _file_hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
