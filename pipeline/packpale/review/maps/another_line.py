"""What a plot's map needs to reckon with another fence line in the reader's hand, without this program.

The page works out area and length by the egg's closed forms, and the length over limits from the outlines of that
ground as ``enclosure.over_limits`` does. Prices and ground come from cells, as the search for lines has them.
"""

import base64
import json
import math
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import astuple, dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from packpale.care.inside import kinds_of_ground
from packpale.earthworks.line_rates import line_cost
from packpale.enclosure.egg import Egg
from packpale.enclosure.line_ground import LineCost
from packpale.land.surroundings import cells_within
from packpale.review.maps.probe import NOT_KNOWN, Probe, Reading, fitting, number
from packpale.review.model import PlotResult
from packpale.review.subjects.line import looked_for
from packpale.review.words import Wording
from packpale.review.words.quantities import column_unit
from packpale.settings import Project
from packpale.site import Array, Mask
from packpale.site.model import EGG_COLUMNS
from packpale.site.spread import spread
from packpale.values.quantity import Kind

LARGEST_BYTES = 1_200_000
"""Room in the page for outlines and cells together."""
LEAST_FOR_CELLS = 150_000
"""Of it kept for cells, however long the outlines are. [bytes]"""
MOST_CELLS = 1_000_000
"""Of larger windows some cells, evenly spread, are looked at."""
BESIDE_M = 30.0
"""How far round the plot cells are kept, so that a line may leave it a little. [m]"""
UNIT_M = 0.01
"""Outlines are kept to this. [m]"""
STRAIGHT_M = 0.005
"""Corners of an outline that lie nearer to the line through their neighbours are left out. [m]"""
QUICK_PRICE_OFF, QUICK_TUNNEL_OFF = 0.05, 0.12
"""How far quick figures were off at worst, as a share: prices of lines that could be built against their bills (4.5 %,
of small lines, whose mesh comes in whole rolls), tunnels of random lines against their sections (12 %, laser-scanned
ground), on demo and real ground by tests/benchmarks/test_another_line.py."""
UNITS: tuple[Kind, ...] = ("area", "length", "dimension", "speed", "slope")


@dataclass(frozen=True)
class AnotherLine:
    """Everything that the page's scripts need for lines that somebody tries."""

    data: Mapping[str, Any]
    probe: Probe
    """Cells by what a line costs, holds and meets there."""

    @property
    def size(self) -> int:
        """Bytes in the page."""
        return len(json.dumps(dict(self.data))) + self.probe.size


def another_line(result: PlotResult, project: Project, wording: Wording) -> AnotherLine:
    """What the map of a plot needs; outlines whole, cells as fine as there is room for."""
    site, enclosure, trench = result.site, project.enclosure, project.trench
    cost = result.line_cost or line_cost(site, project)
    data = {
        "plot_id": site.plot_id,
        "plot_column": project.inputs.plot_id,
        "crs": site.crs,
        "columns": EGG_COLUMNS,
        "units": {kind: _unit(kind, wording) for kind in UNITS},
        "currency": wording.currency,
        "lines": list(_lines(result, wording)),
        "taper": enclosure.taper,
        "aspect": enclosure.aspect,
        "least_radius": enclosure.min_radius_m,
        "share": enclosure.line_over_limits,
        "inside": trench.inside_strip_m,
        "outside": trench.outside_strip_m,
        "trench": {
            "depth": trench.depth_m,
            "reach": trench.apron_reach_m,
            "cover": trench.apron_cover_m,
            "level": trench.formation == "level",
            "sign": 1 if trench.side == "outside" else -1,
            "ends_on_rock": trench.end_on_rock,
        },
        "unwatched": project.checks.unattended_h,
        "step": cost.step,
        "origin": (site.grid.west, site.grid.north),
        "unit": UNIT_M,
        "per_over": cost.per_over_limit_m,
        "fixed": cost.fixed,
        "price_off": QUICK_PRICE_OFF,
        "tunnel_off": QUICK_TUNNEL_OFF,
        "limits": list(_limits(result, project, wording)),
    }
    kept = shapely.buffer(site.outline.envelope, BESIDE_M).envelope
    some = spread(site.grid, most_cells=MOST_CELLS)
    left = max(LARGEST_BYTES - len(json.dumps(data)), LEAST_FOR_CELLS)
    return AnotherLine(data, fitting(_cells(result, cost, project), cells_within([kept], some.grid), most_bytes=left))


def _unit(kind: Kind, wording: Wording) -> tuple[str, float, int]:
    unit = column_unit(kind, imperial=wording.imperial)
    return unit.name, unit.size, unit.decimals


def _lines(result: PlotResult, wording: Wording) -> Iterator[dict[str, Any]]:
    """Lines to begin from: those that are built, and those that could be."""
    packs = result.enclosure.packs
    for pack in packs:
        name = "The line of this plan" if len(packs) == 1 else f"The line of pack {pack.number}"
        if pack.egg is not None:
            yield {"name": name, "pack": pack.number, "egg": astuple(pack.egg)}
    for one in result.enclosure.alternatives:
        if one.egg is not None:
            yield {"name": wording.say(looked_for(one)), "pack": 0, "egg": astuple(one.egg)}
    if not any(pack.egg for pack in packs) and not any(one.egg for one in result.enclosure.alternatives):
        yield {"name": "A line in the middle of the plot", "pack": 0, "egg": astuple(_start(result))}


def _start(result: PlotResult) -> Egg:
    """An egg where there is none: a fourth of the plot, about a point in it."""
    at = result.site.outline.representative_point()
    return Egg.from_shape(0.7, 1.3, big_x=at.x, big_y=at.y, area=result.site.outline.area / 4)


def _limits(result: PlotResult, project: Project, wording: Wording) -> Iterator[dict[str, Any]]:
    """Ground past each limit: name, whether it may lie inside, the pack it does not hold for, rings."""
    grid = result.site.grid
    origin = (grid.west, grid.north)

    def one(name: str, area: BaseGeometry, *, inside: bool = False, pack: int = 0) -> dict[str, Any]:
        return {"name": name, "inside": inside, "pack": pack, "rings": _rings(area, origin)}

    yield one("boundary of the plot", result.site.outline) | {"outer": True}
    for limit in result.land.limits:
        if not limit.area.is_empty:
            yield one(wording.say(limit.name), limit.area, inside=limit.may_lie_inside)
    packs = result.enclosure.packs
    apart = max(project.enclosure.separation_m - project.trench.outside_strip_m, 0.0)
    for pack in packs if len(packs) > 1 else ():
        area = shapely.buffer(pack.line.polygon(STRAIGHT_M), apart, quad_segs=32)
        yield one(f"distance kept from pack {pack.number}", area, pack=pack.number)


def _rings(area: BaseGeometry, origin: tuple[float, float]) -> str:
    """All rings of polygons, packed: whole UNIT_M east and south of ``origin``, each corner less the one before."""
    rings = shapely.get_rings(shapely.get_parts(shapely.simplify(area, STRAIGHT_M)))
    rows = []
    for ring in rings:
        corners = np.round((shapely.get_coordinates(ring)[:-1] - origin) / UNIT_M).astype(np.int64)
        rows.append(np.diff(corners, axis=0, prepend=np.zeros((1, 2), np.int64)).ravel().tolist())
    return base64.b64encode(zlib.compress(json.dumps(rows, separators=(",", ":")).encode(), 9)).decode("ascii")


def _cells(result: PlotResult, cost: LineCost, project: Project) -> Probe:
    site, depth = result.site, project.trench.depth_m
    some = spread(site.grid, most_cells=MOST_CELLS)
    kinds = kinds_of_ground(site, result.land, project)
    readings = [
        _number("price", cost.grid.nearest(cost.raster, *np.meshgrid(*some.grid.centres())), digits=1),
        _number("level", some.of(site.elevation), digits=2),
        _mask("rock", some.of(site.soil.depth_to_rock) < depth),
        _mask("wet", some.of(site.soil.water_table) < depth),
    ]
    if project.trench.end_on_rock:
        shallow = np.minimum(some.of(site.soil.depth_to_rock), depth)
        readings.append(_number("skirt", shallow, digits=2))
    wood, mapped, hollows, wet = (kinds[kind]() for kind in ("wood", "mapped_water", "hollows", "wet"))
    water = [m for m in (mapped, hollows) if m is not None]
    inside = {"wood": wood, "water": np.logical_or.reduce(water), "wet": wet}
    readings += [_mask(f"inside_{kind}", some.of(cells)) for kind, cells in inside.items() if cells is not None]
    return Probe(some.grid, tuple(readings), stride=some.stride)


def _mask(key: str, held: Mask) -> Reading:
    return Reading(key, "", held.astype(np.uint16))


def _number(key: str, values: Array, *, digits: int) -> Reading:
    """Values to so many decimals, or as many as their range leaves."""
    known = values[np.isfinite(values)]
    across = float(np.ptp(known)) if known.size else 0.0
    most = math.floor(math.log10((NOT_KNOWN - 2) / across)) if across > 0 else digits
    return number(key, "", values, digits=min(digits, most))
