"""How much memory plots take, and whether the machine has it."""

import math
from collections.abc import Mapping

from packpale.faults import Faults
from packpale.run.machine import free_memory
from packpale.settings import Project
from packpale.site.inputs import Inputs, plot_window
from packpale.units import measured

WORKER_BYTES = 850_000_000
"""Memory of a worker process without the window of its plot: libraries, compiled calculations, drawings, the ground
round the window, which never has more cells than ``site.around.MOST_CELLS``, and what stays from
plots before."""
CELL_BYTES = 100
"""Memory that a plot takes for each cell of its window."""
LATE_BYTES, LATE_CELLS = 400_000_000, 4_000_000
"""Memory that a system gets back late, of arrays with up to so many cells; of larger ones it does at once."""
DISK_CELL_BYTES = 25
"""Disk that the files of a plot take for each cell of its window: five rasters, compressed."""
DISK_PLOT_BYTES = 4_000_000
"""Disk that the other files of a plot take: map, drawings, tables."""
DISK_SCREENED_BYTES = 30_000
"""Disk that the files of a plot take that is only screened."""


def window_cells(inputs: Inputs, project: Project) -> dict[str, int]:
    """Cells of every plot's window, in the order of the plots."""
    windows = {plot.plot_id: plot_window(inputs, plot, project) for plot in inputs.plots}
    return {plot_id: grid.rows * grid.cols for plot_id, grid in windows.items()}


def worker_bytes(cells: int) -> int:
    """Memory of a worker that computes a plot with so many cells. [bytes]"""
    return WORKER_BYTES + CELL_BYTES * cells + LATE_BYTES * min(cells, LATE_CELLS) // LATE_CELLS


def most_cells(memory: float) -> float:
    """Cells of the largest plot that a worker with so much memory [bytes] can compute; 0 or less for none."""
    few = (memory - WORKER_BYTES) / (CELL_BYTES + LATE_BYTES / LATE_CELLS)
    return few if few < LATE_CELLS else (memory - WORKER_BYTES - LATE_BYTES) / CELL_BYTES


def disk_bytes(cells: Mapping[str, int], in_full: int | None = None) -> int:
    """Disk that the files of all plots take, about, if the largest ``in_full`` are computed in full. [bytes]"""
    full = sorted(cells.values(), reverse=True)[:in_full]
    return sum(DISK_PLOT_BYTES + DISK_CELL_BYTES * n for n in full) + DISK_SCREENED_BYTES * (len(cells) - len(full))


def memory_for_plots(project: Project) -> float:
    """Memory that plots may take together: run.memory_mb, or what is free now. [bytes]"""
    return free_memory() if project.run.memory_mb is None else project.run.memory_mb * 1e6


def check_memory(cells: Mapping[str, int], project: Project, *, cell_m: float, memory: float) -> None:
    """Raise Faults for each plot that needs more memory than there is, with the cell size that fits."""
    lines = []
    for plot_id, count in cells.items():
        if worker_bytes(count) <= memory:
            continue
        there = "are free" if project.run.memory_mb is None else "are allowed by run.memory_mb"
        line = (
            f'plot "{plot_id}": its window of {count:,} cells of {measured(cell_m, "m")} takes about '
            f"{worker_bytes(count) / 1e9:.2g} GB of memory, {memory / 1e9:.2g} GB {there}; "
        )
        fitting = most_cells(memory)
        if fitting > 0:
            larger = 1.005 * cell_m * math.sqrt(count / fitting)
            line += f"set land.cell_m = {_rounded_up(larger):g} or a smaller land.margin_m"
        else:
            line += "free some memory, or set a larger run.memory_mb"
        lines.append(line)
    if lines:
        raise Faults(*lines)


def _rounded_up(value: float) -> float:
    """To two significant digits; a little more than asked for, since a window is rounded up to whole cells."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return math.ceil(value / step - 1e-9) * step
