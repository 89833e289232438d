"""One plot through all rooms: which room follows which, and its finished folder put in place."""

import os
import platform
import shutil
import threading
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from packpale.faults import Faults, doing, in_words, lacks_memory
from packpale.review.model import PlotBrief
from packpale.run.cache_key import code_digest, plot_key
from packpale.run.output_folder import KEY, PARTIAL, PLOTS, put_in_place
from packpale.settings import Project
from packpale.site.inputs import Inputs
from packpale.units import feet_too

SCREENED = "-screened"
"""Ends the cache keys of a plot that was only screened."""
SCREENING_DRAWS = 500
"""Random draws behind the price of a plot that is screened: the first of those that are made in full."""
LITTLE_ROOM_MB = 10.0
"""Less room than this beside the output counts as a full disk when something could not be written."""

_one_plot_at_a_time = threading.Lock()
"""A worker of a cluster may have several threads; a plot takes the memory of a process."""


@dataclass(frozen=True)
class Job:
    """One plot to compute; goes to a worker process."""

    inputs: Inputs
    """Cut to this plot (``site.inputs.cut_to``) before it goes to a worker."""
    cells: int
    """Of the plot's window."""
    project: Project
    plot_id: str
    folder: str
    out: Path
    key: str
    """Cache key of the whole run's inputs (``run_key``); a plot's folder under the same key is complete without a
    look at its ground."""
    run: str = "run"
    """Name of the run's own folder in PARTIAL: what is left of a killed run never mixes with it."""
    fresh: bool = True
    """Compute the plot also where the same stands already."""
    screening: bool = False
    """Whether the plot is only scored, fitted, priced and ranked (see RunSettings.detail)."""
    code: str = ""
    """``code_digest`` where the run was started; a worker with other code computes nothing."""

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
    traceback: str = ""
    """Of a bug; empty where the reason says all."""
    unfit: bool = False
    """It failed because its worker lacks something that another may have."""
    worker: str = ""
    """Address of a cluster's worker."""


class Unfit(Faults):
    """A worker lacks what it takes to compute any plot of the run."""


def compute_plot(job: Job) -> PlotOutcome:
    """Take one plot through all rooms and put its finished folder in place; a failure is an outcome, not an error."""
    started = time.monotonic()
    try:
        # Why a plot failed is told in the reader's units.
        with _one_plot_at_a_time, feet_too(job.project.units == "imperial"):
            _check_worker(job)
            status, brief = _through_the_rooms(job)
    except Exception as error:  # noqa: BLE001 - one plot's trouble must not end the others; the run exits with 3
        # On a full disk the other plots need the room.
        shutil.rmtree(job.building, ignore_errors=True)
        return replace(failure(job, error), seconds=time.monotonic() - started)
    return PlotOutcome(job.plot_id, status, "", time.monotonic() - started, brief)


def failure(job: Job, error: Exception) -> PlotOutcome:
    """The outcome of a plot that an error ended; that of a bug has its traceback."""
    reason, where = in_words(error), ""
    if not isinstance(error, Faults | OSError) and not lacks_memory(error):
        where = "".join(traceback.format_exception(error))
        if nearly_full(job.out):
            reason += f"; less than {LITTLE_ROOM_MB:g} MB are free: make room and start the same command again"
    return PlotOutcome(job.plot_id, "failed", reason, 0.0, None, where, isinstance(error, Unfit))


def lacks(job: Job, what: str) -> PlotOutcome:
    """The outcome of a plot whose worker lacks something, told after the worker's name."""
    return failure(job, Unfit(f"worker on {platform.node()}: {what}; share folder and inputs under the same path"))


def nearly_full(folder: Path) -> bool:
    with suppress(OSError):
        return shutil.disk_usage(folder).free < LITTLE_ROOM_MB * 1e6
    return False


def _check_worker(job: Job) -> None:
    """Raise Unfit unless this process, which may be on another machine, has the same code and output folder."""
    where = f"worker on {platform.node()}"
    if job.code and job.code != code_digest():
        raise Unfit(f"{where}: has another packpale than the run; install the same on every worker")
    if not (job.out / PARTIAL / job.run).is_dir():
        raise Unfit(f"{where}: does not see the output folder {job.out}; share folder and inputs under the same path")


def _through_the_rooms(job: Job) -> tuple[str, PlotBrief]:
    from packpale.care.assess import assess as assess_care
    from packpale.earthworks.work_out import work_out
    from packpale.enclosure.menu import price_decides
    from packpale.enclosure.place import place, screened
    from packpale.land.assess import assess as assess_land
    from packpale.review.model import PlotResult
    from packpale.review.plot import write_plot, write_screened_plot
    from packpale.run.pricing import pricing_of
    from packpale.run.ranking import unknown_figures
    from packpale.site.inputs import read_site

    mark = SCREENED * job.screening
    if not job.fresh and (brief := finished_under(job.finished, 0, job.key + mark)):
        # A cluster asks again for a result that a lost worker had.
        return "kept", brief
    stage = _stages(job.stage_file)
    if job.screening and not job.fresh and (brief := _kept_in_full(job, stage)):
        return "kept", brief
    stage("reading")
    with doing("reading the inputs"):
        site = read_site(job.inputs, job.plot_id, job.project, screening=job.screening)
    key = plot_key(job.project, site)
    if not job.fresh and (brief := _kept_under(job, key, mark)):
        return "kept", brief
    stage("scoring land")
    land = assess_land(site, job.project)
    stage("fitting")
    pricing = None if job.screening and not price_decides(job.project) else pricing_of(site, land, job.project)
    enclosure = (screened if job.screening else place)(site, land, job.project, pricing)
    earthworks = care = None
    if enclosure.feasible:
        stage("earthworks")
        earthworks = work_out(site, enclosure, with_few_draws(job.project) if job.screening else job.project)
    if enclosure.feasible and earthworks and not job.screening:
        stage("care")
        mounds = earthworks.haul.den_mounds if earthworks.haul else 0
        care = assess_care(site, land, enclosure, job.project, den_mounds=mounds)
    stage("writing")
    with doing("writing the plot's files"):
        shutil.rmtree(job.building, ignore_errors=True)
        job.building.mkdir(parents=True)
        result = PlotResult(site, land, enclosure, earthworks, care, pricing.cost if pricing else None)
        summary = (write_screened_plot if job.screening else write_plot)(result, job.project, job.building)
        if unknown := unknown_figures(summary):
            raise Faults(f"could not be worked out: {', '.join(unknown)}; look for gaps in the elevations there")
        _write_key(job, key, mark, job.building / KEY)
        put_in_place(job.building, job.finished)
        job.stage_file.unlink(missing_ok=True)
    return "done", summary.brief


def with_few_draws(project: Project) -> Project:
    """The settings with as few random draws as a plot gets that is screened."""
    few = project.run.model_copy(update={"draws": min(project.run.draws, SCREENING_DRAWS)})
    return project.model_copy(update={"run": few})


def _kept_in_full(job: Job, stage: Callable[[str], None]) -> PlotBrief | None:
    """The least of a plot that stands there in full from the same ground, where it was only to be screened."""
    from packpale.site.inputs import read_site

    try:
        reads = (job.finished / KEY).read_text(encoding="utf-8").splitlines()[1]
    except (OSError, IndexError):
        return None
    if reads.endswith(SCREENED):
        return None
    stage("reading")
    with doing("reading the inputs"):
        site = read_site(job.inputs, job.plot_id, job.project)
    return _kept_under(job, plot_key(job.project, site), "")


def _kept_under(job: Job, key: str, mark: str) -> PlotBrief | None:
    """The least of a plot that an earlier run completed from the same content: other inputs have changed."""
    brief = finished_under(job.finished, 1, key + mark)
    if brief is None:
        return None
    with doing("writing the plot's files"):
        job.building.parent.mkdir(parents=True, exist_ok=True)
        _write_key(job, key, mark, job.building.with_name(f"{job.folder}.key")).replace(job.finished / KEY)
    job.stage_file.unlink(missing_ok=True)
    return brief


def _write_key(job: Job, key: str, mark: str, file: Path) -> Path:
    file.write_text(f"{job.key}{mark}\n{key}{mark}\n", encoding="utf-8")
    return file


def _stages(file: Path) -> Callable[[str], None]:
    # A small file, not a queue: it works for any executor that shares the output folder.
    def stage(name: str) -> None:
        with doing("writing the output folder"):
            file.write_text(name, encoding="utf-8")

    return stage


def read_stage(file: Path) -> str:
    with suppress(OSError):
        return file.read_text(encoding="utf-8")
    return ""


def finished_under(folder: Path, line: int, key: str) -> PlotBrief | None:
    """The least of a plot that an earlier run completed, if ``line`` of its keys is ``key``."""
    from packpale.review.summary import DRAWS, read_draws, read_summary

    try:
        if not folder.is_symlink() and (folder / KEY).read_text(encoding="utf-8").splitlines()[line] == key:
            brief = read_summary(folder / "result.json").brief
            if brief.figures["feasible"] and not brief.screened:
                read_draws(folder / DRAWS)
            return brief
    except (OSError, ValueError, KeyError, IndexError):
        # Damaged or from an older layout: compute it again.
        return None
    return None
