"""The map of one plot: ground, drainage, digging, score, enclosure, earthworks, pack and people."""

import dataclasses
import math
from collections.abc import Iterator, Sequence
from pathlib import Path

from packpale.review.class_picture import png
from packpale.review.maps import themes
from packpale.review.maps.another_line import another_line
from packpale.review.maps.as_shown import as_shown
from packpale.review.maps.enclosure_layers import alternatives_layer, enclosure_layers, over_limits_layer
from packpale.review.maps.holding_layers import (
    aid_layer,
    climb_layers,
    crossing_layer,
    mesh_layers,
    places_layer,
    weakest_layer,
)
from packpale.review.maps.land_layers import land_layers
from packpale.review.maps.leaflet import page_bytes, write_map
from packpale.review.maps.map_page import Background, MapPage, PictureLayer, VectorLayer, view_of
from packpale.review.maps.overlay import bounds_of, frame, warp
from packpale.review.maps.people_layers import den_layer, people_layers, round_layers
from packpale.review.maps.placing import placing, widened
from packpale.review.maps.probe import Probe, fitting
from packpale.review.maps.readings import plot_probe
from packpale.review.maps.source import MapSource
from packpale.review.maps.theme import Theme
from packpale.review.maps.trench_layers import cut_layer, pit_layer, stretch_layers
from packpale.review.model import PlotResult
from packpale.review.words import Wording
from packpale.settings import MapSettings, Project
from packpale.site import Grid
from packpale.site.spread import spread

PAGE_BYTES = 5_900_000
"""Largest page; a phone opens it and a mail carries it."""
PICTURES_SHARE = 0.45
"""Part of what lines and library leave of the page that goes to pictures; the rest goes to figures of cells."""
LARGEST_SIDES = (1500, 1200, 1000, 800, 600, 450, 300)
"""Sides of the pictures, tried in turn until they fit. [px]"""
BASE64 = 4 / 3
SURROUNDING = 1.0
"""Ground on every side of the grid, as a part of its size, over which the map can still be measured on."""
MOST_PROBED = 1_000_000
"""Cells whose figures are packed to see whether they fit into the page; of larger windows some cells, evenly spread."""
PLACING_ERROR = 1e-3
"""Largest error of a point's place, as a part of a cell."""


def write_plot_map(
    result: PlotResult, project: Project, wording: Wording, path: Path, shown: PlotResult | None = None
) -> None:
    """Write map.html of one plot, its pictures from ``as_shown(result)`` where that is made already."""
    write_map(plot_map(result, project, wording, shown), path)


def plot_map(result: PlotResult, project: Project, wording: Wording, shown: PlotResult | None = None) -> MapPage:
    """Everything the map of one plot shows, in at most PAGE_BYTES."""
    site, source = result.site, MapSource(result, project, wording)
    shown = shown or as_shown(result)
    bounds = bounds_of(frame(site.grid, site.crs, largest_side=LARGEST_SIDES[0]))
    page = MapPage(
        title=f"Plot {site.plot_id}",
        home="../../index.html",
        view=view_of([source.degrees(site.outline.envelope)["coordinates"][0]]),
        vectors=[layer for layer in _vectors(source) if layer.shapes],
        imperial=wording.imperial,
        another_line=another_line(result, project, wording),
        placing=placing(site.crs, widened(bounds, SURROUNDING), tolerance=PLACING_ERROR * site.grid.cell),
        background=background(project.maps),
        data_date=project.maps.data_date or "",
    )
    pictured = [themes.hillshade(shown), *themes.themes(shown, project, wording)]
    blank = [PictureLayer(t.group, t.title, t.explanation, b"", bounds, t.legend()) for t in pictured]
    left: float = PAGE_BYTES - page_bytes(dataclasses.replace(page, grounds=[(b"", bounds)], pictures=blank[1:]))
    pictures, coarser = _pictures(shown, pictured, most_bytes=int(left * PICTURES_SHARE))
    coarse = shown is not result
    del shown, pictured
    left -= sum(len(p.png) for p in pictures) * BASE64
    some = spread(site.grid, most_cells=MOST_PROBED)
    probe = fitting(plot_probe(result, wording, some), some.of(site.inside), most_bytes=int(left))
    return dataclasses.replace(
        page,
        grounds=[(pictures[0].png, pictures[0].bounds)],
        pictures=pictures[1:],
        # Without a place for each cell no cell can be told.
        probe=probe if page.placing else None,
        introduction=[*_introduction(result, wording), *_coarsened(coarser or coarse, probe, wording)],
    )


def background(maps: MapSettings) -> Background | None:
    """Where the pictures of the surroundings come from, if the settings name a place."""
    if maps.background is None or maps.background_credit is None:
        return None
    return Background(maps.background, maps.background_credit)


def ground_picture(result: PlotResult, *, largest_side: int) -> tuple[bytes, list[list[float]]]:
    """Hillshade of a plot as a PNG, and its bounds for the map."""
    onto = frame(result.site.grid, result.site.crs, largest_side=largest_side)
    return _png(themes.hillshade(result), result, onto), bounds_of(onto)


def _introduction(result: PlotResult, wording: Wording) -> list[str]:
    if not result.enclosure.feasible:
        return [f"No enclosure fits here: {wording.say(result.enclosure.reason or '')}."]
    areas = [pack.line.area for pack in result.enclosure.packs]
    count = "One enclosure" if len(areas) == 1 else f"{len(areas)} enclosures"
    return [f"{count}: {', '.join(wording.area(area) for area in areas)}."]


def _coarsened(coarser: bool, probe: Probe, wording: Wording) -> list[str]:
    """What a reader must know of figures and pictures that are not the run's own cells."""
    said = []
    if coarser:
        said.append("The coloured pictures are coarser than the cells, so that this page stays small.")
    if probe.stride > 1:
        side = wording.dimension(probe.grid.cell)
        said.append(f"A click tells the figures of the cell in the middle of a square of {side}; the rasters hold all.")
    return said


def _pictures(result: PlotResult, shown: Sequence[Theme], *, most_bytes: int) -> tuple[list[PictureLayer], bool]:
    """The themes as pictures, as large as they may be; and whether they are coarser than the cells."""
    grid, crs = result.site.grid, result.site.crs
    fits = math.inf
    for side in LARGEST_SIDES:
        if side > fits and side != LARGEST_SIDES[-1]:
            continue
        onto = frame(grid, crs, largest_side=side)
        pictures = [
            PictureLayer(t.group, t.title, t.explanation, _png(t, result, onto), bounds_of(onto), t.legend())
            for t in shown
        ]
        size = sum(len(p.png) for p in pictures) * BASE64
        if size <= most_bytes:
            break
        # Bytes go with the number of pixels or a little less than that: sides that cannot do are passed over.
        fits = max(onto.shape) * math.sqrt(most_bytes / size) * 1.15
    return pictures, max(grid.shape) > 1.2 * max(onto.shape)


def _png(theme: Theme, result: PlotResult, onto: Grid) -> bytes:
    site = result.site
    warped = warp(theme.values, site.grid, site.crs, onto, mean=theme.mean)
    return png(theme.classes(warped), theme.colours)


def _vectors(source: MapSource) -> Iterator[VectorLayer]:
    """All layers in the order in which they are drawn: areas under lines under points."""
    ground = list(land_layers(source))
    yield from (layer for layer in ground if not layer.style.radius)
    yield from stretch_layers(source)
    yield from mesh_layers(source)
    yield from climb_layers(source)
    yield cut_layer(source)
    yield over_limits_layer(source)
    yield from round_layers(source)
    yield alternatives_layer(source)
    yield from enclosure_layers(source)
    yield from people_layers(source)
    yield from (layer for layer in ground if layer.style.radius)
    yield crossing_layer(source)
    yield aid_layer(source)
    yield weakest_layer(source)
    yield den_layer(source)
    yield pit_layer(source)
    yield places_layer(source)
