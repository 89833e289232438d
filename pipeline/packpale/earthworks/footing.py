"""Where the footing of a post stands in the dig."""

from dataclasses import dataclass

from packpale.settings import FenceSettings


@dataclass(frozen=True)
class Footing:
    """A cylinder of concrete round a post's foot, upright on the fence line. Depths below the ground there. [m]"""

    diameter: float
    top: float
    bottom: float
    trench: float
    """Depth of the skirt trench it stands in."""

    @property
    def height(self) -> float:
        """Of the concrete. [m]"""
        return self.bottom - self.top

    @property
    def below_trench(self) -> float:
        """How far it reaches below the bottom of the trench; 0 where it stands on that. [m]"""
        return self.bottom - self.trench

    @property
    def made_ground(self) -> str:
        """How footings stand to ground that is filled again, in words."""
        return "reach through" if self.below_trench > 0 else "stand wholly in"

    @property
    def formed(self) -> float:
        """Height of it that has no hole round it and is cast in a form. [m]"""
        return self.trench - self.top


def footing(fence: FenceSettings, trench: float) -> Footing:
    """The footing of a post in a skirt trench of that depth, 0 where none is dug [m].

    A hole that would end in ground that is dug away has none round it: the footing then stands on the bottom of the
    trench, as high as the hole is set deep. A deeper one is drilled from the bottom of the trench. Either way it takes
    the concrete of a whole hole.

    Raises ValueError if the depth is negative.
    """
    if not trench >= 0:
        raise ValueError(f"trench = {trench} m must not be negative")
    bottom = max(fence.hole_depth_m, trench)
    return Footing(fence.hole_diameter_m, bottom - fence.hole_depth_m, bottom, trench)
