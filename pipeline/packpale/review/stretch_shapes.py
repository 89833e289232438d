"""What layers of stretches along a fence line have in common on the map."""

from packpale.earthworks.model import Stretch
from packpale.review.wording import Wording

BAND = 13.0
"""Width of a band of colour along the fence line, which is drawn over its middle with a light edge. [px]"""


def from_to(stretch: Stretch, wording: Wording) -> list[tuple[str, str]]:
    """Where a stretch lies and how long it is, as lines of a popup."""
    return [
        ("From chainage", wording.length(stretch.start)),
        ("To chainage", wording.length(stretch.end)),
        ("Length", wording.length(stretch.length)),
    ]
