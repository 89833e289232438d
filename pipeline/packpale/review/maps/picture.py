"""The plot's map as a still picture, in the run's own CRS."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from packpale.enclosure.model import Pack
from packpale.review.maps.construction import TOUCH
from packpale.review.maps.enclosure_layers import APRON, FENCE, GATE, OVER
from packpale.review.maps.land_layers import OUTLINE, SURROUNDINGS, USABLE
from packpale.review.maps.theme import GREY_RAMP
from packpale.review.maps.themes import hillshade
from packpale.review.model import PlotResult
from packpale.review.subjects.line import apron
from packpale.review.subjects.stretches import line_between
from packpale.review.words import Wording
from packpale.review.words.quantities import ROUND
from packpale.settings import Project

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from shapely.geometry.base import BaseGeometry

INK = "#1d2a2a"
WIDTH_PX, WIDTH_MM, HEIGHT_MM = 900, 100.0, 76.0
"""The picture is printed this large, so that its letters of 8 points stay so."""
DPI = WIDTH_PX / WIDTH_MM * 25.4
BESIDE_MM, BELOW_MM = 38.0, 17.0
"""Room of the legend: beside a map that is about as high as wide, below one that is wider."""
SQUARE = 0.8
"""Height of a plot over its width from which it counts as the former."""
MARGIN = 0.08
"""Ground shown round the plot, as a part of its longer side."""
OVER_LIMIT: Any = {"color": OVER.colour, "linewidth": 5.0, "zorder": 5.5, "solid_capstyle": "butt"}
TOUCH_MARK: Any = {
    "color": TOUCH.fill,
    "markeredgecolor": TOUCH.colour,
    "markersize": 3.5,
    "markeredgewidth": 1.0,
    "zorder": 6.5,
}
FONT: Any = {"font.family": "DejaVu Sans", "font.size": 8, "axes.edgecolor": INK, "text.color": INK}


def write_picture(result: PlotResult, project: Project, wording: Wording, path: Path) -> None:
    """Write picture.png, 900 px wide: hillshade, usable land, fence line, apron, surroundings, scale bar, north."""
    import matplotlib as mpl
    import shapely
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from PIL import Image

    west, south, east, north = _window(result)
    wide, high = _map_mm(result)
    with mpl.rc_context(FONT):
        figure = Figure(figsize=(WIDTH_MM / 25.4, HEIGHT_MM / 25.4), dpi=DPI, facecolor="#fffdf8")
        canvas: Any = FigureCanvasAgg(figure)
        axes = figure.add_axes((0.0, 1 - high / HEIGHT_MM, wide / WIDTH_MM, high / HEIGHT_MM))
        axes.set_axis_off()
        _ground(axes, result)
        handles = _layers(axes, result, project, shapely.box(west, south, east, north))
        axes.set_xlim(west, east)
        axes.set_ylim(south, north)
        _scale_bar(axes, east - west, wide, wording)
        _north(axes)
        figure.legend(handles=handles, **(_BESIDE if wide < WIDTH_MM else _BELOW))
        canvas.draw()
    # All of it is opaque: without the fourth channel, and packed less hard, it is smaller and takes half the time.
    picture = Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("RGB")
    picture.save(path, dpi=(DPI, DPI), compress_level=4)


_COMMON: Any = {"frameon": False, "handlelength": 1.5, "handletextpad": 0.5, "borderaxespad": 0.2}
_BELOW: Any = _COMMON | {
    "loc": "upper left",
    "bbox_to_anchor": (0.0, BELOW_MM / HEIGHT_MM),
    "ncols": 3,
    "columnspacing": 0.9,
    "labelspacing": 0.25,
}
_BESIDE: Any = _COMMON | {"loc": "upper left", "bbox_to_anchor": (1 - BESIDE_MM / WIDTH_MM, 1.0), "labelspacing": 0.5}


def _map_mm(result: PlotResult) -> tuple[float, float]:
    """Width and height of the map in the picture, the legend beside or below it."""
    west, south, east, north = result.site.outline.bounds
    if north - south > SQUARE * (east - west):
        return WIDTH_MM - BESIDE_MM, HEIGHT_MM
    return WIDTH_MM, HEIGHT_MM - BELOW_MM


def _window(result: PlotResult) -> tuple[float, float, float, float]:
    west, south, east, north = result.site.outline.bounds
    margin = MARGIN * max(east - west, north - south)
    wide, high = _map_mm(result)
    width, height = east - west + 2 * margin, north - south + 2 * margin
    width, height = max(width, height * wide / high), max(height, width * high / wide)
    x, y = (west + east) / 2, (south + north) / 2
    return x - width / 2, y - height / 2, x + width / 2, y + height / 2


def _ground(axes: "Axes", result: PlotResult) -> None:
    from matplotlib.colors import LinearSegmentedColormap

    west, south, east, north = result.site.grid.bounds
    relief = hillshade(result)
    greys = LinearSegmentedColormap.from_list("ground", list(GREY_RAMP))
    axes.set_facecolor("#eceae3")
    axes.imshow(
        # Coloured before it is brought to the picture's pixels: as numbers it needs 40 MB more on its way there.
        greys(np.clip(relief.values, 0, 1), bytes=True),
        extent=(west, east, south, north),
        interpolation="bilinear",
        zorder=0,
        aspect="auto",
    )


def _layers(axes: "Axes", result: PlotResult, project: Project, window: "BaseGeometry") -> list[Any]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = []
    site, packs = result.site, result.enclosure.packs
    _fill(axes, result.land.usable, facecolor=USABLE.fill, alpha=0.38, zorder=2)
    if not result.land.usable.is_empty:
        handles.append(Patch(facecolor=USABLE.fill, alpha=0.5, label="usable land"))
    for kind, (_, title, style) in SURROUNDINGS.items():
        shapes = [g for g in site.features.get(kind, ()) if g.intersects(window)]
        for shape in shapes:
            _surrounding(axes, shape, style.colour)
        if shapes:
            points = all(shape.geom_type.endswith("Point") for shape in shapes)
            mark = {"marker": "s", "markersize": 4, "linestyle": ""} if points else {"linewidth": 1.6}
            handles.append(Line2D([], [], color=style.colour, label=title.lower(), **mark))
    _lines(axes, site.outline.boundary, color=OUTLINE.colour, linewidth=1.3, linestyle=(0, (5, 3)), zorder=4)
    handles.append(Line2D([], [], color=OUTLINE.colour, linewidth=1.3, linestyle=(0, (5, 3)), label="plot boundary"))
    for pack in packs:
        _enclosure(axes, pack, project, numbered=len(packs) > 1)
    if packs:
        handles += [
            Line2D([], [], color=FENCE.colour, linewidth=1.6, label="fence line"),
            Patch(facecolor=APRON.fill, label="buried apron"),
            Line2D([], [], color=GATE.fill, marker="o", markeredgecolor=INK, linestyle="", label="gate"),
        ]
    if any(pack.over_limits for pack in packs):
        handles.append(Line2D([], [], label="line over a limit", **OVER_LIMIT))
    if any(pack.touches for pack in packs):
        handles.append(Line2D([], [], linestyle="", marker="o", label="touches a limit", **TOUCH_MARK))
    return handles


def _enclosure(axes: "Axes", pack: Pack, project: Project, *, numbered: bool) -> None:
    line = pack.line.polygon(0.05)
    _fill(axes, apron(pack, project.trench, 0.05), facecolor=APRON.fill, alpha=0.9, zorder=5)
    for over in pack.over_limits:
        _lines(axes, line_between(pack, over.from_m, over.length_m), **OVER_LIMIT)
    _lines(axes, line.boundary, color=FENCE.colour, linewidth=1.6, zorder=6)
    held = [(t.limit_x, t.limit_y) for t in pack.touches]
    axes.plot(*np.reshape(held, (-1, 2)).T, "o", **TOUCH_MARK)
    axes.plot(pack.gates.x, pack.gates.y, "o", color=GATE.fill, markeredgecolor=INK, markersize=4.5, zorder=7)
    if numbered:
        axes.annotate(str(pack.number), (line.centroid.x, line.centroid.y), ha="center", weight="bold", zorder=8)


def _surrounding(axes: "Axes", shape: "BaseGeometry", colour: str) -> None:
    import shapely

    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon":
            _fill(axes, part, facecolor=colour, alpha=0.3, zorder=3)
            _lines(axes, part.boundary, color=colour, linewidth=0.8, zorder=3)
        elif part.geom_type == "Point":
            axes.plot(part.x, part.y, "s", color=colour, markersize=4, zorder=3)
        else:
            _lines(axes, part, color=colour, linewidth=1.6, zorder=3)


def _fill(axes: "Axes", area: "BaseGeometry", **style: Any) -> None:
    import shapely
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path as Outline

    parts = shapely.get_parts(area)
    rings = shapely.get_rings(parts[shapely.get_dimensions(parts) == 2])
    if len(rings):
        # One patch for all: rough ground has thousands of parts.
        outline = Outline.make_compound_path(*(Outline(shapely.get_coordinates(ring), closed=True) for ring in rings))
        # Not add_patch: it would measure every corner, for limits that are set already.
        axes.add_artist(PathPatch(outline, edgecolor="none", **style))


def _lines(axes: "Axes", lines: "BaseGeometry", **style: Any) -> None:
    import shapely

    for part in shapely.get_parts(lines):
        axes.plot(*np.asarray(part.coords).T, **style)


def _scale_bar(axes: "Axes", width_m: float, wide_mm: float, wording: Wording) -> None:
    """Bar of a round length, at most 22 mm of the ``wide_mm`` that show ``width_m``."""
    unit, name = wording.unit("length").size, wording.unit("length").name
    wanted = width_m * 22 / wide_mm / unit
    length = max(n for n in ROUND if n <= wanted)
    west, south = axes.get_xlim()[0], axes.get_ylim()[0]
    # All that follows in millimetres of the picture.
    mm, bar = width_m / wide_mm, length * unit
    x, y = west + 3 * mm, south + 2.5 * mm
    axes.add_patch(_box(x - 1.5 * mm, y - 1.3 * mm, max(bar, 9 * mm) + 3 * mm, 6.5 * mm))
    axes.plot([x, x + bar], [y, y], color=INK, linewidth=2.2, solid_capstyle="butt", zorder=11)
    axes.text(x + bar / 2, y + 1.0 * mm, f"{length:,.0f} {name}", ha="center", va="bottom", zorder=11)


def _north(axes: "Axes") -> None:
    axes.annotate(
        "N",
        xy=(0.95, 0.97),
        xytext=(0.95, 0.83),
        xycoords="axes fraction",
        ha="center",
        va="center",
        weight="bold",
        fontsize=10,
        zorder=11,
        arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.2},
        bbox={"boxstyle": "round,pad=0.25", "facecolor": "#fffdf8", "edgecolor": "none", "alpha": 0.9},
    )


def _box(x: float, y: float, width: float, height: float) -> Any:
    from matplotlib.patches import Rectangle

    return Rectangle((x, y), width, height, facecolor="#fffdf8", alpha=0.9, edgecolor="none", zorder=10)
