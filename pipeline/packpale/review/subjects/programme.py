"""The programme of work, day by day."""

from dataclasses import dataclass

from packpale.earthworks.model import Work, WorkDay
from packpale.review.model import PlotResult
from packpale.review.subjects.field import PACK, PAGE, Field, Shown, Subject
from packpale.settings import Project
from packpale.values.notes import Value
from packpale.values.quantity import HOUR_S, Kind, Quantity

WORKS: dict[Work, str] = {
    "clear": "clear, strip and set out",
    "posts": "set posts",
    "trench": "dig, skirt, apron, fill in layers",
    "hang": "hang fence and overhang",
    "gates": "hang gates",
    "check": "look over line, laps and gates",
}
"""What each kind of work is called, in their order."""


IN_DIG = "dig, posts, skirt, apron, fill in layers"
"""What the work on the trench is called where posts are set in it."""


@dataclass(frozen=True)
class PlannedDay:
    """A day of work, and when its open end is looked at."""

    of: WorkDay
    posts_first: bool
    rounds: str
    """Times of the rounds of the night after; empty where nothing is open."""

    @property
    def pack(self) -> int:
        return self.of.pack


def work_name(day: PlannedDay) -> str:
    """What a day's work is called."""
    return IN_DIG if day.of.work == "trench" and not day.posts_first else WORKS[day.of.work]


def planned_days(result: PlotResult, project: Project) -> tuple[PlannedDay, ...]:
    """All days of a plot. From the first trench to the last gate the mesh has an open end."""
    works = result.earthworks
    days = works.programme.days if works and works.programme else ()
    night = project.checks.night
    times = f"{night.start} and {night.end}"
    first = project.programme.posts_first
    return tuple(PlannedDay(day, first, times if day.work in ("trench", "hang", "gates") else "") for day in days)


def _amount(key: str, title: str, kind: Kind, name: str, *, shown: Shown = PAGE) -> Field:
    """A figure of the day; on pages nothing where there is none of it."""

    def told(day: PlannedDay) -> Value | None:
        value = getattr(day.of, name)
        return Quantity(value * (HOUR_S if kind == "duration" else 1.0), kind) if value else None

    return Field(key, title, kind, f"of.{name}", told, shown)


PROGRAMME = Subject(
    "programme.csv",
    "A day's work on one fence, as planned: no method statement",
    "",
    (
        Field("day", "Day", "number of it", "of.day", shown=PAGE),
        PACK,
        Field("work", "Work", "text", work_name, shown=PAGE),
        Field("start_chainage_m", "From", "length", "of.start", shown=PAGE),
        Field("end_chainage_m", "To", "length", "of.end", shown=PAGE),
        Field("length_m", "Length", "length", lambda d: d.of.end - d.of.start),
        _amount("machine_h", "Machine", "duration", "machine_h"),
        _amount("crew_h", "Crew", "duration", "crew_h"),
        _amount("dug_loose_m3", "Heap beside the trench, loose", "volume", "cut_loose"),
        _amount("backfill_compacted_m3", "Filled, compacted", "volume", "backfill_compacted", shown=""),
        _amount("import_compacted_m3", "Of it brought in", "volume", "import_compacted"),
        _amount("surplus_loose_m3", "Left over, to mounds", "volume", "surplus_loose"),
        _amount("buried_mesh_m2", "Buried mesh", "surface", "buried_mesh"),
        _amount("posts", "Posts", "count", "posts"),
        _amount("concrete_m3", "Concrete", "volume", "concrete", shown=""),
        _amount("gates", "Gates", "count", "gates", shown=""),
        _amount("in_water_m", "Trench in water", "length", "in_water"),
        _amount("open_overnight_m", "Open overnight", "length", "open_overnight"),
        Field("rounds", "Open end looked at", "text", "rounds"),
    ),
    planned_days,
)
