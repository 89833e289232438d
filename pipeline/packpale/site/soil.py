"""Soil: polygons of a survey and trial pits, read as they are given."""

import difflib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pydantic import ValidationError
from pyproj import CRS
from shapely.geometry import MultiPolygon, Point
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults, Gathering
from packpale.settings import DRAINAGE_CLASSES, SoilSettings
from packpale.settings.columns import SOIL_COLUMNS, TheirColumn
from packpale.site import crs as crs_
from packpale.site.columns import Column, mapped_columns, nearest
from packpale.site.model import Pit
from packpale.site.tables import coordinate_columns, find_column, listed, number, read_table, shown
from packpale.site.vectors import Layer, layer_names, no_crs, polygonal, read_layer
from packpale.values.notes import Note
from packpale.values.quantity import Quantity
from packpale.values.soil_words import soil_word, soil_words

COLUMNS = SOIL_COLUMNS
"""What a polygon or a pit may say."""
WORDS = {"rock_hardness": ("hard", "soft"), "drainage_class": DRAINAGE_CLASSES}
"""Columns that hold a word, and the words."""
DEPTHS = ("depth_to_rock_m", "water_table_m")
SHAPEFILE_NAME = 10
"""Characters a column name of a shapefile can have."""
ONE_PLACE_M = 0.1
"""Places that round to the same multiples of this are one: no bucket digs two holes nearer to each other. [m]"""
MOST_LISTED = 5
"""Places that the note lists."""

Values = Mapping[str, float | str]
NONE: Mapping[Any, TheirColumn] = {}


@dataclass(frozen=True)
class SoilArea:
    """One soil polygon in the run's CRS and what it says."""

    polygon: MultiPolygon
    values: Values


def _value(ours: str, column: Column, found: Any, where: str, *, decimal_comma: bool = False) -> float | str | None:
    """What a cell says of ``ours``, None for nothing. Raises Faults if it is outside what the settings allow."""
    if found is None or (isinstance(found, float | np.floating) and np.isnan(found)):
        return None
    text = str(found).strip()
    if not text:
        return None
    if ours in WORDS or column.is_texture:
        return _word(ours, column, text, where)
    value = None
    if isinstance(found, str):
        value = number(text, decimal_comma=decimal_comma)
    elif isinstance(found, int | float | np.number) and not isinstance(found, bool):
        value = float(found)
    named = column.shown(ours)
    if value is None or not math.isfinite(value):
        raise Faults(f'{where}: {named} is "{shown(text)}"; it must be a finite number')
    said = text if column.unit is None else f"{text} {column.unit}"
    try:
        SoilSettings.model_validate({ours: value * column.factor})
    except ValidationError as error:
        if ours in DEPTHS and value < 0:
            raise Faults(f"{where}: {named} is {said}, above the ground; write how deep it lies, 0 or more") from error
        message = error.errors()[0]["msg"]
        raise Faults(f"{where}: {named} is {said}; {message[0].lower()}{message[1:]}{_other_unit(ours)}") from error
    return value * column.factor


def _other_unit(ours: str) -> str:
    what = "metres" if ours in DEPTHS else "percent"
    return f" {what}; correct it, or name its unit in the settings"


def _word(ours: str, column: Column, text: str, where: str) -> str | float:
    """What a survey's word means. Raises Faults with the nearest that is known."""
    means = soil_word(ours, text)
    if means is not None:
        return float(means) if column.is_texture else means
    known = list(soil_words()[ours])
    hint = nearest(" ".join(text.casefold().split()).removesuffix(" drained"), known)
    allowed = ", ".join(known if column.is_texture else WORDS[ours])
    raise Faults(f'{where}: {column.shown(ours)} is "{shown(text)}", which is none of {allowed}; {hint}')


def read_soil_areas(
    path: Path, crs: CRS | None, faults: Gathering, notes: list[Note], theirs: Mapping[Any, TheirColumn] = NONE
) -> tuple[SoilArea, ...]:
    """Soil polygons of all layers of a file; with ``crs`` None they are checked and dropped.

    ``theirs`` are columns under other names.
    """
    out: list[SoilArea] = []
    repaired = 0
    with faults.gather():
        layers = [read_layer(path, name) for name in layer_names(path)]
        if not any(layer.features for layer in layers):
            raise Faults(f"{path.name}: holds no feature; draw soil polygons, or drop inputs.soil")
        every = tuple(dict.fromkeys(c for layer in layers for c in layer.columns))
        missing = Gathering()
        mapped_columns(COLUMNS, theirs, every, path.name, missing)
        missing.raise_if_any()
        columns = {layer.name: _soil_columns(layer, theirs) for layer in layers}
        if not any(columns.values()):
            raise Faults(_no_soil_column(path.name, sorted(every), "inputs.soil_columns"))
        for layer in layers:
            for name, near in near_misses(layer.columns, columns[layer.name]):
                notes.append(
                    Note(
                        "input left out",
                        '{file}: the column "{column}" was not read; a column "{near}" would be',
                        values={"file": layer.file, "column": shown(name), "near": near},
                    )
                )
            if layer.crs is None and layer.features:
                faults.add(no_crs(layer))
            for feature in layer.features:
                where = layer.where(feature)
                values = _values(columns[layer.name], feature.properties, where, faults)
                with faults.gather():
                    shape, crossed = _soil_polygon(feature.geometry, layer.crs, crs, where)
                    repaired += crossed
                    out.append(SoilArea(shape, values))
    if repaired:
        notes.append(
            Note(
                "input repaired",
                "{file}: {repaired} of {all} soil polygons crossed themselves and were repaired",
                values={"file": path.name, "repaired": repaired, "all": len(out)},
                size=repaired,
            )
        )
    _note_overlaps(path.name, out, notes)
    return tuple(out) if crs is not None else ()


def _soil_polygon(
    geometry: BaseGeometry | None, own: CRS | None, crs: CRS | None, where: str
) -> tuple[MultiPolygon, bool]:
    """A soil polygon in the run's CRS, valid, and whether it had to be repaired. Raises Faults."""
    if geometry is None or geometry.is_empty:
        raise Faults(f"{where}: has no geometry; draw the polygon or drop the feature")
    if geometry.geom_type not in ("Polygon", "MultiPolygon"):
        raise Faults(f"{where}: is a {geometry.geom_type}, soil is given as polygons; draw those")
    if own is not None and crs is not None:
        geometry = crs_.moved_geometry(geometry, own, crs, where)
    crossed = not geometry.is_valid
    shape = polygonal(shapely.make_valid(geometry) if crossed else geometry)
    if shape.area <= 0:
        raise Faults(f"{where}: has a ring that encloses no area; draw the polygon or drop the feature")
    return shape, crossed


def _values(
    columns: Mapping[str, Column],
    cells: Mapping[str, Any],
    where: str,
    faults: Gathering,
    *,
    decimal_comma: bool = False,
) -> Values:
    """What the cells of one polygon or pit say, those that say nothing left out."""
    values: dict[str, float | str] = {}
    for ours, column in columns.items():
        with faults.gather():
            value = _value(ours, column, cells[column.name], where, decimal_comma=decimal_comma)
            if value is not None:
                values[ours] = value
    return values


def _no_soil_column(name: str, columns: Sequence[str], key: str) -> str:
    return (
        f"{name}: has none of the columns {', '.join(COLUMNS)}; "
        f"columns are {listed(columns)}; name those that say the same under {key}"
    )


def _soil_columns(layer: Layer, theirs: Mapping[Any, TheirColumn]) -> dict[str, Column]:
    """Columns of [soil] that a layer has; a shapefile has only the first ten letters of ours."""
    out = mapped_columns(COLUMNS, theirs, layer.columns, layer.file, Gathering())
    if layer.file.lower().endswith(".shp"):
        for ours in COLUMNS:
            name = find_column(ours[:SHAPEFILE_NAME], layer.columns)
            if ours not in out and name is not None:
                out[ours] = Column(name)
    return out


def near_misses(columns: Sequence[str], used: Mapping[str, Column]) -> list[tuple[str, str]]:
    """Columns that are not read but look like one that would be, with that one; ``used`` maps those that are."""
    free = [c for c in COLUMNS if c not in used]
    read = {c.name for c in used.values()}
    unread = [c for c in columns if c not in read]
    pairs = [(c, difflib.get_close_matches(c.casefold(), free, n=1, cutoff=0.85)) for c in unread]
    return [(c, near[0]) for c, near in pairs if near]


def _note_overlaps(name: str, areas: Sequence[SoilArea], notes: list[Note]) -> None:
    polygons = np.array([a.polygon for a in areas], dtype=object)
    if len(polygons) < 2:
        return
    first, second = shapely.STRtree(polygons).query(polygons, predicate="intersects")
    first, second = first[first < second], second[first < second]
    shared = shapely.area(shapely.intersection(polygons[first], polygons[second]))
    # Neighbours drawn edge to edge overlap by slivers that decide no cell.
    count = int((shared > 1.0).sum())
    if count:
        pairs = "one pair of soil polygons overlaps" if count == 1 else "{count} pairs of soil polygons overlap"
        area = float(shared[shared > 1.0].sum())
        notes.append(
            Note(
                "inputs differ",
                f"{{file}}: {pairs}, by {{area}} in all",
                "The smaller polygon counts there.",
                {"file": name, "area": Quantity(area, "surface"), **({"count": count} if count > 1 else {})},
                size=area,
            )
        )


def read_pits(
    path: Path,
    crs: CRS | None,
    project_crs: CRS | None,
    faults: Gathering,
    notes: list[Note],
    *,
    theirs: Mapping[Any, TheirColumn] = NONE,
) -> tuple[Pit, ...]:
    """Trial pits from a table with x, y (in its column crs, else the run's CRS) or lon, lat, and columns of [soil].

    An empty cell says nothing: a pit that met no rock leaves depth_to_rock_m empty. With ``crs`` None the table is
    checked and dropped. Adds to ``faults`` and ``notes``.
    """
    out: list[Pit] = []
    rows: list[int] = []
    with faults.gather():
        table = read_table(path)
        places = {k: v.column for k, v in theirs.items()}
        x_column, y_column, degrees = coordinate_columns(table, places)
        crs_column = None if degrees else find_column(places.get("crs", "crs"), table.columns)
        columns = mapped_columns(COLUMNS, theirs, table.columns, table.name, faults)
        for name, near in near_misses(table.columns, columns):
            faults.add(f'{table.name}: the column "{shown(name)}" would not be read; rename it to "{near}" or drop it')
        if not columns:
            raise Faults(_no_soil_column(table.name, table.columns, "inputs.columns.pits"))
        for row in table.rows:
            where = f"{table.name}, row {row.number}"
            values = _values(columns, row.cells, where, faults, decimal_comma=table.decimal_comma)
            with faults.gather():
                x, y = table.point(row, x_column, y_column)
                text = row.cells[crs_column] if crs_column else ""
                own = CRS.from_epsg(4326) if degrees else crs_.parse(text, where) if text else project_crs or crs
                if crs is not None and own is not None:
                    point = crs_.moved_geometry(Point(x, y), own, crs, where)
                    out.append(Pit(point.x, point.y, values))
                    rows.append(row.number)
        if note := _note_of_repeated_pits(table.name, out, rows):
            notes.append(note)
    return tuple(out)


def _note_of_repeated_pits(name: str, pits: Sequence[Pit], rows: Sequence[int]) -> Note | None:
    """What to know of pits at one place that differ, ``rows`` being theirs in the table; None if there are none.

    Of such pits ``soil_on`` takes the mean of numbers, since each has the same weight, and the word of the last.
    """
    places = list(_differing(pits, rows))
    if not places:
        return None
    listed = ", ".join(f"rows {' and '.join(map(str, rows))} in {' and '.join(c)}" for rows, c in places[:MOST_LISTED])
    more = len(places) - MOST_LISTED
    others = f" and {more} more places" if more > 0 else ""
    return Note(
        "inputs differ",
        "{file}: trial pits at one place differ",
        "They are {places}. The mean of numbers is used there, and the word of the last row; drop the rows that "
        "are wrong.",
        {"file": name, "places": f"{listed}{others}"},
        size=len(places),
    )


def _differing(pits: Sequence[Pit], rows: Sequence[int]) -> Iterator[tuple[list[int], list[str]]]:
    """Rows of each place whose pits differ, and the columns in which they do."""
    places: dict[tuple[int, int], list[int]] = {}
    for i, pit in enumerate(pits):
        places.setdefault((round(pit.x / ONE_PLACE_M), round(pit.y / ONE_PLACE_M)), []).append(i)
    for here in places.values():
        said: dict[str, set[float | str]] = {}
        for i in here:
            for column, value in pits[i].values.items():
                said.setdefault(column, set()).add(value)
        columns = [column for column, values in said.items() if len(values) > 1]
        if columns:
            yield [rows[i] for i in here if any(c in pits[i].values for c in columns)][:MOST_LISTED], columns
