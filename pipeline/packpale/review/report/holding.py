"""Whether the fence holds: every way out with its figure and its weakest place."""

import math
from collections.abc import Iterator

from packpale.earthworks.stretches import total
from packpale.review.report.blocks import Block, Paragraph, Section, Words, paragraph, small, table, words
from packpale.review.report.source import PlotSource
from packpale.review.report.water import no_path
from packpale.review.words import counted


def answers(source: PlotSource) -> Iterator[tuple[Words, str]]:
    """Each way out, and what was found in one line, with the weakest place."""
    show, care, project = source.show, source.care, source.project
    if care.dig_out:
        dug = min(care.dig_out, key=lambda d: d.dig_rate)
        yield (
            words(source.see("Under it", "digging-out")),
            f"Gets out if it digs faster than {show.speed(dug.dig_rate)} for the {show.hours(care.unattended_h)} that "
            f"nobody looks: {show.dimension(dug.shortest)} to dig, {_at(source, dug.pack, dug.weakest_chainage)}.",
        )
    if care.climbs:
        low = min(care.climbs, key=lambda c: c.least)
        yield (
            words(source.see("Over it", "climbing")),
            f"{show.dimension(low.least)} high at its lowest place, {_at(source, low.pack, low.weakest_chainage)}, of "
            f"{show.dimension(project.fence.height_m)} set; how high a wolf gets is not published.",
        )
    yield words("Through it"), "Not checked: wire, openings, fixing and rust are for the maker of the mesh to prove."
    gates = sum(pack.gates.x.size for pack in source.result.enclosure.packs)
    double = sum(fence.airlocks for fence in source.works.fences)
    single = " A single gate lets out whoever slips past." if double < gates else ""
    gap = max((g.gap for g in source.works.gates if not math.isnan(g.gap)), default=0.0)
    below = f"{show.dimension(gap)} open below a leaf" if gap else "gaps not known"
    yield words("By a gate"), f"{counted(gates, 'gate')}, {double} with a second one behind; {below}.{single}"
    yield words(source.see("With the water", "crossings")), _water(source)
    yield words(source.see("Unwatched", "round")), _unwatched(source)


def _water(source: PlotSource) -> str:
    crossings = source.care.crossings
    if not crossings:
        return no_path(source)
    worst = max(crossings, key=lambda c: c.area)
    least = "at least " if worst.is_lower_bound else ""
    area = source.show.area(worst.area)
    opens = "unless it is built for that, the fence opens in the first flood"
    return f"Crosses at {counted(len(crossings), 'place')}, the largest drains {least}{area}: {opens}."


def _unwatched(source: PlotSource) -> str:
    show, care = source.show, source.care
    said = f"{show.hours(care.gap.hours)} at the longest, from {care.gap.start} to {care.gap.end}"
    if care.night != care.gap:
        said += f"; by night {show.hours(care.night.hours)}, from {care.night.start} to {care.night.end}"
    return f"{said}."


def _at(source: PlotSource, pack: int, chainage: float) -> str:
    """A place in the words of who decides: chainage is for who sets out."""
    text = f"{source.show.length(chainage)} from the start of the line"
    return f"pack {pack}, {text}" if source.several else text


def holding_section(source: PlotSource) -> Section:
    """Every way out in one line."""
    heads = (("A way out", "name"), ("What was found", "words"))
    made = table(f"Will it hold? Plot {source.plot_id}", heads, answers(source))
    return Section("Will it hold?", (made,), source.section("holding"))


def digging_out(source: PlotSource) -> Section:
    """The shortest tunnels, and how long the mesh holds."""
    blocks: list[Block] = [*_tunnels(source), *_margins(source)]
    if source.project.checks.dig_rate_m_per_h is None:
        blocks.append(
            small(
                "How fast a wolf digs has not been measured in print, so none is assumed: with a rate of your own in "
                "the settings, and its source, the hours to spare are told along the line."
            )
        )
    return Section("Digging out", tuple(blocks), source.section("digging-out"))


def _tunnels(source: PlotSource) -> Iterator[Paragraph]:
    show, care = source.show, source.care
    for dug in care.dig_out:
        lap = night = ""
        if care.night != care.gap:
            night = (
                f" Over the night, the {show.hours(care.night.hours)} from {care.night.start} to {care.night.end}, it "
                f"takes {show.speed(dug.night_dig_rate)}."
            )
        if source.project.trench.apron_reach_m > 0:
            lap = (
                f" Where skirt and apron are not lapped, {show.dimension(dug.without_lap)} (chainage "
                f"{show.length(dug.without_lap_chainage)}) and {show.speed(dug.without_lap_rate)} would do: look at "
                "every lap before it is covered."
            )
        yield paragraph(
            f"{source.of_pack(dug.pack)}The shortest way under the mesh is a tunnel of "
            f"{show.dimension(dug.shortest)}, at chainage {show.length(dug.weakest_chainage)}. An animal gets out "
            f"within the {show.hours(care.gap.hours)} that nobody looks at the longest, from {care.gap.start} to "
            f"{care.gap.end}, if it digs faster than {show.speed(dug.dig_rate)}.{night}{lap}"
        )


def _margins(source: PlotSource) -> Iterator[Paragraph]:
    show, checks = source.show, source.project.checks
    for found in source.care.holdings:
        said = []
        if found.margin_h is not None and checks.dig_rate_m_per_h is not None:
            least = float(found.margin_h.min())
            said.append(
                f"At {show.speed(checks.dig_rate_m_per_h)} ({checks.dig_rate_source}) "
                + (
                    f"the mesh holds {least:.1f} hours longer than nobody looks, at its weakest place."
                    if least >= 0
                    else f"the mesh is dug under over {show.length(total(found.too_short))} of the fence before the "
                    "next round."
                )
            )
        if total(found.on_rock):
            said.append(
                f"Over {show.length(total(found.on_rock))} the skirt ends on rock, "
                f"{show.dimension(float(found.skirt_depth.min()))} deep at the least; volumes and prices hold the "
                "full depth."
            )
        if said:
            yield paragraph(source.of_pack(found.pack) + " ".join(said))
