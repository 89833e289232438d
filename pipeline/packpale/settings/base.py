"""What every section of the settings file has in common."""

import math
import re
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

File = Annotated[Path, Field(strict=False)]
ADDRESSES = ("https://", "http://", "/vsi")
"""How places begin that are no paths of this machine: addresses, and GDAL's virtual paths."""


def _path_or_address(found: Any) -> Any:
    if isinstance(found, str) and found.startswith("/vsicurl/http"):
        return found.removeprefix("/vsicurl/")
    return Path(found) if isinstance(found, str) and not found.startswith(ADDRESSES) else found


Source = Annotated[Path | str, BeforeValidator(_path_or_address)]
"""A path, or an address as text."""
Share = Annotated[float, Field(ge=0, le=100)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]


def is_time_of_day(text: str) -> bool:
    """Whether a text is hours and minutes of a day, HH:MM."""
    return bool(re.fullmatch(r"([01][0-9]|2[0-3]):[0-5][0-9]", text))


def _hours_and_minutes(text: str) -> str:
    if not is_time_of_day(text):
        raise ValueError(f"found {text!r}; write hours and minutes, such as 20:00")
    return text


def _one_line_of_text(text: str | None) -> str | None:
    # Such texts stand on pages, in XML and in workbooks, which cannot hold control characters.
    if text is not None and not text.isprintable():
        raise ValueError(f"found {text!r}; write one line of printable characters")
    return text


PRINTABLE = AfterValidator(_one_line_of_text)
"""Behind a text's bounds: it is one line that shows on any page."""
TimeOfDay = Annotated[str, AfterValidator(_hours_and_minutes)]


def _low_likely_high(found: Any) -> Any:
    # One sentence for all that can be wrong, instead of one for each of the three.
    three = isinstance(found, list | tuple) and len(found) == 3
    numbers = three and all(isinstance(f, int | float) and not isinstance(f, bool) and f >= 0 for f in found)
    if not (numbers and found[0] <= found[1] <= found[2] < math.inf):
        raise ValueError(f"found {found!r}; write [low, likely, high], three numbers from 0 up in this order")
    return found


Rate = Annotated[tuple[NotNegative, NotNegative, NotNegative], BeforeValidator(_low_likely_high), Field(strict=False)]


class Settings(BaseModel):
    """Every section: unknown keys refused, frozen once read, never NaN, attribute docs go to the settings page."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, use_attribute_docstrings=True, strict=True
    )


def ascending(pair: tuple[float, float]) -> tuple[float, float]:
    """The pair as it is; ValueError if its larger number comes first."""
    if pair[0] > pair[1]:
        raise ValueError(f"[{pair[0]:g}, {pair[1]:g}] is reversed; put the smaller number first")
    return pair
