"""What ground a fence encloses."""

from collections.abc import Iterator
from dataclasses import dataclass

from shapely.geometry import Polygon

from packpale.care.inside import Inside
from packpale.review.model import PlotResult
from packpale.review.subjects.field import PACK, PAGE, PLOT, Field, Subject
from packpale.review.subjects.line import CHORD_ERROR_M
from packpale.review.subjects.stretches import packs_of
from packpale.settings import Project
from packpale.values.notes import Value, phrase
from packpale.values.quantity import Quantity

NO_WOODLAND, NO_WATER = "not known: no woodland is given", "not known: no watercourses are given"
NO_SOIL, NO_GROUND = "not known: nothing is given of the soil", "not known: ground level is missing inside"


@dataclass(frozen=True)
class Enclosed:
    """The ground inside one pack's fence."""

    result: PlotResult
    ground: Inside

    @property
    def pack(self) -> int:
        return self.ground.pack

    @property
    def outline(self) -> Polygon:
        return packs_of(self.result)[self.pack].line.polygon(CHORD_ERROR_M)

    def part(self, name: str) -> float | None:
        """Area of a kind of ground; None where it is not known. [m2]"""
        share: float | None = getattr(self.ground, name)
        return None if share is None else share * self.ground.area


def enclosed(result: PlotResult, _project: Project) -> Iterator[Enclosed]:
    """What each pack's fence encloses."""
    return (Enclosed(result, ground) for ground in (result.care.insides if result.care else ()))


def _part(name: str, title: str, why: str) -> Field:
    """Area of a kind of ground, and its share; why it is not known where it is not."""

    def told(item: Enclosed) -> Value:
        share = getattr(item.ground, name)
        if share is None:
            return why
        return phrase("{area}, {share}", area=Quantity(item.part(name), "area"), share=Quantity(share, "share"))

    return Field(f"{name}_m2", title, "area", lambda item: item.part(name), told, shown=PAGE)


INSIDE = Subject(
    "inside",
    "What ground an enclosure holds; empty where it is not known",
    "Polygon",
    (
        PLOT,
        PACK,
        Field("area_m2", "Area enclosed", "area", "ground.area"),
        _part("wood", "Woodland", NO_WOODLAND),
        _part("mapped_water", "Mapped water", NO_WATER),
        _part("hollows", "Hollows that can stand in water", NO_GROUND),
        _part("water_edge", "Edge of water", NO_GROUND),
        _part("steep", "Ground past the limit of slope", NO_GROUND),
        _part("rocky", "Rock near the surface", NO_SOIL),
        _part("wet", "Wet ground", NO_SOIL),
        Field("streams_m", "Mapped streams", "length", "ground.streams", shown=PAGE, unknown=NO_WATER),
        Field("lowest_m", "Lowest ground", "dimension", "ground.lowest"),
        Field("highest_m", "Highest ground", "dimension", "ground.highest"),
        Field(
            "relief_m",
            "From the lowest to the highest ground",
            "length",
            "ground.relief",
            shown=PAGE,
            unknown=NO_GROUND,
        ),
    ),
    enclosed,
    lambda item: item.outline,
)
