"""The map of all plots of a run: where they lie, what fits, and the way to each plot's own map."""

import base64
from collections.abc import Collection
from dataclasses import replace
from pathlib import Path
from urllib.parse import quote

import numpy as np

from packpale.review.map_styles import FENCE, USABLE, Style
from packpale.review.maps.leaflet import write_map
from packpale.review.maps.map_page import MapPage, Shape, VectorLayer, view_of
from packpale.review.maps.placing import placing, widened
from packpale.review.maps.plot_map import background
from packpale.review.model import FinishedPlots, PlotBrief, RankedPlot, Ranking
from packpale.review.plot_layers import PLOT_LAYERS, read_layer
from packpale.review.projecting import to_degrees
from packpale.review.subjects.field import told_of_row
from packpale.review.subjects.line import FENCE_LINES
from packpale.review.subjects.tables import RANKING
from packpale.review.words import Wording
from packpale.settings import Project

GROUNDS = 60
"""Up to so many plots their hillshade is shown; with more the page would grow too large."""
TOLERANCE_M = 1.0
"""Outlines are simplified by this much, and by more where plots lie far apart; the plots' own maps show them as they
are. [m]"""
TOLERANCE_SHARE = 1 / 4000
"""The same as a part of the longer side of the whole map: about a third of a pixel of a screen."""
PLACING_ERROR_M = 0.05
"""Largest error of a place that is measured to. [m]"""
OF_A_PLOT = RANKING.of("enclosed_area_m2", "fence_length_m", "cost_p50")
OF_A_LINE = FENCE_LINES.of("area_m2", "perimeter_m")
"""What popups tell of plots and of fence lines."""
FITS = Style("#1d2a2a", "#3f7f9a", 0.12, width=2)
FITS_NOT = Style("#6b6b6b", "#8a8a8a", 0.35, width=2, dash="4 5")


def write_overview(
    finished: FinishedPlots, ranking: Ranking, project: Project, wording: Wording, path: Path, *, plots: Path
) -> None:
    """Write map.html of a run; ``plots`` holds the plots' folders."""
    write_map(overview(finished, ranking, project, wording, plots=plots), path)


def overview(finished: FinishedPlots, ranking: Ranking, project: Project, wording: Wording, *, plots: Path) -> MapPage:
    """Everything the map of a run shows."""
    fits: list[Shape] = []
    fits_not: list[Shape] = []
    usable: list[Shape] = []
    fences: list[Shape] = []
    grounds = []
    boxes = []
    tolerance = _tolerance(finished.briefs.values())
    crs = ""
    for place in ranking.rows:
        summary, brief = finished[place.plot_id], finished.briefs[place.plot_id]
        crs = crs or summary.crs
        degrees = to_degrees(summary.crs)
        layers_of = plots / brief.folder / PLOT_LAYERS
        for outline in read_layer(layers_of, "plots").geometry:
            (fits if place.feasible else fits_not).append(
                _plot(degrees(outline.simplify(tolerance)), place, brief, wording)
            )
            boxes.append(degrees(outline.envelope)["coordinates"][0])
        for whole in () if brief.screened else read_layer(layers_of, "usable_land").geometry:
            land = whole.simplify(tolerance, preserve_topology=False)
            if not land.is_empty:
                usable.append(replace(_plot(degrees(land), place, brief, wording), label=""))
        for row in read_layer(layers_of, "fence_lines").rows():
            line = row["geometry"].simplify(tolerance / 10)
            rows = told_of_row(OF_A_LINE, row, wording)
            fences.append(Shape(degrees(line), f"{place.plot_id}: fence line of pack {row['pack']}", rows))
        ground = summary.ground
        if ground and len(ranking.rows) <= GROUNDS:
            grounds.append((base64.b64decode(ground["png"]), ground["bounds"]))
    # Small on the map, plots would be hidden by their own lines.
    thin = 1.0 if len(ranking.rows) > GROUNDS else FENCE.width
    layers = (
        VectorLayer("Ground", "Plots where an enclosure fits", fits, FITS),
        VectorLayer("Ground", "Plots where none fits", fits_not, FITS_NOT),
        VectorLayer("Score", "Usable land", usable, USABLE),
        VectorLayer("Enclosure", "Fence lines", fences, replace(FENCE, fill="", width=thin)),
    )
    view = view_of(boxes)
    return MapPage(
        title=project.title,
        home="index.html",
        view=view,
        grounds=grounds,
        vectors=[layer for layer in layers if layer.shapes],
        imperial=wording.imperial,
        introduction=["All plots.", *(["The number before a name is the plot's rank."] if fits else [])],
        placing=placing(crs, widened(view, 0.5), tolerance=PLACING_ERROR_M) if crs else None,
        background=background(project.maps),
        data_date=project.maps.data_date or "",
        places=[
            (
                f"{place.rank}. {place.plot_id}" if place.feasible else f"{place.plot_id}: nothing fits",
                plot_map_address(finished.briefs[place.plot_id].folder),
            )
            for place in ranking.rows
            if not finished.briefs[place.plot_id].screened
        ],
    )


def plot_map_address(folder: str) -> str:
    """Relative address of a plot's map from the run's pages."""
    return f"plots/{quote(folder)}/map.html"


def _plot(geometry: dict[str, object], place: RankedPlot, brief: PlotBrief, wording: Wording) -> Shape:
    figures = brief.figures
    if place.feasible:
        rows = [("Score", f"{wording.score(place.score)} of 100"), *told_of_row(OF_A_PLOT, figures, wording)]
        label, title = f"{place.rank}. {place.plot_id}", f"{place.plot_id}: rank {place.rank}"
    else:
        rows = [("Nothing fits", wording.say(brief.reason or ""))]
        label, title = place.plot_id, place.plot_id
    if brief.screened:
        rows.append(("Computed", "as screened: no map of its own"))
    return Shape(geometry, title, rows, "" if brief.screened else plot_map_address(brief.folder), label)


def _tolerance(briefs: Collection[PlotBrief]) -> float:
    bounds = np.array([b.bounds for b in briefs if b.bounds])
    if not bounds.size:
        return TOLERANCE_M
    return max(TOLERANCE_M, TOLERANCE_SHARE * float((bounds[:, 2:].max(axis=0) - bounds[:, :2].min(axis=0)).max()))
