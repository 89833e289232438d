"""The plot's map as a still picture, in the run's own CRS."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from packpale.result import PlotResult
from packpale.review.construction import TOUCH
from packpale.review.enclosure_layers import APRON, FENCE, GATE
from packpale.review.land_layers import OUTLINE, SURROUNDINGS, USABLE
from packpale.review.summary import apron
from packpale.review.theme import GREY_RAMP
from packpale.review.themes import hillshade
from packpale.review.wording import Wording
from packpale.settings import Project
from packpale.units import FOOT_M

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from shapely.geometry.base import BaseGeometry

INK = "#1d2a2a"
WIDTH_PX, DPI = 900, 150
MARGIN = 0.08
"""Ground shown round the plot, as a part of its longer side."""
TOUCH_MARK: Any = {
    "color": TOUCH.fill,
    "markeredgecolor": TOUCH.colour,
    "markersize": 3.5,
    "markeredgewidth": 1.2,
    "zorder": 6.5,
}
FONT: Any = {"font.family": "DejaVu Sans", "font.size": 8, "axes.edgecolor": INK, "text.color": INK}


def write_picture(result: PlotResult, project: Project, wording: Wording, path: Path) -> None:
    """Write picture.png, 900 px wide: hillshade, usable land, fence line, apron, surroundings, scale bar, north."""
    import matplotlib as mpl
    import shapely
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    west, south, east, north = _window(result)
    height = WIDTH_PX * (north - south) / (east - west)
    legend_px = 84
    with mpl.rc_context(FONT):
        figure = Figure(figsize=(WIDTH_PX / DPI, (height + legend_px) / DPI), dpi=DPI, facecolor="#fffdf8")
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0.0, legend_px / (height + legend_px), 1.0, height / (height + legend_px)))
        axes.set_axis_off()
        _ground(axes, result)
        handles = _layers(axes, result, project, shapely.box(west, south, east, north))
        axes.set_xlim(west, east)
        axes.set_ylim(south, north)
        _scale_bar(axes, east - west, wording)
        _north(axes)
        figure.legend(
            handles=handles,
            loc="lower left",
            bbox_to_anchor=(0.01, 0.0),
            ncols=4,
            frameon=False,
            handlelength=2.2,
            columnspacing=1.4,
            borderaxespad=0.2,
        )
        figure.savefig(path, dpi=DPI, metadata={"Software": None})


def _window(result: PlotResult) -> tuple[float, float, float, float]:
    west, south, east, north = result.site.outline.bounds
    margin = MARGIN * max(east - west, north - south)
    # Neither a needle nor a ribbon: the picture is between 0.55 and 1.1 times as high as wide.
    width, height = east - west + 2 * margin, north - south + 2 * margin
    width, height = max(width, height / 1.1), max(height, width * 0.55)
    x, y = (west + east) / 2, (south + north) / 2
    return x - width / 2, y - height / 2, x + width / 2, y + height / 2


def _ground(axes: "Axes", result: PlotResult) -> None:
    from matplotlib.colors import LinearSegmentedColormap

    west, south, east, north = result.site.grid.bounds
    greys = LinearSegmentedColormap.from_list("ground", list(GREY_RAMP))
    axes.set_facecolor("#eceae3")
    axes.imshow(
        np.clip(hillshade(result).values, 0, 1),
        extent=(west, east, south, north),
        cmap=greys,
        vmin=0,
        vmax=1,
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
        line = pack.line.polygon(0.05)
        _fill(axes, apron(pack, project.trench, 0.05), facecolor=APRON.fill, alpha=0.9, zorder=5)
        _lines(axes, line.boundary, color=FENCE.colour, linewidth=2.0, zorder=6)
        held = [(t.limit_x, t.limit_y) for t in pack.touches]
        axes.plot(*np.reshape(held, (-1, 2)).T, "o", **TOUCH_MARK)
        axes.plot(pack.gates.x, pack.gates.y, "o", color=GATE.fill, markeredgecolor=INK, markersize=5, zorder=7)
        if len(packs) > 1:
            axes.annotate(str(pack.number), (line.centroid.x, line.centroid.y), ha="center", weight="bold", zorder=8)
    if packs:
        handles += [
            Line2D([], [], color=FENCE.colour, linewidth=2.0, label="fence line"),
            Patch(facecolor=APRON.fill, label="apron of buried mesh"),
            Line2D([], [], color=GATE.fill, marker="o", markeredgecolor=INK, linestyle="", label="gate"),
        ]
    if any(pack.touches for pack in packs):
        handles.append(Line2D([], [], linestyle="", marker="o", label="touches a limit", **TOUCH_MARK))
    return handles


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


def _scale_bar(axes: "Axes", width_m: float, wording: Wording) -> None:
    unit, name = (FOOT_M, "ft") if wording.imperial else (1.0, "m")
    wanted = width_m / 5 / unit
    power = 10.0 ** np.floor(np.log10(wanted))
    length = max(step * power for step in (1, 2, 5) if step * power <= wanted)
    west, south = axes.get_xlim()[0], axes.get_ylim()[0]
    x, y, bar = west + 0.03 * width_m, south + 0.035 * width_m, length * unit
    axes.add_patch(_box(x - 0.012 * width_m, y - 0.014 * width_m, bar + 0.024 * width_m, 0.052 * width_m))
    axes.plot([x, x + bar], [y, y], color=INK, linewidth=3, solid_capstyle="butt", zorder=11)
    axes.text(x + bar / 2, y + 0.008 * width_m, f"{length:,.0f} {name}", ha="center", va="bottom", zorder=11)


def _north(axes: "Axes") -> None:
    axes.annotate(
        "N",
        xy=(0.965, 0.965),
        xytext=(0.965, 0.885),
        xycoords="axes fraction",
        ha="center",
        va="center",
        weight="bold",
        fontsize=10,
        zorder=11,
        arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.5},
        bbox={"boxstyle": "round,pad=0.25", "facecolor": "#fffdf8", "edgecolor": "none", "alpha": 0.9},
    )


def _box(x: float, y: float, width: float, height: float) -> Any:
    from matplotlib.patches import Rectangle

    return Rectangle((x, y), width, height, facecolor="#fffdf8", alpha=0.9, edgecolor="none", zorder=10)
