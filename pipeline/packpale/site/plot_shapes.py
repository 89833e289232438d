"""Plots whose outlines are legal and yet not what anybody wants: too small, in slivers, over each other."""

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon

from packpale.settings import Project
from packpale.site.model import Plot
from packpale.units import HECTARE_M2
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, given

SLIVER_WIDTH_M = 1.0
"""Ground that is narrower than this on the whole, two areas over perimeter, is a slip of drawing. [m]"""
MANY_CORNERS = 5000
"""From here on a fit takes noticeably longer."""
COARSE_CELLS = 20
"""Cells across the widest part of a plot below which its relief is guesswork."""
MOST_LISTED = 3
Widths = npt.NDArray[np.float64]


def notes_of_all(plots: Sequence[Plot]) -> Iterator[Note]:
    """What to know of plots that lie over each other; that they touch is as it should be."""
    outlines = np.array([p.outline for p in plots], dtype=object)
    if len(outlines) < 2:
        return
    first, second = shapely.STRtree(outlines).query(outlines, predicate="intersects")
    first, second = first[first < second], second[first < second]
    shared = shapely.intersection(outlines[first], outlines[second])
    areas, widths = shapely.area(shared), _widths(shared)
    order = [int(i) for i in np.argsort(-areas, kind="stable")]
    over = [i for i in order if widths[i] >= SLIVER_WIDTH_M]
    slivers = [i for i in order if 0 < widths[i] < SLIVER_WIDTH_M]

    def named(found: Sequence[int]) -> str:
        pairs = [f'"{plots[first[i]].plot_id}" and "{plots[second[i]].plot_id}"' for i in found[:MOST_LISTED]]
        more = len(found) - MOST_LISTED
        return ", ".join(pairs) + (f" and {more} more pairs" if more > 0 else "")

    if over:
        shared_area = float(areas[over].sum())
        yield Note(
            "plots overlap",
            "plots lie over each other, by {area} in all",
            "They are {named}; each is computed as if it had that ground for itself: draw the boundary once, or take "
            "them as alternatives.",
            {"area": Quantity(shared_area, "area"), "named": named(over)},
            size=shared_area,
        )
    if slivers:
        yield Note(
            "boundary to clean",
            "plots overlap by slivers up to {width} wide",
            "They are {named}; that does no harm where the setback is wider.",
            {"width": Quantity(float(max(widths[i] for i in slivers)), "dimension"), "named": named(slivers)},
        )


def _widths(shapes: Any) -> Widths:
    length = shapely.length(shapes)
    widths: Widths = np.divide(2 * shapely.area(shapes), length, out=np.zeros_like(length), where=length > 0)
    return widths


def notes_of(plot: Plot, project: Project, cell: float) -> Iterator[Note]:
    """What to know of one plot's outline before anything is computed."""
    parts = list(plot.outline.geoms)
    thin = [p for p, width in zip(parts, _widths(parts), strict=True) if width < SLIVER_WIDTH_M]
    if thin and len(thin) < len(parts):
        yield Note(
            "boundary to clean",
            "{thin} of {parts} parts of the plot are slivers, {area} in all",
            "No fence fits on them: drop them where they are slips of drawing.",
            {"thin": len(thin), "parts": len(parts), "area": Quantity(sum(p.area for p in thin), "section")},
        )
    corners = int(shapely.get_num_coordinates(plot.outline))
    if corners > MANY_CORNERS:
        yield Note(
            "boundary to clean",
            "the outline has {corners} corners, which takes longer to fit",
            "Simplified to {tolerance} it would be as good.",
            {"corners": corners, "tolerance": given(0.1, "dimension")},
        )
    widest = widest_circle(plot.outline)
    if 2 * widest < COARSE_CELLS * cell:
        yield Note(
            "cells too coarse",
            "cells of {cell} are coarse for the plot, which is {width} wide at its widest",
            "Slopes, banks and volumes are guesswork; get a finer elevation model.",
            {"cell": given(cell, "dimension"), "width": Quantity(2 * widest, "dimension")},
        )
    if project.enclosure.fence_line is None:
        needed = least_circle(project)
        if widest < needed:
            yield Note(
                "nothing can fit",
                "no enclosure can fit: the widest circle in the plot has a radius of {widest}",
                "The smallest enclosure needs {needed} with its strip ({setting:enclosure.min_radius_m}, "
                "{setting:enclosure.taper}, {setting:land.setback_m}, the trench); choose a larger plot, or lower what "
                "it takes.",
                {"widest": Quantity(widest, "dimension"), "needed": Quantity(needed, "dimension")},
            )


def widest_circle(outline: MultiPolygon) -> float:
    """Radius of the largest circle in an outline, up to a centimetre more. [m]"""
    circles = [shapely.maximum_inscribed_circle(part, tolerance=0.01) for part in outline.geoms]
    return max(float(c.length) for c in circles) + 0.01


def least_circle(project: Project) -> float:
    """Radius of a circle that any allowed egg holds within it, with strip and setback: no egg fits in less. [m]

    The big end of an egg is half of a circle that lies in the egg whole, its radius the small end's over the taper.
    """
    big_end = project.enclosure.min_radius_m / project.enclosure.taper[1]
    if isinstance(project.enclosure.area_ha, float | int):
        # An egg lies in a box as wide as its big end and ``aspect`` times as long.
        wanted = math.sqrt(project.enclosure.area_ha * HECTARE_M2 / (4 * project.enclosure.aspect[1]))
        big_end = max(big_end, wanted)
    return big_end + project.trench.outside_strip_m + project.land.setback_m
