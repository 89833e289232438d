"""The layers of a run as one GeoPackage."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from packpale.review import subjects
from packpale.review.model import FinishedPlots, PlotSummary, RankedPlot, Ranking

WRITTEN_AT = "2000-01-01T00:00:00.000Z"
"""Time of change that stands in every file, so that the same run gives the same bytes."""
WAITING_BYTES = 20_000_000
"""Rows of a layer wait in memory until they take this much: each addition to a layer takes time, whatever it adds."""
ROW_BYTES = 2_000
"""About what a row takes in memory beside its geometry."""
LAYERS: Mapping[str, tuple[str, Mapping[str, str]]] = {
    subject.name: (subject.geometry, subject.columns) for subject in subjects.LAYERS
}
"""Geometry type and columns of each layer, in the order in which they are written."""


def write_geopackage(finished: FinishedPlots, ranking: Ranking, crs: str, path: Path) -> None:
    """Write all layers in the run's CRS, plots in the order of the ranking. A layer without rows is there, empty."""
    waiting = {layer: _Waiting() for layer in LAYERS}
    begun = False
    for place in ranking.rows:
        plot = finished[place.plot_id]
        for layer, rows in waiting.items():
            rows.take(_with_place(r, place, plot) if layer == "plots" else r for r in plot.layers.get(layer, ()))
        if any(rows.size >= WAITING_BYTES for rows in waiting.values()):
            # The first time all of them, so that layers stand in one order in every file.
            _write_waiting({k: v for k, v in waiting.items() if not begun or v.size >= WAITING_BYTES}, crs, path, begun)
            begun = True
    _write_waiting({k: v for k, v in waiting.items() if not begun or v.rows}, crs, path, begun)


@dataclass
class _Waiting:
    """Rows of a layer that are not written yet, and about how much memory they take."""

    rows: list[Mapping[str, Any]] = field(default_factory=list)
    size: int = 0

    def take(self, rows: Iterable[Mapping[str, Any]]) -> None:
        for row in rows:
            self.rows.append(row)
            self.size += ROW_BYTES + len(row["geometry"] or "")


def _write_waiting(waiting: Mapping[str, _Waiting], crs: str, path: Path, append: bool) -> None:
    for layer, there in waiting.items():
        geometry_type, columns = LAYERS[layer]
        write_layer(path, layer, geometry_type, columns, rows=there.rows, crs=crs, append=append)
        there.rows, there.size = [], 0


def write_layer(
    path: Path,
    layer: str,
    geometry_type: str,
    columns: Mapping[str, str],
    *,
    rows: Sequence[Mapping[str, Any]],
    crs: str,
    append: bool = False,
) -> None:
    """Write one layer of a GeoPackage, or ``append``; ``geometry`` of a row is WKB (bytes or hexadecimal) or None."""
    import geopandas
    import pandas as pd

    table = pd.DataFrame({name: pd.Series([row[name] for row in rows], dtype=kind) for name, kind in columns.items()})
    geometry = shapely.from_wkb(np.array([row["geometry"] for row in rows], dtype=object))
    frame = geopandas.GeoDataFrame(table, geometry=geometry, crs=crs)
    with _fixed_date():
        frame.to_file(
            path,
            layer=layer,
            driver="GPKG",
            engine="pyogrio",
            geometry_type=geometry_type,
            index=False,
            mode="a" if append else "w",
        )


def _with_place(row: Mapping[str, Any], place: RankedPlot, summary: PlotSummary) -> dict[str, Any]:
    return {
        **row,
        "rank": place.rank,
        "score": place.score,
        "first_place_share": place.first_place_share,
        "feasible": place.feasible,
        "reason": summary.figures["reason"],
    }


@contextmanager
def _fixed_date() -> Iterator[None]:
    from pyogrio import set_gdal_config_options

    set_gdal_config_options({"OGR_CURRENT_DATE": WRITTEN_AT})
    try:
        yield
    finally:
        set_gdal_config_options({"OGR_CURRENT_DATE": None})
