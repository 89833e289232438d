"""Candidate plots: from a vector file, a drawing, a track walked round a field, or a table, to valid outlines."""

import difflib
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any

import shapely
from pyproj import CRS
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults, Gathering
from packpale.settings.columns import TheirColumn
from packpale.site import crs as crs_
from packpale.site.dxf import is_drawing, needs_crs, read_drawing
from packpale.site.files import check_file
from packpale.site.model import Plot
from packpale.site.outlines import NUMBER, Outline, id_text
from packpale.site.plot_tables import read_plot_table, read_wkt_file
from packpale.site.tables import find_column, missing_column
from packpale.site.vectors import Feature, Layer, choose_layer, layer_names, no_crs, polygonal, read_layer, xml_root
from packpale.units import measured
from packpale.values.notes import Note
from packpale.values.quantity import Quantity

LEAST_AREA_M2 = 1.0
"""Rings that enclose less are a slip of the pen. [m2]"""
TEXTS = (".csv", ".txt")
WELL_KNOWN_TEXT = (".wkt", ".ewkt")


def read_outlines(
    path: Path,
    layer: str | None,
    id_column: str,
    project_crs: CRS | None,
    faults: Gathering,
    *,
    theirs: Mapping[Any, TheirColumn] = MappingProxyType({}),
    candidates: Sequence[str] | None = None,
) -> tuple[Outline, ...]:
    """The plots of a file whose name, geometry and CRS can be told; everything else goes to ``faults``.

    ``theirs`` are columns of a table under other names; ``candidates`` names the plots that count, without it all do.
    """
    found: list[Outline] = []
    with faults.gather():
        kind = path.suffix.lower()
        if kind in (*TEXTS, *WELL_KNOWN_TEXT) and layer is not None:
            raise Faults(f"inputs.plots_layer: {path.name} is a table and has no layers; drop the key")
        if kind not in TEXTS and theirs:
            raise Faults(f"inputs.columns.plots: {path.name} is no table; drop the key")
        if kind in TEXTS:
            columns = {ours: their.column for ours, their in theirs.items()}
            found = read_plot_table(path, id_column, project_crs, columns, faults)
        elif kind in WELL_KNOWN_TEXT:
            found = read_wkt_file(path, id_column, project_crs, faults)
        elif is_drawing(path):
            if project_crs is None:
                raise needs_crs(path)
            found = _from_layer(read_drawing(path, layer, project_crs), id_column, faults)
        elif kind != ".gdb" and is_gpx(path):
            found = _from_gpx(path, layer, id_column, faults)
        else:
            found = _from_layer(read_layer(path, choose_layer(path, layer, "inputs.plots_layer")), id_column, faults)
    if candidates is not None and found:
        found = _chosen(found, candidates, path, faults)
    _check_ids(found, faults)
    return tuple(found)


def _chosen(found: Sequence[Outline], candidates: Sequence[str], path: Path, faults: Gathering) -> list[Outline]:
    names = [o.plot_id for o in found]
    for wanted in candidates:
        if wanted not in names:
            near = difflib.get_close_matches(wanted, names, n=1, cutoff=0.5)
            hint = f'did you mean "{near[0]}"?' if near else "name plots of the file"
            faults.add(f'inputs.candidates: {path.name} has no plot "{wanted}"; {hint}')
    return [o for o in found if o.plot_id in candidates]


def is_gpx(path: Path) -> bool:
    check_file(path, "name a file")
    return xml_root(path) == "gpx"


def _from_layer(layer: Layer, id_column: str, faults: Gathering) -> list[Outline]:
    column = _id_column(layer, id_column)
    out = []
    for number, feature in enumerate(layer.features, 1):
        where, geometry = layer.where(feature), feature.geometry
        with faults.gather():
            if geometry is None or geometry.is_empty:
                raise Faults(f"{where}: has no geometry; draw the plot or drop the feature")
            if geometry.geom_type not in ("Polygon", "MultiPolygon"):
                raise Faults(f"{where}: is a {geometry.geom_type}, plots are polygons; draw its outline")
            out.append(_outline(feature, number, column, geometry, layer))
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
    for number, feature in enumerate(walked.features, 1):
        where = walked.where(feature)
        with faults.gather():
            # Pieces of an interrupted recording follow each other in one ring.
            points = shapely.get_coordinates(feature.geometry)
            if len(points) < 3:
                raise Faults(f"{where}: has {len(points)} points, a ring needs 3; record the whole round")
            out.append(_outline(feature, number, column, Polygon(points), walked))
    return out


def _id_column(layer: Layer, wanted: str) -> str | None:
    """The column that names the plots; None to number them. Raises Faults."""
    column = find_column(wanted, layer.columns)
    if not layer.features:
        raise Faults(f"{layer.file}: its layer {layer.name!r} is empty; draw at least one plot")
    faults = Gathering()
    if column is None and wanted.casefold() != NUMBER:
        faults.add(missing_column(layer.file, wanted, layer.columns))
    if layer.crs is None:
        faults.add(no_crs(layer))
    faults.raise_if_any()
    return column


def _outline(feature: Feature, number: int, column: str | None, geometry: BaseGeometry, layer: Layer) -> Outline:
    if layer.crs is None:
        raise Faults(no_crs(layer))
    where = layer.where(feature)
    name = str(number) if column is None else id_text(feature.properties[column], column, where)
    return Outline(name, where, geometry, layer.crs)


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
        raise Faults(
            f"{where} has a ring that encloses no area ({measured(shape.area, 'm2', '.2g')}); draw its outline"
        )
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
