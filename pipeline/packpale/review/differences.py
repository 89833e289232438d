"""What differs between two finished runs, as the pages of a comparison take it."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from packpale.review.model import PlotSummary

LEVEL = 1e-9
"""Figures nearer than this part of the larger one are the same: the tables are rounded anyway."""


@dataclass(frozen=True)
class FinishedRun:
    """What a run left in its folder."""

    folder: Path
    record: Mapping[str, Any]
    """run.json."""
    places: Mapping[str, Mapping[str, float | str | None]]
    """Rank and the figures of ranking.csv, by plot."""
    summaries: Mapping[str, PlotSummary]


@dataclass(frozen=True)
class Change:
    """One thing that differs; None where a run does not have it."""

    name: str
    first: Any
    second: Any


@dataclass(frozen=True)
class FigureChange:
    """One figure of one plot in both runs."""

    name: str
    first: float | None
    second: float | None

    @property
    def difference(self) -> float | None:
        """Second less first."""
        return None if self.first is None or self.second is None else self.second - self.first

    @property
    def share(self) -> float | None:
        """Difference as a part of the first."""
        return self.difference / self.first if self.difference is not None and self.first else None

    @property
    def changed(self) -> bool:
        if self.first is None or self.second is None:
            return self.first is not self.second
        return abs(self.second - self.first) > LEVEL * max(abs(self.first), abs(self.second))


@dataclass(frozen=True)
class PlotChange:
    """One plot in both runs."""

    plot_id: str
    ranks: tuple[float | None, float | None]
    reasons: tuple[str, str]
    """Why nothing fits, or why it is not there."""
    figures: tuple[FigureChange, ...]
    lines: tuple[tuple[str, ...], tuple[str, ...]]
    """Fence lines of its packs as hexadecimal WKB; none where nothing fits."""

    @property
    def line_moved(self) -> bool:
        return self.lines[0] != self.lines[1]

    @property
    def changed(self) -> bool:
        return self.ranks[0] != self.ranks[1] or self.line_moved or any(f.changed for f in self.figures)


@dataclass(frozen=True)
class Comparison:
    """Everything that differs, and the plots of both runs in the order of the second's ranking."""

    first: FinishedRun
    second: FinishedRun
    versions: tuple[str, str]
    settings: tuple[Change, ...]
    inputs: tuple[Change, ...]
    """Files that are not the same, by name; their check sums."""
    plots: tuple[PlotChange, ...]
