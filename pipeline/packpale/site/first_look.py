"""What can be told from files that nobody has described yet: layers, columns that name plots, columns of soil."""

import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults
from packpale.settings.columns import SOIL_COLUMNS, TEXTURE, TheirColumn
from packpale.site import crs as crs_
from packpale.site.dxf import drawing_layers, is_drawing, read_drawing
from packpale.site.files import check_file, check_utf8
from packpale.site.outlines import NUMBER, id_text
from packpale.site.plot_tables import wkt_column
from packpale.site.plots import TEXTS, WELL_KNOWN_TEXT, is_gpx
from packpale.site.rasters import Elevation
from packpale.site.tables import coordinate_columns, find_column, read_table
from packpale.site.vectors import Layer, choose_layer, layer_names, read_layer
from packpale.values.soil_words import soil_columns, soil_word

NAMING = (
    ("plot", "parcel", "parcela", "parcelle", "field", "flur", "lot", "site"),
    ("name", "nom", "nombre", "navn", "namn", "naam", "bezeichnung", "title", "label", "text"),
    ("id", "code", "key", "nr", "no", "num", "number", "ref", "layer"),
)
"""Words in the names of columns that name plots, the likeliest first."""
LONGEST_NAME = 40
"""Characters; what is longer describes a plot and does not name it."""


@dataclass(frozen=True)
class PlotsLook:
    """What a file of plots holds."""

    layer: str | None
    """The layer taken; None where a file has no layers, or one alone."""
    layers: tuple[str, ...]
    """All that could be plots."""
    count: int
    names: tuple[str, ...]
    """Columns with a name of its own for each plot, the likeliest first; empty if there is none."""
    crs: CRS | None
    """None where the file states none, or each row its own."""
    states_crs: bool
    """Whether places can be told without the run's CRS."""
    bounds: tuple[float, float, float, float]
    """West, south, east, north in the numbers of the file."""

    @property
    def plot_id(self) -> str:
        return self.names[0] if self.names else NUMBER


def look_at_plots(path: Path, wanted: str | None, elevation: Elevation | None) -> PlotsLook:
    """What a file holds that could be plots; of several layers the one with most plots on the elevation is taken.

    Raises Faults if the file cannot be read, or holds nothing that could be a plot.
    """
    kind = path.suffix.lower()
    if kind in TEXTS:
        return _table(path)
    if kind in WELL_KNOWN_TEXT:
        return _lines_of_text(path)
    layers = list(_layers(path, wanted))
    if not layers:
        raise Faults(f"{path.name}: holds no outline of a plot; draw each plot as a polygon and name that file")
    best = max(layers, key=lambda layer: _rank(layer, elevation))
    names = tuple(layer.name for layer in layers)
    bounds = tuple(float(b) for b in shapely.total_bounds([f.geometry for f in best.features]))
    return PlotsLook(
        best.name if len(names) > 1 or is_drawing(path) else None,
        names,
        len(best.features),
        naming_columns(best.columns, [f.properties for f in best.features]),
        best.crs,
        best.crs is not None,
        (bounds[0], bounds[1], bounds[2], bounds[3]),
    )


def _layers(path: Path, wanted: str | None) -> Iterator[Layer]:
    """The layers of a file that hold outlines, with these features alone."""
    if is_drawing(path):
        for name in drawing_layers(path) if wanted is None else (wanted,):
            yield read_drawing(path, name, None)
        return
    walked = path.suffix.lower() != ".gdb" and is_gpx(path)
    for name in layer_names(path) if wanted is None else (choose_layer(path, wanted, "--plots-layer"),):
        if walked and name not in ("tracks", "routes"):
            continue
        layer = read_layer(path, name)
        areas = [f for f in layer.features if f.geometry is not None and (walked or _is_area(f.geometry))]
        if areas:
            yield Layer(layer.file, layer.name, layer.crs, layer.columns, tuple(areas))


def _rank(layer: Layer, elevation: Elevation | None) -> tuple[int, int, bool]:
    """How likely a layer holds the plots: on the elevation, by its name, with names; of a recorder, walked."""
    named = bool(naming_columns(layer.columns, [f.properties for f in layer.features]))
    return _on(layer, elevation), _likelihood(layer.name), named and layer.name != "routes"


def _is_area(geometry: BaseGeometry) -> bool:
    return geometry.geom_type in ("Polygon", "MultiPolygon") and not geometry.is_empty


def _on(layer: Layer, elevation: Elevation | None) -> int:
    """How many of a layer's outlines meet the elevation."""
    if elevation is None or layer.crs is None:
        return 0
    footprint = elevation.footprint()
    met = 0
    for feature in layer.features:
        try:
            there = crs_.moved_geometry(feature.geometry, layer.crs, elevation.crs, layer.file)
        except Faults:
            continue
        met += bool(footprint.intersects(there))
    return met


def _likelihood(name: str) -> int:
    """How likely a column or a layer of this name is about plots: 0 not at all."""
    words = set(re.findall(r"[^\W\d_]+", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name).casefold()))
    words |= {w.removesuffix("s") for w in words}
    return next((len(NAMING) - rank for rank, known in enumerate(NAMING) if words & set(known)), 0)


def naming_columns(columns: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """Columns in which every row has a name of its own, the likeliest first."""
    able = [c for c in columns if c and _names_all([row.get(c) for row in rows])]
    numbers = {c: all(not isinstance(row.get(c), str) for row in rows) for c in able}
    return tuple(sorted(able, key=lambda c: (-_likelihood(c), numbers[c], columns.index(c))))


def _names_all(values: Sequence[Any]) -> bool:
    """Whether values can name plots: each of its own, and no measures or descriptions."""
    if any(isinstance(v, float | np.floating) and np.isfinite(v) and v != round(v) for v in values):
        return False
    try:
        names = [id_text(v, "", "") for v in values]
    except Faults:
        return False
    # Programs see no difference in some names that people do: where a file system takes two for one, so do we.
    return len({n.casefold() for n in names}) == len(names) > 0 and max(map(len, names)) <= LONGEST_NAME


def _table(path: Path) -> PlotsLook:
    table = read_table(path)
    cells = [row.cells for row in table.rows]
    crs_column = find_column("crs", table.columns)
    stated = crs_column is not None and all(row[crs_column] for row in cells)
    outlines = wkt_column(table, {})
    if outlines is not None:
        columns = [c for c in table.columns if c not in (outlines, crs_column)]
        tagged = all(_is_tagged(row[outlines]) for row in cells)
        return PlotsLook(
            None,
            (),
            len(cells),
            naming_columns(columns, cells),
            None,
            stated or tagged,
            _text_bounds([row[outlines] for row in cells], path.name),
        )
    x, y, degrees = coordinate_columns(table)
    columns = [c for c in table.columns if c not in (x, y, crs_column)]
    names = [c for c in columns if c and _names_rings([row[c] for row in cells])]
    names.sort(key=lambda c: (-_likelihood(c), table.columns.index(c)))
    places = [table.point(row, x, y) for row in table.rows]
    xs, ys = zip(*places, strict=True)
    return PlotsLook(
        None,
        (),
        len({row[names[0]] for row in cells}) if names else 1,
        tuple(names),
        CRS.from_epsg(4326) if degrees else None,
        degrees or stated,
        (min(xs), min(ys), max(xs), max(ys)),
    )


def _lines_of_text(path: Path) -> PlotsLook:
    check_file(path, "name a file")
    check_utf8(path)
    lines = [line for line in path.read_text(encoding="utf-8-sig").splitlines() if line.strip()]
    if not lines:
        raise Faults(f"{path.name}: is empty; write an outline a line, such as POLYGON ((0 0, 90 0, 90 60, 0 0))")
    tagged = all(_is_tagged(line) for line in lines)
    return PlotsLook(None, (), len(lines), (), None, tagged, _text_bounds(lines, path.name))


def _is_tagged(text: str) -> bool:
    """Whether well-known text has its CRS in front."""
    return text.strip().upper().startswith("SRID=")


def _text_bounds(texts: Sequence[str], name: str) -> tuple[float, float, float, float]:
    """Bounds of all outlines that can be read. Raises Faults if none can."""
    shapes = shapely.from_wkt([text.partition(";")[2] or text for text in texts], on_invalid="ignore")
    west, south, east, north = (float(b) for b in shapely.total_bounds(shapes))
    if math.isnan(west):
        raise Faults(f"{name}: holds no outline as well-known text; write it as POLYGON ((0 0, 90 0, 90 60, 0 0))")
    return west, south, east, north


def _names_rings(values: Sequence[str]) -> bool:
    """Whether a column of corners in walking order says which ring each belongs to: three or more rows each."""
    runs = [v for i, v in enumerate(values) if i == 0 or v != values[i - 1]]
    counts = Counter(values)
    return all(values) and len(counts) == len(runs) and min(counts.values()) >= 3


def crs_of_numbers(look: PlotsLook, elevation: Elevation) -> CRS | None:
    """The elevations' CRS, where plots that state none lie on them if their numbers are taken in it; else None."""
    footprint = elevation.footprint()
    here = elevation.crs if crs_.is_run_crs(elevation.crs) else None
    return here if here is not None and shapely.box(*look.bounds).intersects(footprint) else None


def look_at_soil(path: Path) -> dict[str, TheirColumn]:
    """Columns of a soil map that hold what ours do under names of their own: by published names, and by their words.

    Ours that it has under our own names are left out. Raises Faults if the file cannot be read.
    """
    layers = [read_layer(path, name) for name in layer_names(path)]
    columns = tuple(dict.fromkeys(c for layer in layers for c in layer.columns))
    short = {c[:10]: c for c in SOIL_COLUMNS} if path.suffix.lower() == ".shp" else {}
    there = {c for c in SOIL_COLUMNS if find_column(c, columns)} | {c for s, c in short.items() if s in columns}
    found: dict[str, TheirColumn] = {}
    for known in soil_columns():
        name = find_column(known.name, columns)
        if name is not None and known.column not in {*there, *found}:
            found[known.column] = TheirColumn(column=name, unit=known.unit)
    for ours, unit in (("drainage_class", None), ("rock_hardness", None), ("clay_percent", TEXTURE)):
        for name in filter(None, columns):
            if ours in {*there, *found}:
                break
            said = {str(v).strip() for la in layers for f in la.features if (v := f.properties.get(name))} - {""}
            if said and all(soil_word(ours, word) is not None for word in said):
                found[ours] = TheirColumn(column=name, unit=unit)
    return found
