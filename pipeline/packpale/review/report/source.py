"""What the sections of a plot's report are made from."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeVar

from packpale.care.model import Care
from packpale.earthworks.model import Earthworks
from packpale.review.model import PlotResult
from packpale.review.report.blocks import Run, link
from packpale.review.words.wording import Wording
from packpale.settings import Project

T = TypeVar("T")


@dataclass(frozen=True)
class PlotSource:
    """One plot's result, and how its figures are shown."""

    result: PlotResult
    project: Project
    show: Wording
    folder: str
    """Name of the plot's folder under plots/."""

    @property
    def plot_id(self) -> str:
        return self.result.site.plot_id

    @property
    def several(self) -> bool:
        """Whether there is more than one pack, so that each has to be named."""
        return len(self.result.enclosure.packs) > 1

    @property
    def works(self) -> Earthworks:
        """Raises ValueError where nothing fits."""
        return _there(self.result.earthworks)

    @property
    def care(self) -> Care:
        """Raises ValueError where nothing fits."""
        return _there(self.result.care)

    def file(self, name: str) -> str:
        """Address of one of the plot's files from the run's folder."""
        return f"plots/{self.folder}/{name}"

    def section(self, name: str) -> str:
        """Address of a section of the plot's page."""
        return self.file(f"index.html#{name}")

    def see(self, text: str, name: str) -> Run:
        """A link to a section of the plot's page."""
        return link(text, self.section(name))

    def of_pack(self, number: int) -> str:
        """Which pack a sentence speaks of, where there are several: "Pack 2: "."""
        return f"Pack {number}: " if self.several else ""

    def numbers(self) -> Iterator[int]:
        return (pack.number for pack in self.result.enclosure.packs)


def _there(value: T | None) -> T:
    if value is None:
        raise ValueError("no enclosure fits on this plot: it has neither earthworks nor care")
    return value
