"""Machine work, what becomes of the ground that is dug, and the safety of the open trench."""

from collections.abc import Callable, Iterator

from packpale.earthworks.model import Haul, Mounds, Plant, TrenchSafety
from packpale.earthworks.safety import EGRESS_DEPTH, LATERAL_TRAVEL, PROTECTION_DEPTH, SPOIL_SETBACK
from packpale.earthworks.stretches import total
from packpale.review.report.blocks import Block, Columns, Section, Words, points, small, strong, table, words
from packpale.review.report.source import PlotSource
from packpale.review.words import counted


def machine(source: PlotSource) -> Section:
    """Excavator hours beside what was dug and where it goes."""
    works = source.works
    sides: list[tuple[Block, ...]] = []
    if works.plant:
        sides.append(tuple(_plant(source, works.plant)))
    if works.haul:
        sides.append(tuple(_haul(source, works.haul)))
    return Section("Machine, hauling and mounds", (Columns(tuple(sides)),), source.section("machine"))


def _plant(source: PlotSource, plant: Plant) -> Iterator[Block]:
    show = source.show
    heads = (("Work of the excavator", "name"), "Quantity", "In an hour", "Hours")
    rows = [
        (t.name.capitalize(), show.volume(t.quantity), show.volume(t.output), f"{t.hours:.0f}")
        for t in plant.tasks
        if t.quantity > 0
    ]
    days = f"One machine, {plant.crew_days:.0f} days of {source.project.plant.hours_per_day:g} hours"
    yield table("Work of the excavator", heads, rows, foot=[(days, "", "", f"{plant.machine_hours:.0f}")])
    pump = ""
    if plant.wet_length:
        pump = (
            f" The trench stands in water over {show.length(plant.wet_length)}: a pump runs on about "
            f"{plant.pump_days:.0f} days."
        )
    yield small(
        "Digging and breaking are measured in the ground, filling and placing loose. Compacting, moving the machine, "
        f"turf and posts are not counted.{pump}"
    )


def _haul(source: PlotSource, haul: Haul) -> Iterator[Block]:
    show = source.show
    heads = (("Material", "name"), "In the ground", "Loose", "Swell set", "Published")
    rows = [
        (
            m.name.capitalize(),
            show.volume(m.bank),
            show.volume(m.loose),
            show.percent(m.swell),
            f"{show.percent(m.published_swell[0])} to {show.percent(m.published_swell[1])}",
        )
        for m in haul.materials
        if m.bank > 0
    ]
    yield table("Material moved", heads, rows)
    brought = ""
    if haul.import_loads:
        loads = counted(haul.import_loads, "truck load")
        brought = f", of which {show.volume(haul.import_compacted)} are brought in with {loads}"
    said = [f"The trench takes {show.volume(haul.backfill_compacted)} of compacted fill{brought}."]
    said += [_mounds(source, m) for m in haul.mounds] or ["Nothing is left over for mounds."]
    if haul.den_mounds:
        said.append(f"The soil makes {counted(haul.den_mounds, 'mound')} in which a den can be built.")
    yield points(said)


def _mounds(source: PlotSource, m: Mounds) -> str:
    show = source.show
    bank = ""
    if m.bank_length:
        bank = (
            f", or one bank of the height set with a ridge of {show.length(m.bank_length)}, "
            f"{show.dimension(m.bank_width)} wide"
        )
    count = "a round mound" if m.count == 1 else f"{m.count} round mounds, each"
    return (
        f"{show.volume(m.volume)} of loose {m.kind} are left over: {count} {show.dimension(m.height)} high and "
        f"{show.dimension(2 * m.base_radius)} across{bank}, or {counted(m.truck_loads, 'truck load')}."
    )


def trench_safety(source: PlotSource) -> Section:
    """What one country's rule asks along each pack's trench."""
    show, found = source.show, source.works.safety

    def row(name: str, say: Callable[[TrenchSafety], str | Words]) -> tuple[str | Words, ...]:
        return (name, *(say(p) for p in found))

    rows = [
        row(
            "Deepest place, as drawn, from the higher edge of the cut straight down to the bottom beside it",
            lambda p: show.dimension(p.deepest),
        ),
        row(
            f"Walls sloped, shored or shielded: length {show.say(PROTECTION_DEPTH)} deep or more, as drawn "
            "(if dug deeper by what is set)",
            lambda p: f"{show.length(total(p.protection))} ({show.length(total(p.protection_with_over_dig))})",
        ),
        row(
            f"A ladder or ramp near everybody: length {show.say(EGRESS_DEPTH)} deep or more, as drawn (if dug "
            "deeper by what is set)",
            lambda p: f"{show.length(total(p.egress))} ({show.length(total(p.egress_with_over_dig))})",
        ),
        row(
            f"Ladders or ramps if all of that is open at once, nobody farther than {show.say(LATERAL_TRAVEL)} from one",
            lambda p: str(p.ladders),
        ),
        row("Spoil and machines kept from the edge", lambda _: show.say(SPOIL_SETBACK)),
        row(
            "Strip for that and the heap, on one side (on each of two); kept free beside the dig",
            lambda p: _strip(source, p),
        ),
        row("Flattest wall the table asks of the soil type, run to rise; wall set", _wall),
        row("Length that stands in water, where soil counts as Type C", lambda p: show.length(p.wet_length)),
    ]
    heads = (
        ("What 29 CFR 1926 Subpart P (United States; your rules may differ) asks for", "name"),
        *((f"Pack {p.pack}" if source.several else "This trench", "figure") for p in found),
    )
    note = small(
        "These are the numbers of one country’s rule. Shallower trenches bury people too: local codes, and a competent "
        "person who looks at the ground on the day, decide."
    )
    made = table("Safety of the open trench", heads, rows)
    return Section("Safety of the open trench", (made, note), source.section("trench-safety"))


def _strip(source: PlotSource, p: TrenchSafety) -> Words:
    show = source.show
    one_side, two_sides, kept = (show.dimension(v) for v in (p.spoil_strip, p.spoil_strip_two_sides, p.working_strip))
    said = f"{one_side} ({two_sides}); {kept}"
    return words(said, *((", ", strong("too narrow")) if p.strip_too_narrow else ()))


def _wall(p: TrenchSafety) -> Words:
    said = f"{p.side_slope_asked:g}:1 (type {p.soil_type}); {p.side_slope:g}:1"
    return words(said, *((", ", strong("too steep")) if p.too_steep else ()))
