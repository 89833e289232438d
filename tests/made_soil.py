"""Soil made in memory, the same all over or cell by cell."""

import numpy as np

from packpale.site import Soil


def soil_of(shape, **values):
    """Soil without any limit, except for what is named."""
    given = {
        "depth_to_rock": 5.0,
        "rock_is_hard": True,
        "water_table": 5.0,
        "clay": 20.0,
        "stones": 0.0,
        "drainage_class": 2,
        "pit_distance": np.inf,
    } | values
    kinds = {"rock_is_hard": np.bool_, "drainage_class": np.int8}
    return Soil(**{k: np.broadcast_to(np.asarray(v, kinds.get(k, float)), shape).copy() for k, v in given.items()})
