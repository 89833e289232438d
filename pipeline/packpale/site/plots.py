"""Candidate plots: from a vector file, a track walked round a field, or a table of corners, to valid outlines."""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults, Gathering
from packpale.site import crs as crs_
from packpale.site.files import check_file
from packpale.site.model import Plot
from packpale.site.tables import coordinate_columns, find_column, missing_column, read_table
from packpale.site.vectors import Layer, choose_layer, layer_names, no_crs, polygonal, read_layer, xml_root
from packpale.values.notes import Note
from packpale.values.quantity import Quantity

LEAST_AREA_M2 = 1.0
"""Rings that enclose less are a slip of the pen. [m2]"""
LONGEST_ID = 80
"""Characters an id may have: it becomes part of file names."""


@dataclass(frozen=True)
class Outline:
    """A plot as the file has it: polygon in the file's CRS, not yet checked."""

    plot_id: str
    where: str
    geometry: BaseGeometry
    crs: CRS


def read_outlines(
    path: Path, layer: str | None, id_column: str, project_crs: CRS | None, faults: Gathering
) -> tuple[Outline, ...]:
    """The plots of a file whose name, geometry and CRS can be told; everything else goes to ``faults``."""
    found: list[Outline] = []
    with faults.gather():
        if path.suffix.lower() in (".csv", ".txt"):
            if layer is not None:
                raise Faults(f"inputs.plots_layer: {path.name} is a table and has no layers; drop the key")
            found = _from_table(path, id_column, project_crs, faults)
        elif path.suffix.lower() != ".gdb" and _is_gpx(path):
            found = _from_gpx(path, layer, id_column, faults)
        else:
            found = _from_layer(read_layer(path, choose_layer(path, layer, "inputs.plots_layer")), id_column, faults)
    _check_ids(found, faults)
    return tuple(found)


def _is_gpx(path: Path) -> bool:
    check_file(path, "name a file")
    return xml_root(path) == "gpx"


def _from_layer(layer: Layer, id_column: str, faults: Gathering) -> list[Outline]:
    column = _id_column(layer, id_column)
    out = []
    for feature in layer.features:
        where, geometry = layer.where(feature), feature.geometry
        with faults.gather():
            if geometry is None or geometry.is_empty:
                raise Faults(f"{where}: has no geometry; draw the plot or drop the feature")
            if geometry.geom_type not in ("Polygon", "MultiPolygon"):
                raise Faults(f"{where}: is a {geometry.geom_type}, plots are polygons; draw its outline")
            out.append(_outline(feature.properties[column], column, where, geometry, layer))
    return out


def _from_gpx(path: Path, layer: str | None, id_column: str, faults: Gathering) -> list[Outline]:
    """Each track, or route, of a GPX file as the ring that was walked; the last point is joined to the first."""
    lines = tuple(n for n in layer_names(path) if n in ("tracks", "routes"))
    if not lines:
        raise Faults(f"{path.name}: holds neither a track nor a route; walk round the plot with the recorder on")
    if layer is None and len(lines) == 2:
        raise Faults(f"{path.name}: has the layers 'routes', 'tracks'; name one of them as inputs.plots_layer")
    if layer is not None and layer not in lines:
        raise Faults(f"{path.name}: has no layer {layer!r} with lines; layers are {', '.join(map(repr, lines))}")
    walked = read_layer(path, layer or lines[0])
    column = _id_column(walked, id_column)
    out = []
    for feature in walked.features:
        where = walked.where(feature)
        with faults.gather():
            # Pieces of an interrupted recording follow each other in one ring.
            points = shapely.get_coordinates(feature.geometry)
            if len(points) < 3:
                raise Faults(f"{where}: has {len(points)} points, a ring needs 3; record the whole round")
            out.append(_outline(feature.properties[column], column, where, Polygon(points), walked))
    return out


def _id_column(layer: Layer, wanted: str) -> str:
    column = find_column(wanted, layer.columns)
    if not layer.features:
        raise Faults(f"{layer.file}: its layer {layer.name!r} is empty; draw at least one plot")
    faults = Gathering()
    if column is None:
        faults.add(missing_column(layer.file, wanted, layer.columns))
    if layer.crs is None:
        faults.add(no_crs(layer))
    faults.raise_if_any()
    return str(column)


def _outline(value: Any, column: str, where: str, geometry: BaseGeometry, layer: Layer) -> Outline:
    if layer.crs is None:
        raise Faults(no_crs(layer))
    return Outline(_id(value, column, where), where, geometry, layer.crs)


def _id(value: Any, column: str, where: str) -> str:
    """The id as text. Raises Faults if it is missing or cannot name a plot."""
    if isinstance(value, bool | bytes | list | tuple | dict):
        raise Faults(f"{where}: {column} is {value!r}; write a text or a whole number")
    missing = value is None or (isinstance(value, float | np.floating) and not np.isfinite(value))
    whole = isinstance(value, float | np.floating) and not missing and float(value).is_integer()
    text = "" if missing else str(int(value) if whole else value).strip()
    if not text:
        raise Faults(f"{where}: {column} is empty; every plot needs a name")
    if not text.isprintable() or len(text) > LONGEST_ID:
        raise Faults(f"{where}: {column} is {text[:LONGEST_ID]!r}; use up to {LONGEST_ID} printable characters")
    return text


def _check_ids(outlines: Iterable[Outline], faults: Gathering) -> None:
    first: dict[str, str] = {}
    for outline in outlines:
        # Two ways to write the same letters look the same to a reader.
        same = unicodedata.normalize("NFC", outline.plot_id)
        if same in first:
            faults.add(
                f'{outline.where}: the plot "{outline.plot_id}" is there already ({first[same]}); '
                "give every plot a name of its own, or join the parts of one plot to one feature"
            )
        else:
            first[same] = outline.where


def _from_table(path: Path, id_column: str, project_crs: CRS | None, faults: Gathering) -> list[Outline]:
    """Plots from corners in walking order: an id, x and y (or lon and lat), and perhaps a CRS in each row."""
    table = read_table(path)
    column = find_column(id_column, table.columns)
    if column is None:
        raise Faults(missing_column(table.name, id_column, table.columns))
    x_column, y_column, degrees = coordinate_columns(table)
    crs_column = None if degrees else find_column("crs", table.columns)
    corners: dict[str, list[tuple[float, float]]] = {}
    frames: dict[str, CRS] = {}
    where: dict[str, str] = {}
    broken: set[str] = set()
    last = None
    for row in table.rows:
        here = f"{table.name}, row {row.number}"
        before = len(faults.lines)
        plot_id = ""
        with faults.gather():
            plot_id = _id(row.cells[column], column, here)
            if plot_id != last and plot_id in where:
                raise Faults(
                    f'{here}: the plot "{plot_id}" is there already ({where[plot_id]}); '
                    "keep the corners of a plot together, and give every plot a name of its own"
                )
            where.setdefault(plot_id, f"{here}")
            crs = _row_crs(row.cells[crs_column] if crs_column else "", degrees, project_crs, here)
            if not crs_.same(frames.setdefault(plot_id, crs), crs):
                raise Faults(f"{here}: crs is {crs_.shown(crs)}, but {crs_.shown(frames[plot_id])} above; use one")
        with faults.gather():
            corners.setdefault(plot_id, []).append(table.point(row, x_column, y_column))
        last = plot_id or last
        if len(faults.lines) > before:
            broken.add(plot_id)
    out = []
    for plot_id, points in corners.items():
        if plot_id in broken:
            continue
        if len(set(points)) < 3:
            faults.add(f'{where[plot_id]}: the plot "{plot_id}" has {len(set(points))} corners, it needs 3; add some')
            continue
        out.append(Outline(plot_id, where[plot_id], Polygon(points), frames[plot_id]))
    return out


def _row_crs(text: str, degrees: bool, project_crs: CRS | None, where: str) -> CRS:
    if degrees:
        return CRS.from_epsg(4326)
    if text:
        return crs_.parse(text, where)
    if project_crs is None:
        raise Faults(
            f"{where}: has no crs for its x, y; add a column crs, set crs in the settings, or use columns lon, lat"
        )
    return project_crs


def to_plots(outlines: Iterable[Outline], crs: CRS, faults: Gathering) -> tuple[Plot, ...]:
    """Plots in the run's CRS: 2-D, valid, multi-part and holes kept. Adds to ``faults``."""
    out = []
    for outline in outlines:
        with faults.gather():
            out.append(_to_plot(outline, crs))
    return tuple(out)


def _to_plot(outline: Outline, crs: CRS) -> Plot:
    where = f'{outline.where}: plot "{outline.plot_id}"'
    geometry = crs_.moved_geometry(outline.geometry, outline.crs, crs, where)
    crs_.stray(outline.geometry, outline.crs, where)
    notes: tuple[Note, ...] = ()
    valid = geometry if geometry.is_valid else shapely.make_valid(geometry)
    shape = polygonal(valid)
    if shape.area < LEAST_AREA_M2:
        raise Faults(f"{where} has a ring that encloses no area ({shape.area:.2g} m2); draw its outline")
    if valid is not geometry:
        notes = (
            Note(
                "boundary repaired",
                "the boundary crossed itself and was repaired ({where})",
                "Area {before} before, by its corners as given, {after} after.",
                {
                    "where": shapely.is_valid_reason(geometry),
                    "before": Quantity(geometry.area, "area"),
                    "after": Quantity(shape.area, "area"),
                },
            ),
        )
    return Plot(outline.plot_id, shape, notes)
