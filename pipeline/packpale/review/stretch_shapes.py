"""What layers of stretches along a fence line have in common, on the map and in packpale.gpkg."""

import numpy as np
from shapely.geometry import LineString

from packpale.earthworks.model import Stretch
from packpale.enclosure.model import Pack
from packpale.review.words import Wording

POINT_STEP_M = 1.0
"""Largest distance between the points of a stretch's line. [m]"""

BAND = 13.0
"""Width of a band of colour along the fence line, which is drawn over its middle with a light edge. [px]"""


def stretch_line(pack: Pack, stretch: Stretch) -> LineString:
    """A stretch on the ground, with the corners of the line that lie within it."""
    end, perimeter = stretch.start + stretch.length, pack.line.perimeter
    steps = np.linspace(stretch.start, end, max(2, int(np.ceil(stretch.length / POINT_STEP_M)) + 1))
    corners = np.concatenate([pack.line.breaks, pack.line.breaks + perimeter])
    within = corners[(corners > stretch.start) & (corners < end)]
    points = pack.line.points_at(np.union1d(steps, within))
    return LineString(np.column_stack([points.x, points.y]))


def from_to(stretch: Stretch, wording: Wording) -> list[tuple[str, str]]:
    """Where a stretch lies and how long it is, as lines of a popup."""
    return [
        ("From chainage", wording.length(stretch.start)),
        ("To chainage", wording.length(stretch.end)),
        ("Length", wording.length(stretch.length)),
    ]
