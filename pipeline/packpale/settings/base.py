"""What every section of the settings file has in common."""

import re
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

File = Annotated[Path, Field(strict=False)]
Share = Annotated[float, Field(ge=0, le=100)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Rate = Annotated[tuple[NotNegative, NotNegative, NotNegative], Field(strict=False)]


def _hours_and_minutes(text: str) -> str:
    if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text):
        raise ValueError(f"found {text!r}; write hours and minutes, such as 20:00")
    return text


TimeOfDay = Annotated[str, AfterValidator(_hours_and_minutes)]


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
