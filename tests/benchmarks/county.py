"""Ground and plots of an invented county, of any size, the same on every machine."""

import math
from pathlib import Path

import fiona
import numpy as np
import rasterio
from affine import Affine
from shapely.geometry import Polygon, mapping

CRS = "EPSG:25832"
WEST, NORTH = 600_000.0, 5_600_000.0
BLOCK = 512
CORNERS = 40
"""Of each plot."""
HILLS = ((1900.0, 120.0), (430.0, 14.0), (97.0, 1.4), (23.0, 0.2))
"""Distance between knots and height of each kind of relief, from hills to tussocks. [m]"""
ROUGH_M = 0.03
"""Roughness from cell to cell, as of a laser-scanned model. [m]"""


def write_terrain(path: Path, side: int) -> None:
    """A tiled, compressed GeoTIFF of ``side`` x ``side`` cells of 1 m, written block by block.

    Smooth random relief of several sizes; every block comes from its own place alone, whatever the size of the whole.
    """
    profile = {"driver": "GTiff", "width": side, "height": side, "count": 1, "dtype": "float32", "nodata": -9999.0}
    packed = {"tiled": True, "blockxsize": BLOCK, "blockysize": BLOCK, "compress": "deflate", "zlevel": 1}
    place = {"crs": CRS, "transform": Affine(1.0, 0.0, WEST, 0.0, -1.0, NORTH)}
    with rasterio.open(path, "w", **profile, **packed, **place, predictor=3, bigtiff="if_safer") as out:
        for _, part in out.block_windows(1):
            x = np.arange(part.col_off, part.col_off + part.width) + 0.5
            y = np.arange(part.row_off, part.row_off + part.height) + 0.5
            out.write(ground(x, y).astype("float32"), 1, window=part)


def ground(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Elevation at columns ``x`` and rows ``y``, metres from the north-west corner. [m]"""
    z = 400.0 + 0.004 * x[None, :] - 0.006 * y[:, None]
    for layer, (step, height) in enumerate(HILLS):
        z = z + height * _relief(x / step, y / step, layer)
    rough = np.random.default_rng([99, int(x[0]), int(y[0])])
    return z + ROUGH_M * rough.standard_normal(z.shape)


def _relief(u: np.ndarray, v: np.ndarray, layer: int) -> np.ndarray:
    """Random heights at whole numbers, joined without edges by the cubic 3 t^2 - 2 t^3 along both axes."""
    c0, r0 = math.floor(u[0]), math.floor(v[0])
    cols, rows = math.floor(u[-1]) - c0 + 2, math.floor(v[-1]) - r0 + 2
    knots = np.array([[_knot(layer, r0 + r, c0 + c) for c in range(cols)] for r in range(rows)])

    def weights(t: np.ndarray, start: int, count: int) -> np.ndarray:
        cell = np.floor(t).astype(int) - start
        part = t - np.floor(t)
        part = part * part * (3 - 2 * part)
        out = np.zeros((t.size, count))
        out[np.arange(t.size), cell] = 1 - part
        out[np.arange(t.size), cell + 1] = part
        return out

    return weights(v, r0, rows) @ knots @ weights(u, c0, cols).T


def _knot(layer: int, row: int, col: int) -> float:
    """A number in -1..1 that belongs to a knot, by mixing its indices as a counter-based generator does."""
    mixed = (layer * 0x9E3779B97F4A7C15 + row * 0xC2B2AE3D27D4EB4F + col * 0x165667B19E3779F9) & (2**64 - 1)
    mixed = ((mixed ^ (mixed >> 30)) * 0xBF58476D1CE4E5B9) & (2**64 - 1)
    mixed = ((mixed ^ (mixed >> 27)) * 0x94D049BB133111EB) & (2**64 - 1)
    return (mixed ^ (mixed >> 31)) / 2**63 - 1


def write_plots(path: Path, side: int, count: int, *, plot_side: float | None = None) -> None:
    """``count`` plots on a square lattice over the terrain, each with a ragged outline of its own.

    They are ``plot_side`` wide [m], or fill their part of the lattice but for the margin that a run reads round them.
    """
    per_row = math.ceil(math.sqrt(count))
    pitch = side / per_row
    radius = (plot_side if plot_side is not None else pitch - 202.0) / 2
    angle = np.arange(CORNERS) * 2 * np.pi / CORNERS
    square = radius / np.maximum(abs(np.cos(angle)), abs(np.sin(angle)))
    rows = []
    for n in range(count):
        x, y = WEST + (n % per_row + 0.5) * pitch, NORTH - (n // per_row + 0.5) * pitch
        # A square with its corners cut off, and dents.
        dents = np.random.default_rng([7, n]).uniform(0.85, 1.0, CORNERS)
        reach = np.minimum(square, 1.2 * radius) * dents
        corners = np.column_stack([x + reach * np.cos(angle), y + reach * np.sin(angle)])
        rows.append((f"field-{n:04d}", Polygon(corners)))
    schema = {"geometry": "Polygon", "properties": {"name": "str"}}
    with fiona.open(path, "w", driver="GPKG", crs=CRS, schema=schema) as out:
        out.writerecords([{"geometry": mapping(g), "properties": {"name": i}} for i, g in rows])


def write_settings(folder: Path) -> Path:
    """Settings for ``terrain.tif`` and ``plots.gpkg`` in the folder; everything else by default."""
    head = f'title = "Invented county"\ncrs = "{CRS}"\n'
    inputs = '[inputs]\nelevation = "terrain.tif"\nplots = "plots.gpkg"\nplot_id = "name"\n'
    path = folder / "county.toml"
    path.write_text(head + inputs, encoding="utf-8")
    return path
