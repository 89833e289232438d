"""Ground points of laser scans (LAS, LAZ) triangulated to a raster."""

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt
from pyproj import CRS

from packpale.faults import Faults, Gathering
from packpale.site import crs as crs_
from packpale.site.files import check_file, head_of
from packpale.site.grid import Array, Grid
from packpale.units import METRES_PER_ELEVATION_UNIT

GROUND, WATER = 2, 9
"""Classes of points on bare ground and on water: LAS specification 1.4, standard point classes (from memory)."""
MOST_POINTS = 40_000_000
"""Points that are triangulated at one time; each takes some 200 bytes."""
MOST_CELLS = 400_000_000
WIDEST_GAP_M = 15.0
"""No ground is guessed between points farther apart than this. [m]"""
CHUNK = 2_000_000


@dataclass(frozen=True)
class Ground:
    """Heights of bare ground on a grid in the points' own CRS, in their own unit; NaN in gaps."""

    heights: Array
    grid: Grid
    crs: CRS
    unit: str
    """Of the heights: one of inputs.elevation_unit."""
    points: int
    """How many it is made from."""


def ground_from_points(paths: Sequence[Path], cell_m: float, named: CRS | None) -> Ground:
    """Raster of all ground and water points of some files: linear on a Delaunay triangulation, at cell centres.

    Triangles with a side longer than WIDEST_GAP_M stay missing, as everything beyond the points does. ``named`` is the
    CRS of files that state none. Raises Faults if a file cannot be read or holds no ground, if they do not share one
    projected CRS, if there are too many points or cells, or if laspy is not installed.
    """
    clouds = _read(paths, named)
    crs = clouds[0].crs
    metre = crs.axis_info[0].unit_conversion_factor
    xyz = np.concatenate([c.xyz for c in clouds])
    west, south = np.floor(xyz[:, :2].min(axis=0) / (cell_m / metre)) * (cell_m / metre)
    cell = cell_m / metre
    cols, rows = (int(n) for n in np.ceil((xyz[:, :2].max(axis=0) - [west, south]) / cell))
    if cols * rows > MOST_CELLS:
        raise Faults(
            f"--cell {cell_m:g}: makes {cols:,} x {rows:,} cells of these points, allowed are {MOST_CELLS:,}; "
            "use a larger one, or fewer tiles"
        )
    grid = Grid(float(west), float(south + max(rows, 1) * cell), cell, max(rows, 1), max(cols, 1))
    return Ground(_on_grid(xyz, grid, WIDEST_GAP_M / metre), grid, crs, clouds[0].unit, len(xyz))


@dataclass(frozen=True)
class _Cloud:
    xyz: npt.NDArray[np.float64]
    crs: CRS
    unit: str


def _read(paths: Sequence[Path], named: CRS | None) -> list[_Cloud]:
    faults, clouds, total = Gathering(), list[_Cloud](), 0
    for path in paths:
        with faults.gather():
            clouds.append(_cloud(path, named))
            total += len(clouds[-1].xyz)
            if total > MOST_POINTS:
                raise Faults(
                    f"{path.name}: brings the ground points to {total:,}, allowed are {MOST_POINTS:,}; name fewer tiles"
                )
            first = clouds[0]
            if not crs_.same(clouds[-1].crs, first.crs) or clouds[-1].unit != first.unit:
                raise Faults(
                    f"{path.name}: is in {crs_.shown(clouds[-1].crs)} with heights in {clouds[-1].unit}, "
                    f"{paths[0].name} in {crs_.shown(first.crs)} with {first.unit}; bring all tiles to one CRS"
                )
    faults.raise_if_any()
    return clouds


def _cloud(path: Path, named: CRS | None) -> _Cloud:
    check_file(path, "name a LAS or LAZ file")
    laspy = _laspy(path)
    _check_records(path)
    try:
        with laspy.open(path) as file:
            stated = file.header.parse_crs()
            wkt = stated.to_wkt() if stated is not None else None
            parts = list(_ground_of(file.chunk_iterator(CHUNK), path))
    except Faults:
        raise
    except Exception as error:
        # The decompressor has errors of its own, with no class in common.
        reason = " ".join(str(error).split())
        raise Faults(f"{path.name}: cannot be read as a point cloud ({reason}); supply a whole file") from error
    xyz = np.concatenate(parts) if parts else np.empty((0, 3))
    if len(xyz) < 3:
        raise Faults(
            f"{path.name}: holds {len(xyz)} points of ground (class {GROUND}) or water ({WATER}); "
            "ask for a classified cloud"
        )
    if not np.isfinite(xyz).all():
        raise Faults(f"{path.name}: has a point that is no place; supply a whole file")
    own = crs_.from_wkt(wkt, path.name)
    crs = own if own is not None else named
    if crs is None:
        raise Faults(
            f"{path.name}: does not say in which coordinates it is; start again with --crs, such as EPSG:25832"
        )
    if not crs.is_projected:
        raise Faults(f"{path.name}: is in {crs_.shown(crs)}, points are triangulated in a projected CRS; convert it")
    return _Cloud(xyz, crs, _unit(stated if own is not None else crs))


def _ground_of(chunks: Iterable[Any], path: Path) -> Iterator[npt.NDArray[np.float64]]:
    """Points of ground and water, chunk by chunk. Raises Faults where they become too many."""
    total = 0
    for points in chunks:
        kept = np.isin(np.asarray(points.classification), (GROUND, WATER))
        total += int(kept.sum())
        if total > MOST_POINTS:
            raise Faults(
                f"{path.name}: has more than {MOST_POINTS:,} points of ground and water; cut it to the land round "
                "the plots"
            )
        yield np.column_stack([np.asarray(points.x), np.asarray(points.y), np.asarray(points.z)])[kept]


def _number_at(file: BinaryIO, place: int, size: int) -> int:
    """A whole number in a file, not negative; 0 beyond its end."""
    if place >= file.seek(0, os.SEEK_END):
        return 0
    file.seek(place)
    return int.from_bytes(file.read(size), "little")


def _check_records(path: Path) -> None:
    """Raise Faults if a file says that it has more records than it holds: a reader looks, or makes room, for each.

    Places and sizes are those of the public header block, of the two kinds of variable length records and of the table
    of packed pieces (from memory).
    """
    size, head = path.stat().st_size, head_of(path)
    if head[:4] != b"LASF" or len(head) < 227:
        # What that is, the library says.
        return
    records = 54 * int.from_bytes(head[100:104], "little")
    if head[25] >= 4 and len(head) >= 247:
        records += 60 * int.from_bytes(head[243:247], "little")
    # Of packed points, the pieces: a table of them stands where the points begin to say.
    if head[104] & 0x80:
        with path.open("rb") as file:
            table = _number_at(file, int.from_bytes(head[96:100], "little"), 8)
            # Written in one go, the place comes last.
            table = table if table < 1 << 63 else _number_at(file, max(0, size - 8), 8)
            records += _number_at(file, table + 4, 4)
    if records > size:
        raise Faults(f"{path.name}: says that it has more parts than its {size:,} bytes hold; supply a whole file")


def _laspy(path: Path) -> Any:
    try:
        import laspy
        import lazrs  # noqa: F401 - laspy finds it by itself
        import scipy.spatial  # noqa: F401
    except ImportError as error:
        raise Faults(
            f'{path.name}: reading point clouds needs more libraries; pip install "packpale[points]" brings them'
        ) from error
    return laspy


def _unit(crs: CRS) -> str:
    """Unit of the heights: of the vertical CRS, else of the horizontal one, as such files have it."""
    axes = [a for c in crs.sub_crs_list if c.is_vertical for a in c.axis_info] or crs.axis_info
    factor = axes[-1].unit_conversion_factor if axes else 1.0
    return min(METRES_PER_ELEVATION_UNIT, key=lambda unit: abs(METRES_PER_ELEVATION_UNIT[unit] - factor))


def _on_grid(xyz: npt.NDArray[np.float64], grid: Grid, gap: float) -> Array:
    from scipy.spatial import Delaunay, QhullError

    # Near the middle, where coordinates have digits to spare.
    middle = xyz[:, :2].mean(axis=0)
    places = xyz[:, :2] - middle
    try:
        mesh = Delaunay(places)
    except QhullError as error:
        raise Faults("ground points: lie on one line; supply a cloud that covers the land") from error
    corners = places[mesh.simplices]
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
    whole = sides.max(axis=1) <= gap
    out = np.full(grid.shape, np.nan)
    x, y = grid.centres()
    high = max(1, CHUNK // grid.cols)
    for top in range(0, grid.rows, high):
        part = y[top : top + high]
        centres = np.column_stack([np.tile(x, len(part)), np.repeat(part, grid.cols)]) - middle
        triangle = mesh.find_simplex(centres)
        held = (triangle >= 0) & whole[triangle]
        out[top : top + high].reshape(-1)[held] = _linear(mesh, xyz[:, 2], triangle[held], centres[held])
    return out


def _linear(mesh: Any, heights: Array, triangle: npt.NDArray[np.intp], places: Array) -> Array:
    """Heights at places on the planes of their triangles."""
    change = mesh.transform[triangle]
    two = np.einsum("nij,nj->ni", change[:, :2], places - change[:, 2])
    weights = np.column_stack([two, 1 - two.sum(axis=1)])
    at: Array = (weights * heights[mesh.simplices[triangle]]).sum(axis=1)
    return at
