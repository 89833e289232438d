"""Elevations of a whole run: read once for all its plots, and looked at before any of them is computed."""

import shutil
from collections import defaultdict
from collections.abc import Callable, Collection
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import numpy as np
from pyproj import CRS

from packpale.faults import Gathering
from packpale.settings import Project
from packpale.site.coverage import check_cells
from packpale.site.elevations import read_part
from packpale.site.inputs import Inputs, plot_window
from packpale.site.raster_files import Unreadable
from packpale.site.rasters import origin
from packpale.site.squares import KeptCells, Part, all_parts, file_of

MOST_OF_DISK = 0.25
"""Part of the free disk that may be taken by cells that are kept."""


def keep_cells(
    inputs: Inputs, plot_ids: Collection[str], project: Project, folder: Path, told: Callable[[float], None]
) -> Inputs:
    """Read what lies under the windows of these plots once, row of squares by row; gives inputs that find it.

    One process reads all, so that no two of them read one block of a raster, or bring one cell to the run's grid
    twice. What cannot be read, or has no room in ``folder``, is left out: it is read where it is needed. ``told`` is
    called with the part read so far. Raises Faults if a file is not there any more.
    """
    crs = CRS.from_user_input(inputs.crs)
    chosen = frozenset(plot_ids)
    grids = [plot_window(inputs, p, project) for p in inputs.plots if p.plot_id in chosen]
    wanted = all_parts(grids, origin(inputs.elevation, crs, inputs.cell_m))
    kept: defaultdict[tuple[int, int], list[Part]] = defaultdict(list)
    # A full disk is found while plots are written, and told then.
    with suppress(OSError):
        folder.mkdir(parents=True)
        room = MOST_OF_DISK * shutil.disk_usage(folder).free
        for n, part in enumerate(wanted):
            told(n / len(wanted))
            room -= part.cells * np.dtype(np.float64).itemsize
            if room < 0:
                break
            with suppress(Unreadable):
                np.save(file_of(folder, part), read_part(inputs.elevation, crs, inputs.cell_m, part))
                kept[part.square].append(part)
    return replace(inputs, kept=KeptCells(folder, {square: tuple(there) for square, there in kept.items()}))


def look_at_cells(inputs: Inputs, plot_ids: Collection[str]) -> None:
    """Check what ``open_inputs`` left for later: that elevations cover these plots with values that land can have.

    Elevation that cannot be read under a plot is left to ``read_site`` to tell, unless it can be read under none of
    all plots. Raises Faults with all faults found.
    """
    faults, chosen = Gathering(), frozenset(plot_ids)
    shapes = [(p.plot_id, p.outline) for p in inputs.plots if p.plot_id in chosen]
    crs = CRS.from_user_input(inputs.crs)
    unread = check_cells(inputs.elevation, crs, shapes, cell=inputs.cell_m, faults=faults, kept=inputs.kept)
    if len(unread) == len(inputs.plots):
        faults.lines.extend(unread)
    faults.raise_if_any()
