"""Vector files of any format, feature by feature, before anybody knows what they mean."""

import difflib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults, Gathering
from packpale.site.crs import from_wkt, moved_geometry

MOST_VERTICES = 1_000_000
"""Vertices one feature may have; a fence line needs far fewer, and a slip should not fill the memory."""
FORMATS = (
    "GPKG",
    "GeoJSON",
    "GeoJSONSeq",
    "ESRI Shapefile",
    "FlatGeobuf",
    "GPX",
    "MapInfo File",
    "OpenFileGDB",
    "TopoJSON",
)
"""GDAL drivers that may open a file: those whose files stand alone, so that none of them reaches for a network."""
EXAMPLES = "a whole GeoPackage, GeoJSON, Shapefile, FlatGeobuf, KML or GPX file"
"""What messages suggest."""
SIDECARS = (".dbf", ".shx", ".prj", ".cpg")
"""Files that belong to a shapefile."""


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


def files_of(path: Path) -> tuple[Path, ...]:
    """The files that make up a vector data set."""
    if path.is_dir():
        return tuple(sorted(p for p in path.rglob("*") if p.is_file()))
    if path.suffix.lower() == ".shp":
        beside = (p for suffix in SIDECARS for p in (path.with_suffix(suffix), path.with_suffix(suffix.upper())))
        return (path, *sorted({p for p in beside if p.is_file()}))
    return (path,)


def xml_root(path: Path) -> str | None:
    """Name of the root element of an XML file; None if the file is not XML.

    Raises Faults if the XML is broken, or declares entities or a document type: GDAL's readers might expand them.
    """
    if path.is_dir():
        return None
    with path.open("rb") as stream:
        head = stream.read(256)
    wide = head.startswith((b"\xff\xfe", b"\xfe\xff"))
    if not wide and not head.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"<"):
        return None
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import iterparse

    root = None
    try:
        for _, element in iterparse(path, events=("start", "end"), forbid_dtd=True):
            root = element.tag if root is None else root
            # Nothing is kept: only the guard and the root's name are wanted.
            element.clear()
    except DefusedXmlException as error:
        raise Faults(
            [f"{path.name}: declares a document type or entities, which are refused; save it without them"]
        ) from error
    except (ParseError, ValueError) as error:
        raise Faults([f"{path.name}: is no well-formed XML ({error}); export it again"]) from error
    return str(root).rsplit("}", 1)[-1].lower()


@contextmanager
def _as_faults(path: Path) -> Iterator[None]:
    """Whatever a reader says about a broken file becomes one fault."""
    from fiona.errors import FionaError
    from pyogrio.errors import DataLayerError, DataSourceError

    try:
        yield
    except (FionaError, DataSourceError, DataLayerError, OSError, ValueError, UnicodeError) as error:
        reason = " ".join(str(error).split())
        raise Faults([f"{path.name}: cannot be read as a vector file ({reason}); supply {EXAMPLES}"]) from error


def _checked(path: Path) -> bool:
    """Whether pyogrio reads the file (KML), after making sure that there is one. Raises Faults."""
    if not path.exists():
        raise Faults([f"{path}: there is no such file; correct the path"])
    if path.is_dir() and path.suffix.lower() != ".gdb":
        raise Faults([f"{path}: is a folder; name a file"])
    if path.suffix.lower() == ".kmz":
        raise Faults([f"{path.name}: is a packed KML; unpack it and name the .kml file in it"])
    try:
        root = xml_root(path)
    except OSError as error:
        raise Faults([f"{path}: cannot be read ({error.strerror}); check its permissions"]) from error
    if root not in (None, "kml", "gpx"):
        # Other XML may name files and schemas elsewhere, which GDAL would fetch.
        raise Faults([f"{path.name}: is XML, but neither KML nor GPX (<{root}>); supply {EXAMPLES}"])
    return root == "kml"


def layer_names(path: Path) -> tuple[str, ...]:
    """Names of the layers that carry geometry; a GPX file's are those of waypoints, routes and tracks it holds.

    Raises Faults if the file is missing or cannot be read.
    """
    is_kml = _checked(path)
    with _as_faults(path):
        if is_kml:
            import pyogrio

            return tuple(str(name) for name, kind in pyogrio.list_layers(path) if kind is not None)
        import fiona

        names = []
        for name in fiona.listlayers(str(path)):
            with fiona.open(str(path), layer=name, enabled_drivers=list(FORMATS)) as source:
                if source.schema["geometry"] == "None":
                    continue
                if source.driver == "GPX" and (name.endswith("_points") or next(iter(source), None) is None):
                    continue
                names.append(name)
        return tuple(names)


def choose_layer(path: Path, wanted: str | None, key: str) -> str:
    """The layer to read: the one named under the settings key ``key``, or the only one. Raises Faults."""
    names = layer_names(path)
    listed = ", ".join(repr(n) for n in names)
    if not names:
        raise Faults([f"{path.name}: has no layer with geometry; supply one that has"])
    if wanted is None:
        if len(names) > 1:
            raise Faults([f"{path.name}: has the layers {listed}; name one of them as {key}"])
        return names[0]
    if wanted not in names:
        nearest = difflib.get_close_matches(wanted, names, n=1, cutoff=0.5)
        hint = f"; did you mean {nearest[0]!r}?" if nearest else ""
        raise Faults([f"{path.name}: has no layer {wanted!r}; layers are {listed}{hint}"])
    return wanted


def read_layer(path: Path, name: str) -> Layer:
    """All features of a layer; geometry is 2-D or 3-D as it stands, only its size is checked. Raises Faults."""
    is_kml = _checked(path)
    with _as_faults(path):
        return _read_kml(path, name) if is_kml else _read_with_fiona(path, name)


def _read_with_fiona(path: Path, name: str) -> Layer:
    import fiona
    from shapely.geometry import shape

    faults = Gathering()
    features = []
    with fiona.open(str(path), layer=name, enabled_drivers=list(FORMATS)) as source:
        crs = from_wkt(source.crs_wkt)
        columns = tuple(source.schema["properties"])
        for number, record in enumerate(source, 1):
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
                _check_size(geometry, f"{path.name}, feature {number}")
                features.append(Feature(number, geometry, dict(record.properties)))
    faults.raise_if_any()
    return Layer(path.name, name, crs, columns, tuple(features))


def _read_kml(path: Path, name: str) -> Layer:
    from pyogrio.raw import read

    faults = Gathering()
    meta, _, wkb, values = read(path, layer=name)
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
            _check_size(geometry, f"{path.name}, feature {number}")
            features.append(Feature(number, geometry, {c: v[i] for c, v in zip(columns, values, strict=True)}))
    faults.raise_if_any()
    return Layer(path.name, name, from_wkt(meta["crs"]), columns, tuple(features))


def _check_size(geometry: BaseGeometry | None, where: str) -> None:
    vertices = int(shapely.get_num_coordinates(geometry)) if geometry is not None else 0
    if vertices > MOST_VERTICES:
        raise Faults(
            [f"{where}: has {vertices:,} vertices, allowed are {MOST_VERTICES:,}; simplify it or cut it in pieces"]
        )


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


def read_surroundings(path: Path, crs: CRS | None, faults: Gathering, notes: list[str]) -> tuple[BaseGeometry, ...]:
    """Geometries of all layers of a file in the run's CRS, valid and 2-D; any geometry type.

    With ``crs`` None, which means that another fault left the run without one, the file is read but nothing is
    moved. Adds to ``faults`` and ``notes``.
    """
    out: list[BaseGeometry] = []
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
                    out.append(geometry)
    if not out and len(faults.lines) == before:
        faults.add(f"{path.name}: holds no feature with a geometry; add some, or drop the key from [inputs]")
    if empty and out:
        notes.append(f"{path.name}: {empty} of {empty + len(out)} features have no geometry and were left out.")
    if repaired:
        notes.append(f"{path.name}: {repaired} of {len(out)} features crossed themselves and were repaired.")
    return tuple(out)


def no_crs(layer: Layer) -> str:
    """The fault of a layer without a CRS."""
    return f"{layer.file}: has no coordinate reference system; write it into the file with the program that made it"
