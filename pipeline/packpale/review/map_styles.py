"""How things look on maps, and what they are called there; a plot's still picture draws them the same."""

from dataclasses import dataclass
from typing import Any, Literal

Room = Literal["Ground", "Drainage", "Digging", "Score", "Enclosure", "Earthworks", "Pack and people"]


@dataclass(frozen=True)
class Style:
    """How a layer is drawn and shown in the legend."""

    colour: str
    fill: str = ""
    """Empty for no fill."""
    fill_opacity: float = 0.25
    width: float = 2.0
    dash: str = ""
    radius: float = 0.0
    """Of a point's disc; 0 for lines and areas. [px]"""
    backs_away: bool = False
    """Whether the fill is left out while the ground is coloured, so that its colours can be read."""
    signed: bool = False
    """Whether points are drawn as their sign in a frame, and listed in the panel."""
    halo: bool = False
    """Whether a light edge sets the line off from dark ground."""

    def options(self) -> dict[str, Any]:
        """The style as Leaflet's path options."""
        drawn: dict[str, Any] = {"color": self.colour, "weight": self.width, "fill": bool(self.fill)}
        if self.fill:
            drawn |= {"fillColor": self.fill, "fillOpacity": self.fill_opacity}
        if self.dash:
            drawn["dashArray"] = self.dash
        if self.radius:
            drawn["radius"] = self.radius
        if self.backs_away or self.halo:
            drawn["className"] = " ".join(["backs-away"] * self.backs_away + ["halo"] * self.halo)
        return drawn


OUTLINE = Style("#1d2a2a", width=2, dash="8 5", halo=True)
USABLE = Style("#2f7d5c", "#4fae86", 0.3, width=1, backs_away=True)
FENCE = Style("#a3123a", "#a3123a", 0.06, width=3.5, backs_away=True, halo=True)
APRON = Style("#6b4a2b", "#b98b5a", 0.6, width=0.7)
GATE = Style("#1d2a2a", "#f2c230", 1.0, width=1.5, radius=6)
TOUCH = Style("#b5460f", "#fffdf8", 1.0, width=2.2, radius=4.5)
BAND = 13.0
"""Width of a band of colour along the fence line, which is drawn over its middle with a light edge. [px]"""
OVER = Style("#5b2a86", width=BAND)
SURROUNDINGS: dict[str, tuple[Room, str, Style]] = {
    "watercourses": ("Drainage", "Watercourses", Style("#1f5fa8", "#1f5fa8", 0.35, width=2.5)),
    "culverts": ("Drainage", "Culverts", Style("#13405f", "#13405f", 0.3, width=4, dash="2 4", radius=4)),
    "dwellings": ("Pack and people", "Dwellings", Style("#5b2a86", "#5b2a86", 0.7, width=1.5, radius=5)),
    "services": ("Digging", "Buried services", Style("#b3275f", "#b3275f", 0.3, width=2.5, dash="3 6", radius=4)),
    "woodland": ("Ground", "Woodland", Style("#3d6b21", "#7fae55", 0.3, width=1, backs_away=True)),
    "access": (
        "Pack and people",
        "Tracks and roads",
        Style("#7a5a2b", "#7a5a2b", 0.2, width=3.5, dash="10 4", radius=4),
    ),
    "viewpoints": ("Pack and people", "Viewpoints", Style("#0b5c6b", "#49c2d6", 0.9, width=1.5, radius=5)),
    "keep_out": ("Score", "Areas kept out", Style("#3a3a3a", "#3a3a3a", 0.35, width=1.5)),
}
"""Room, title and style of every optional input."""
