"""The part of one plot's result that the files of the whole run need, and keeping it on disk."""

import dataclasses
import functools
import json
import math
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import TypeAdapter

from packpale.earthworks.bill import Bill, bill
from packpale.review.model import Estimate, PlotResult, PlotSummary
from packpale.review.subjects import LAYERS
from packpale.review.subjects.field import Subject
from packpale.review.subjects.line import ALTERNATIVES
from packpale.review.subjects.tables import EARTHWORKS, OF_A_PLOT, Whole
from packpale.review.words.notes import each_once
from packpale.settings import Project
from packpale.site import Array
from packpale.values.notes import Note

DRAWS = "draws.npy"
"""What the ranking reads of a plot's draws."""
OWN_VALUES = {"notes", "reason", "estimate"}
"""Fields of a summary that hold values of our own."""


def summarise(
    result: PlotResult, project: Project, folder: str, ground: Mapping[str, Any] | None, *, screened: bool = False
) -> PlotSummary:
    """Figures and table rows of one plot.

    ``folder`` is the name of the plot's folder; ``ground`` a small picture of the ground for the overview map. One that
    was only screened has no priced list, and only what it says of the plot itself among its notes.
    """
    priced = bill(result.earthworks) if result.earthworks else None
    return PlotSummary(
        plot_id=result.site.plot_id,
        folder=folder,
        figures=_row({field.key: field.value(Whole(result, project)) for field in OF_A_PLOT}),
        earthworks=_rows(EARTHWORKS, result, project),
        items=() if screened else _items(priced),
        notes=(*result.site.notes, *result.land.notes) if screened else notes(result),
        crs=result.site.crs,
        bounds=result.site.outline.bounds,
        bill=_bill(priced),
        estimate=_estimate(result),
        reason=result.enclosure.reason,
        alternatives=_rows(ALTERNATIVES, result, project),
        ground=ground,
        screened=screened,
    )


def notes(result: PlotResult) -> tuple[Note, ...]:
    """What a reader must know, each note once, in the order of the rooms."""
    rooms = (result.site, result.land, result.enclosure, result.earthworks, result.care)
    return tuple(each_once(note for room in rooms if room is not None for note in room.notes))


def write_summary(summary: PlotSummary, path: Path) -> None:
    """Write a summary as JSON, keys sorted, floats so that they read back the same."""
    # Neither copied first nor indented: either takes longer than the rest of the summary.
    values = {field.name: _plain(getattr(summary, field.name)) for field in dataclasses.fields(summary)}
    values |= _plain(_adapter().dump_python(summary, mode="json", include=OWN_VALUES))
    text = json.dumps(values, sort_keys=True, ensure_ascii=False, allow_nan=False)
    path.write_bytes((text + "\n").encode("utf-8"))


def read_summary(path: Path) -> PlotSummary:
    """Read back what write_summary wrote.

    Raises ValueError if the file is cut short or is no summary.
    """
    raw = json.loads(path.read_text(encoding="utf-8"))
    names = {field.name for field in dataclasses.fields(PlotSummary)}
    if not isinstance(raw, dict) or raw.keys() != names:
        raise ValueError(f"{path} is no summary of a plot")
    return _adapter().validate_python(raw)


def write_draws(result: PlotResult, path: Path) -> None:
    """Write what the draws of a plot on which something fits gave, for the ranking: shape (2, draws), two rows.

    The price [the run's currency] and the change of the mean suitability inside the fences; draw k of every plot has
    the same rates.
    """
    found = result.earthworks.uncertainty if result.earthworks else None
    care = result.care
    if found is None or care is None or care.drawn_suitability is None:
        raise ValueError(f"nothing was drawn at random for plot {result.site.plot_id}")
    np.save(path, np.stack([found.drawn_price, care.drawn_suitability]).astype(np.float32))


def read_draws(path: Path, most: int | None = None) -> Array:
    """The first ``most`` draws that write_draws wrote, shape (2, draws).

    Raises OSError or ValueError if the file is not there or damaged.
    """
    drawn = np.load(path, mmap_mode="r", allow_pickle=False)
    if drawn.ndim != 2 or drawn.shape[0] != 2:
        raise ValueError(f"{path} holds no draws of a plot")
    return np.array(drawn[:, :most], np.float64)


@functools.cache
def _adapter() -> TypeAdapter[PlotSummary]:
    """What turns a summary into plain values and back."""
    return TypeAdapter(PlotSummary)


def _items(works: Bill | None) -> tuple[dict[str, Any], ...]:
    of_item, of_line = ("key", "text", "unit", "quantity", "rate", "price"), ("over_dig", "ground", "reckoned")
    return tuple(
        _row({k: getattr(line.item, k) for k in of_item} | {k: getattr(line, k) for k in of_line})
        for line in (works.lines if works else ())
    )


def _bill(priced: Bill | None) -> dict[str, Any] | None:
    if priced is None:
        return None
    return {
        "total": list(priced.total),
        "bridge": [{"text": step.text, "amount": step.amount} for step in priced.bridge],
    }


def _estimate(result: PlotResult) -> Estimate | None:
    found = result.earthworks.uncertainty if result.earthworks else None
    return Estimate(found.estimate_class, found.class_low[1], found.class_high[1]) if found else None


def layer_rows(
    result: PlotResult, project: Project, only: Collection[str] | None = None
) -> dict[str, list[dict[str, Any]]]:
    """Rows of every layer of one plot, or of ``only`` some, by layer, with shapely geometry under ``geometry``."""
    return {layer.name: list(layer.rows(result, project)) for layer in LAYERS if only is None or layer.name in only}


def _rows(subject: Subject, result: PlotResult, project: Project) -> tuple[dict[str, Any], ...]:
    """Rows of a table of the run that are a plot's, without geometry."""
    rows = subject.rows(result, project)
    return tuple(_row({name: row[name] for name in subject.columns}) for row in rows)


def _row(values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _plain(value) for name, value in values.items()}


_PLAIN = frozenset({float, int, str, bool, type(None)})


def _plain(value: Any) -> Any:
    """The same value of types that JSON knows; a number that is not finite becomes None."""
    kind = type(value)
    # First what there is most of: asking whether something is a mapping takes long.
    if kind in _PLAIN:
        return None if kind is float and not math.isfinite(value) else value
    if isinstance(value, Mapping):
        return {str(key): _plain(v) for key, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, np.generic):
        return _plain(value.item())
    return value
