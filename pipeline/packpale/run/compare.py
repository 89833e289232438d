"""What differs between two finished runs: settings, inputs, ranking and each plot's figures."""

import csv
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from packpale.faults import Faults, Gathering
from packpale.review.differences import Change, Comparison, FigureChange, FinishedRun, PlotChange
from packpale.review.subjects.tables import OF_A_PLOT
from packpale.review.tables import plain_text

FIGURES = ("score", *(field.key for field in OF_A_PLOT[2:]))
"""Columns of ranking.csv that are compared plot by plot."""


def read_finished_run(folder: Path) -> FinishedRun:
    """Read what a run left.

    Raises Faults if the folder holds no finished run, or one that this version cannot read.
    """
    from packpale.review.summary import read_summary

    try:
        record = json.loads((folder / "run.json").read_text(encoding="utf-8"))
        table = (folder / "ranking.csv").read_text(encoding="utf-8")
        plots = record["plots"]
        # Asked for here, so that a record of another layout is told as such.
        dict(record["settings"]), dict(record["input_hashes"]), str(record["version"])
        summaries = [read_summary(file) for file in sorted((folder / "plots").glob("*/result.json"))]
        # Plots of earlier runs into the same folder may still lie there.
        kept = {s.plot_id: s for s in summaries if plots.get(s.plot_id, {}).get("status") in {"done", "kept"}}
        places = _places(table, list(kept))
    except FileNotFoundError as error:
        raise Faults(
            f"{folder}: holds no finished run ({Path(error.filename).name} is missing); give the folder of a run"
        ) from error
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise Faults(
            f"{folder}: its files cannot be read ({error}); run the same settings again with this version"
        ) from error
    return FinishedRun(folder, record, places, kept)


def read_both(first: Path, second: Path) -> tuple[FinishedRun, FinishedRun]:
    """Two runs; faults of both are told together."""
    faults = Gathering()
    found = []
    for folder in (first, second):
        with faults.gather():
            found.append(read_finished_run(folder))
    if faults.lines:
        raise Faults(*faults.lines)
    return found[0], found[1]


def compare(first: FinishedRun, second: FinishedRun) -> Comparison:
    """Everything that differs between two runs; a plot that only one of them has is there with what it has."""
    ids = dict.fromkeys([*second.places, *first.places, *second.record["plots"], *first.record["plots"]])
    settings = [dict(_leaves(run.record["settings"])) for run in (first, second)]
    return Comparison(
        first=first,
        second=second,
        versions=(str(first.record["version"]), str(second.record["version"])),
        settings=tuple(_changes(*settings)),
        inputs=tuple(_changes(first.record["input_hashes"], second.record["input_hashes"])),
        plots=tuple(_plot(plot_id, first, second) for plot_id in ids),
    )


def _places(table: str, plot_ids: Sequence[str]) -> dict[str, dict[str, float | str | None]]:
    as_written = {plain_text(p): p for p in plot_ids}
    places: dict[str, dict[str, float | str | None]] = {}
    for row in csv.DictReader(io.StringIO(table)):
        numbers = {name: float(row[name]) if row.get(name) else None for name in ("rank", *FIGURES)}
        places[as_written[row["plot_id"]]] = {**numbers, "reason": row["reason"]}
    return places


def _leaves(tree: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for name, value in tree.items():
        if isinstance(value, dict):
            yield from _leaves(value, f"{before}{name}.")
        else:
            yield f"{before}{name}", value


def _changes(first: Mapping[str, Any], second: Mapping[str, Any]) -> Iterator[Change]:
    for name in dict.fromkeys([*first, *second]):
        if first.get(name) != second.get(name):
            yield Change(name, first.get(name), second.get(name))


def _plot(plot_id: str, first: FinishedRun, second: FinishedRun) -> PlotChange:
    rows = [run.places.get(plot_id) for run in (first, second)]
    figures = (FigureChange(name, *(_number(row, name) for row in rows)) for name in FIGURES)
    return PlotChange(
        plot_id=plot_id,
        ranks=(_number(rows[0], "rank"), _number(rows[1], "rank")),
        reasons=(_reason(first, plot_id), _reason(second, plot_id)),
        figures=tuple(figures),
        lines=(_lines(first, plot_id), _lines(second, plot_id)),
    )


def _lines(run: FinishedRun, plot_id: str) -> tuple[str, ...]:
    summary = run.summaries.get(plot_id)
    from packpale.review.plot_layers import PLOT_LAYERS, read_layer

    if summary is None:
        return ()
    lines = read_layer(run.folder / "plots" / summary.folder / PLOT_LAYERS, "fence_lines")
    return tuple(line.hex() for line in lines.shapes if line)


def _number(row: Mapping[str, float | str | None] | None, name: str) -> float | None:
    value = None if row is None else row[name]
    return value if isinstance(value, float) else None


def _reason(run: FinishedRun, plot_id: str) -> str:
    if plot_id in run.places:
        return str(run.places[plot_id]["reason"] or "")
    record = run.record["plots"].get(plot_id)
    return f"failed: {record['reason']}" if record else "not among the plots"
