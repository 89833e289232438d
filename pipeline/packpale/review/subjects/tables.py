"""The CSV tables of a run."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from packpale.earthworks.model import TrenchSafety, Volumes
from packpale.earthworks.stretches import total
from packpale.enclosure.model import Pack
from packpale.review.model import PlotResult
from packpale.review.subjects.field import PACK, PLOT, Field, Subject
from packpale.review.words import Wording, plain
from packpale.settings import Project
from packpale.units import HECTARE_M2


@dataclass(frozen=True)
class Whole:
    """A plot as a whole: what all its enclosures come to. None stands where nothing fits."""

    result: PlotResult
    project: Project

    @property
    def reason(self) -> str:
        """Why nothing fits."""
        return plain(Wording.for_files(self.project).say(self.result.enclosure.reason or ""))

    @property
    def areas(self) -> list[float]:
        return [pack.line.area for pack in self.result.enclosure.packs]

    def of_packs(self, value: Callable[[Pack], float]) -> float | None:
        """A figure of the packs, added up."""
        packs = self.result.enclosure.packs
        return sum(map(value, packs)) if packs else None

    def mean(self, value: Callable[[Pack], float]) -> float | None:
        """A figure of the packs, in the mean of their areas."""
        packs, areas = self.result.enclosure.packs, self.areas
        return sum(value(p) * a for p, a in zip(packs, areas, strict=True)) / sum(areas) if packs else None

    @property
    def volumes(self) -> tuple[Volumes, ...]:
        return self.result.earthworks.volumes if self.result.earthworks else ()

    @property
    def price_per_ha(self) -> float | None:
        works = self.result.earthworks
        return works.cost["p50"] / sum(self.areas) * HECTARE_M2 if works else None


@dataclass(frozen=True)
class Dug:
    """The earthworks of one pack."""

    volumes: Volumes
    safety: TrenchSafety

    @property
    def pack(self) -> int:
        return self.volumes.pack


def _of_all(name: str) -> Callable[[Whole], float | None]:
    """A volume of earth of all packs."""
    return lambda whole: sum(getattr(v, name) for v in whole.volumes) if whole.volumes else None


def _dug(result: PlotResult, _project: Project) -> Iterator[Dug]:
    works = result.earthworks
    return map(Dug, works.volumes, works.safety) if works else iter(())


def _volume(key: str, title: str, name: str = "") -> Field:
    """A volume of one pack."""
    return Field(key, title, "volume", lambda dug: getattr(dug.volumes, name or key.removesuffix("_m3")))


OF_A_PLOT = (
    Field("feasible", "Whether the enclosures asked for fit", "yes or no", "result.enclosure.feasible"),
    Field("reason", "Why not", "text", "reason"),
    Field("plot_area_m2", "Area of the plot", "area", "result.site.outline.area"),
    Field("usable_area_m2", "Usable for the fence line", "area", "result.land.usable.area"),
    Field("enclosed_area_m2", "Enclosed", "area", lambda w: sum(w.areas) if w.areas else None),
    Field("smallest_enclosure_m2", "Smallest enclosure", "area", lambda w: min(w.areas, default=None)),
    Field("fence_length_m", "Fence in plan", "length", lambda w: w.of_packs(lambda p: p.line.perimeter)),
    Field("fence_length_3d_m", "Fence on the ground", "length", lambda w: w.of_packs(lambda p: p.length_3d)),
    Field(
        "mean_slope_deg",
        "Mean slope inside",
        "slope",
        lambda w: w.mean(lambda p: math.degrees(math.atan(p.mean_slope))),
    ),
    Field(
        "mean_suitability", "Mean suitability inside, 0 to 1", "share", lambda w: w.mean(lambda p: p.mean_suitability)
    ),
    Field("cut_bank_m3", "Dug out, as drawn", "volume", _of_all("cut")),
    Field("rock_bank_m3", "of it rock, as drawn", "volume", _of_all("rock")),
    Field("wet_bank_m3", "of it under water, as drawn", "volume", _of_all("wet")),
    Field("surplus_loose_m3", "Left over", "volume", _of_all("surplus_loose")),
    Field("cost_p10", "One price in ten is below [currency]", "money", "result.earthworks.cost.p10"),
    Field("cost_p50", "Middle estimate [currency]", "money", "result.earthworks.cost.p50"),
    Field("cost_p90", "One price in ten is above [currency]", "money", "result.earthworks.cost.p90"),
    Field("escape_dig_rate_m_per_h", "Gets out if it digs faster than", "speed", "result.care.escape_dig_rate"),
    Field("over_limits_m", "Fence line over limits", "length", lambda w: w.of_packs(lambda p: p.over_limits_m)),
    Field("price_per_ha", "Middle estimate for each hectare enclosed", "money", "price_per_ha"),
)
"""What a plot knows by itself."""
RANKING = Subject(
    "ranking.csv",
    "A plot",
    "",
    (
        Field("rank", "Rank; empty where nothing fits", "number of it"),
        PLOT,
        *OF_A_PLOT[:2],
        Field("score", "Score of 100", "score"),
        Field("first_place_share", "Part of the drawn cases in which it comes first", "share"),
        *OF_A_PLOT[2:],
        Field("first_place_share_any_weights", "The same for any weights", "share"),
        Field("usual_rank_best", "Best rank in the middle eight tenths of the draws", "number of it"),
        Field("usual_rank_worst", "Worst rank in them", "number of it"),
        Field("screened", "Whether it was only screened, as plots beyond run.detail are", "yes or no"),
    ),
)
EARTHWORKS = Subject(
    "earthworks.csv",
    "An enclosure",
    "",
    (
        PLOT,
        PACK,
        Field("fence_length_m", "Fence in plan", "length", "volumes.fence_length"),
        Field("section_area_m2", "Mean area of the cut section", "section", "volumes.section_area"),
        _volume("cut_bank_m3", "Dug", "cut"),
        _volume("rock_bank_m3", "Of it rock", "rock"),
        _volume("wet_bank_m3", "Of it below the water table", "wet"),
        _volume("average_end_area_m3", "Dug, by the average end area method"),
        _volume("backfill_compacted_m3", "Filled back"),
        _volume("cut_loose_m3", "Dug, as it lies loose"),
        _volume("surplus_loose_m3", "Left over"),
        _volume("import_compacted_m3", "Fill brought in"),
        _volume("soft_rock_bank_m3", "Soft rock", "soft_rock"),
        _volume("hard_rock_bank_m3", "Hard rock", "hard_rock"),
        Field("deepest_m", "Deepest place of the trench", "dimension", "safety.deepest"),
        Field(
            "wall_protection_m",
            "Trench deep enough for wall protection",
            "length",
            lambda dug: total(dug.safety.protection),
        ),
        Field("way_out_m", "Trench deep enough for a way out", "length", lambda dug: total(dug.safety.egress)),
        Field("in_water_m", "Trench in water", "length", "safety.wet_length"),
    ),
    _dug,
)
