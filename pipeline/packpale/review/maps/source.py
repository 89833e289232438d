"""What the layers of a plot's map are made from."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from packpale.review.map_styles import Style
from packpale.review.maps.map_page import Shape
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees, all_to_degrees, to_degrees
from packpale.review.subjects.field import Subject
from packpale.review.words import Wording
from packpale.settings import Project


@dataclass(frozen=True)
class MapSource:
    """One plot's result, and how its figures and places are shown."""

    result: PlotResult
    project: Project
    show: Wording

    @cached_property
    def degrees(self) -> Degrees:
        """From geometry in the run's CRS to what a map takes."""
        return to_degrees(self.result.site.crs)

    def found(self, subject: Subject) -> list[Any]:
        """The items of a subject on this plot."""
        return list(subject.items(self.result, self.project))

    def shapes(
        self,
        subject: Subject,
        title: Callable[[Any], str],
        items: Iterable[Any] | None = None,
        *,
        label: Callable[[Any], str] = lambda _: "",
        style: Callable[[Any], Style] | Style | None = None,
    ) -> list[Shape]:
        """Items of a subject where they lie, by default all of the plot, each with its popup."""
        found = self.found(subject) if items is None else list(items)
        places = all_to_degrees([subject.lies(item) for item in found], self.result.site.crs)
        return [
            Shape(
                place,
                title(item),
                subject.popup(item, self.show),
                label=label(item),
                style=style(item) if callable(style) else style,
            )
            for item, place in zip(found, places, strict=True)
        ]
