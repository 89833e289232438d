"""The map of all plots of a run: where they lie, what fits, and the way to each plot's own map."""

import base64
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from urllib.parse import quote

import shapely

from packpale.ranking import RankedPlot, Ranking
from packpale.result import PlotSummary
from packpale.review.leaflet import MapPage, Shape, Style, VectorLayer, to_degrees, write_map
from packpale.review.plot_map import FENCE, USABLE
from packpale.review.wording import Wording
from packpale.settings import Project

GROUNDS = 60
"""Up to so many plots their hillshade is shown; with more the page would grow too large."""
TOLERANCE_M = 1.0
"""Outlines are simplified by this much; the plots' own maps show them as they are. [m]"""
FITS = Style("#1d2a2a", "#3f7f9a", 0.12, width=2)
FITS_NOT = Style("#6b6b6b", "#8a8a8a", 0.35, width=2, dash="4 5")


def write_overview(
    summaries: Sequence[PlotSummary], ranking: Ranking, project: Project, wording: Wording, path: Path
) -> None:
    """Write map.html of a run."""
    write_map(overview(summaries, ranking, project, wording), path)


def overview(summaries: Sequence[PlotSummary], ranking: Ranking, project: Project, wording: Wording) -> MapPage:
    """Everything the map of a run shows."""
    by_id = {s.plot_id: s for s in summaries}
    fits: list[Shape] = []
    fits_not: list[Shape] = []
    usable: list[Shape] = []
    fences: list[Shape] = []
    grounds = []
    boxes = []
    for place in ranking.rows:
        summary = by_id[place.plot_id]
        degrees = to_degrees(summary.crs)
        for row in summary.layers["plots"]:
            outline = shapely.from_wkb(row["geometry"])
            (fits if place.feasible else fits_not).append(_plot(degrees(_simple(outline)), place, summary, wording))
            boxes.append(degrees(outline.envelope)["coordinates"][0])
        for row in summary.layers["usable_land"]:
            land = _simple(shapely.from_wkb(row["geometry"]))
            if not land.is_empty:
                usable.append(replace(_plot(degrees(land), place, summary, wording), label=""))
        for row in summary.layers["fence_lines"]:
            line = shapely.from_wkb(row["geometry"]).simplify(TOLERANCE_M / 10)
            rows = [("Area", wording.area(row["area_m2"])), ("Length in plan", wording.length(row["perimeter_m"]))]
            fences.append(Shape(degrees(line), f"{place.plot_id}: fence line of pack {row['pack']}", rows))
        ground = summary.details.get("ground")
        if ground and len(ranking.rows) <= GROUNDS:
            grounds.append((base64.b64decode(ground["png"]), ground["bounds"]))
    layers = (
        VectorLayer("Plots", "Plots where an enclosure fits", fits, FITS),
        VectorLayer("Plots", "Plots where none fits", fits_not, FITS_NOT),
        VectorLayer("Land", "Usable land", usable, USABLE),
        VectorLayer("Land", "Fence lines", fences, replace(FENCE, fill="")),
    )
    return MapPage(
        title=project.title,
        home="index.html",
        view=_view(boxes),
        grounds=grounds,
        vectors=[layer for layer in layers if layer.shapes],
        imperial=wording.imperial,
        introduction=["All plots.", *(["The number before a name is the plot's rank."] if fits else [])],
    )


def plot_map_address(summary: PlotSummary) -> str:
    """Relative address of a plot's map from the run's pages."""
    return f"plots/{quote(summary.folder)}/map.html"


def _plot(geometry: dict[str, object], place: RankedPlot, summary: PlotSummary, wording: Wording) -> Shape:
    figures = summary.figures
    if place.feasible:
        rows = [
            ("Score", f"{wording.score(place.score)} of 100"),
            ("Enclosed area", wording.area(figures["enclosed_area_m2"])),
            ("Fence in plan", wording.length(figures["fence_length_m"])),
            ("Price, middle estimate", wording.money(figures["cost_p50"])),
        ]
        label, title = f"{place.rank}. {place.plot_id}", f"{place.plot_id}: rank {place.rank}"
    else:
        rows = [("Nothing fits", str(figures["reason"]))]
        label, title = place.plot_id, place.plot_id
    return Shape(geometry, title, rows, plot_map_address(summary), label)


def _simple(geometry: shapely.Geometry) -> shapely.Geometry:
    return geometry.simplify(TOLERANCE_M)


def _view(boxes: Sequence[Sequence[Sequence[float]]]) -> list[list[float]]:
    if not boxes:
        return [[-60.0, -170.0], [70.0, 170.0]]
    lon = [point[0] for box in boxes for point in box]
    lat = [point[1] for box in boxes for point in box]
    return [[min(lat), min(lon)], [max(lat), max(lon)]]
