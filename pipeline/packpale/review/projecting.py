"""Geometry of the run's CRS as the maps take it: GeoJSON in degrees."""

import functools
from collections.abc import Callable, Sequence
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
    return lambda geometry: all_to_degrees([geometry], crs)[0]


def all_to_degrees(geometries: Sequence[Any], crs: str) -> list[dict[str, Any]]:
    """Shapely geometries of the run's CRS as GeoJSON in degrees, their coordinates turned together."""
    import numpy as np
    import shapely

    transformer = between(crs, "EPSG:4326")

    def turn(xy: Any) -> Any:
        return np.round(np.column_stack(transformer.transform(xy[:, 0], xy[:, 1])), COORDINATE_DECIMALS)

    turned = shapely.transform(np.array(geometries, dtype=object), turn)
    return [dict(shapely.geometry.mapping(degrees)) for degrees in turned]
