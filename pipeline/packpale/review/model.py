"""What review takes: all of one plot, what the files of a run need of it, the least of it, and the ranking."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import shapely

from packpale.care.model import Care
from packpale.earthworks.model import Earthworks
from packpale.enclosure.model import Enclosure
from packpale.land.model import Land
from packpale.settings import RankingCriterion
from packpale.site import Site
from packpale.values.notes import Note, Phrase


@dataclass(frozen=True)
class PlotResult:
    """Everything computed for one plot."""

    site: Site
    land: Land
    enclosure: Enclosure
    earthworks: Earthworks | None
    """None where nothing fits."""
    care: Care | None
    """None where nothing fits."""


@dataclass(frozen=True)
class Phrases:
    """What of a plot is told in words beside its notes."""

    reason: Phrase | None = None
    """Why nothing fits; None where something does."""
    limits: tuple[tuple[Phrase, float], ...] = ()
    """What takes land away, and which part of the plot, 0 to 1."""
    touched: tuple[tuple[int, Phrase], ...] = ()
    """What a fence line touches, place by place, with the number of its pack."""


@dataclass(frozen=True)
class PlotSummary:
    """What the files of a whole run need of one plot; plain numbers, texts and WKB, so that it goes into JSON.

    ``figures`` holds the plot's columns of ranking.csv but rank, score and first_place_share, by name (None where
    there is no figure); ``earthworks`` the rows of earthworks.csv; ``items`` the priced list; ``layers`` the rows of
    each layer of packpale.gpkg, geometry as hexadecimal WKB under ``geometry``; ``notes`` the plot's own.
    ``details`` holds what only the pages show: limits, packs, digging out, price range, a small picture of the ground.
    """

    plot_id: str
    folder: str
    """Name of the plot's folder under plots/, safe as a file name."""
    figures: Mapping[str, Any]
    earthworks: tuple[Mapping[str, Any], ...]
    items: tuple[Mapping[str, Any], ...]
    layers: Mapping[str, tuple[Mapping[str, Any], ...]]
    notes: tuple[Note, ...]
    crs: str = ""
    """The run's CRS, as in Site."""
    details: Mapping[str, Any] = field(default_factory=dict)
    phrases: Phrases = Phrases()

    @property
    def brief(self) -> "PlotBrief":
        outlines = [row["geometry"] for row in self.layers.get("plots", ())]
        bounds = tuple(shapely.total_bounds(shapely.from_wkb(outlines)).tolist()) if outlines else (math.nan,) * 4
        menu = tuple({k: v for k, v in row.items() if k != "geometry"} for row in self.layers.get("alternatives", ()))
        return PlotBrief(
            self.plot_id,
            self.folder,
            self.figures,
            self.earthworks,
            self.notes,
            bounds,
            menu,
            Phrases(self.phrases.reason),
        )


@dataclass(frozen=True)
class PlotBrief:
    """What a run keeps in memory of a plot that has ended: a few kilobytes, so that thousands of plots fit.

    All else of its summary lies in the plot's folder and is read from there when it is needed.
    """

    plot_id: str
    folder: str
    figures: Mapping[str, Any]
    earthworks: tuple[Mapping[str, Any], ...]
    notes: tuple[Note, ...]
    bounds: tuple[float, ...]
    """West, south, east, north of the plot; NaN if it has no outline. [m]"""
    alternatives: tuple[Mapping[str, Any], ...] = ()
    """Rows of alternatives.csv."""
    phrases: Phrases = Phrases()
    """Its reason alone."""


@dataclass(frozen=True)
class FinishedPlots:
    """The plots that a run's files tell of: the least of each at hand, the whole of one while it is looked at."""

    briefs: Mapping[str, PlotBrief]
    """By plot."""
    read: Callable[[str], PlotSummary]
    """Summary of a plot; each call may read it from disk."""
    notes: tuple[Note, ...] = ()
    """Of the whole run."""

    def __getitem__(self, plot_id: str) -> PlotSummary:
        return self.read(plot_id)


@dataclass(frozen=True)
class RankedPlot:
    """One plot's place. ``rank``, ``score`` are None where nothing fits."""

    plot_id: str
    rank: int | None
    score: float | None
    """0 to 100."""
    first_place_share: float
    """Share of the draws of weights around the chosen ones in which the plot comes first, 0 to 1."""
    feasible: bool
    first_place_share_any: float = 0.0
    """The same if nothing is known of the weights: every mixture of them is as likely as any other."""
    usual_places: tuple[int, int] | None = None
    """Best and worst place in the middle eight tenths of the draws around the chosen weights."""
    usual_places_any: tuple[int, int] | None = None
    """The same for any weights."""


@dataclass(frozen=True)
class Overtaking:
    """What one weight would have to be for the second plot to draw level with the first, the others as they are."""

    criterion: RankingCriterion
    weight: float
    """As chosen."""
    needed: float | None
    """Beyond it the second is ahead; None where no weight of this criterion alone brings that about."""


@dataclass(frozen=True)
class Ranking:
    """Feasible plots from the first place down, then the others by id."""

    rows: tuple[RankedPlot, ...]
    overtaking: tuple[Overtaking, ...] = ()
    """One for each criterion, where at least two plots are feasible."""
