"""One plot through all rooms: which room follows which, and its finished folder put in place."""

import functools
import math
import os
import pickle
import platform
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from packpale.faults import Faults, in_words
from packpale.free_memory import give_back, look_past_what_stays
from packpale.holding import KEY, PARTIAL, PLOTS, put_in_place
from packpale.keys import plot_key
from packpale.ranking import unknown_figures
from packpale.result import PlotBrief
from packpale.settings import Project
from packpale.site.inputs import Inputs, plot_window

if TYPE_CHECKING:
    from packpale.enclosure.proof import Prepared

STAGES = ("reading", "scoring land", "fitting", "earthworks", "care", "writing")
CELL_BYTES = 200
"""Memory that a plot takes for each cell of its window, beside what any plot takes."""
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
    brief: PlotBrief | None
    """None where it failed."""


@dataclass(frozen=True)
class Shared:
    """What all plots of a run share, in a file of this run: so that not every plot takes it to its worker."""

    inputs: Inputs
    prepared: "Prepared | None" = None


@dataclass(frozen=True)
class Job:
    """One plot to compute; goes to a worker process."""

    inputs: Inputs | Path
    """Or the file of this run that holds them (``Shared``)."""
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
    def area_m2(self) -> float:
        """Of the plot; 0 where its inputs lie in a file."""
        return 0.0 if isinstance(self.inputs, Path) else float(self.inputs.plot(self.plot_id).outline.area)

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


def compute_plot(job: Job) -> PlotOutcome:
    """Take one plot through all rooms and put its finished folder in place; a failure is an outcome, not an error."""
    started = time.monotonic()
    try:
        status, brief = _through_the_rooms(job)
    except Exception as error:  # noqa: BLE001 - one plot's trouble must not end the others; the run exits with 3
        reason = in_words(error)
        if not isinstance(error, OSError | MemoryError | Faults) and nearly_full(job.out):
            reason += f"; less than {LITTLE_ROOM_MB:g} MB are free: make room and start the same command again"
        # On a full disk the other plots need the room.
        shutil.rmtree(job.building, ignore_errors=True)
        return PlotOutcome(job.plot_id, "failed", reason, time.monotonic() - started, None)
    return PlotOutcome(job.plot_id, status, "", time.monotonic() - started, brief)


def nearly_full(folder: Path) -> bool:
    return shutil.disk_usage(folder).free < LITTLE_ROOM_MB * 1e6


def _through_the_rooms(job: Job) -> tuple[str, PlotBrief]:
    from packpale.care.assess import assess as assess_care
    from packpale.earthworks.work_out import work_out
    from packpale.enclosure.place import place
    from packpale.land.assess import assess as assess_land
    from packpale.result import PlotResult
    from packpale.review.plot import write_plot
    from packpale.site.inputs import read_site

    look_past_what_stays()
    stage = _stages(job.stage_file)
    stage("reading")
    inputs = _read_back(job.inputs) if isinstance(job.inputs, Path) else job.inputs
    _refuse_too_large(inputs, job)
    site = read_site(inputs, job.plot_id, job.project)
    reads = plot_key(job.project, site)
    if not job.fresh and (brief := finished_under(job.finished, 1, reads)):
        # Something in the inputs has changed, and nothing that concerns this plot.
        job.building.parent.mkdir(parents=True, exist_ok=True)
        _write_key(job, reads, job.building.with_name(f"{job.folder}.key")).replace(job.finished / KEY)
        job.stage_file.unlink(missing_ok=True)
        return "kept", brief
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
    return "done", summary.brief


def _refuse_too_large(inputs: Inputs, job: Job) -> None:
    """Raise Faults if the plot's arrays would need more memory than they may."""
    grid = plot_window(inputs, inputs.plot(job.plot_id), job.project)
    cells, allowed_mb = grid.rows * grid.cols, job.project.run.memory_mb
    needed_mb = cells * CELL_BYTES / 1e6
    if needed_mb > allowed_mb:
        # A hundredth more, since a window is rounded up to whole cells.
        fits = math.ceil(10 * 1.01 * grid.cell * math.sqrt(needed_mb / allowed_mb)) / 10
        raise Faults(
            [
                f"its window has {cells:,} cells, which take about {needed_mb:,.0f} MB; run.memory_mb allows "
                f"{allowed_mb:,.0f} MB: set land.cell_m = {fits:g}, a smaller land.margin_m, or a larger run.memory_mb"
            ]
        )


def _write_key(job: Job, reads: str, file: Path) -> Path:
    file.write_text(f"{job.key}\n{reads}\n", encoding="utf-8")
    return file


def _stages(file: Path) -> Callable[[str], None]:
    # A small file, not a queue: it works for any executor that shares the output folder.
    def stage(name: str) -> None:
        file.write_text(name, encoding="utf-8")
        give_back()

    return stage


def finished_under(folder: Path, line: int, key: str) -> PlotBrief | None:
    """The least of a plot that an earlier run completed, if ``line`` of its keys is ``key``."""
    from packpale.review.summary import read_summary

    try:
        if not folder.is_symlink() and (folder / KEY).read_text(encoding="utf-8").splitlines()[line] == key:
            return read_summary(folder / "result.json").brief
    except (OSError, ValueError, KeyError, IndexError):
        # Damaged or from an older layout: compute it again.
        return None
    return None


@functools.lru_cache(maxsize=1)
def _read_back(file: Path) -> Inputs:
    shared: Shared = pickle.loads(file.read_bytes())  # noqa: S301 - written by this run, in its own folder
    if shared.prepared:
        shared.prepared.take_over()
    return shared.inputs


def read_stage(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except OSError:
        return ""
