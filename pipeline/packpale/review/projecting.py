"""Geometry of the run's CRS as the maps take it: GeoJSON in degrees."""

import functools
from collections.abc import Callable, Mapping
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
        degrees = shapely.transform(geometry, lambda xy: _columns(transformer.transform(xy[:, 0], xy[:, 1])))
        return {key: _rounded(value) for key, value in shapely.geometry.mapping(degrees).items()}

    return turn


def _columns(pair: tuple[Any, Any]) -> Any:
    import numpy as np

    return np.column_stack(pair)


def _rounded(value: Any) -> Any:
    # In the order of how many there are.
    if isinstance(value, float):
        return round(value, COORDINATE_DECIMALS)
    if isinstance(value, list | tuple):
        return [_rounded(v) for v in value]
    return {k: _rounded(v) for k, v in value.items()} if isinstance(value, Mapping) else value
