"""Vector files of any format, feature by feature, before anybody knows what they mean."""

import difflib
import sqlite3
import sys
import warnings
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry import MultiPolygon, shape
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults, Gathering
from packpale.site.carried_crs import refuse_bound_crs
from packpale.site.crs import from_wkt, moved_geometry
from packpale.site.files import SKIPPED, check_file, check_utf8, head_of
from packpale.site.tables import number as number_in
from packpale.values.notes import Note

MOST_VERTICES = 1_000_000
"""Vertices one feature may have; a fence line needs far fewer, and a slip should not fill the memory."""
MOST_FEATURES = 500_000
"""Features a layer may have; a view in a database can go on for ever."""
FORMATS = (
    "GPKG",
    "GeoJSON",
    "GeoJSONSeq",
    "ESRI Shapefile",
    "FlatGeobuf",
    "GPX",
    "DXF",
    "MapInfo File",
    "OpenFileGDB",
    "TopoJSON",
)
"""GDAL drivers that may open a file: those whose files stand alone, so that none of them reaches for a network."""
EXAMPLES = "a whole GeoPackage, GeoJSON, Shapefile, FlatGeobuf, KML, GPX or DXF file"
"""What messages suggest."""


@dataclass(frozen=True)
class Feature:
    """One feature as the file has it: number from 1, geometry in the layer's CRS (None if it has none)."""

    number: int
    geometry: BaseGeometry | None
    properties: Mapping[str, Any]


@dataclass(frozen=True)
class Layer:
    """One layer with geometry."""

    file: str
    """Name of the file."""
    name: str
    crs: CRS | None
    columns: tuple[str, ...]
    features: tuple[Feature, ...]

    def where(self, feature: Feature) -> str:
        return f"{self.file}, feature {feature.number}"


def xml_root(path: Path) -> str | None:
    """Name of the root element of an XML file; None if the file is not XML.

    Raises Faults if the XML is broken, has a coordinate that is no number, or declares entities or a document type:
    GDAL's readers might expand those, and take a number for what begins like one.
    """
    if path.is_dir():
        return None
    head = head_of(path)
    wide = head.startswith((b"\xff\xfe", b"\xfe\xff"))
    narrow = head.lstrip(SKIPPED)
    if not wide and not narrow.startswith(b"<"):
        if narrow.startswith((b"{", b"[")):
            check_utf8(path)
        return None
    if wide and "<" not in head.decode("utf-16", "replace")[:9]:
        raise Faults(f"{path.name}: is UTF-16, and no XML; save it in UTF-8")
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import iterparse

    root = None
    try:
        for event, element in iterparse(path, events=("start", "end"), forbid_dtd=True):
            root = element.tag if root is None else root
            if event == "end":
                _check_numbers(element, path.name)
                # Nothing is kept: only the guard and the root's name are wanted.
                element.clear()
    except DefusedXmlException as error:
        raise Faults(
            f"{path.name}: declares a document type or entities, which are refused; save it without them"
        ) from error
    except (ParseError, ValueError) as error:
        raise Faults(f"{path.name}: is no well-formed XML ({error}); export it again") from error
    return str(root).rsplit("}", 1)[-1].lower()


def _check_numbers(element: Any, name: str) -> None:
    """Raise Faults for a point of a track, or a coordinate of a KML, that is no number."""
    kind = str(element.tag).rsplit("}", 1)[-1]
    if kind in ("trkpt", "rtept", "wpt"):
        found = [(key, element.get(key)) for key in ("lat", "lon")]
    elif kind == "coordinates":
        found = [("a coordinate", part) for place in (element.text or "").split() for part in place.split(",") if part]
    else:
        return
    for what, text in found:
        if text is None or number_in(text) is None:
            said = "missing" if text is None else f'"{text}"'
            raise Faults(f"{name}: {what} of a <{kind}> is {said}; it must be a finite number")


@contextmanager
def _complaints_unread() -> Iterator[None]:
    """Let pass that the reader's log cannot take a complaint which quotes half a letter; it is raised all the same."""
    printed, ignored = sys.excepthook, sys.unraisablehook

    def excepthook(kind: Any, error: Any, trace: Any) -> None:
        if not issubclass(kind, UnicodeDecodeError):
            printed(kind, error, trace)

    def unraisablehook(found: Any) -> None:
        if not isinstance(found.exc_value, UnicodeDecodeError):
            ignored(found)

    # The library's log goes through both.
    sys.excepthook, sys.unraisablehook = excepthook, unraisablehook
    try:
        yield
    finally:
        sys.excepthook, sys.unraisablehook = printed, ignored


@contextmanager
def _as_faults(path: Path) -> Iterator[None]:
    """Whatever a reader says about a broken file becomes one fault; stands round calls of the reader alone."""
    from fiona.errors import UnsupportedGeometryTypeError

    try:
        with warnings.catch_warnings(), _complaints_unread():
            # Columns without a name and the like: what matters of it is told as a fault.
            warnings.simplefilter("ignore")
            yield
    except Exception as error:
        # Some errors of GDAL reach us as the readers have them inside, with no public class but Exception.
        reason = " ".join(str(error).split())
        if isinstance(error, UnsupportedGeometryTypeError):
            reason = f"{reason} is no kind of geometry"
        raise Faults(f"{path.name}: cannot be read as a vector file ({reason}); supply {EXAMPLES}") from error


def _checked(path: Path) -> bool:
    """Whether pyogrio reads the file (KML), after making sure that there is one. Raises Faults."""
    if not (path.is_dir() and path.suffix.lower() == ".gdb"):
        check_file(path, "name a file")
    if path.suffix.lower() == ".kmz":
        raise Faults(f"{path.name}: is a packed KML; unpack it and name the .kml file in it")
    refuse_bound_crs(path)
    root = xml_root(path)
    if root not in (None, "kml", "gpx"):
        # Other XML may name files and schemas elsewhere, which GDAL would fetch.
        raise Faults(f"{path.name}: is XML, but neither KML nor GPX (<{root}>); supply {EXAMPLES}")
    return root == "kml"


def layer_names(path: Path) -> tuple[str, ...]:
    """Names of the layers that carry geometry; a GPX file's are those of waypoints, routes and tracks it holds.

    Raises Faults if the file is missing or cannot be read.
    """
    if _checked(path):
        import pyogrio

        with _as_faults(path):
            return tuple(str(name) for name, kind in pyogrio.list_layers(path) if kind is not None)
    import fiona

    views = _views(path)
    with _as_faults(path):
        found = [str(name) for name in fiona.listlayers(str(path))]
    for name in found:
        if name in views:
            raise Faults(_view(path, name))
    with _as_faults(path):
        return tuple(name for name in found if _has_geometry(path, name))


def _has_geometry(path: Path, layer: str) -> bool:
    import fiona

    with fiona.open(str(path), layer=layer, enabled_drivers=list(FORMATS)) as source:
        if source.schema["geometry"] == "None":
            return False
        return source.driver != "GPX" or not (layer.endswith("_points") or next(iter(source), None) is None)


def _views(path: Path) -> frozenset[str]:
    """Names of the views in a GeoPackage. Raises Faults if what must be its own table is one.

    A view can have rows without end, which GDAL would count before anybody could stop it.
    """
    if path.is_dir() or not head_of(path).startswith(b"SQLite format 3\0"):
        return frozenset()
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)) as base:
            views = frozenset(str(n) for (n,) in base.execute("select name from sqlite_master where type = 'view'"))
    except sqlite3.Error:
        # Damaged; GDAL says how.
        return frozenset()
    for name in sorted(views):
        if name.startswith("gpkg_"):
            raise Faults(_view(path, name))
    return views


def _view(path: Path, name: str) -> str:
    return f"{path.name}: {name!r} is a view, computed from other tables; save it as a layer of its own"


def choose_layer(path: Path, wanted: str | None, key: str) -> str:
    """The layer to read: the one named under the settings key ``key``, or the only one. Raises Faults."""
    names = layer_names(path)
    listed = ", ".join(repr(n) for n in names)
    if not names:
        raise Faults(f"{path.name}: has no layer with geometry; supply one that has")
    if wanted is None:
        if len(names) > 1:
            raise Faults(f"{path.name}: has the layers {listed}; name one of them as {key}")
        return names[0]
    if wanted not in names:
        nearest = difflib.get_close_matches(wanted, names, n=1, cutoff=0.5)
        hint = f"; did you mean {nearest[0]!r}?" if nearest else ""
        raise Faults(f"{path.name}: has no layer {wanted!r}; layers are {listed}{hint}")
    return wanted


def read_layer(path: Path, name: str) -> Layer:
    """All features of a layer; geometry is 2-D or 3-D as it stands, only its size is checked. Raises Faults."""
    return _read_kml(path, name) if _checked(path) else _read_with_fiona(path, name)


def _read_with_fiona(path: Path, name: str) -> Layer:
    import fiona

    faults = Gathering()
    features = []
    with ExitStack() as stack:
        with _as_faults(path):
            source = stack.enter_context(fiona.open(str(path), layer=name, enabled_drivers=list(FORMATS)))
            wkt, columns = source.crs_wkt, tuple(source.schema["properties"])
        crs = from_wkt(wkt, path.name)
        for number, record in enumerate(_records(source, path), 1):
            if number > MOST_FEATURES:
                raise Faults(_too_many(path))
            geometry = None
            if record.geometry is not None:
                try:
                    # What is no number is told as a fault of the feature.
                    with np.errstate(invalid="ignore"):
                        geometry = shape(record.geometry)
                except (ValueError, shapely.errors.ShapelyError) as error:
                    # Rings of fewer than three corners: no such polygon can be built.
                    faults.add(f"{path.name}, feature {number}: has a broken geometry ({error}); draw it again")
                    continue
            with faults.gather():
                check_size(geometry, f"{path.name}, feature {number}")
                features.append(Feature(number, geometry, dict(record.properties)))
    faults.raise_if_any()
    return Layer(path.name, name, crs, columns, tuple(features))


def _records(source: Any, path: Path) -> Iterator[Any]:
    """The records of a layer that fiona has opened."""
    records = iter(source)
    while True:
        with _as_faults(path):
            record = next(records, None)
        if record is None:
            return
        yield record


def _read_kml(path: Path, name: str) -> Layer:
    from pyogrio.raw import read

    faults = Gathering()
    with _as_faults(path):
        meta, _, wkb, values = read(path, layer=name, max_features=MOST_FEATURES + 1)
    if len(wkb) > MOST_FEATURES:
        raise Faults(_too_many(path))
    columns = tuple(str(c) for c in meta["fields"])
    features = []
    for i, blob in enumerate(wkb):
        number = i + 1
        geometry = None
        if blob is not None:
            try:
                geometry = shapely.from_wkb(blob)
            except shapely.errors.ShapelyError as error:
                faults.add(f"{path.name}, feature {number}: has a broken geometry ({error}); draw it again")
                continue
        with faults.gather():
            check_size(geometry, f"{path.name}, feature {number}")
            features.append(Feature(number, geometry, {c: v[i] for c, v in zip(columns, values, strict=True)}))
    faults.raise_if_any()
    return Layer(path.name, name, from_wkt(meta["crs"], path.name), columns, tuple(features))


def check_size(geometry: BaseGeometry | None, where: str) -> None:
    """Raise Faults if a geometry has more vertices than it may."""
    vertices = int(shapely.get_num_coordinates(geometry)) if geometry is not None else 0
    if vertices > MOST_VERTICES:
        raise Faults(
            f"{where}: has {vertices:,} vertices, allowed are {MOST_VERTICES:,}; simplify it or cut it in pieces"
        )


def _too_many(path: Path) -> str:
    return f"{path.name}: has more than {MOST_FEATURES:,} features; cut it to the land round the plots"


def polygonal(geometry: BaseGeometry) -> MultiPolygon:
    """The polygons in a valid geometry, lines and points dropped; empty if there are none."""
    parts = [p for p in _parts(geometry) if p.geom_type == "Polygon" and p.area > 0]
    if not parts:
        return MultiPolygon()
    whole = shapely.union_all(parts) if len(parts) > 1 else parts[0]
    return whole if isinstance(whole, MultiPolygon) else MultiPolygon([whole])


def _parts(geometry: BaseGeometry) -> Iterator[BaseGeometry]:
    if hasattr(geometry, "geoms"):
        for part in geometry.geoms:
            yield from _parts(part)
    else:
        yield geometry


def read_surroundings(path: Path, crs: CRS | None, faults: Gathering, notes: list[Note]) -> tuple[BaseGeometry, ...]:
    """Geometries of all layers of a file in the run's CRS, valid and 2-D; any geometry type.

    With ``crs`` None, which means that another fault left the run without one, the file is read but nothing is
    moved. Adds to ``faults`` and ``notes``.
    """
    return tuple(geometry for geometry, _, _ in read_features(path, crs, faults, notes))


def read_features(
    path: Path, crs: CRS | None, faults: Gathering, notes: list[Note]
) -> tuple[tuple[BaseGeometry, Feature, Layer], ...]:
    """As ``read_surroundings``, each geometry with the feature and layer it comes from."""
    out: list[tuple[BaseGeometry, Feature, Layer]] = []
    empty = repaired = 0
    before = len(faults.lines)
    with faults.gather():
        for name in layer_names(path):
            layer = read_layer(path, name)
            if layer.crs is None and layer.features:
                faults.add(no_crs(layer))
                continue
            for feature in layer.features:
                if feature.geometry is None or feature.geometry.is_empty:
                    empty += 1
                    continue
                with faults.gather():
                    geometry = feature.geometry
                    if crs is not None and layer.crs is not None:
                        geometry = moved_geometry(geometry, layer.crs, crs, layer.where(feature))
                        if not geometry.is_valid:
                            geometry, repaired = shapely.make_valid(geometry), repaired + 1
                    out.append((geometry, feature, layer))
    if not out and len(faults.lines) == before:
        faults.add(f"{path.name}: holds no feature with a geometry; add some, or drop the key from [inputs]")
    if empty and out:
        notes.append(
            Note(
                "input left out",
                "{file}: {empty} of {all} features have no geometry and were left out",
                values={"file": path.name, "empty": empty, "all": empty + len(out)},
                size=empty,
            )
        )
    if repaired:
        notes.append(
            Note(
                "input repaired",
                "{file}: {repaired} of {all} features crossed themselves and were repaired",
                values={"file": path.name, "repaired": repaired, "all": len(out)},
                size=repaired,
            )
        )
    return tuple(out)


def no_crs(layer: Layer) -> str:
    """The fault of a layer without a CRS."""
    return (
        f"{layer.file}: has no coordinate reference system on the Earth; "
        "write it into the file with the program that made it"
    )
