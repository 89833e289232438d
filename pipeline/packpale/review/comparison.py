"""The pages and the table that set two runs side by side."""

import base64
import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from packpale.review.differences import Comparison, FigureChange, FinishedRun, PlotChange
from packpale.review.map_styles import Style
from packpale.review.maps.leaflet import write_map
from packpale.review.maps.map_page import MapPage, Shape, VectorLayer, view_of
from packpale.review.maps.overview_map import GROUNDS, OF_A_LINE, TOLERANCE_M
from packpale.review.pages.render import Page
from packpale.review.plot_layers import PLOT_LAYERS, read_layer
from packpale.review.projecting import to_degrees
from packpale.review.report.blocks import (
    Block,
    Head,
    Section,
    Words,
    code,
    link,
    paragraph,
    small,
    table,
    words,
)
from packpale.review.subjects.field import Field, told_of_row
from packpale.review.subjects.tables import RANKING
from packpale.review.tables import cell, plain_text, write_cells
from packpale.review.words import MISSING, Wording, counted

FILES = ("index.html", "map.html", "comparison.csv")
COLUMNS = ("plot_id", "figure", "first", "second", "difference")
PAGE = FILES[0]
SHOWN = RANKING.of("enclosed_area_m2", "cost_p50")
"""Figures beside the ranks."""
OUTLINE = Style("#1d2a2a", "", width=1.5, dash="4 4")
FIRST = Style("#4f9dc0", width=9)
"""A broad band, so that it can be seen under the second line where both are the same."""
SECOND = Style("#a3123a", width=3)


def write_comparison(found: Comparison, folder: Path) -> None:
    """Write index.html, map.html and comparison.csv into ``folder``; what an earlier comparison left is replaced."""
    building = folder / ".partial"
    shutil.rmtree(building, ignore_errors=True)
    building.mkdir(parents=True)
    Page(
        address=PAGE,
        title=", then ".join(run_name(run) for run in (found.first, found.second)),
        kicker="Two runs side by side",
        head=(paragraph(_lead(found), look="lead"),),
        blocks=(_ranking(found), _otherwise(found), *(_plot(plot, found) for plot in found.plots)),
        others=(link("Map of both fence lines", "map.html"), link("All figures as a table", "comparison.csv")),
    ).write(building / PAGE)
    write_map(_map(found), building / "map.html")
    write_cells(building / "comparison.csv", COLUMNS, _rows(found))
    for name in FILES:
        (building / name).replace(folder / name)
    building.rmdir()


def run_name(run: FinishedRun) -> str:
    """Title of a run and the name of its folder."""
    return f"{run.record['settings'].get('title', '')} ({run.folder.name})"


def _wording(run: FinishedRun) -> Wording:
    settings = run.record["settings"]
    return Wording(imperial=settings.get("units") == "imperial", currency=str(settings.get("currency", "")))


def _rows(found: Comparison) -> Iterator[tuple[str, ...]]:
    """A row for each figure of each plot, with the decimals that ranking.csv gives it."""
    for plot in found.plots:
        ranks = ("" if r is None else f"{r:.0f}" for r in plot.ranks)
        yield plain_text(plot.plot_id), "rank", *ranks, ""
        for change in plot.figures:
            values = (change.first, change.second, change.difference)
            yield plain_text(plot.plot_id), change.name, *(cell(change.name, v) for v in values)


def _lead(found: Comparison) -> str:
    moved = sum(plot.changed for plot in found.plots)
    if not moved:
        return "No figure of any plot differs."
    return (
        f"{moved} of {counted(len(found.plots), 'plot')} {'differs' if moved == 1 else 'differ'}; "
        f"{counted(len(found.settings), 'setting')} and {counted(len(found.inputs), 'input file')} changed."
    )


def _ranking(found: Comparison) -> Section:
    heads: list[Head] = [
        ("Plot", "name"),
        "First rank",
        "Second rank",
        *(field.head for field in SHOWN),
        "Fence line",
    ]
    show = _wording(found.second)
    rows = []
    for plot in found.plots:
        ranks = (MISSING if rank is None else f"{rank:.0f}" for rank in plot.ranks)
        changes = {change.name: change for change in plot.figures}
        rows.append([plot.plot_id, *ranks, *(_difference(changes[f.key], show) or MISSING for f in SHOWN), _line(plot)])
    return Section("Ranking", (table("Ranking of both runs", heads, rows),), f"{PAGE}#ranking")


def _line(plot: PlotChange) -> str:
    match [bool(lines) for lines in plot.lines]:
        case [False, False]:
            return MISSING
        case [False, True]:
            return "only in the second"
        case [True, False]:
            return "only in the first"
    return "another" if plot.line_moved else "the same"


def _otherwise(found: Comparison) -> Section:
    blocks: list[Block] = []
    if found.versions[0] != found.versions[1]:
        made = f"The runs were made by different versions of Packpale, {found.versions[0]} and {found.versions[1]}"
        blocks.append(paragraph(f"{made}: figures may differ for that alone."))
    rows: list[tuple[Words | str, str, str]] = [
        (words(code(change.name)), _value(change.first), _value(change.second)) for change in found.settings
    ]
    for change in found.inputs:
        other = " (other content)" if change.first and change.second else ""
        rows.append((f"{change.name}{other}", _value(change.first), _value(change.second)))
    if rows:
        heads = (("Setting or input file", "name"), ("First", "words"), ("Second", "words"))
        blocks.append(table("Settings and inputs", heads, rows))
        blocks.append(small("Input files are told apart by a check sum of their content; its beginning is shown."))
    else:
        blocks.append(paragraph("Settings and inputs are the same."))
    return Section("What was set otherwise", tuple(blocks), f"{PAGE}#settings")


def _plot(plot: PlotChange, found: Comparison) -> Section:
    blocks: list[Block] = [
        paragraph(f"{name}: {reason}.")
        for name, reason in zip(("First", "Second"), plot.reasons, strict=True)
        if reason
    ]
    if plot.changed:
        first, second = (_wording(run) for run in (found.first, found.second))
        heads = (("Figure", "name"), "First", "Second", "Difference")
        rows = [
            (
                _field(c.name).head,
                _figure(c.name, c.first, first),
                _figure(c.name, c.second, second),
                _difference(c, second),
            )
            for c in plot.figures
            if c.first is not None or c.second is not None
        ]
        blocks.append(table(f"Figures of {plot.plot_id} in both runs", heads, rows))
    else:
        blocks.append(paragraph("The same in both runs."))
    return Section(plot.plot_id, tuple(blocks))


def _field(name: str) -> Field:
    (field,) = RANKING.of(name)
    return field


def _figure(name: str, value: float | None, show: Wording) -> str:
    said = _field(name).figure(value)
    return MISSING if said is None else show.say(said)


def _difference(change: FigureChange, show: Wording) -> str:
    """The difference with its sign, and as a part of the first."""
    if change.difference is None:
        return ""
    if not change.changed:
        return "the same"
    text = _figure(change.name, abs(change.difference), show)
    if text == _figure(change.name, 0.0, show):
        return "hardly any"
    sign = "+" if change.difference > 0 else "−"
    share = "" if change.share is None else f" ({100 * change.share:+.1f} %)".replace("-", "−")
    return f"{sign}{text}{share}"


def _value(value: Any) -> str:
    """A setting as it stands in the settings file; a check sum by its beginning."""
    if value is None:
        return "not there"
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text[:12] if re.fullmatch(r"[0-9a-f]{64}", text) else text


def _map(found: Comparison) -> MapPage:
    boxes, grounds = [], []
    outlines: dict[str, Shape] = {}
    lines: tuple[list[Shape], list[Shape]] = ([], [])
    for run, into in zip((found.first, found.second), lines, strict=True):
        show = _wording(run)
        for plot_id, summary in run.summaries.items():
            degrees = to_degrees(summary.crs)
            layers_of = run.folder / "plots" / summary.folder / PLOT_LAYERS
            for outline in read_layer(layers_of, "plots").geometry:
                boxes.append(degrees(outline.envelope)["coordinates"][0])
                if plot_id not in outlines:
                    outlines[plot_id] = Shape(degrees(outline.simplify(TOLERANCE_M)), plot_id, (), "", plot_id)
                    ground = summary.ground
                    if ground and len(found.plots) <= GROUNDS:
                        grounds.append((base64.b64decode(ground["png"]), ground["bounds"]))
            for row in read_layer(layers_of, "fence_lines").rows():
                line = row["geometry"].simplify(TOLERANCE_M / 10)
                rows = told_of_row(OF_A_LINE, row, show)
                into.append(Shape(degrees(line), f"{plot_id}, pack {row['pack']}: {run_name(run)}", rows))
    layers = (
        VectorLayer("Ground", "Outlines of the plots", list(outlines.values()), OUTLINE),
        VectorLayer("Enclosure", f"First: {run_name(found.first)}", lines[0], FIRST),
        VectorLayer("Enclosure", f"Second: {run_name(found.second)}", lines[1], SECOND),
    )
    return MapPage(
        title="Fence lines of two runs",
        home="index.html",
        view=view_of(boxes),
        grounds=grounds,
        vectors=[layer for layer in layers if layer.shapes],
        imperial=_wording(found.second).imperial,
        introduction=["Where both runs have the same line, the narrow second one lies on the broad first one."],
    )
