"""A plot as its pictures show it: no finer than they have room for."""

from dataclasses import fields, replace
from typing import Any

import numpy as np

from packpale.review.model import PlotResult
from packpale.site.spread import Spread, spread

MOST_CELLS = 4_000_000
"""Of a picture's ground: more than the largest picture has pixels. Larger windows are shown in squares of cells."""
MEASURES = ("elevation", "slope", "wetness", "ponding", "limitation", "suitability")
"""What is shown by its mean."""


def as_shown(result: PlotResult) -> PlotResult:
    """The same in at most MOST_CELLS squares of cells; itself where there are no more cells.

    MEASURES are the means of a square, everything else is that of the cell in its middle.
    """
    site, care = result.site, result.care
    some = spread(site.grid, most_cells=MOST_CELLS)
    if some.stride == 1:
        return result
    viewing = care.viewing if care else None
    if care and viewing:
        care = replace(care, viewing=_in_squares(viewing, some))
    ground = replace(_in_squares(site, some), grid=some.grid, soil=_in_squares(site.soil, some))
    return replace(result, site=ground, land=_in_squares(result.land, some), care=care)


def _in_squares(whole: Any, some: Spread) -> Any:
    """A dataclass with its arrays of cells in squares."""
    arrays = {f.name: getattr(whole, f.name) for f in fields(whole)}
    return replace(whole, **{name: _square(name, cells, some) for name, cells in arrays.items() if _is_raster(cells)})


def _is_raster(value: Any) -> bool:
    return isinstance(value, np.ndarray) and value.ndim == 2


def _square(name: str, cells: Any, some: Spread) -> Any:
    if not any(cells.strides):
        return np.broadcast_to(cells[0, 0], some.grid.shape)  # one value in memory, shown in every cell
    return some.mean(cells) if name in MEASURES else some.of(cells)
