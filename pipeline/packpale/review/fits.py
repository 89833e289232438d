"""Eggs fitted into the polygons of a file, as a GeoPackage with a row for every feature."""

import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Protocol

from packpale.enclosure.model import Fit
from packpale.review.layers.geopackage import write_layer
from packpale.review.subjects.field import TEXT, WHOLE, YES_NO
from packpale.review.subjects.line import FENCE_LINES, FenceLine

COLUMNS = {
    "feature": WHOLE,
    "id": TEXT,
    "fits": YES_NO,
    "reason": TEXT,
    **{name: kind for name, kind in FENCE_LINES.columns.items() if name != "plot_id"},
}
"""The columns of fence_lines, behind what says which feature a row is of; empty where nothing fits."""


class _Field(Protocol):
    @property
    def number(self) -> int: ...
    @property
    def name(self) -> str: ...


class FieldRow(Protocol):
    """A feature with what fits in it."""

    @property
    def field(self) -> _Field: ...
    @property
    def fits(self) -> Sequence[Fit]: ...
    @property
    def reason(self) -> str: ...


def write_fits(rows: Sequence[FieldRow], crs: str, path: Path) -> None:
    """Write the layer fence_lines; a feature without an egg has a row without geometry.

    The file appears under its name only when it is complete.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    building = path.with_name(f".{path.stem}.{os.getpid()}.partial.gpkg")
    try:
        write_layer(building, "fence_lines", "Polygon", COLUMNS, rows=list(_rows(rows)), crs=crs)
        building.replace(path)
    finally:
        building.unlink(missing_ok=True)


def _rows(rows: Sequence[FieldRow]) -> Iterator[dict[str, Any]]:
    empty = dict.fromkeys(COLUMNS)
    for row in rows:
        first = {"feature": row.field.number, "id": row.field.name, "fits": bool(row.fits), "reason": row.reason}
        if not row.fits:
            yield {**empty, **first, "geometry": None}
        for k, fit in enumerate(row.fits, start=1):
            line = FenceLine(k, fit.egg, fit)
            yield {**first, **FENCE_LINES.row(line), "geometry": FENCE_LINES.lies(line)}
