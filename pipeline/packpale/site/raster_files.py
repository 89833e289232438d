"""Elevation files opened: what their heads say, checked, and windows of their cells read."""

import functools
import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pyproj import CRS
from pyproj.exceptions import CRSError

from packpale.faults import Faults, Gathering
from packpale.site import crs as crs_
from packpale.site.carried_crs import refuse_bound_crs
from packpale.site.elevation_sources import (
    NETWORK,
    Source,
    check_remote,
    expanded,
    gdal_path,
    is_remote,
    name_of,
)
from packpale.site.files import SKIPPED, check_file, files_of, head_of
from packpale.site.grid import Array
from packpale.site.rasters import Elevation, Tile, Transform
from packpale.units import METRES_PER_ELEVATION_UNIT

REFUSED_DRIVERS = frozenset(
    {"VRT", "WMS", "WCS", "WMTS", "HTTP", "OGCAPI", "EEDA", "EEDAI", "STACIT", "STACTA", "GTI", "PLMOSAIC", "DAAS"}
    | {"DERIVED", "GDALG", "PostGISRaster", "RASTERLITE", "Rasterlite", "NGW", "TileDB", "Zarr", "CALS"}
)
"""GDAL drivers that may not open an input: they point to other files, or to a network."""
REMOTE_DRIVERS = ("GTiff", "COG")
"""GDAL drivers that may open what is no file of this machine: those that read windows of it."""
TEXT_DRIVERS = ("AAIGrid", "GRASSASCIIGrid")
"""GDAL drivers of grids written as text: two bytes a cell at least, read from the first one on."""
SMALLEST_CELL, LARGEST_CELL = 1e-7, 1e5
"""Sides of a raster's cell in units of its CRS: a tenth of a micrometre, or a centimetre in degrees, to 100 km."""
LARGEST_CELL_DEG = 1.0
"""The same of a raster in degrees."""
MOST_OBLONG = 100.0
"""Longer side of a raster's cell over the shorter; near the poles some have 6."""
LATTICE_TOLERANCE = 0.01
"""Tiles lie on one lattice if their cells meet within this part of a cell."""
MISSING_BEYOND = 1e30
"""Larger values are a nodata value that lost its last digits on the way, never an elevation."""
_UNIT_NAMES = {
    "m": ("m", "metre", "meter", "metres", "meters"),
    "ft": ("ft", "foot", "feet", "international foot", "foot (international)"),
    "us-ft": ("us-ft", "us survey foot", "us survey feet", "ftus", "sft", "foot_us", "us_survey_foot"),
}
"""What files write for the units of inputs.elevation_unit."""


class Unreadable(Faults):
    """A file that broke while it was read, behind a head that can be read."""


def open_elevation(
    sources: Sequence[Source], unit: str, faults: Gathering, nodata: float | None = None
) -> Elevation | None:
    """Look at the heads of all elevation files; None, and lines in ``faults``, if they cannot serve together."""
    before = len(faults.lines)
    paths = expanded(sources, faults)
    heads: list[_Head] = []
    for path in paths:
        with faults.gather():
            heads.append(_head(path, unit))
    if len(faults.lines) > before or not heads:
        return None
    first = heads[0]
    tiles = []
    for head in heads:
        with faults.gather():
            tiles.append(_on_lattice(head, first))
    if len(faults.lines) > before:
        return None
    name = first.name if len(heads) == 1 else f"elevation ({len(heads)} rasters)"
    return Elevation(tuple(tiles), first.crs, first.transform, METRES_PER_ELEVATION_UNIT[unit], name, nodata)


@dataclass(frozen=True)
class _Head:
    path: Source
    name: str
    files: tuple[Path, ...]
    crs: CRS
    transform: Transform
    cols: int
    rows: int


def _check_source(path: Source) -> None:
    """Raise Faults unless there is such a file, or such an address answers, and its CRS names no file."""
    if isinstance(path, str):
        check_remote(path)
    else:
        check_file(path, "name a raster, or list the tiles in it")
        refuse_bound_crs(path)


def _head(path: Source, unit: str) -> _Head:
    """What the head of one raster says, checked. Raises Faults."""
    from rasterio.errors import CRSError as RasterCRSError

    _check_source(path)
    name = name_of(path)
    with _opened(path) as source:
        try:
            crs = crs_.from_wkt(source.crs.to_wkt(), name) if source.crs else None
        except RasterCRSError:
            crs = None
        if crs is None:
            raise Faults(
                f"{name}: has no coordinate reference system on the Earth; "
                "write it into the raster, it says where cells lie"
            )
        if source.count != 1:
            raise Faults(f"{name}: has {source.count} bands, an elevation raster has 1; extract the elevation")
        if source.dtypes[0].startswith("complex"):
            raise Faults(f"{name}: holds complex numbers, elevations are real; extract the elevation")
        transform: Transform = tuple(source.transform)[:6]
        placed = all(map(math.isfinite, transform)) and not source.transform.is_identity
        if not placed or transform[0] * transform[4] - transform[1] * transform[3] == 0:
            raise Faults(f"{name}: does not say where its cells lie; write its position into the raster")
        sides = math.hypot(transform[0], transform[3]), math.hypot(transform[1], transform[4])
        largest = LARGEST_CELL_DEG if crs.is_geographic else LARGEST_CELL
        if not all(SMALLEST_CELL <= side <= largest for side in sides):
            raise Faults(
                f"{name}: its cells measure {sides[0]:.3g} x {sides[1]:.3g}, in units of its CRS, allowed are "
                f"{SMALLEST_CELL:g} to {largest:g}; write its position into the raster"
            )
        if max(sides) > MOST_OBLONG * min(sides):
            raise Faults(
                f"{name}: its cells measure {sides[0]:.3g} x {sides[1]:.3g}, one side may be {MOST_OBLONG:g} "
                "times the other; write its position into the raster"
            )
        if (
            source.driver in TEXT_DRIVERS
            and isinstance(path, Path)
            and path.stat().st_size < 2 * source.width * source.height - 1
        ):
            raise Faults(
                f"{name}: says it has {source.width:,} x {source.height:,} cells, "
                f"which do not fit into its {path.stat().st_size:,} bytes; supply a whole file"
            )
        meant, said = _stated_unit(source)
        if meant is not None and meant != unit:
            raise Faults(
                f'{name}: says its elevations are in "{said}", inputs.elevation_unit is "{unit}"; '
                f'set elevation_unit = "{meant}", or correct the unit written in the raster'
            )
        own = files_of(path) if isinstance(path, Path) else ()
        beside = (p for p in map(Path, source.files) if p.is_file()) if isinstance(path, Path) else ()
        files = tuple(sorted({*own, *beside}))
        return _Head(path, name, files, crs, transform, source.width, source.height)


def stated_unit(path: Source) -> tuple[str | None, str]:
    """The elevation unit that a raster states, one of inputs.elevation_unit or None, and its words. Raises Faults."""
    _check_source(path)
    with _opened(path) as source:
        return _stated_unit(source)


def _stated_unit(source: Any) -> tuple[str | None, str]:
    """By the unit of its band, else by its vertical CRS."""
    said = str(source.units[0] or "").strip()
    for unit, names in _UNIT_NAMES.items():
        if said.casefold() in names:
            return unit, said
    from rasterio.errors import CRSError as RasterCRSError

    try:
        whole = CRS.from_wkt(source.crs.to_wkt()) if source.crs else None
    except (CRSError, RasterCRSError):
        whole = None
    heights = [crs for crs in (whole.sub_crs_list if whole else ()) if crs.is_vertical]
    for axis in heights[0].axis_info if heights else ():
        for unit, metres in METRES_PER_ELEVATION_UNIT.items():
            # A foot and a US survey foot differ by 2 parts in a million.
            if abs(axis.unit_conversion_factor / metres - 1) < 2e-7:
                return unit, f"{axis.unit_name}, {heights[0].name}"
    return None, ""


def _on_lattice(head: _Head, first: _Head) -> Tile:
    """Place of a tile on the first one's lattice. Raises Faults if it has none."""
    if not crs_.same(head.crs, first.crs):
        raise Faults(
            f"{head.name}: is in {crs_.shown(head.crs)}, {first.name} in {crs_.shown(first.crs)}; "
            "bring all elevation rasters to one CRS"
        )
    a, b, c, d, e, f = first.transform
    det = a * e - b * d
    x, y = head.transform[2] - c, head.transform[5] - f
    col, row = (e * x - b * y) / det, (a * y - d * x) / det
    # Cells must still meet at the far end of the tile.
    drift = max(
        abs(p - q) * max(head.cols, head.rows)
        for p, q in zip(_linear(head.transform), _linear(first.transform), strict=True)
    ) / math.sqrt(abs(det))
    if max(abs(col - round(col)), abs(row - round(row)), drift) > LATTICE_TOLERANCE:
        raise Faults(
            f"{head.name}: its cells do not meet those of {first.name} "
            f"(cell {_cell_text(head)} against {_cell_text(first)}); resample all elevation rasters to one grid"
        )
    states = tuple((state.st_size, state.st_mtime_ns) for state in map(Path.stat, head.files))
    return Tile(head.path, head.files, states, round(col), round(row), head.cols, head.rows)


def _linear(transform: Transform) -> tuple[float, float, float, float]:
    return transform[0], transform[1], transform[3], transform[4]


def _cell_text(head: _Head) -> str:
    a, b, _, d, e, _ = head.transform
    return f"{math.hypot(a, d):.6g} x {math.hypot(b, e):.6g} at {head.transform[2]:.10g}, {head.transform[5]:.10g}"


def _opened(path: Source):  # type: ignore[no-untyped-def]  # rasterio carries no types
    """A raster, opened by a driver that reads nothing else. Raises Faults."""
    from rasterio.errors import NotGeoreferencedWarning
    from rasterio.io import DatasetReader

    if isinstance(path, Path):
        check_file(path, "name a raster, or list the tiles in it")
    # XML and JSON files describe data that lies elsewhere, perhaps on a network: GDAL never sees them.
    if isinstance(path, Path) and head_of(path).lstrip(SKIPPED)[:1] in (b"<", b"{"):
        raise Faults(f"{name_of(path)}: only points to other files; list those in inputs.elevation instead")
    try:
        with warnings.catch_warnings(), _network(path):
            # Said in our own words when the CRS or the transform is looked at.
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            # rasterio.open takes one driver at most; the class behind it takes a list of those allowed.
            return DatasetReader(gdal_path(path), driver=list(REMOTE_DRIVERS) if is_remote(path) else _drivers())
    except Exception as error:
        # Some errors of GDAL reach us as rasterio has them inside, with no public class but Exception.
        raise Faults(f"{name_of(path)}: cannot be read as a raster ({_reason(error)}); supply a whole file") from error


def _network(path: Source):  # type: ignore[no-untyped-def]  # rasterio carries no types
    """GDAL's settings for as long as a source is opened or read."""
    import rasterio

    return rasterio.Env(**(NETWORK if is_remote(path) else {}))


def _reason(error: Exception) -> str:
    return " ".join(str(error).split())


@functools.cache
def _drivers() -> list[str]:
    import rasterio

    with rasterio.Env() as env:
        return sorted(set(env.drivers()) - REFUSED_DRIVERS)


def read_lattice(elevation: Elevation, col: int, row: int, cols: int, rows: int) -> Array:
    """Elevations of a window of the lattice [m], NaN where no tile has data; opens only tiles that it touches."""
    from rasterio.windows import Window

    out = np.full((rows, cols), np.nan)
    for tile in elevation.tiles:
        c0, c1 = max(col, tile.col), min(col + cols, tile.col + tile.cols)
        r0, r1 = max(row, tile.row), min(row + rows, tile.row + tile.rows)
        if c1 <= c0 or r1 <= r0:
            continue
        part = out[r0 - row : r1 - row, c0 - col : c1 - col]
        if not np.isnan(part).any():
            continue
        with _network(tile.path), _opened(tile.path) as source:
            try:
                read = source.read(1, window=Window(c0 - tile.col, r0 - tile.row, c1 - c0, r1 - r0), masked=True)
            except Exception as error:
                # As in _opened.
                again = ", or look at the connection and start the same command again" if is_remote(tile.path) else ""
                raise Unreadable(
                    f"{name_of(tile.path)}: cannot be read to its end ({_reason(error)}); supply a whole file{again}"
                ) from error
            # A damaged file may hold NaN of the kind that arithmetic complains of.
            with np.errstate(invalid="ignore"):
                values = np.ma.filled(read.astype(np.float64), np.nan)
            values[~(np.abs(values) < MISSING_BEYOND)] = np.nan
            if elevation.nodata is not None:
                values[values == elevation.nodata] = np.nan
            values = (values * source.scales[0] + source.offsets[0]) * elevation.unit_m
        np.copyto(part, values, where=np.isnan(part))
    return out
