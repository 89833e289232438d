"""Eggs fitted into the polygons of a file, as a GeoPackage with a row for every feature."""

import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from packpale.review.layers.geopackage import layer_of, write_layer
from packpale.review.model import FieldFits
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


def write_fits(rows: Sequence[FieldFits], crs: str, path: Path) -> None:
    """Write the layer fence_lines; a feature without an egg has a row without geometry.

    The file appears under its name only when it is complete.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    building = path.with_name(f".{path.stem}.{os.getpid()}.partial.gpkg")
    try:
        kind, found = (FENCE_LINES.geometry, COLUMNS), layer_of(list(_rows(rows)), COLUMNS)
        write_layer(building, FENCE_LINES.name, kind, found, crs)
        building.replace(path)
    finally:
        building.unlink(missing_ok=True)


def _rows(rows: Sequence[FieldFits]) -> Iterator[dict[str, Any]]:
    empty = dict.fromkeys(COLUMNS)
    for row in rows:
        first = {"feature": row.field.number, "id": row.field.name, "fits": bool(row.fits), "reason": row.reason}
        if not row.fits:
            yield {**empty, **first, "geometry": None}
        for k, fit in enumerate(row.fits, start=1):
            line = FenceLine(k, fit.egg, fit)
            yield {**first, **FENCE_LINES.row(line), "geometry": FENCE_LINES.lies(line)}
