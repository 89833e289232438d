"""Elevation rasters: one file or many tiles on one lattice, read window by window onto the run's grid."""

import functools
import math
import threading
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults, Gathering
from packpale.site import _kernels
from packpale.site import crs as crs_
from packpale.site.files import check_file, head_of
from packpale.site.grid import Array, Grid, Mask
from packpale.units import METRES_PER_ELEVATION_UNIT

REFUSED_DRIVERS = frozenset(
    {"VRT", "WMS", "WCS", "WMTS", "HTTP", "OGCAPI", "EEDA", "EEDAI", "STACIT", "STACTA", "GTI", "PLMOSAIC", "DAAS"}
    | {"DERIVED", "GDALG", "PostGISRaster", "RASTERLITE", "Rasterlite", "NGW", "TileDB", "Zarr", "CALS"}
)
"""GDAL drivers that may not open an input: they point to other files, or to a network."""
TEXT_DRIVERS = ("AAIGrid", "GRASSASCIIGrid")
"""GDAL drivers of grids written as text: two bytes a cell at least, read from the first one on."""
SMALLEST_CELL, LARGEST_CELL = 1e-7, 1e5
"""Sides of a raster's cell in units of its CRS: a tenth of a micrometre, or a centimetre in degrees, to 100 km."""
MOST_CELLS = 200_000_000
"""Cells a plot's window may have: 1.6 GB for each array over it."""
BLOCK_CELLS = 8_000_000
"""Cells worked on at a time. 64 MB for each array."""
BLOCK_CACHE_BYTES = 64_000_000
"""Blocks of rasters that a process keeps, for plots that share them. GDAL alone would take 5 % of all memory."""
MOST_OPEN = 16
"""Rasters kept open at a time."""
LATTICE_TOLERANCE = 0.01
"""Tiles lie on one lattice if their cells meet within this part of a cell."""
KNOT_STEP = 16
"""Every so many cells the change of CRS is computed; between these knots coordinates are interpolated."""
KNOT_TOLERANCE = 1e-4
"""Largest error allowed for that, in cells of the raster; beyond it every cell is computed."""
MISSING_BEYOND = 1e30
"""Larger values are a nodata value that lost its last digits on the way, never an elevation."""
LOWEST_LAND_M = -500.0
"""Lower than any dry land: the shore of the Dead Sea lies at about -430 m. [m]"""
HIGHEST_LAND_M = 9000.0
"""Higher than any land: Everest is 8849 m. [m]"""
_UNIT_NAMES = {
    "m": ("m", "metre", "meter", "metres", "meters"),
    "ft": ("ft", "foot", "feet", "international foot", "foot (international)"),
    "us-ft": ("us-ft", "us survey foot", "us survey feet", "ftus", "sft", "foot_us", "us_survey_foot"),
}
"""What files write for the units of inputs.elevation_unit."""

Transform = tuple[float, float, float, float, float, float]


class Unreadable(Faults):
    """A file that broke while it was read, behind a head that can be read."""


@dataclass(frozen=True)
class Tile:
    """One raster file: where its first cell lies on the common lattice, and its size in cells."""

    path: Path
    files: tuple[Path, ...]
    col: int
    row: int
    cols: int
    rows: int


@dataclass(frozen=True)
class Elevation:
    """All elevation files together.

    ``transform`` is the affine from (col, row) of the lattice to the raster's own coordinates; ``unit_m`` the metres
    of one unit of elevation. Where tiles overlap, the one listed first counts.
    """

    tiles: tuple[Tile, ...]
    crs: CRS
    transform: Transform
    unit_m: float
    name: str
    """How messages call it."""

    def footprint(self) -> BaseGeometry:
        """Outline of all tiles together, in the raster's own CRS."""
        a, b, c, d, e, f = self.transform
        outlines = []
        for t in self.tiles:
            corners = [
                (t.col, t.row),
                (t.col + t.cols, t.row),
                (t.col + t.cols, t.row + t.rows),
                (t.col, t.row + t.rows),
            ]
            outlines.append(Polygon([(a * i + b * j + c, d * i + e * j + f) for i, j in corners]))
        return shapely.union_all(outlines)

    def to_lattice(self, x: Array, y: Array) -> tuple[Array, Array]:
        """(col, row) on the lattice of points in the raster's CRS; whole numbers are cell corners."""
        a, b, c, d, e, f = self.transform
        det = a * e - b * d
        return (e * (x - c) - b * (y - f)) / det, (a * (y - f) - d * (x - c)) / det

    def native_cell(self, crs: CRS) -> float | None:
        """Cell size if the lattice can serve as a grid of a run in ``crs`` as it is: same CRS, north up, square."""
        a, b, _, d, e, _ = self.transform
        north_up = b == 0 and d == 0 and a > 0 and e < 0
        return a if crs_.same(self.crs, crs) and north_up and abs(a + e) < 1e-9 * a else None


def open_elevation(paths: Sequence[Path], unit: str, faults: Gathering) -> Elevation | None:
    """Look at the heads of all elevation files; None, and lines in ``faults``, if they cannot serve together."""
    before = len(faults.lines)
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
    name = first.path.name if len(heads) == 1 else f"elevation ({len(heads)} rasters)"
    return Elevation(tuple(tiles), first.crs, first.transform, METRES_PER_ELEVATION_UNIT[unit], name)


@dataclass(frozen=True)
class _Head:
    path: Path
    files: tuple[Path, ...]
    crs: CRS
    transform: Transform
    cols: int
    rows: int


def _head(path: Path, unit: str) -> _Head:
    """What the head of one raster says, checked. Raises Faults."""
    with _opened(path) as source:
        crs = crs_.from_wkt(source.crs.to_wkt()) if source.crs else None
        if crs is None:
            raise Faults(
                [f"{path.name}: has no coordinate reference system; write it into the raster, it says where cells lie"]
            )
        if source.count != 1:
            raise Faults([f"{path.name}: has {source.count} bands, an elevation raster has 1; extract the elevation"])
        if source.dtypes[0].startswith("complex"):
            raise Faults([f"{path.name}: holds complex numbers, elevations are real; extract the elevation"])
        transform: Transform = tuple(source.transform)[:6]
        placed = all(map(math.isfinite, transform)) and not source.transform.is_identity
        if not placed or transform[0] * transform[4] - transform[1] * transform[3] == 0:
            raise Faults([f"{path.name}: does not say where its cells lie; write its position into the raster"])
        sides = math.hypot(transform[0], transform[3]), math.hypot(transform[1], transform[4])
        if not all(SMALLEST_CELL <= side <= LARGEST_CELL for side in sides):
            raise Faults(
                [
                    f"{path.name}: its cells measure {sides[0]:.3g} x {sides[1]:.3g}, in units of its CRS, allowed are "
                    f"{SMALLEST_CELL:g} to {LARGEST_CELL:g}; write its position into the raster"
                ]
            )
        if source.driver in TEXT_DRIVERS and path.stat().st_size < 2 * source.width * source.height - 1:
            raise Faults(
                [
                    f"{path.name}: says it has {source.width:,} x {source.height:,} cells, "
                    f"which do not fit into its {path.stat().st_size:,} bytes; supply a whole file"
                ]
            )
        said = (source.units[0] or "").strip().casefold()
        meant = [u for u, names in _UNIT_NAMES.items() if said in names]
        if meant and meant[0] != unit:
            raise Faults(
                [
                    f'{path.name}: says its elevations are in "{source.units[0]}", inputs.elevation_unit is "{unit}"; '
                    f'set elevation_unit = "{meant[0]}", or correct the unit written in the raster'
                ]
            )
        files = tuple(sorted({path, *(p for p in map(Path, source.files) if p.is_file())}))
        return _Head(path, files, crs, transform, source.width, source.height)


def _on_lattice(head: _Head, first: _Head) -> Tile:
    """Place of a tile on the first one's lattice. Raises Faults if it has none."""
    if not crs_.same(head.crs, first.crs):
        raise Faults(
            [
                f"{head.path.name}: is in {crs_.shown(head.crs)}, {first.path.name} in {crs_.shown(first.crs)}; "
                "bring all elevation rasters to one CRS"
            ]
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
            [
                f"{head.path.name}: its cells do not meet those of {first.path.name} "
                f"(cell {_cell_text(head)} against {_cell_text(first)}); resample all elevation rasters to one grid"
            ]
        )
    return Tile(head.path, head.files, round(col), round(row), head.cols, head.rows)


def _linear(transform: Transform) -> tuple[float, float, float, float]:
    return transform[0], transform[1], transform[3], transform[4]


def _cell_text(head: _Head) -> str:
    a, b, _, d, e, _ = head.transform
    return f"{math.hypot(a, d):.6g} x {math.hypot(b, e):.6g} at {head.transform[2]:.10g}, {head.transform[5]:.10g}"


def _opened(path: Path):  # type: ignore[no-untyped-def]  # rasterio carries no types
    """A local raster file, opened by a driver that reads nothing else. Raises Faults."""
    import rasterio
    from rasterio.errors import NotGeoreferencedWarning, RasterioError
    from rasterio.io import DatasetReader

    check_file(path, "name a raster, or list the tiles in it")
    # XML and JSON files describe data that lies elsewhere, perhaps on a network: GDAL never sees them.
    if head_of(path).lstrip(b"\xef\xbb\xbf \t\r\n")[:1] in (b"<", b"{"):
        raise Faults([f"{path.name}: only points to other files; list those in inputs.elevation instead"])
    try:
        with warnings.catch_warnings(), rasterio.Env():
            # Said in our own words when the CRS or the transform is looked at.
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            # rasterio.open takes one driver at most; the class behind it takes a list of those allowed.
            return DatasetReader(str(path), driver=_drivers())
    except (RasterioError, OSError, ValueError) as error:
        reason = " ".join(str(error).split())
        raise Faults([f"{path.name}: cannot be read as a raster ({reason}); supply a whole file"]) from error


class _Kept(threading.local):
    """Rasters that a thread has open, those read last at the end; GDAL lets no two threads share one."""

    def __init__(self) -> None:
        self.sources: dict[tuple[Path, int, int], Any] = {}


_kept = _Kept()


def _kept_open(path: Path) -> Any:
    """As _opened, but left open for the next plot: what it read of shared blocks stays in memory, up to a limit."""
    try:
        status = path.stat()
    except OSError:
        return _opened(path)
    key = (path, status.st_mtime_ns, status.st_size)
    source = _kept.sources.pop(key, None) or _opened(path)
    _kept.sources[key] = source
    while len(_kept.sources) > MOST_OPEN:
        _kept.sources.pop(next(iter(_kept.sources))).close()
    return source


@functools.cache
def _drivers() -> list[str]:
    import rasterio

    with rasterio.Env() as env:
        return sorted(set(env.drivers()) - REFUSED_DRIVERS)


def cell_size(
    elevation: Elevation, crs: CRS, wanted: float | None, middle: tuple[float, float], notes: list[str]
) -> float:
    """Cell size of the run [m]: the one wanted, else the raster's own at ``middle`` (x, y in ``crs``).

    Cells of a raster in another CRS have no one size in the run's: theirs at ``middle`` is taken, the side of a square
    of the same area, to two significant digits.
    """
    native = elevation.native_cell(crs)
    own = native if native is not None else _cell_at(elevation, crs, middle)
    if wanted is None:
        if native is not None:
            return native
        cell = float(f"{own:.2g}")
        notes.append(
            f"Elevations of {elevation.name} ({crs_.shown(elevation.crs)}) were interpolated to cells of {cell:g} m in "
            f"{crs_.shown(crs)}; its own cells measure about {own:.3g} m."
        )
        return cell
    if native is None or abs(wanted - native) > 1e-9 * native:
        notes.append(
            f"Elevations of {elevation.name} were interpolated to cells of {wanted:g} m; "
            f"its own cells measure about {own:.3g} m."
        )
    if wanted < 0.5 * own:
        notes.append(f"Cells of {wanted:g} m show no more detail than the {own:.3g} m of {elevation.name}.")
    return wanted


def _cell_at(elevation: Elevation, crs: CRS, middle: tuple[float, float]) -> float:
    """Side of a square in ``crs`` with the area of one of the raster's cells at ``middle``. [m]"""
    x, y = crs_.moved(middle[0], middle[1], crs, elevation.crs)
    a, b, _, d, e, _ = elevation.transform
    xs, ys = crs_.moved([x, x + a, x + b], [y, y + d, y + e], elevation.crs, crs)
    area = abs((xs[1] - xs[0]) * (ys[2] - ys[0]) - (xs[2] - xs[0]) * (ys[1] - ys[0]))
    return math.sqrt(area) if math.isfinite(area) and area > 0 else math.sqrt(abs(a * e - b * d))


def window(
    elevation: Elevation, crs: CRS, cell: float, bounds: tuple[float, float, float, float], margin: float
) -> Grid:
    """The grid of the run over ``bounds`` and ``margin`` [m], never less.

    The raster's own cells where they can serve as they are, else cells at whole multiples of their size from the
    origin of the CRS: either way neighbouring plots share cells.
    """
    own = is_native(elevation, crs, cell)
    ox, oy = (elevation.transform[2], elevation.transform[5]) if own else (0.0, 0.0)
    west, south, east, north = bounds
    c0, c1 = math.floor((west - margin - ox) / cell), math.ceil((east + margin - ox) / cell)
    r0, r1 = math.floor((oy - north - margin) / cell), math.ceil((oy - south + margin) / cell)
    return Grid(ox + c0 * cell, oy - r0 * cell, cell, r1 - r0, c1 - c0)


def is_native(elevation: Elevation, crs: CRS, cell: float) -> bool:
    """Whether the run reads the raster's own cells."""
    native = elevation.native_cell(crs)
    return native is not None and abs(cell - native) <= 1e-9 * native


def blocks(grid: Grid, most_cells: int = BLOCK_CELLS) -> Iterator[tuple[slice, Grid]]:
    """The grid in strips of whole rows of at most about ``most_cells`` cells: rows, and the strip's own grid."""
    step = max(1, most_cells // grid.cols)
    for top in range(0, grid.rows, step):
        rows = min(step, grid.rows - top)
        yield slice(top, top + rows), Grid(grid.west, grid.north - top * grid.cell, grid.cell, rows, grid.cols)


def read_elevation(elevation: Elevation, crs: CRS, grid: Grid) -> Array:
    """Elevation at the cell centres of a grid of the run [m]; NaN is no data.

    The raster's own values where the grid is its lattice. Otherwise bilinear between its cell centres, NaN wherever
    one of the four that bears weight is missing; a cell that spans several of the raster's takes the mean of as many
    points, evenly spread. Raises Faults if a file cannot be read after all.
    """
    out = np.empty(grid.shape)
    if is_native(elevation, crs, grid.cell):
        col = round((grid.west - elevation.transform[2]) / grid.cell)
        row = round((elevation.transform[5] - grid.north) / grid.cell)
        return _read_lattice(elevation, col, row, grid.cols, grid.rows)
    middle = (grid.west + grid.cols * grid.cell / 2, grid.north - grid.rows * grid.cell / 2)
    split = max(1, round(grid.cell / _cell_at(elevation, crs, middle)))
    for rows, strip in blocks(grid, max(1, BLOCK_CELLS // split**2)):
        fine = Grid(strip.west, strip.north, strip.cell / split, strip.rows * split, strip.cols * split)
        values = _interpolated(elevation, crs, fine)
        out[rows] = values.reshape(strip.rows, split, strip.cols, split).mean(axis=(1, 3)) if split > 1 else values
    return out


def _interpolated(elevation: Elevation, crs: CRS, grid: Grid) -> Array:
    """Bilinear elevation at the cell centres of ``grid``."""
    if crs_.same(elevation.crs, crs):
        x, y = grid.centres()
        col, row = elevation.to_lattice(*(v.astype(float) for v in np.broadcast_arrays(x[None, :], y[:, None])))
    else:
        col, row = _lattice_of_centres(elevation, crs, grid)
    finite = np.isfinite(col) & np.isfinite(row)
    out = np.full(grid.shape, np.nan)
    if not finite.any():
        return out
    # Only what the tiles hold is read, however far beyond them the grid reaches.
    west, east = min(t.col for t in elevation.tiles), max(t.col + t.cols for t in elevation.tiles)
    top, bottom = min(t.row for t in elevation.tiles), max(t.row + t.rows for t in elevation.tiles)
    c0 = max(west, math.floor(col[finite].min()) - 1)
    c1 = min(east, math.ceil(col[finite].max()) + 1)
    r0 = max(top, math.floor(row[finite].min()) - 1)
    r1 = min(bottom, math.ceil(row[finite].max()) + 1)
    if c1 > c0 and r1 > r0:
        values = _read_lattice(elevation, c0, r0, c1 - c0, r1 - r0)
        _kernels.bilinear(values, col - (c0 + 0.5), row - (r0 + 0.5), out)
    return out


def _lattice_of_centres(elevation: Elevation, crs: CRS, grid: Grid) -> tuple[Array, Array]:
    """(col, row) on the raster's lattice of every cell centre of ``grid``, through the change of CRS.

    Computed at knots and interpolated between them, because the change is nearly linear over a few cells; where the
    middle between knots is off by more than KNOT_TOLERANCE, computed for every centre.
    """

    def change(x: Array, y: Array) -> tuple[Array, Array]:
        grid_x, grid_y = (np.ascontiguousarray(v) for v in np.broadcast_arrays(x[None, :], y[:, None]))
        return elevation.to_lattice(*crs_.moved(grid_x, grid_y, crs, elevation.crs))

    x, y = grid.centres()
    # Knots lie at the same places for every grid, so that neighbouring plots see the same values.
    skip_c, skip_r = round(grid.west / grid.cell) % KNOT_STEP, round(-grid.north / grid.cell) % KNOT_STEP
    knots_c, knots_r = (grid.cols - 1 + skip_c) // KNOT_STEP + 2, (grid.rows - 1 + skip_r) // KNOT_STEP + 2
    knot_x = x[0] + (np.arange(knots_c) * KNOT_STEP - skip_c) * grid.cell
    knot_y = y[0] - (np.arange(knots_r) * KNOT_STEP - skip_r) * grid.cell
    knots = change(knot_x, knot_y)
    exact = change((knot_x[1:] + knot_x[:-1]) / 2, (knot_y[1:] + knot_y[:-1]) / 2)
    with np.errstate(invalid="ignore"):
        error = max(
            float(np.abs((k[1:, 1:] + k[1:, :-1] + k[:-1, 1:] + k[:-1, :-1]) / 4 - e).max())
            for k, e in zip(knots, exact, strict=True)
        )
    if not error <= KNOT_TOLERANCE:
        return change(x, y)
    col, row = np.empty(grid.shape), np.empty(grid.shape)
    _kernels.between_knots(knots[0], KNOT_STEP, skip_r, skip_c, col)
    _kernels.between_knots(knots[1], KNOT_STEP, skip_r, skip_c, row)
    return col, row


def _read_lattice(elevation: Elevation, col: int, row: int, cols: int, rows: int) -> Array:
    """Elevations of a window of the lattice [m], NaN where no tile has data; opens only tiles that it touches."""
    import rasterio
    from rasterio.errors import RasterioError
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
        with rasterio.Env(GDAL_CACHEMAX=BLOCK_CACHE_BYTES):
            source = _kept_open(tile.path)
            try:
                read = source.read(1, window=Window(c0 - tile.col, r0 - tile.row, c1 - c0, r1 - r0), masked=True)
            except (RasterioError, OSError) as error:
                reason = " ".join(str(error).split())
                raise Unreadable(
                    [f"{tile.path.name}: cannot be read to its end ({reason}); supply a whole file"]
                ) from error
            values = np.ma.filled(read.astype(np.float64), np.nan)
            values[~(np.abs(values) < MISSING_BEYOND)] = np.nan
            values = (values * source.scales[0] + source.offsets[0]) * elevation.unit_m
        np.copyto(part, values, where=np.isnan(part))
    return out


def inside(grid: Grid, outline: MultiPolygon) -> Mask:
    """Cells whose centre lies in ``outline``."""
    from affine import Affine
    from rasterio.features import geometry_mask

    if outline.is_empty:
        return np.zeros(grid.shape, dtype=bool)
    mask: Mask = geometry_mask([outline], grid.shape, Affine(*grid.transform), invert=True)
    return mask


def check_coverage(
    elevation: Elevation,
    crs: CRS,
    plots: Sequence[tuple[str, MultiPolygon]],
    *,
    cell: float,
    margin: float,
    faults: Gathering,
) -> list[str]:
    """A fault for each plot whose window is too large, or that the elevation does not cover with plausible values.

    Returns a line for each plot under which a file cannot be read, though its head can.
    """
    unread = []
    footprint = elevation.footprint()
    for plot_id, outline in plots:
        with faults.gather():
            _check_window(window(elevation, crs, cell, outline.bounds, margin), plot_id)
            try:
                in_raster_crs = crs_.moved_geometry(outline, crs, elevation.crs, plot_id)
            except Faults:
                in_raster_crs = None
            if in_raster_crs is None or not footprint.intersects(in_raster_crs):
                raise Faults([_outside(elevation, crs, plot_id, outline)])
            try:
                _check_cells(elevation, crs, window(elevation, crs, cell, outline.bounds, 0.0), plot_id, outline)
            except Unreadable as error:
                unread += [f'plot "{plot_id}": {line}' for line in error.lines]
    return unread


def _check_window(grid: Grid, plot_id: str) -> None:
    cells = grid.rows * grid.cols
    if cells > MOST_CELLS:
        raise Faults(
            [
                f'plot "{plot_id}": its window has {cells:,} cells of {grid.cell:g} m, allowed are {MOST_CELLS:,}; '
                "set a larger land.cell_m or a smaller land.margin_m, or divide the plot"
            ]
        )


def _check_cells(elevation: Elevation, crs: CRS, grid: Grid, plot_id: str, outline: MultiPolygon) -> None:
    cells = valid = 0
    low, high = math.inf, -math.inf
    for _, strip in blocks(grid):
        mask = inside(strip, outline)
        if not mask.any():
            continue
        values = read_elevation(elevation, crs, strip)[mask]
        known = values[np.isfinite(values)]
        cells, valid = cells + values.size, valid + known.size
        if known.size:
            low, high = min(low, float(known.min())), max(high, float(known.max()))
    if not cells:
        raise Faults(
            [
                f'plot "{plot_id}": holds no centre of a cell of {grid.cell:g} m; '
                "supply a finer elevation raster or set a smaller land.cell_m"
            ]
        )
    if not valid:
        raise Faults([f'{elevation.name} has no data anywhere in plot "{plot_id}"; supply a raster that has'])
    if valid < cells:
        # Never rounded up to the 100 % that is asked for.
        percent = math.floor(1000 * valid / cells) / 10
        raise Faults(
            [
                f'{elevation.name} covers {percent:g} % of plot "{plot_id}"; scoring needs all of it (100 %); '
                "supply a larger raster or trim the plot"
            ]
        )
    if low < LOWEST_LAND_M or high > HIGHEST_LAND_M:
        odd = low if low < LOWEST_LAND_M else high
        raise Faults(
            [
                f'{elevation.name} has an elevation of {odd:g} m in plot "{plot_id}", allowed are {LOWEST_LAND_M:g} to '
                f"{HIGHEST_LAND_M:g} m; declare it as nodata in the raster, or check inputs.elevation_unit"
            ]
        )


def _outside(elevation: Elevation, crs: CRS, plot_id: str, outline: MultiPolygon) -> str:
    lon, lat = (float(v) for v in crs_.lonlat(outline, crs))
    raster_lon, raster_lat = (float(v) for v in crs_.lonlat(elevation.footprint(), elevation.crs))
    return (
        f'plot "{plot_id}" (at {crs_.place_text(lon, lat)}) lies outside {elevation.name} '
        f"(around {crs_.place_text(raster_lon, raster_lat)}); supply a raster that covers it"
    )


def blank_implausible(values: Array) -> tuple[Array, int]:
    """Elevations with those no land has made NaN, and how many they were; plots themselves hold none by then."""
    odd = (values < LOWEST_LAND_M) | (values > HIGHEST_LAND_M)
    count = int(odd.sum())
    return (np.where(odd, np.nan, values), count) if count else (values, 0)
