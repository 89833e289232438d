"""What review takes: all of one plot, what the files of a run need of it, the least of it, and the ranking."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

from packpale.care.model import Care
from packpale.earthworks.model import Earthworks
from packpale.enclosure.line_ground import LineCost
from packpale.enclosure.model import Enclosure, Fit
from packpale.land.model import Land
from packpale.settings import RankingCriterion
from packpale.site import Site
from packpale.values.notes import Note, Phrase

if TYPE_CHECKING:
    from packpale.site.fields import Field


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
    line_cost: LineCost | None = None
    """What a metre of line costs, where that is known already."""


@dataclass(frozen=True)
class FieldFits:
    """What fits in one feature of a file: as many eggs as were asked for, or none and the reason."""

    field: "Field"
    fits: tuple[Fit, ...]
    reason: str


@dataclass(frozen=True)
class Estimate:
    """The published class of a plot's price."""

    number: int
    """From 5, the roughest, to 1."""
    low: float
    """How far the truth may lie below the middle estimate, a negative fraction of it."""
    high: float
    """The same above it, positive."""


@dataclass(frozen=True)
class PlotBrief:
    """What a run keeps in memory of a plot that has ended: a few kilobytes, so that thousands of plots fit.

    All else of its summary lies in the plot's folder and is read from there when it is needed.
    """

    plot_id: str
    folder: str
    """Name of the plot's folder under plots/, safe as a file name."""
    figures: Mapping[str, Any]
    """The plot's columns of ranking.csv but those that the ranking makes, by name; None where there is no figure."""
    earthworks: tuple[Mapping[str, Any], ...]
    """Rows of earthworks.csv, one for each pack."""
    notes: tuple[Note, ...]
    """The plot's own."""
    bounds: tuple[float, ...] = ()
    """West, south, east, north of the plot; empty where they are not known. [m]"""
    estimate: Estimate | None = None
    """None where nothing fits."""
    reason: Phrase | None = None
    """Why nothing fits; None where something does."""
    alternatives: tuple[Mapping[str, Any], ...] = ()
    """Rows of alternatives.csv."""
    screened: bool = False
    """Whether the plot was only screened: it has no files but its figures, outline and fence lines."""


@dataclass(frozen=True)
class PlotSummary(PlotBrief):
    """All that the files of a whole run need of one plot beside its layers and its report; goes into JSON."""

    items: tuple[Mapping[str, Any], ...] = ()
    """The priced list."""
    crs: str = ""
    """The run's CRS, as in Site."""
    bill: Mapping[str, Any] | None = None
    """``total``, low, likely, high, and ``bridge``, text and amount of each step; None where nothing fits."""
    ground: Mapping[str, Any] | None = None
    """``png``, in base64, and ``bounds`` in degrees of a small picture of the ground."""

    @property
    def brief(self) -> PlotBrief:
        return PlotBrief(**{field.name: getattr(self, field.name) for field in fields(PlotBrief)})


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
    """Share of the draws in which the plot comes first, 0 to 1: weights around the chosen ones, ground and prices."""
    feasible: bool
    first_place_share_any: float = 0.0
    """The same if nothing is known of the weights: every mixture of them is as likely as any other."""
    first_place_share_by_weights: float = 0.0
    """The same if only the weights vary around the chosen ones."""
    first_place_share_by_ground: float = 0.0
    """The same if only ground and prices vary."""
    usual_places: tuple[int, int] | None = None
    """Best and worst place in the middle eight tenths of the draws, with weights around the chosen ones."""
    usual_places_any: tuple[int, int] | None = None
    """The same for any weights."""
    parts: tuple[float, ...] = ()
    """Points of the score that each of RANKING_CRITERIA brings; they add up to it."""


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
    draws: int = 0
    """What shares and usual places rest on: those asked for, or as many as fit in memory with all plots."""
