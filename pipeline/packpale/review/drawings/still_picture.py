"""The plot's map as a still picture, in the run's own CRS and the colours of the map."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from packpale.review.class_picture import png, ramp
from packpale.review.drawings import pens
from packpale.review.drawings.paper import write_png
from packpale.review.drawings.sheet import Box, Pair, Sheet, Title, View
from packpale.review.map_styles import APRON, FENCE, GATE, OUTLINE, OVER, SURROUNDINGS, TOUCH, USABLE, Style
from packpale.review.model import PlotResult
from packpale.review.relief import GREY_RAMP, relief
from packpale.review.subjects.line import apron
from packpale.review.subjects.stretches import line_between
from packpale.review.words import Wording
from packpale.settings import Project
from packpale.site import Site

WIDTH_PX, WIDTH_MM, HEIGHT_MM = 900, 100.0, 76.0
"""The picture is printed this large, so that its letters keep their size."""
LETTERS = 8.0
"""Size of every text on paper. [points]"""
BESIDE_MM, BELOW_MM = 38.0, 17.0
"""Room of the legend: beside a map that is about as high as wide, below one that is wider."""
SQUARE = 0.8
"""Height of a plot over its width from which it counts as the former."""
MARGIN = 0.08
"""Ground shown round the plot, as a part of its longer side."""
SAMPLE_MM = 4.6
"""How wide what the legend explains is drawn there."""
BAR_ROOM_MM = np.array([[-2, -1], [24, -1], [24, 5.5], [-2, 5.5]])
"""Corners of the box that the scale bar may take up, from its own lower left end."""
MAP_PX_MM = 0.17
"""Width on paper of what is one pixel wide on the map."""
DOT_PX = 4.0
"""Radius of a point of what the map draws as lines."""
GREYS = 80
"""Of the ground: as many as a picture of classes can have."""
CHORD_ERROR_M = 0.05
FENCE_LINE = replace(FENCE, halo=False)
"""Without the light edge that it has on the map, which would cover the apron."""
USABLE_LAND = replace(USABLE, fill_opacity=0.38, width=0.0)
"""Without the edge that it has on the map: on rough ground edges of small parts would cover what lies between them."""


@dataclass(frozen=True)
class _Layer:
    """What is drawn in one way and has one line in the legend."""

    text: str
    style: Style
    shapes: Sequence[BaseGeometry]
    """In the run's CRS."""


def write_still_picture(result: PlotResult, project: Project, wording: Wording, path: Path) -> None:
    """Write picture.png, 900 px wide: hillshade, usable land, fence line, apron, surroundings, scale bar, north."""
    write_png(still_picture(result, project, wording), path, width_px=WIDTH_PX)


def still_picture(result: PlotResult, project: Project, wording: Wording) -> Sheet:
    """The map with its legend beside or below it."""
    site = result.site
    sheet = Sheet(Title(project.title, site.plot_id, "Map", 1, 1, "", ""), "", size=(WIDTH_MM, HEIGHT_MM))
    view, box = view_of(site)
    _, bottom, right, _ = box
    _ground(sheet, view, box, site)
    within = shapely.box(*view.bounds(box))
    layers = [layer for layer in _layers(result, project) if any(s.intersects(within) for s in layer.shapes)]
    # A little beyond the map, so that edges of areas do not run along its own.
    around = view.bounds((box[0] - 1, box[1] - 1, box[2] + 1, box[3] + 1))
    for layer in layers:
        for shape in shapely.clip_by_rect(layer.shapes, *around):
            _draw(sheet, shapely.transform(shape, lambda xy: np.column_stack(view.at(*xy.T))), layer.style)
    if len(result.enclosure.packs) > 1:
        for pack in result.enclosure.packs:
            x, y = view.point(*pack.line.polygon(CHORD_ERROR_M).centroid.coords[0])
            sheet.text(x, y, str(pack.number), size=LETTERS, bold=True, across="center", up="center")
    # Blank paper over whatever of the ground reaches out of the map.
    if right < WIDTH_MM:
        sheet.box(right, 0, BESIDE_MM, HEIGHT_MM, colour=pens.PAPER)
        _legend(sheet, layers, (right + 2, HEIGHT_MM - 4), columns=1, row=4.2)
        places, north = [(right + 4, 3.0)], (WIDTH_MM - 4, 3.0)
    else:
        sheet.box(0, 0, WIDTH_MM, bottom, colour=pens.PAPER)
        _legend(sheet, layers, (1.5, bottom - 3.2), columns=3, row=3.2)
        # In the legend, or in a corner of the map.
        places = [(70.0, 2.5), (3.5, bottom + 2.5), (WIDTH_MM - 24.5, bottom + 2.5), (3.5, HEIGHT_MM - 7)]
        north = (WIDTH_MM - 4, HEIGHT_MM - 13)
        sheet.box(north[0] - 2.5, north[1] - 1, 5, 12.5, colour=pens.PAPER)
    bar = next((at for at in places if sheet.is_free(BAR_ROOM_MM + at, of_lines=True)), places[-1])
    sheet.fill(*(BAR_ROOM_MM + bar).T, colour=pens.PAPER)
    sheet.scale_bar(*bar, view.scale, wording.unit("length"), longest=20, size=LETTERS)
    sheet.north(*north, 7, size=LETTERS)
    return sheet


def view_of(site: Site) -> tuple[View, Box]:
    """How the ground comes to lie on paper, and the box there that the map fills."""
    west, south, east, north = site.outline.bounds
    beside = north - south > SQUARE * (east - west)
    wide, high = (WIDTH_MM - BESIDE_MM, HEIGHT_MM) if beside else (WIDTH_MM, HEIGHT_MM - BELOW_MM)
    margin = MARGIN * max(east - west, north - south)
    scale = 1000 * max((east - west + 2 * margin) / wide, (north - south + 2 * margin) / high)
    view = View((wide / 2, HEIGHT_MM - high / 2), ((west + east) / 2, (south + north) / 2), scale, scale)
    return view, (0.0, HEIGHT_MM - high, wide, HEIGHT_MM)


def _ground(sheet: Sheet, view: View, box: Box, site: Site) -> None:
    from PIL import Image

    grid, (west, south, east, north) = site.grid, view.bounds(box)
    shaded, stretch = relief(site)
    edges = np.array([west - grid.west, grid.north - north, east - grid.west, grid.north - south]) / grid.cell
    left, top, right, bottom = np.clip(edges, 0, [grid.cols, grid.rows] * 2).tolist()
    pixels = grid.cell * 1000 / view.scale * WIDTH_PX / WIDTH_MM
    size = round((right - left) * pixels), round((bottom - top) * pixels)
    ground = Image.fromarray(shaded.astype(np.float32))
    light = stretch(np.asarray(ground.resize(size, Image.Resampling.BILINEAR, box=(left, top, right, bottom))))
    classes = np.where(np.isnan(light), 0, 1 + np.rint(light * (GREYS - 1))).astype(np.uint8)
    lower_left = view.point(grid.west + left * grid.cell, grid.north - bottom * grid.cell)
    upper_right = view.point(grid.west + right * grid.cell, grid.north - top * grid.cell)
    sheet.picture((*lower_left, *upper_right), png(classes, ramp(GREY_RAMP, GREYS)))


def _layers(result: PlotResult, project: Project) -> Iterator[_Layer]:
    """What lies on the ground, the lowest first."""
    site, packs = result.site, result.enclosure.packs
    yield _Layer("usable land", USABLE_LAND, [result.land.usable])
    for kind, (_, title, style) in SURROUNDINGS.items():
        yield _Layer(title.lower(), style, site.features.get(kind, ()))
    yield _Layer("plot boundary", OUTLINE, [site.outline.boundary])
    yield _Layer("buried apron", APRON, [apron(pack, project.trench, CHORD_ERROR_M) for pack in packs])
    over = [line_between(pack, one.from_m, one.length_m) for pack in packs for one in pack.over_limits]
    yield _Layer("line over a limit", OVER, over)
    yield _Layer("fence line", FENCE_LINE, [pack.line.polygon(CHORD_ERROR_M).boundary for pack in packs])
    touches = [shapely.Point(touch.limit_x, touch.limit_y) for pack in packs for touch in pack.touches]
    yield _Layer("touches a limit", TOUCH, touches)
    yield _Layer("gate", GATE, [gate for pack in packs for gate in shapely.points(pack.gates.x, pack.gates.y)])


def _draw(sheet: Sheet, shape: BaseGeometry, style: Style) -> None:
    """A shape, in millimetres of paper, as the map draws it."""
    parts = shapely.get_parts(shape)
    points, lines, areas = (parts[shapely.get_dimensions(parts) == k] for k in range(3))
    discs = shapely.buffer(points, (style.radius or DOT_PX) * MAP_PX_MM)
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings([*areas, *discs])]
    if rings and style.fill:
        sheet.areas(rings, colour=style.fill, opacity=style.fill_opacity)
    dash = [float(part) / style.width for part in style.dash.split()]
    for line in [*rings, *map(shapely.get_coordinates, lines)] if style.width else []:
        if style.halo:
            sheet.line(*line.T, width=(style.width + 2) * MAP_PX_MM, colour=pens.PAPER)
        sheet.line(*line.T, width=style.width * MAP_PX_MM, colour=style.colour, dash=dash)


def _legend(sheet: Sheet, layers: Sequence[_Layer], corner: Pair, *, columns: int, row: float) -> None:
    rows = math.ceil(len(layers) / columns)
    for k, layer in enumerate(layers):
        x, y = corner[0] + k // rows * 32.7, corner[1] - k % rows * row
        middle = y + 1.0
        sample = (
            shapely.Point(x + SAMPLE_MM / 2, middle),
            shapely.LineString([(x, middle), (x + SAMPLE_MM, middle)]),
            shapely.box(x, y - 0.1, x + SAMPLE_MM, y + 2.1),
        )[max(shapely.get_dimensions(layer.shapes))]
        _draw(sheet, sample, layer.style)
        sheet.text(x + SAMPLE_MM + 1.4, y, layer.text, size=LETTERS)
