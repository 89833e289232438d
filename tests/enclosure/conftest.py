import math

import numpy as np
import pytest

from packpale.enclosure.boundary import boundary, valid_parts
from packpale.enclosure.depth import deepest_point
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import Ranges, seeds


@pytest.fixture(scope="session")
def ranges():
    """The default ranges, without a strip and a least radius, and changes to them."""

    def build(**changes):
        return Ranges(**({"clearance": 0.0, "taper": (0.5, 0.9), "aspect": (1.1, 1.6), "min_radius": 0.0} | changes))

    return build


@pytest.fixture(scope="session")
def prepared():
    """Land in the form the search reads, with its deepest point."""

    def build(area):
        parts = valid_parts(area)
        land = boundary(parts)
        return land, deepest_point(land, seeds(land, parts))

    return build


@pytest.fixture(scope="session")
def egg_at():
    """The egg of a position z and a scale, in local coordinates of some land."""

    def build(z, scale, origin=(0.0, 0.0)):
        bearing = math.degrees(math.pi / 2 - z[2])
        return Egg.from_shape(
            z[3], z[4], big_x=z[0] + origin[0], big_y=z[1] + origin[1], axis_bearing_deg=bearing, big_radius=scale
        )

    return build


@pytest.fixture(scope="session")
def positions():
    """Random positions z with O in the land."""

    def build(land, count, seed=0):
        rng = np.random.default_rng(seed)
        west, south, east, north = land.size
        found = []
        while len(found) < count:
            x, y = rng.uniform(west, east), rng.uniform(south, north)
            if land.depths(np.array([[x, y]]))[0] > 0:
                found.append([x, y, rng.uniform(0, 7), rng.uniform(0.5, 0.9), rng.uniform(1.1, 1.6)])
        return np.array(found)

    return build
