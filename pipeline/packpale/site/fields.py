"""Polygons of any vector file, one by one, for fitting without elevation."""

from dataclasses import dataclass, replace
from pathlib import Path

from pyproj import CRS
from shapely.geometry import MultiPolygon

from packpale.faults import Faults, Gathering
from packpale.site import crs as crs_
from packpale.site.dxf import is_drawing, read_drawing
from packpale.site.outlines import Outline
from packpale.site.plots import to_plots
from packpale.site.tables import find_column, missing_column
from packpale.site.vectors import Feature, Layer, choose_layer, read_layer
from packpale.values.notes import Note


@dataclass(frozen=True)
class Field:
    """One feature of the file."""

    number: int
    """From 1, in the order of the file."""
    name: str
    """Value of the id column as text; the number where no column was named."""
    outline: MultiPolygon
    """Valid, 2-D, in the CRS of all fields; empty if there is a problem. [m]"""
    problem: str
    """Why the feature cannot be used; empty if it can."""
    notes: tuple[Note, ...]
    """What was repaired; empty if nothing was."""


@dataclass(frozen=True)
class Fields:
    """All features of a layer, in one projected CRS in metres."""

    crs: str
    rows: tuple[Field, ...]
    notes: tuple[Note, ...]


def read_fields(path: Path, layer: str | None, id_column: str | None, crs_named: str | None = None) -> Fields:
    """Read every feature of one layer, of a drawing its closed lines.

    The layer's own CRS is kept if lengths in it are metres; otherwise all is moved to the UTM zone of its middle. A
    feature that cannot be used is kept with its problem in words, so that no row is lost. ``crs_named`` is the CRS of a
    file that states none, as no drawing does.

    Raises Faults if the file, the layer, its CRS or the id column cannot be read, or if it holds no feature.
    """
    named = crs_.parse(crs_named, "--crs") if crs_named is not None else None
    if is_drawing(path):
        read = read_drawing(path, layer, None, "--layer")
    else:
        read = read_layer(path, choose_layer(path, layer, "--layer"))
    faults = Gathering()
    if read.crs is not None and named is not None:
        faults.add(f"--crs: has no effect, {read.file} says that it is in {crs_.shown(read.crs)}; leave it out")
    read = replace(read, crs=read.crs or named)
    column = find_column(id_column, read.columns) if id_column is not None else None
    if id_column is not None and column is None:
        faults.add(missing_column(read.file, id_column, read.columns))
    if read.crs is None:
        faults.add(
            f"{read.file}: has no coordinate reference system on the Earth; start again with --crs, such as "
            "--crs EPSG:25832"
        )
    if not read.features:
        faults.add(f"{read.file}: its layer {read.name!r} is empty; draw at least one polygon")
    faults.raise_if_any()
    source = read.crs
    if source is None:
        # Cannot be: a layer without CRS has added a fault.
        raise RuntimeError("a layer without CRS passed every check")
    crs, notes = _metric(source, read)
    return Fields(crs_.label(crs), tuple(_field(f, column, read, source, crs) for f in read.features), notes)


def _metric(source: CRS, layer: Layer) -> tuple[CRS, tuple[Note, ...]]:
    try:
        return crs_.given_run_crs(crs_.label(source)), ()
    except Faults:
        outlines = [(f.geometry, source) for f in layer.features if f.geometry is not None and not f.geometry.is_empty]
        if not outlines:
            raise
        crs = crs_.utm_crs(outlines)
        moved = Note(
            "coordinates",
            "{file}: {from_crs} is not in metres",
            "All is computed and written in {to_crs}.",
            {"file": layer.file, "from_crs": crs_.shown(source), "to_crs": crs_.shown(crs)},
        )
        return crs, (moved,)


def _field(feature: Feature, column: str | None, layer: Layer, source: CRS, crs: CRS) -> Field:
    value = feature.properties[column] if column is not None else feature.number
    name = "" if value is None else str(value).strip()
    faults = Gathering()
    geometry = feature.geometry
    if geometry is None or geometry.is_empty:
        return Field(feature.number, name, MultiPolygon(), "has no geometry", ())
    if geometry.geom_type not in ("Polygon", "MultiPolygon"):
        return Field(feature.number, name, MultiPolygon(), f"is a {geometry.geom_type}, not a polygon", ())
    plots = to_plots([Outline(name, layer.where(feature), geometry, source)], crs, faults)
    if not plots:
        return Field(feature.number, name, MultiPolygon(), "; ".join(faults.lines), ())
    return Field(feature.number, name, plots[0].outline, "", plots[0].notes)
