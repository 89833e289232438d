"""The pages and the table that set two runs side by side."""

import base64
import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from packpale.review.differences import Comparison, FigureChange, FinishedRun
from packpale.review.maps.leaflet import write_map
from packpale.review.maps.map_page import MapPage, Shape, Style, VectorLayer
from packpale.review.maps.overview_map import GROUNDS, TOLERANCE_M, view_of
from packpale.review.plot_layers import PLOT_LAYERS, read_layer
from packpale.review.projecting import to_degrees
from packpale.review.tables import cell, plain_text, write_cells
from packpale.review.templating import render
from packpale.review.words import Wording

FILES = ("index.html", "map.html", "comparison.csv")
COLUMNS = ("plot_id", "figure", "first", "second", "difference")
OUTLINE = Style("#1d2a2a", "", width=1.5, dash="4 4")
FIRST = Style("#4f9dc0", width=9)
"""A broad band, so that it can be seen under the second line where both are the same."""
SECOND = Style("#a3123a", width=3)
LABELS = {
    "score": "Score of 100",
    "enclosed_area_m2": "Enclosed",
    "smallest_enclosure_m2": "Smallest enclosure",
    "plot_area_m2": "Area of the plot",
    "usable_area_m2": "Usable land",
    "fence_length_m": "Fence in plan",
    "fence_length_3d_m": "Fence on the ground",
    "mean_slope_deg": "Mean slope inside",
    "mean_suitability": "Mean suitability inside, of 100",
    "cut_bank_m3": "Dug out, in the ground",
    "rock_bank_m3": "of it rock",
    "wet_bank_m3": "of it under water",
    "surplus_loose_m3": "Left over, loose",
    "cost_p10": "Price, low estimate",
    "cost_p50": "Price, middle estimate",
    "cost_p90": "Price, high estimate",
    "escape_dig_rate_m_per_h": "Digging rate that gets out between rounds",
    "over_limits_m": "Fence line over limits",
    "price_per_ha": "Price of the ground enclosed, middle estimate",
}


def write_comparison(found: Comparison, folder: Path) -> None:
    """Write index.html, map.html and comparison.csv into ``folder``; what an earlier comparison left is replaced."""
    building = folder / ".partial"
    shutil.rmtree(building, ignore_errors=True)
    building.mkdir(parents=True)
    shown = [_wording(run) for run in (found.first, found.second)]
    page = render(
        "pages/comparison.html",
        found=found,
        names=[run_name(run) for run in (found.first, found.second)],
        show=shown,
        labels=LABELS,
        figure=_figure,
        difference=lambda change: _difference(change, shown[1]),
        value=_value,
    )
    (building / "index.html").write_bytes(page.encode("utf-8"))
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


def _figure(name: str, value: float | None, show: Wording) -> str:
    """One figure in words, by the unit its name ends in."""
    by_end: tuple[tuple[str, Any], ...] = (
        ("area_m2|enclosure_m2", show.area),
        ("_m3", show.volume),
        ("_m_per_h", show.speed),
        ("_m", show.length),
        ("_deg", show.slope),
        ("cost_.*", show.money),
        ("price_per_ha", show.money_per_area),
        ("score", show.score),
        ("suitability", lambda v: show.score(None if v is None else 100 * v)),
    )
    return str(next(word(value) for end, word in by_end if re.search(f"(?:{end})$", name)))


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
    both = (found.first, found.second)
    boxes, outlines, grounds = [], [], []
    lines: tuple[list[Shape], list[Shape]] = ([], [])
    seen = set()
    for run, into in zip(both, lines, strict=True):
        show = _wording(run)
        for plot_id, summary in run.summaries.items():
            degrees = to_degrees(summary.crs)
            layers_of = run.folder / "plots" / summary.folder / PLOT_LAYERS
            for outline in read_layer(layers_of, "plots").geometry:
                boxes.append(degrees(outline.envelope)["coordinates"][0])
                if plot_id not in seen:
                    outlines.append(Shape(degrees(outline.simplify(TOLERANCE_M)), plot_id, (), "", plot_id))
                    seen.add(plot_id)
                    ground = summary.ground
                    if ground and len(found.plots) <= GROUNDS:
                        grounds.append((base64.b64decode(ground["png"]), ground["bounds"]))
            for row in read_layer(layers_of, "fence_lines").rows():
                line = row["geometry"].simplify(TOLERANCE_M / 10)
                rows = [("Area", show.area(row["area_m2"])), ("Length in plan", show.length(row["perimeter_m"]))]
                into.append(Shape(degrees(line), f"{plot_id}, pack {row['pack']}: {run_name(run)}", rows))
    layers = (
        VectorLayer("Ground", "Outlines of the plots", outlines, OUTLINE),
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
