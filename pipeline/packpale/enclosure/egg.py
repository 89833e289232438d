"""The egg: four tangent circular arcs, symmetric about the axis. Exact geometry only."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Egg:
    """An egg in plan. Lengths in metres; coordinates in the run's CRS.

    ``big_x, big_y`` is the centre O of the big-end circle; ``axis_bearing_deg`` points from the big end to the small
    end, clockwise from grid north.
    """

    big_x: float
    big_y: float
    axis_bearing_deg: float
    big_radius: float
    small_radius: float
    centre_spacing: float
