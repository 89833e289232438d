"""Existing or hand-drawn fence lines: one closed line a feature, each matched to the plot it lies on."""

import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import shapely
from pyproj import CRS
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults, Gathering
from packpale.site.crs import moved_geometry
from packpale.site.model import EGG_COLUMNS, GivenLine, Plot
from packpale.site.plots import LEAST_AREA_M2
from packpale.site.tables import find_column
from packpale.site.vectors import Feature, Layer, choose_layer, no_crs, read_layer
from packpale.units import measured

CLOSED_M = 0.05
"""Ends of a line nearer to each other than this are one point: snapping in a drawing is no finer. [m]"""
KEY = "enclosure.fence_line"


def read_fence_lines(
    path: Path,
    layer: str | None,
    *,
    crs: CRS,
    plots: Sequence[Plot],
    plot_id: str,
    packs: int,
    faults: Gathering,
) -> dict[str, tuple[GivenLine, ...]]:
    """The fence lines of each plot that has any, in the order of the file, as valid polygons without holes.

    A feature is a closed line, or a polygon whose outer ring is the line. It belongs to the plot that the column
    ``plot_id`` names, where the file has that column and it is filled in, else to the plot on which most of it lies.
    Adds to ``faults``: what is no single closed line, crosses itself or another, lies on no plot, or is one too many.
    """
    found: dict[str, list[tuple[str, GivenLine]]] = {}
    with faults.gather():
        drawn = read_layer(path, choose_layer(path, layer, f"{KEY}_layer"))
        if drawn.crs is None:
            raise Faults(no_crs(drawn))
        if not drawn.features:
            raise Faults(f"{path.name}: its layer {drawn.name!r} is empty; draw the fence line or drop {KEY}")
        column = find_column(plot_id, drawn.columns)
        for feature in drawn.features:
            with faults.gather():
                where = drawn.where(feature)
                ring = _ring(drawn, feature, crs)
                plot = _plot(ring, feature.properties.get(column) if column else None, plots, where)
                line = GivenLine(ring, _egg_figures(feature.properties))
                found.setdefault(plot.plot_id, []).append((where, line))
    faults.lines.extend(_too_many(found, packs))
    faults.lines.extend(_crossing(found))
    return {name: tuple(line for _, line in lines) for name, lines in found.items()}


def _egg_figures(properties: Mapping[str, object]) -> dict[str, float] | None:
    """The figures of an egg beside a line; None where one is missing."""
    figures = {name: properties.get(name) for name in EGG_COLUMNS}
    numbers = {k: float(v) for k, v in figures.items() if isinstance(v, int | float) and math.isfinite(v)}
    return numbers if len(numbers) == len(EGG_COLUMNS) else None


def _ring(layer: Layer, feature: Feature, crs: CRS) -> Polygon:
    """The line of a feature in the run's CRS. Raises Faults."""
    where = layer.where(feature)
    geometry = feature.geometry
    if geometry is None or geometry.is_empty or layer.crs is None:
        raise Faults(f"{where}: has no geometry; draw the fence line or drop the feature")
    line = _one_line(geometry, where)
    if isinstance(line, Polygon) and line.interiors:
        raise Faults(f"{where}: has holes ({len(line.interiors)}); a fence line is one ring: drop them")
    moved = moved_geometry(line, layer.crs, crs, where)
    points = shapely.get_coordinates(moved)
    if isinstance(line, LineString):
        gap = float(shapely.Point(points[0]).distance(shapely.Point(points[-1])))
        if gap > CLOSED_M:
            raise Faults(
                f"{where}: is not closed: its ends lie {measured(gap, 'm', '.2f')} apart, allowed are "
                f"{measured(CLOSED_M, 'm')}; "
                "draw it to its start"
            )
        points = points[:-1]
    if len(points) < 3:
        raise Faults(f"{where}: has {len(points)} corners, a closed line needs 3; draw it whole")
    ring = Polygon(points)
    if not ring.is_valid:
        # Such as "Self-intersection[420350 6150250]".
        x, y = (float(v) for v in shapely.is_valid_reason(ring).partition("[")[2].rstrip("]").split()[:2])
        raise Faults(
            f"{where}: crosses or touches itself at x {x:.1f}, y {y:.1f} ({crs.name}); "
            "a fence line is one simple ring: draw it again"
        )
    if ring.area < LEAST_AREA_M2:
        raise Faults(f"{where}: encloses {measured(ring.area, 'm2', '.2g')}; draw the line round the enclosure")
    return ring


def _one_line(geometry: BaseGeometry, where: str) -> BaseGeometry:
    """The only line or polygon in a geometry. Raises Faults."""
    if geometry.geom_type not in ("LineString", "MultiLineString", "Polygon", "MultiPolygon"):
        raise Faults(f"{where}: is a {geometry.geom_type}; a fence line is a closed line or a polygon")
    # Pieces that meet end to end are one line that was drawn in several goes.
    merged = shapely.line_merge(geometry) if geometry.geom_type == "MultiLineString" else geometry
    parts = list(getattr(merged, "geoms", [merged]))
    if len(parts) != 1:
        raise Faults(f"{where}: has {len(parts)} parts that do not join; draw each fence line as a feature of its own")
    return parts[0]


def _plot(ring: Polygon, named: object, plots: Sequence[Plot], where: str) -> Plot:
    """The plot a line belongs to. Raises Faults."""
    text = "" if named is None or named != named else str(named).strip()  # noqa: PLR0124 - NaN is not itself
    if isinstance(named, float) and named.is_integer():
        text = str(int(named))
    known = ", ".join(f'"{p.plot_id}"' for p in plots)
    if text:
        named_plots = [p for p in plots if p.plot_id == text]
        if not named_plots:
            raise Faults(f'{where}: names the plot "{text}", which there is not; plots are {known}')
        if not named_plots[0].outline.intersects(ring):
            away = named_plots[0].outline.distance(ring)
            raise Faults(
                f'{where}: lies {measured(away, "m", ".0f")} away from the plot "{text}" it names; '
                "correct one of the two"
            )
        return named_plots[0]
    shares = [p.outline.intersection(ring).area for p in plots]
    best = max(range(len(plots)), key=lambda i: shares[i], default=-1)
    if best < 0 or not shares[best] > 0:
        raise Faults(f"{where}: lies on no plot; plots are {known}: draw it on one or name one in the plots' id column")
    return plots[best]


def _too_many(found: Mapping[str, Sequence[tuple[str, GivenLine]]], packs: int) -> Iterator[str]:
    for name, lines in found.items():
        if len(lines) > packs:
            places = ", ".join(where for where, _ in lines)
            yield (
                f'{KEY}: {len(lines)} lines lie on the plot "{name}" ({places}), enclosure.packs is {packs}; '
                "raise it or drop lines"
            )


def _crossing(found: Mapping[str, Sequence[tuple[str, GivenLine]]]) -> Iterator[str]:
    every = [one for lines in found.values() for one in lines]
    for i, (where, line) in enumerate(every):
        for other_where, other in every[:i]:
            if line.outline.intersects(other.outline):
                yield f"{where}: overlaps or touches the fence line of {other_where}; each pack needs its own ground"
