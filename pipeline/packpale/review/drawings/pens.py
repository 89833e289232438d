"""Inks, widths of lines, sizes of letters and dashes of all drawings."""

from typing import Any

INK, SOFT, PAPER, RED = "#1d2a2a", "#5d6765", "#ffffff", "#a3123a"
EARTH, FILL, GRASS = "#e3d6bb", "#f7f0df", "#5c7f45"
HAIR, THIN, MEDIUM, THICK = 0.13, 0.18, 0.35, 0.7
"""Line widths. [mm]"""
TINY, FIGURES, SMALL, NORMAL = 5.5, 5.8, 6.3, 7.4
TITLE_SIZE, CAUTION_SIZE = 8.0, 5.4
"""Text sizes. [points]"""
DASHED, DOTTED, CHAIN = (6.0, 3.0), (1.0, 2.0), (12.0, 2.5, 2.0, 2.5)
"""Dash patterns, in line widths."""
GRAVE: dict[str, Any] = {"bold": True, "colour": RED}
"""Words that nobody may overlook."""
MESH: dict[str, Any] = {"colour": RED, "dash": (2.2, 0.8)}
"""How mesh in the ground is drawn where it is cut through."""
