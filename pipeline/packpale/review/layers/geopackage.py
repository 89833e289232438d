"""The layers of a plot as its worker writes them, and those of a run put together from them."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from packpale.review import subjects
from packpale.review.model import FinishedPlots, PlotBrief, RankedPlot, Ranking
from packpale.review.plot_layers import PLOT_LAYERS, SCREENED_LAYERS, beside, layer_names, read_layer

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
    begun = False
    for layer, (geometry_type, columns) in LAYERS.items():
        rows = layers.get(layer, ())
        if rows:
            known = {name: kind for name, kind in columns.items() if name in rows[0]}
            write_layer(path, layer, geometry_type, known, rows=rows, crs=crs, append=begun)
            begun = True


def write_screened_layers(layers: Mapping[str, Sequence[Mapping[str, Any]]], crs: str, path: Path) -> None:
    """Write what a plot that was only screened has: its outline and its fence lines, as files beside ``path``."""
    import geopandas
    import pandas as pd

    for layer in SCREENED_LAYERS:
        rows = layers.get(layer, ())
        if not rows:
            continue
        columns = {name: kind for name, kind in LAYERS[layer][1].items() if name in rows[0]}
        table = pd.DataFrame({n: pd.Series([row[n] for row in rows], dtype=kind) for n, kind in columns.items()})
        frame = geopandas.GeoDataFrame(table, geometry=[row["geometry"] for row in rows], crs=crs)
        frame.to_file(beside(path, layer), driver="FlatGeobuf", engine="pyogrio", SPATIAL_INDEX="NO")


def write_geopackage(finished: FinishedPlots, ranking: Ranking, crs: str, path: Path, *, plots: Path) -> None:
    """Put together the layers of all plots in the run's CRS, plots in the order of the ranking.

    ``plots`` holds the plots' folders. A layer without rows is there, empty.
    """
    waiting: dict[str, list[Any]] = {layer: [] for layer in LAYERS}
    begun = False
    for place in ranking.rows:
        brief = finished.briefs[place.plot_id]
        for layer, frame in _layers_of(plots / brief.folder / PLOT_LAYERS):
            waiting[layer].append(_with_place(frame, place, brief) if layer == "plots" else frame)
        full = {k: v for k, v in waiting.items() if sum(map(len, v)) >= WAITING_ROWS}
        if full:
            # The first time all of them, so that layers stand in one order in every file.
            _write_waiting(full if begun else waiting, crs, path, begun)
            begun = True
    _write_waiting({k: v for k, v in waiting.items() if v or not begun}, crs, path, begun)


def _layers_of(path: Path) -> Iterator[tuple[str, Any]]:
    there = layer_names(path)
    for layer in LAYERS:
        if layer in there:
            yield layer, read_layer(path, layer)


def _write_waiting(waiting: Mapping[str, list[Any]], crs: str, path: Path, append: bool) -> None:
    import pandas as pd

    for layer, frames in waiting.items():
        geometry_type, columns = LAYERS[layer]
        table = pd.concat([_typed(frame, columns) for frame in frames], ignore_index=True) if frames else None
        geometry = [] if table is None else table.pop("geometry").to_list()
        if table is None:
            table = pd.DataFrame({name: pd.Series([], dtype=kind) for name, kind in columns.items()})
        _write_frame(path, layer, geometry_type, table, geometry=geometry, crs=crs, append=append)
        frames.clear()


def _typed(frame: Any, columns: Mapping[str, str]) -> Any:
    """The same rows with every column of the layer in its kind; a GeoPackage knows no whole numbers that may lack."""
    import pandas as pd

    table = pd.DataFrame({name: frame[name].astype(kind) for name, kind in columns.items()})
    table["geometry"] = frame.geometry.to_list()
    return table


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
    """Write one layer of a GeoPackage, or ``append``; ``geometry`` of a row is a shapely one or None."""
    import pandas as pd

    table = pd.DataFrame({name: pd.Series([row[name] for row in rows], dtype=kind) for name, kind in columns.items()})
    _write_frame(path, layer, geometry_type, table, geometry=[row["geometry"] for row in rows], crs=crs, append=append)


def _write_frame(
    path: Path, layer: str, geometry_type: str, table: Any, *, geometry: Sequence[Any], crs: str, append: bool
) -> None:
    import geopandas

    frame = geopandas.GeoDataFrame(table, geometry=list(geometry), crs=crs)
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


def _with_place(frame: Any, place: RankedPlot, brief: PlotBrief) -> Any:
    return frame.assign(
        rank=place.rank,
        score=place.score,
        first_place_share=place.first_place_share,
        feasible=place.feasible,
        reason=brief.figures["reason"],
    )


@contextmanager
def _fixed_date() -> Iterator[None]:
    from pyogrio import set_gdal_config_options

    set_gdal_config_options({"OGR_CURRENT_DATE": WRITTEN_AT})
    try:
        yield
    finally:
        set_gdal_config_options({"OGR_CURRENT_DATE": None})
