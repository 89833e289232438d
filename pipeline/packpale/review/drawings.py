"""Drawings of what is built: the section through trench and fence, and the profile along the fence line."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from packpale.result import PlotResult
from packpale.review.wording import Wording
from packpale.settings import Project
from packpale.units import FOOT_M

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, EARTH, CUT, MESH, PAPER, GRASS = "#1d2a2a", "#c9b48f", "#f4ead2", "#a3123a", "#fffdf8", "#5c7f45"
DPI = 150
FONT: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
}


def write_section(project: Project, wording: Wording, path: Path) -> None:
    """Write section.png: trench, buried mesh, fence and overhang on level ground, to one scale both ways."""
    import matplotlib as mpl

    with mpl.rc_context(FONT):
        figure, axes = _figure(7.0, 5.2)
        _section(axes, project, wording)
        _save(figure, path)


def write_profile(result: PlotResult, project: Project, wording: Wording, path: Path) -> None:
    """Write profile.png: ground and trench bottom against chainage, one strip for each pack.

    Raises ValueError if the plot has no trenches.
    """
    import matplotlib as mpl

    works = result.earthworks
    if works is None:
        raise ValueError(f"plot {result.site.plot_id!r} has no trench to draw")
    with mpl.rc_context(FONT):
        figure, axes = _figure(7.0, 0.6 + 2.6 * len(works.volumes), rows=len(works.volumes))
        unit, name = (FOOT_M, "ft") if wording.imperial else (1.0, "m")
        for strip, pack, volumes in zip(axes, result.enclosure.packs, works.volumes, strict=True):
            line = pack.alignment
            # The line is closed: the first station comes again at the end.
            chainage = np.append(line.chainage, pack.line.perimeter) / unit
            ground = np.append(line.ground, line.ground[0]) / unit
            invert = np.append(volumes.invert, volumes.invert[0]) / unit
            strip.fill_between(chainage, invert, ground, color=EARTH, linewidth=0, label="dug")
            strip.plot(chainage, ground, color=GRASS, linewidth=1.8, label="ground")
            strip.plot(chainage, invert, color=INK, linewidth=1.1, linestyle=(0, (4, 2)), label="bottom of the trench")
            for gate in pack.gates.chainage:
                strip.axvline(gate / unit, color=MESH, linewidth=1.0, linestyle=":")
            strip.set_xlim(0, chainage[-1])
            low, high = strip.get_ylim()
            strip.set_ylim(low, high + 0.22 * (high - low))
            for bend in pack.line.bends:
                strip.axvline(bend / unit, ymax=0.05, color=INK, linewidth=1.0)
            strip.set_ylabel(f"elevation ({name})")
            strip.set_title(f"Pack {pack.number}" if len(works.volumes) > 1 else "", loc="left", fontsize=9)
            strip.legend(loc="upper right", ncols=3, frameon=False)
            strip.spines[["top", "right"]].set_visible(False)
            strip.grid(axis="y", color="#d8d4c6", linewidth=0.6)
            strip.set_axisbelow(True)
            strip.set_facecolor(PAPER)
        axes[-1].set_xlabel(
            f"chainage from {result.enclosure.packs[-1].line.start}, clockwise ({name}); dotted: gates; "
            "ticks inside: bends of the line"
        )
        _save(figure, path)


def _figure(width: float, height: float, rows: int | None = None) -> tuple["Figure", Any]:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), dpi=DPI, facecolor=PAPER, layout="constrained")
    FigureCanvasAgg(figure)
    if rows is None:
        return figure, figure.add_subplot()
    return figure, [figure.add_subplot(rows, 1, k + 1) for k in range(rows)]


def _save(figure: "Figure", path: Path) -> None:
    figure.savefig(path, dpi=DPI, metadata={"Software": None})


def _section(axes: "Axes", project: Project, wording: Wording) -> None:
    from packpale.earthworks.section import TrenchSection

    trench, fence = project.trench, project.fence
    section = TrenchSection(
        depth=trench.depth_m,
        bottom_width=trench.bottom_width_m,
        apron_reach=trench.apron_reach_m,
        apron_cover=trench.apron_cover_m,
        side_slope=trench.side_slope,
    )
    left, right = section.edges
    inward = -1 if trench.side == "outside" else 1
    lean = np.radians(fence.overhang_deg)
    tip = (inward * fence.overhang_m * np.cos(lean), fence.height_m + fence.overhang_m * np.sin(lean))
    west, east = min(left, tip[0]) - 0.9, max(right, tip[0]) + 1.6
    low = -trench.depth_m - 0.95

    axes.fill_between([west, east], low, 0, color=EARTH, linewidth=0)
    outline = np.array([(o, -d) for a, b, c, d_ in section.pieces for o, d in ((a, c), (b, d_))])
    outline = np.vstack([[left, 0.0], outline, [right, 0.0]])
    axes.fill(*outline.T, color=CUT)
    axes.plot(*outline.T, color=INK, linewidth=1.0, linestyle=(0, (4, 2)))
    axes.plot([west, east], [0, 0], color=GRASS, linewidth=3, solid_capstyle="butt")
    cover = -trench.apron_cover_m
    axes.plot([0, 0, tip[0]], [0, fence.height_m, tip[1]], color=INK, linewidth=3.2, solid_joinstyle="round")
    axes.plot([0, 0], [0, -trench.depth_m], color=MESH, linewidth=2.6)
    axes.plot([0, trench.apron_reach_m], [cover, cover], color=MESH, linewidth=2.6)

    axes.text(west + 0.08, 0.1, "inside" if inward < 0 else "outside", fontsize=9.5, weight="bold")
    axes.text(east - 0.08, 0.1, "outside" if inward < 0 else "inside", fontsize=9.5, weight="bold", ha="right")
    axes.text(trench.apron_reach_m + 0.08, cover - 0.02, "apron", color=MESH, va="center", weight="bold")
    axes.text(-0.07, -trench.depth_m * 0.62, "skirt", color=MESH, ha="right", va="center", weight="bold", rotation=90)
    _measure(axes, (0.42, 0), (0.42, fence.height_m), wording.dimension(fence.height_m))
    if fence.overhang_m > 0:
        middle = ((tip[0]) / 2 + 0.0, (fence.height_m + tip[1]) / 2)
        text = f"overhang {wording.dimension(fence.overhang_m)}\nat {fence.overhang_deg:g}°"
        axes.text(middle[0] - inward * 0.12, middle[1] + 0.1, text, va="bottom", ha="left" if inward < 0 else "right")
    _measure(axes, (left - 0.3, 0), (left - 0.3, -trench.depth_m), wording.dimension(trench.depth_m))
    half = trench.bottom_width_m / 2
    _measure(axes, (-half, -trench.depth_m - 0.22), (half, -trench.depth_m - 0.22), wording.dimension(2 * half))
    if trench.apron_reach_m > 0:
        _measure(
            axes,
            (0, low + 0.22),
            (trench.apron_reach_m, low + 0.22),
            f"reach {wording.dimension(trench.apron_reach_m)}",
        )
    _measure(axes, (right + 0.25, 0), (right + 0.25, cover), f"cover {wording.dimension(trench.apron_cover_m)}")
    if trench.side_slope > 0:
        axes.text(west + 0.08, low + 0.1, f"walls {trench.side_slope:g} across to 1 up", va="bottom")
    axes.set_aspect("equal")
    axes.set_xlim(west, east)
    axes.set_ylim(low, tip[1] + 0.55)
    axes.set_axis_off()


def _measure(axes: "Axes", start: tuple[float, float], end: tuple[float, float], text: str) -> None:
    """Dimension line between two points, horizontal or vertical, with its text."""
    upright = start[0] == end[0]
    axes.annotate(
        "", xy=end, xytext=start, arrowprops={"arrowstyle": "<->", "linewidth": 0.8, "shrinkA": 0, "shrinkB": 0}
    )
    x, y = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
    box = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.0, "alpha": 0.85}
    if upright:
        axes.text(x + 0.07, y, text, ha="left", va="center", bbox=box)
    else:
        axes.text(x, y - 0.06, text, ha="center", va="top", bbox=box)
