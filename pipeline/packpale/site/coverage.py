"""Whether the elevations cover a plot, with values that land can have."""

import math
from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from pyproj import CRS
from shapely.geometry import MultiPolygon, Point

from packpale.faults import Faults, Gathering
from packpale.site import crs as crs_
from packpale.site.elevations import read_elevation
from packpale.site.grid import Array, Grid, Mask
from packpale.site.quality import Lowest, Signs
from packpale.site.raster_files import Unreadable
from packpale.site.rasters import Elevation, window
from packpale.units import measured
from packpale.values.notes import Note

MOST_CELLS = 200_000_000
"""Cells a plot's window may have: 1.6 GB for each array over it."""
MOST_OUTSIDE = 5
"""Plots outside the elevation that are told one by one."""
CELLS_AT_ONCE = 2_000_000
"""Cells looked at at a time: the check is to hold little, however large a plot is."""
LOWEST_LAND_M = -500.0
"""Lower than any dry land: the shore of the Dead Sea lies at about -430 m. [m]"""
HIGHEST_LAND_M = 9000.0
"""Higher than any land: Everest is 8849 m. [m]"""


def inside(grid: Grid, outline: MultiPolygon) -> Mask:
    """Cells whose centre lies in ``outline``."""
    from affine import Affine
    from rasterio.features import geometry_mask

    if outline.is_empty:
        return np.zeros(grid.shape, dtype=bool)
    mask: Mask = geometry_mask([outline], grid.shape, Affine(*grid.transform), invert=True)
    return mask


def check_windows(
    elevation: Elevation,
    crs: CRS,
    plots: Sequence[tuple[str, MultiPolygon]],
    *,
    cell: float,
    margin: float,
    faults: Gathering,
) -> list[tuple[str, MultiPolygon]]:
    """A fault for each plot whose window is too large, or that lies outside the elevation; returns the other plots."""
    footprint = elevation.footprint()
    good, outside = list[tuple[str, MultiPolygon]](), list[tuple[str, MultiPolygon]]()
    for plot_id, outline in plots:
        with faults.gather():
            _check_window(window(elevation, crs, cell, outline.bounds, margin), plot_id)
            try:
                in_raster_crs = crs_.moved_geometry(outline, crs, elevation.crs, plot_id)
            except Faults:
                in_raster_crs = None
            if in_raster_crs is None or not footprint.intersects(in_raster_crs):
                outside.append((plot_id, outline))
            else:
                good.append((plot_id, outline))
    if len(outside) > MOST_OUTSIDE and good:
        # A file of a whole parish, of which some fields are meant.
        names = ", ".join(f'"{plot_id}"' for plot_id, _ in outside[:3])
        faults.add(
            f"{len(outside):,} of {len(plots):,} plots lie outside {elevation.name}, such as {names}; name those that "
            "are meant as inputs.candidates (start: --candidate), or supply a raster that covers all"
        )
    else:
        faults.lines += [_outside(elevation, crs, plot_id, outline) for plot_id, outline in outside]
    return good


def check_cells(
    elevation: Elevation,
    crs: CRS,
    plots: Sequence[tuple[str, MultiPolygon]],
    *,
    cell: float,
    faults: Gathering,
    notes: list[Note],
) -> tuple[str, ...]:
    """A fault for each plot that the elevation does not cover with plausible values; ``notes`` on what looks wrong.

    Returns a line for each plot under which a file cannot be read, though its head can.
    """
    unreadable: list[str] = []
    signs = Signs(cell)
    for plot_id, outline in plots:
        with faults.gather():
            grid = window(elevation, crs, cell, outline.bounds, 0.0)
            try:
                _check_cells(_values_inside(elevation, crs, grid, outline, signs), elevation.name, cell, plot_id)
            except Unreadable as error:
                unreadable += [f'plot "{plot_id}": {line}' for line in error.lines]
    notes += signs.notes(elevation.name)
    return tuple(unreadable)


def _check_window(grid: Grid, plot_id: str) -> None:
    cells = grid.rows * grid.cols
    if cells > MOST_CELLS:
        raise Faults(
            f'plot "{plot_id}": its window has {cells:,} cells of {measured(grid.cell, "m")}, allowed are '
            f"{MOST_CELLS:,}; set a larger land.cell_m or a smaller land.margin_m, or divide the plot"
        )


def _values_inside(elevation: Elevation, crs: CRS, grid: Grid, outline: MultiPolygon, signs: Signs) -> Iterator[Array]:
    """Elevations of the cells of ``grid`` whose centre lies in ``outline``, some rows at a time; ``signs`` sees all."""
    high = max(1, CELLS_AT_ONCE // grid.cols)
    for top in range(0, grid.rows, high):
        piece = grid.part(slice(top, min(top + high, grid.rows)), slice(0, grid.cols))
        mask = inside(piece, outline)
        if mask.any():
            values = read_elevation(elevation, crs, piece)
            yield values[mask]
            values[~mask] = np.nan
            signs.look(values)


def _check_cells(elevations: Iterable[Array], name: str, cell: float, plot_id: str) -> None:
    cells = valid = 0
    low, high, lowest = math.inf, -math.inf, Lowest()
    for values in elevations:
        known = values[np.isfinite(values)]
        cells, valid = cells + values.size, valid + known.size
        if known.size:
            low, high = min(low, float(known.min())), max(high, float(known.max()))
            lowest.look(known)
    if not cells:
        raise Faults(
            f'plot "{plot_id}": holds no centre of a cell of {measured(cell, "m")}; '
            "supply a finer elevation raster or set a smaller land.cell_m"
        )
    if not valid:
        raise Faults(f'{name} has no data anywhere in plot "{plot_id}"; supply a raster that has')
    if valid < cells:
        # Never rounded up to the 100 % that is asked for.
        percent = math.floor(1000 * valid / cells) / 10
        raise Faults(
            f'{name} covers {percent:g} % of plot "{plot_id}"; scoring needs all of it (100 %); '
            "supply a larger raster or trim the plot"
        )
    if low < LOWEST_LAND_M or high > HIGHEST_LAND_M:
        odd = low if low < LOWEST_LAND_M else high
        raise Faults(
            f'{name} has an elevation of {measured(odd, "m")} in plot "{plot_id}", allowed are '
            f"{measured(LOWEST_LAND_M, 'm', to=HIGHEST_LAND_M)}; set inputs.elevation_nodata to it, or check "
            "inputs.elevation_unit"
        )
    if lowest.is_plateau:
        raise Faults(
            f'{name} has {lowest.count:,} cells at exactly {measured(lowest.value, "m")} in plot "{plot_id}", '
            f"{measured(lowest.next - lowest.value, 'm', '.3g')} below all others, which is no land; set "
            "inputs.elevation_nodata to that value in the raster's own unit, so that it counts as missing, and supply "
            "a raster that has the ground"
        )


def _outside(elevation: Elevation, crs: CRS, plot_id: str, outline: MultiPolygon) -> str:
    lon, lat = (float(v) for v in crs_.lonlat(outline, crs))
    raster_lon, raster_lat = (float(v) for v in crs_.lonlat(elevation.footprint(), elevation.crs))
    known = math.isfinite(raster_lon) and math.isfinite(raster_lat)
    where = f"around {crs_.place_text(raster_lon, raster_lat)}" if known else "which lies where its CRS does not reach"
    advice = "supply a raster that covers it, or leave it out (inputs.candidates)"
    if _swapped_lies_inside(elevation, crs, outline):
        advice = "its coordinates are swapped, in the other order it lies inside: write x (or longitude) first"
    return f'plot "{plot_id}" (at {crs_.place_text(lon, lat)}) lies outside {elevation.name} ({where}); {advice}'


def _swapped_lies_inside(elevation: Elevation, crs: CRS, outline: MultiPolygon) -> bool:
    """Whether a plot lies on the elevation once its coordinates, in the run's CRS or in degrees, change places."""
    place, degrees = outline.centroid, CRS.from_epsg(4326)
    lon, lat = (float(v) for v in crs_.lonlat(outline, crs))
    for x, y, own in ((place.y, place.x, crs), (lat, lon, degrees)):
        there = crs_.moved(x, y, own, elevation.crs)
        if np.isfinite(there).all() and elevation.footprint().intersects(Point(*map(float, there))):
            return True
    return False


def blank_implausible(values: Array) -> tuple[int, int]:
    """Make elevations that no land has NaN, in place; plots themselves hold none by then.

    Returns how many they were, and how many cells are without elevation after that.
    """
    odd = (values < LOWEST_LAND_M) | (values > HIGHEST_LAND_M)
    lowest = Lowest()
    lowest.look(values[np.isfinite(values) & ~odd])
    if lowest.is_plateau:
        odd |= values == lowest.value
    values[odd] = np.nan
    return int(odd.sum()), int(np.isnan(values).sum())
