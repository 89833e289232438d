"""The layers of a plot as its worker writes them, and those of a run put together from them."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from packpale.review import subjects
from packpale.review.model import FinishedPlots, PlotBrief, RankedPlot, Ranking
from packpale.review.plot_layers import PLOT_LAYERS, SCREENED_LAYERS, Layer, beside, read_layers
from packpale.review.subjects.field import WHOLE

WRITTEN_AT = "2000-01-01T00:00:00.000Z"
"""Time of change that stands in every file, so that the same run gives the same bytes."""
WAITING_ROWS = 10_000
"""Rows of a layer wait in memory until there are so many: each addition to a layer takes time, whatever it adds."""
LAYERS: Mapping[str, tuple[str, Mapping[str, str]]] = {
    subject.name: (subject.geometry, subject.columns) for subject in subjects.LAYERS
}
"""Geometry type and columns of each layer, in the order in which they are written."""


def write_plot_layers(layers: Mapping[str, Sequence[Mapping[str, Any]]], crs: str, path: Path) -> None:
    """Write the layers of one plot that have rows, as a GeoPackage; ``geometry`` of a row is a shapely one.

    What only the ranking knows of a plot is left out.
    """
    for k, layer in enumerate(layer for layer in LAYERS if layers.get(layer)):
        _write_few(path, layer, layers[layer], crs, append=k > 0)


def write_screened_layers(layers: Mapping[str, Sequence[Mapping[str, Any]]], crs: str, path: Path) -> None:
    """Write what a plot that was only screened has: its outline and its fence lines, as files beside ``path``."""
    for layer in SCREENED_LAYERS:
        if layers.get(layer):
            _write_few(beside(path, layer), layer, layers[layer], crs, driver="FlatGeobuf")


def write_geopackage(finished: FinishedPlots, ranking: Ranking, crs: str, path: Path, *, plots: Path) -> None:
    """Put together the layers of all plots in the run's CRS, plots in the order of the ranking.

    ``plots`` holds the plots' folders. A layer without rows is there, empty.
    """
    waiting: dict[str, list[Layer]] = {layer: [] for layer in LAYERS}
    many = Counter[str]()
    begun = False
    for place in ranking.rows:
        brief = finished.briefs[place.plot_id]
        for layer, rows in read_layers(plots / brief.folder / PLOT_LAYERS).items():
            waiting[layer].append(_with_place(rows, place, brief) if layer == "plots" else rows)
            many[layer] += len(rows)
        if full := {k: v for k, v in waiting.items() if many[k] >= WAITING_ROWS}:
            # The first time all of them, so that layers stand in one order in every file.
            _write_waiting(full if begun else waiting, crs, path, begun)
            many = Counter({k: many[k] for k in waiting if waiting[k]})
            begun = True
    _write_waiting({k: v for k, v in waiting.items() if v or not begun}, crs, path, begun)


def _write_waiting(waiting: Mapping[str, list[Layer]], crs: str, path: Path, append: bool) -> None:
    for layer, parts in waiting.items():
        columns = {name: [v for part in parts for v in part.columns[name]] for name in LAYERS[layer][1]}
        rows = Layer([s for part in parts for s in part.shapes], columns)
        write_layer(path, layer, LAYERS[layer], rows, crs, append=append)
        parts.clear()


def layer_of(rows: Sequence[Mapping[str, Any]], columns: Iterable[str]) -> Layer:
    """Rows as a layer, of its columns those that they have; ``geometry`` of a row is a shapely one or None."""
    import shapely

    known = {name: [row[name] for row in rows] for name in columns if not rows or name in rows[0]}
    return Layer(list(shapely.to_wkb([row["geometry"] for row in rows])), known)


def _write_few(
    path: Path,
    layer: str,
    rows: Sequence[Mapping[str, Any]],
    crs: str,
    *,
    append: bool = False,
    driver: str = "GPKG",
) -> None:
    """Write the rows of one plot as a layer of a file, or into one more layer of it.

    Not by way of a table: for so few rows that takes longer than to write them. They need no index of their places.
    """
    import pyogrio

    geometry_type, kinds = LAYERS[layer]
    found = layer_of(rows, kinds)
    columns = [_column(values, kinds[name]) for name, values in found.columns.items()]
    with _as_we_write():
        pyogrio.raw.write(
            path,
            np.array(found.shapes, object),
            [values for values, _ in columns],
            list(found.columns),
            field_mask=[missing for _, missing in columns],
            layer=layer,
            driver=driver,
            geometry_type=geometry_type,
            crs=crs,
            append=append,
            layer_options={"SPATIAL_INDEX": "NO"},
        )


def _column(values: Sequence[Any], kind: str) -> tuple[npt.NDArray[Any], npt.NDArray[np.bool_] | None]:
    """Values of a column, and which of them are missing where the values cannot tell."""
    if kind != WHOLE:
        return np.array(values, kind), None
    return np.array([v or 0 for v in values], np.int64), np.array([v is None for v in values])


def write_layer(
    path: Path, layer: str, kind: tuple[str, Mapping[str, str]], rows: Layer, crs: str, *, append: bool = False
) -> None:
    """Write one layer of a GeoPackage of this type of geometry and these columns, or append to it."""
    import geopandas
    import pandas as pd

    geometry_type, kinds = kind
    table = pd.DataFrame({name: pd.Series(values, dtype=kinds[name]) for name, values in rows.columns.items()})
    frame = geopandas.GeoDataFrame(table, geometry=geopandas.GeoSeries.from_wkb(rows.shapes, crs=crs))
    with _as_we_write():
        frame.to_file(
            path,
            layer=layer,
            driver="GPKG",
            engine="pyogrio",
            geometry_type=geometry_type,
            index=False,
            mode="a" if append else "w",
        )


def _with_place(rows: Layer, place: RankedPlot, brief: PlotBrief) -> Layer:
    known = {
        "rank": place.rank,
        "score": place.score,
        "first_place_share": place.first_place_share,
        "feasible": place.feasible,
        "reason": brief.figures["reason"],
    }
    return Layer(rows.shapes, {**rows.columns, **{name: [value] * len(rows) for name, value in known.items()}})


@contextmanager
def _as_we_write() -> Iterator[None]:
    """No date, and no wait for the disk at each step: what a killed run leaves is never taken for complete."""
    from pyogrio import set_gdal_config_options

    set_gdal_config_options({"OGR_CURRENT_DATE": WRITTEN_AT, "OGR_SQLITE_SYNCHRONOUS": "OFF"})
    try:
        yield
    finally:
        set_gdal_config_options({"OGR_CURRENT_DATE": None, "OGR_SQLITE_SYNCHRONOUS": None})
