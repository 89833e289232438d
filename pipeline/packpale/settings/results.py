"""Settings: the ranking, the maps and the run itself."""

from typing import Annotated, Literal, Self, get_args

from pydantic import Field, field_validator, model_validator

from packpale.settings.base import PRINTABLE, NotNegative, Settings
from packpale.values import default

RankingCriterion = Literal["land", "space", "price"]
RANKING_CRITERIA: tuple[RankingCriterion, ...] = get_args(RankingCriterion)
"""What the score of a plot is made of."""


class RankingSettings(Settings):
    """What makes one plot better than another."""

    weights: dict[RankingCriterion, NotNegative] = {k: default(f"ranking.weights.{k}") for k in RANKING_CRITERIA}
    """Weight of the suitability inside the fence, of its size, and of its price for each unit of area."""
    told_in_full: Annotated[int, Field(ge=1, le=200)] = default("ranking.told_in_full")
    """Plots that index.html and report.pdf tell of in full, from the first; the others stand in the tables and maps."""

    @field_validator("weights")
    @classmethod
    def _not_all_zero(cls, weights: dict[str, float]) -> dict[str, float]:
        if not any(weights.values()):
            raise ValueError("weights are all zero; give at least one of land, space, price a weight above 0")
        return weights


class RunSettings(Settings):
    """How the run is carried out."""

    seed: Annotated[int, Field(ge=0)] = default("run.seed")
    """Start of every random draw; the same seed gives the same files."""
    draws: Annotated[int, Field(ge=100, le=1_000_000)] = default("run.draws")
    """Random draws behind P10, P50 and P90."""
    detail: Annotated[int, Field(ge=1, le=10_000)] = default("run.detail")
    """Plots, from the first in the ranking, that are sure to be computed in full. With more plots all are screened
    before (scored, fitted by a shorter search, priced and ranked, without maps, drawings, setting-out and proof), and
    the first of that ranking, a quarter more than asked for and at least five more, are computed in full. On
    laser-scanned ground, areas and prices as screened were off by half a percent in the median and 3 % at worst."""
    memory_mb: Annotated[float, Field(ge=500, le=1e6)] | None = None
    """Memory that all plots computed at one time may take together; by default what is free when the run starts. With
    less, fewer are computed at one time. A plot that needs more by itself is refused."""


Words = Annotated[str | None, Field(min_length=1, max_length=40), PRINTABLE]


class DrawingSettings(Settings):
    """What the title block of every drawing says beside its own; what is left out stands there as not stated.

    When the ground was measured is ``maps.data_date``.
    """

    date: Words = None
    """Date of these settings, in your words, such as "3 March 2026"."""
    revision: Words = None
    """Mark of this issue, such as "A"."""
    height_datum: Words = None
    """What the heights of the elevation model count from, such as "DHHN2016"."""


class MapSettings(Settings):
    """What the maps show beside the run's own results."""

    data_date: Annotated[str | None, Field(min_length=1, max_length=60), PRINTABLE] = None
    """When the ground was measured, in your words, such as "spring 2021"; stands on every map and its print."""
    background: Annotated[str | None, Field(pattern=r"^https?://.*$"), PRINTABLE] = None
    """Address of map tiles with {z}, {x} and {y} in it, shown only while a reader switches it on: it needs a network,
    and its owner learns which place is looked at. Look up what your mapping agency offers and allows."""
    background_credit: Annotated[str | None, Field(min_length=1, max_length=200), PRINTABLE] = None
    """Whom the owner of the background asks to be named beside it."""

    @model_validator(mode="after")
    def _a_background_is_whole(self) -> Self:
        if self.background is None:
            if self.background_credit is not None:
                raise ValueError("background_credit has no effect without background; give the address or drop the key")
            return self
        missing = [part for part in ("{z}", "{x}", "{y}") if part not in self.background]
        if missing:
            raise ValueError(
                f"background = {self.background!r} lacks {', '.join(missing)}; the address of a tile has all"
            )
        if self.background_credit is None:
            raise ValueError("background needs background_credit: name whom its owner asks to be named")
        return self
