"""What a run would take: cells, bytes, memory and minutes, from some of its plots computed for that purpose."""

import heapq
import shutil
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from pyproj import CRS

from packpale.crew import OneProcess
from packpale.faults import Faults
from packpale.holding import held
from packpale.one_plot import CELL_BYTES, Job, PlotOutcome, compute_plot
from packpale.run import write_run_files
from packpale.settings import Project
from packpale.site import crs as crs_
from packpale.site.grid import Grid
from packpale.site.inputs import Inputs, plot_window
from packpale.site.rasters import Elevation

SAMPLE_CELLS = 4_000_000
"""Plots with more cells are not computed for a plan, unless all have more."""
SAMPLES = 3
"""Plots computed for a plan."""
LITTLE_SPREAD = 1.5
"""Samples whose cells differ by less than this factor do not tell what is fixed from what grows with cells."""
WITHIN = 2.0
"""Times of runs, where tried, were within this factor of those planned."""
SHOWN_WORKERS = (1, 2, 4, 8, 16, 32, 64)


@dataclass(frozen=True)
class Sample:
    """One plot computed for a plan."""

    plot_id: str
    cells: int
    seconds: float
    """Processor time."""
    written: int
    """Size of its files. [bytes]"""
    peak: int | None
    """Most memory its process held up to its end; None where the system does not tell. [bytes]"""
    fits: bool


@dataclass(frozen=True)
class Line:
    """A quantity that grows with the cells of a plot: ``fixed`` + ``per_cell`` x cells, neither below zero."""

    fixed: float
    per_cell: float

    def at(self, cells: int) -> float:
        """The quantity for a plot of that many cells."""
        return self.fixed + self.per_cell * cells


@dataclass(frozen=True)
class Plan:
    """What a run would take."""

    cells: Mapping[str, int]
    """Cells of each plot's window."""
    read: int
    """Size of the parts of the elevation files that plots are read from. [bytes]"""
    samples: tuple[Sample, ...]
    seconds: Line
    written: Line
    memory: Line | None
    most_in_memory: int
    """Cells of the largest plot whose arrays do not stand in files."""
    starting: float
    """Until a worker is ready for its first plot. [s]"""
    before: float
    """Reading and checking the inputs. [s]"""
    finishing: float
    """Files of the whole run, for each plot. [s]"""

    def minutes(self, workers: int) -> float:
        """Of a run over that many workers with a core each, the largest plot left taken whenever one gets free."""
        free = [self.starting] * min(workers, len(self.cells))
        for cells in sorted(self.cells.values(), reverse=True):
            heapq.heapreplace(free, free[0] + self.seconds.at(cells))
        return (self.before + max(free) + self.finishing * len(self.cells)) / 60


def plan(project: Project, inputs: Inputs, *, before: float) -> Plan:
    """Compute some of the plots in a folder for temporary files, and conclude from them on all.

    ``before`` is the processor time it took to open ``inputs``. [s] All times are processor time: what other work on
    this machine takes away does not count, nor does waiting for files. Raises Faults if a plot computed for this fails.
    """
    windows = {p.plot_id: plot_window(inputs, p, project) for p in inputs.plots}
    cells = {plot_id: grid.rows * grid.cols for plot_id, grid in windows.items()}
    chosen = to_compute(cells)
    folder = Path(tempfile.mkdtemp(prefix="packpale-plan-"))
    try:
        with held(folder) as name:
            jobs = [Job(inputs, project, p, f"sample-{n}", folder, "plan", name) for n, p in enumerate(chosen)]
            with OneProcess() as pool:
                # The first one twice: what has to be compiled is compiled once and for all, and is no part of a run.
                results = [pool.submit(_measured, job).result() for job in (jobs[0], *jobs)]
            with OneProcess() as pool:
                # Once more in a new process: what that takes longer is the start of a worker.
                first = pool.submit(_measured, jobs[0]).result()
        ended = [r.outcome for r in results]
        failed = {f"plot {o.plot_id}: failed: {o.reason}" for o in ended if o.brief is None}
        if failed:
            raise Faults(sorted(failed))
        started = time.process_time()
        write_run_files(ended[1:], project, {}, inputs, folder)
        finishing = (time.process_time() - started) / len(jobs)
    except BrokenProcessPool as error:
        raise Faults(
            [
                f"--plan: the process computing one of the plots {', '.join(chosen)} was ended from outside, perhaps "
                "for lack of memory; free some, or set a larger land.cell_m"
            ]
        ) from error
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    crs = CRS.from_user_input(inputs.crs)
    samples = tuple(_sample(r, cells[r.outcome.plot_id]) for r in results[1:])
    sizes = [s.cells for s in samples]
    peaks = [s.peak for s in samples if s.peak is not None]
    return Plan(
        cells=cells,
        read=read_bytes(inputs.elevation, crs, list(windows.values())),
        samples=samples,
        seconds=line_through(sizes, [s.seconds for s in samples]),
        written=line_through(sizes, [s.written for s in samples]),
        memory=line_through(sizes, peaks) if len(peaks) == len(sizes) else None,
        most_in_memory=int(project.run.memory_mb * 1e6 / CELL_BYTES),
        starting=max(0.0, first.since_start - samples[0].seconds),
        before=before,
        finishing=finishing,
    )


def to_compute(cells: Mapping[str, int]) -> list[str]:
    """Plots that tell most of the others: the smallest, the largest that does not take long, and one between."""
    by_size = sorted(cells, key=lambda p: (cells[p], p))
    quick = [p for p in by_size if cells[p] <= SAMPLE_CELLS] or by_size[:1]
    return list(dict.fromkeys(quick[round(n * (len(quick) - 1) / (SAMPLES - 1))] for n in range(SAMPLES)))


@dataclass(frozen=True)
class _Measured:
    """What computing one plot took, in a process for such measurements. Times are processor time. [s]"""

    outcome: PlotOutcome
    seconds: float
    since_start: float
    """Of the process since it was started, to the plot's end."""
    written: int
    peak: int | None


def _measured(job: Job) -> _Measured:
    started = time.process_time()
    outcome = compute_plot(job)
    now = time.process_time()
    written = sum(f.stat().st_size for f in (job.out / "plots" / job.folder).rglob("*") if f.is_file())
    return _Measured(outcome, now - started, now, written, _peak_memory())


def _peak_memory() -> int | None:
    try:
        # On Linux the figure of getrusage takes in the process that started this one.
        status = Path("/proc/self/status").read_text(encoding="utf-8")
        return int(status.split("VmHWM:")[1].split()[0]) * 1024
    except (OSError, IndexError, ValueError):
        pass
    if sys.platform != "darwin":
        return None
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def _sample(measured: _Measured, cells: int) -> Sample:
    outcome = measured.outcome
    fits = bool(outcome.brief and outcome.brief.figures["feasible"])
    return Sample(outcome.plot_id, cells, measured.seconds, measured.written, measured.peak, fits)


def line_through(cells: Sequence[int], values: Sequence[float]) -> Line:
    """The line nearest to samples by least squares; in proportion to the cells where it would not be a sensible one."""
    x, y = np.array(cells, float), np.array(values, float)
    if x.max() >= LITTLE_SPREAD * x.min():
        per_cell, fixed = np.polyfit(x, y, 1)
        if per_cell >= 0 and fixed >= 0:
            return Line(float(fixed), float(per_cell))
    return Line(0.0, float((x * y).sum() / (x * x).sum()))


def read_bytes(elevation: Elevation, crs: CRS, grids: Sequence[Grid]) -> int:
    """Size of the parts of the elevation files under each of the grids, together. [bytes]"""
    total = 0.0
    sizes = [sum(f.stat().st_size for f in tile.files) for tile in elevation.tiles]
    for grid in grids:
        west, south, east, north = grid.bounds
        x, y = np.array([west, east, east, west]), np.array([south, south, north, north])
        if not crs_.same(elevation.crs, crs):
            x, y = (np.asarray(v) for v in crs_.moved(x, y, crs, elevation.crs))
        col, row = elevation.to_lattice(x, y)
        for tile, size in zip(elevation.tiles, sizes, strict=True):
            cols = min(col.max(), tile.col + tile.cols) - max(col.min(), tile.col)
            rows = min(row.max(), tile.row + tile.rows) - max(row.min(), tile.row)
            if cols > 0 and rows > 0:
                total += size * cols * rows / (tile.cols * tile.rows)
    return round(total)


def lines(made: Plan, *, workers: int | None) -> list[str]:
    """A plan in words; the time for ``workers``, or for several numbers of them."""
    sizes = sorted(made.cells.values())
    written = sum(made.written.at(c) for c in sizes)
    told = [
        f"cells: {sum(sizes):,}, in {len(sizes)} windows of {sizes[0]:,} to {sizes[-1]:,}",
        f"reads: {_size(made.read)} of the elevation files; writes: about {_size(written)} in the plots' folders",
    ]
    if made.memory is not None:
        largest = (
            f"about {_size(made.memory.at(min(sizes[-1], made.most_in_memory)))} for a worker with the largest plot"
        )
        in_files = sum(c > made.most_in_memory for c in sizes)
        beside = f"; {in_files} of more than {made.most_in_memory:,} cells with arrays in files" if in_files else ""
        told.append(f"memory: {largest}{beside}")
    shown = [workers] if workers else [n for n in SHOWN_WORKERS if n == 1 or n <= len(sizes)]
    times = ", ".join(f"{n} worker{'s' * (n > 1)} {_duration(made.minutes(n))}" for n in shown)
    told.append(
        f"time: {times}; with a free core like this machine's for each worker and no waiting for files, "
        f"within a factor of {WITHIN:g}"
    )
    rate = f"{made.seconds.fixed:.1f} s a plot and {made.seconds.per_cell * 1e6:.2g} s a million cells"
    fits = sum(s.fits for s in made.samples)
    names = ", ".join(f"{s.plot_id} ({s.cells:,} cells, {s.seconds:.1f} s)" for s in made.samples)
    told.append(
        f"measured now on this machine, processor time: {names}; that is {rate}, "
        f"{made.starting:.1f} s to start a worker, {made.before:.1f} s to check the inputs, "
        f"{made.finishing:.2g} s a plot for the files of the whole run; "
        f"an enclosure fits in {fits} of the {len(made.samples)} plots measured, and where none fits a plot takes less"
    )
    return told


def _size(size: float) -> str:
    number, unit = (size / 1e9, "GB") if size >= 1e9 else (size / 1e6, "MB")
    return f"{float(f'{number:.2g}'):g} {unit}"


def _duration(minutes: float) -> str:
    return f"{minutes / 60:.1f} h" if minutes >= 90 else f"{minutes:.0f} min" if minutes >= 10 else f"{minutes:.1f} min"
