"""Geometry of the run's CRS as the maps take it: GeoJSON in degrees."""

import functools
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from shapely.geometry.base import BaseGeometry

if TYPE_CHECKING:
    from pyproj import Transformer

COORDINATE_DECIMALS = 7
"""About a centimetre of latitude."""
Degrees = Callable[[BaseGeometry], dict[str, Any]]


@functools.lru_cache(maxsize=8)
def between(source: str, target: str) -> "Transformer":
    """From one CRS to another, x east and y north (or longitude, latitude) on both sides."""
    from pyproj import Transformer

    return Transformer.from_crs(source, target, always_xy=True)


def to_degrees(crs: str) -> Degrees:
    """Function that turns a shapely geometry of the run's CRS into GeoJSON in degrees."""
    import shapely

    transformer = between(crs, "EPSG:4326")

    def turn(geometry: Any) -> dict[str, Any]:
        degrees = shapely.transform(geometry, lambda xy: _rounded(transformer.transform(xy[:, 0], xy[:, 1])))
        return dict(shapely.geometry.mapping(degrees))

    return turn


def _rounded(pair: tuple[Any, Any]) -> Any:
    import numpy as np

    return np.round(np.column_stack(pair), COORDINATE_DECIMALS)
