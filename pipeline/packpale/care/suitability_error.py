"""How far off the suitability inside the fences may be, since rock and water lie elsewhere than supposed.

The errors of the depth to rock and of the depth to water are those behind the price (``earthworks.ground_error``),
carried on from the fence lines into the ground inside: where a draw has shallow rock under the fence it has shallow
rock beside it, so that a draw that is dear is also the one that is hard to dig. The fence line stays where it is.
Slope, clay, stones and drainage class are taken as given.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from packpale.care import _kernels_suitability as _kernels
from packpale.earthworks.ground_error import (
    PARTS_OF_CORRELATION,
    Segments,
    covariance_left,
    root,
    segments,
    telling,
)
from packpale.earthworks.price import INSIDE_ROCK, INSIDE_WATER, ROCK, WATER, generator
from packpale.enclosure.model import Pack
from packpale.enclosure.place import cells_inside
from packpale.land.criteria import dryness
from packpale.land.diggability import digging
from packpale.land.model import Land
from packpale.settings import Project
from packpale.site import Array, Cells, Site, Soil

MOST_CELLS, MOST_BLOCKS = 20_000, 200
"""Looked at inside the fences, evenly taken, and blocks of ground in which an error is one value."""
SHIFTS, SPAN = 25, 4.5
"""Shifts of rock and water for which cells are scored, and how many standard deviations they reach; linear between."""
CHUNK = 2500
"""Draws that are worked on at a time; the draws themselves do not depend on it."""


@dataclass(frozen=True)
class _Cells:
    """The cells looked at, one after the other: shape (cells,)."""

    soil: Soil
    slope: Array
    ponding: Array
    wetness: Array
    height_above_drainage: Array
    block: npt.NDArray[np.int64]
    """Which block each belongs to."""


def drawn_suitability(site: Site, land: Land, packs: Sequence[Pack], project: Project) -> Array:
    """Change of the mean suitability inside all fences in each draw, shape (draws,); draw k is the k-th of the price.

    Zero where suitability hangs on neither rock nor water, and where both are sure.
    """
    settings, draws = project.uncertainty, project.run.draws
    found = segments(packs, min(settings.soil_correlation_m, settings.elevation_correlation_m))
    cells, points = _cells(site, land, packs, settings.soil_correlation_m / PARTS_OF_CORRELATION)
    if not cells.slope.size:
        return np.zeros(draws)
    layers = (
        ("depth_to_rock_m", settings.rock_depth_sd_m, settings.rock_depth_sd_at_pit_m, (ROCK, INSIDE_ROCK)),
        ("water_table_m", settings.water_table_sd_m, settings.water_table_sd_at_pit_m, (WATER, INSIDE_WATER)),
    )
    shifts = [
        np.linspace(-SPAN * sd, SPAN * sd, SHIFTS) if sd else np.arange(SHIFTS, dtype=float) for _, sd, _, _ in layers
    ]
    table = _table(cells, land, *shifts, blocks=len(points))
    mixed, streams = [], []
    for column, far, at_pit, numbers in layers:
        left = covariance_left(
            np.vstack([np.column_stack([found.x, found.y]), points]),
            telling(site.pits, column),
            correlation=settings.soil_correlation_m,
            variance=far**2 - at_pit**2,
        )
        # As along the line: rock is uneven from segment to segment, which evens out over a block; the season is one.
        mixed.append(root(left + (_uneven(found, len(points), at_pit) if numbers[0] == ROCK else at_pit**2)))
        streams.append([generator(project.run.seed, site.plot_id, number) for number in numbers])
    out = np.zeros(draws)
    n = found.x.size
    for start in range(0, draws, CHUNK):
        size = min(CHUNK, draws - start)
        rock, water = (
            np.hstack([line.standard_normal((size, n)), inside.standard_normal((size, len(points)))]) @ mix[n:].T
            for mix, (line, inside) in zip(mixed, streams, strict=True)
        )
        out[start : start + size] = _kernels.sum_changes(table, shifts[0], shifts[1], rock, water)
    return out


def _cells(site: Site, land: Land, packs: Sequence[Pack], block_side: float) -> tuple[_Cells, Array]:
    """The cells looked at, and the middles of their blocks, shape (blocks, 2)."""
    inside = np.any([cells_inside(p.line, site) for p in packs], axis=0) & ~np.isnan(land.suitability)
    at = np.flatnonzero(inside & ~np.isnan(land.limitation))
    at = at[:: max(1, -(-at.size // MOST_CELLS))]
    cell = np.divmod(at, site.grid.cols)
    x, y = site.grid.centres()[0][cell[1]], site.grid.centres()[1][cell[0]]
    # Blocks at the rim are not whole, so that there are more of them than the area alone would give.
    side = max(block_side, float(np.sqrt(2 * inside.sum() / MOST_BLOCKS)) * site.grid.cell)
    key = np.floor(np.column_stack([x, y]) / side).astype(np.int64)
    _, block = np.unique(key, axis=0, return_inverse=True)
    block = block.ravel()
    count = np.bincount(block)
    points = np.column_stack([np.bincount(block, c) / count for c in (x, y)])
    soil = replace(
        site.soil,
        **{
            name: getattr(site.soil, name)[cell]
            for name in (
                "depth_to_rock",
                "rock_is_hard",
                "water_table",
                "clay",
                "stones",
                "drainage_class",
                "pit_distance",
            )
        },
    )
    slope, ponding, wetness, height = (
        a[cell].astype(np.float64) for a in (land.slope, land.ponding, land.wetness, land.height_above_drainage)
    )
    return _Cells(soil, slope, ponding, wetness, height, block), points


def _table(cells: _Cells, land: Land, rock: Array, water: Array, *, blocks: int) -> Array:
    """What each block adds to the change of the mean, shape (blocks, shifts of rock, shifts of water)."""
    soil = cells.soil
    endless = np.full(cells.slope.shape, np.inf)

    def limited(depth_to_rock: Array, water_table: Array) -> Cells:
        at = replace(soil, depth_to_rock=depth_to_rock, water_table=water_table)
        return digging(at, slope=cells.slope, ponding=cells.ponding).limitation

    def dry(water_table: Array) -> Cells:
        return dryness(
            wetness=cells.wetness,
            ponding=cells.ponding,
            drainage_class=soil.drainage_class,
            water_table=water_table,
            height_above_drainage=cells.height_above_drainage,
        )

    # The largest limitation decides, so that rock and water are looked at one by one and then together.
    by_rock = [limited(np.maximum(soil.depth_to_rock + s, 0.0), endless) for s in rock]
    water_at = [np.maximum(soil.water_table + s, 0.0) for s in water]
    by_water, dryness_at = [limited(endless, w) for w in water_at], [dry(w) for w in water_at]
    w_dig, w_dry = (land.weights.get(name, 0.0) for name in ("diggability", "drainage"))
    as_is = w_dry * dry(soil.water_table) - w_dig * limited(soil.depth_to_rock, soil.water_table)
    out = np.zeros((blocks, rock.size, water.size))
    one, other, dry_at = (np.stack(shifted, axis=1, dtype=np.float64) for shifted in (by_rock, by_water, dryness_at))
    _kernels.add_changes(cells.block, as_is, one, other, dry_at, w_dig, w_dry, out)
    return out / cells.slope.size


def _uneven(found: Segments, blocks: int, at_pit: float) -> Array:
    return np.diag(np.append(np.full(found.x.size, at_pit**2), np.zeros(blocks)))
