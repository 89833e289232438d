"""The programme of work on a plot's page: bars over the days, a table by kind of work, and every day."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from packpale.earthworks.model import Programme, WorkDay
from packpale.earthworks.safety import SPOIL_SETBACK
from packpale.review.report.blocks import Block, Section, paragraph, points, strong, table
from packpale.review.report.charts import day_bars
from packpale.review.report.files import DAYS, file_list
from packpale.review.report.listing import listing
from packpale.review.report.source import PlotSource
from packpale.review.subjects.programme import PROGRAMME, WORKS, planned_days, work_name
from packpale.review.words import MISSING, begun, counted


@dataclass(frozen=True)
class _Stage:
    """One kind of work on one fence."""

    name: str
    days: tuple[WorkDay, ...]

    @property
    def first(self) -> int:
        return self.days[0].day

    @property
    def last(self) -> int:
        return self.days[-1].day

    def of(self, name: str) -> float:
        """All of something, day by day added up."""
        return float(sum(getattr(day, name) for day in self.days))


def programme_section(source: PlotSource) -> Section | None:
    """The programme; None without one."""
    made = source.works.programme
    if made is None or not made.days:
        return None
    stages = list(_stages(source))
    blocks: list[Block] = [
        paragraph(
            strong(f"A planning aid of {made.last_day} working days, no method statement: "),
            "how the work is done safely, and in which order, is for the contractor, a competent person on the day and "
            "local rules to decide. Weather, breakdowns, deliveries and permits are not in it.",
        ),
        day_bars(
            [(stage.name, stage.first, stage.last) for stage in stages],
            alt="Programme of work by working days",
            caption="Working days, numbered from the first; each kind of work begins on a day of its own.",
        ),
        _table(source, stages),
        points(_said(source, made)),
        file_list(source, DAYS),
        Section(
            "Day by day",
            (listing(source, "Programme of work, day by day", PROGRAMME, planned_days(source.result, source.project)),),
            look="folded",
        ),
    ]
    return Section("Programme of work", tuple(blocks), source.section("programme"))


def _stages(source: PlotSource) -> Iterator[_Stage]:
    planned = planned_days(source.result, source.project)
    for number in source.numbers():
        for work in WORKS:
            days = [d for d in planned if (d.pack, d.of.work) == (number, work)]
            if days:
                yield _Stage(f"{source.of_pack(number)}{work_name(days[0])}", tuple(d.of for d in days))


def _table(source: PlotSource, stages: Sequence[_Stage]) -> Block:
    show = source.show
    heads = (("Work", "name"), "Days", "Machine", "Crew", ("Brought in", "words"), ("Where spoil goes", "words"))
    rows = [
        (
            begun(stage.name),
            f"{stage.first} to {stage.last}" if stage.last > stage.first else f"{stage.first}",
            _hours(stage.of("machine_h")),
            _hours(stage.of("crew_h")),
            _brought(source, stage),
            _spoil(source, stage),
        )
        for stage in stages
    ]
    plant, crew = source.project.plant, source.project.programme
    people = "1 person" if crew.people == 1 else f"{crew.people} people"
    foot = (
        f"Days of {show.hours(plant.hours_per_day)}, one machine, {people}",
        f"{max((s.last for s in stages), default=0)}",
        _hours(sum(s.of("machine_h") for s in stages)),
        _hours(sum(s.of("crew_h") for s in stages)),
        "",
        "",
    )
    return table("Programme of work", heads, rows, foot=[foot])


def _hours(value: float) -> str:
    return f"{value:,.0f} h" if value >= 0.5 else MISSING if not value else "under 1 h"


def _brought(source: PlotSource, stage: _Stage) -> str:
    show = source.show
    posts, gates = stage.of("posts"), stage.of("gates")
    said = [
        f"{posts:,.0f} posts" if posts else "",
        f"{show.volume(stage.of('concrete'))} of concrete" if stage.of("concrete") else "",
        f"{show.quantity(stage.of('buried_mesh'), 'm2')} of mesh with laps" if stage.of("buried_mesh") else "",
        f"{show.volume(stage.of('import_compacted'))} of fill, compacted"
        if stage.of("import_compacted") >= 0.5
        else "",
        f"{gates:,.0f} gates" if gates else "",
    ]
    return ", ".join(part for part in said if part) or MISSING


def _spoil(source: PlotSource, stage: _Stage) -> str:
    show, dug, left = source.show, stage.of("cut_loose"), stage.of("surplus_loose")
    if not dug:
        return MISSING
    over = f"; {show.volume(left)} of it left over, to mounds or off the plot" if left >= 0.5 else ""
    return f"{show.volume(dug)} loose on heaps beside the trench, {show.say(SPOIL_SETBACK)} or more from its edge{over}"


def _said(source: PlotSource, made: Programme) -> Iterator[str]:
    show, project, night = source.show, source.project, source.project.checks.night
    trench = [day for day in made.days if day.work == "trench"]
    lengths = [day.end - day.start for day in trench]
    # The last day of a line is what is left over.
    full = lengths[:-1] or lengths
    least, most = show.length(min(full)), show.length(max(full))
    yield (
        f"Each day's trench is {least if least == most else f'{least} to {most}'} long, from the start of the line "
        "clockwise: shorter where it is deeper or in rock."
    )
    by_hand, machine = sum(d.crew_h for d in trench), sum(d.machine_h for d in trench)
    if by_hand > machine:
        yield "People in the dig take longer than the machine, which waits for them: more of them shorten the work."
    if project.programme.close_each_day:
        yield (
            "No trench is left open overnight: each day's stretch is dug, gets what stands and lies in it, lapped and "
            "tied, and is filled in layers by the evening; if the day runs short, dig less."
        )
    else:
        worst = max(day.open_overnight for day in trench)
        yield (
            f"Up to {show.length(worst)} of trench stand open overnight, each stretch for {project.plant.open_days:g} "
            "days: fence it off, light it, and give whoever or whatever falls in a way out."
        )
    yield (
        f"Until the last gate hangs the mesh has an open end: the rounds at {night.start} and {night.end} look at it "
        "and at the heaps; no animal is inside before the line has been looked over."
    )
    if project.programme.posts_first:
        yield "The trench takes the ground beside posts that stand already: brace them, or ask who designs the fence."
    else:
        yield (
            "Footings are cast in the dig on the day it is filled: whoever designs the fence says how posts are braced "
            "until the concrete has hardened, how the fill beside it is compacted, and reckons with made ground."
        )
    wet = sum(day.in_water for day in trench)
    if wet:
        days = sum(day.in_water > 0 for day in trench)
        yield (
            f"The trench meets water over {show.length(wet)} on {counted(days, 'day')}: have the pump "
            "there before the machine."
        )
    yield "The take-off has no bedding: where stones would cut the mesh, add it."
