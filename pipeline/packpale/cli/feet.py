"""Messages for users who think in feet: behind each length, area and volume in metres the same in their units."""

import re
import tomllib
from pathlib import Path

from packpale.units import ACRE_M2, FOOT_M, HECTARE_M2, MILE_M

_NUMBER = r"-?\d[\d,]*(?:\.\d+)?(?:e[+-]?\d+)?"
_QUANTITY = re.compile(rf"(?<![\w.,])(?:({_NUMBER}) to )?({_NUMBER}) (km|ha|m2|m3|m)(?![\w/^])")
_UNITS = {
    "m": (FOOT_M, "ft"),
    "km": (MILE_M / 1000, "mi"),
    "ha": (ACRE_M2 / HECTARE_M2, "acres"),
    "m2": (FOOT_M**2, "ft2"),
    "m3": ((3 * FOOT_M) ** 3, "yd3"),
}
"""Size of the user's unit in the metric one, and its name."""


def with_feet(line: str) -> str:
    """The line with feet, miles, acres or cubic yards in brackets behind each metric quantity."""
    return _QUANTITY.sub(_both, line)


def _both(found: re.Match[str]) -> str:
    size, name = _UNITS[found[3]]
    numbers = [_shown(float(text.replace(",", "")) / size) for text in (found[1], found[2]) if text]
    return f"{found[0]} ({' to '.join(numbers)} {name})"


def _shown(value: float) -> str:
    """Three significant digits, whole from 100 on."""
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def says_imperial(settings: Path) -> bool:
    """Whether a settings file asks for imperial units; False where that cannot be told."""
    from packpale.settings.reading import MOST_BYTES

    try:
        # A device would be read for ever, and anything larger is no settings file.
        if not settings.is_file() or settings.stat().st_size > MOST_BYTES:
            return False
        return tomllib.loads(settings.read_text(encoding="utf-8-sig")).get("units") == "imperial"
    except (OSError, ValueError, RecursionError):
        return False
