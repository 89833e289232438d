"""Whether the fence holds: every way out with its figure and its weakest place."""

from collections.abc import Iterator

from packpale.review.report.blocks import Block, Paragraph, Section, Words, paragraph, small, table, words
from packpale.review.report.source import PlotSource


def answers(source: PlotSource) -> Iterator[tuple[str, Words, str]]:
    """Each way out: what was found in one line, and where it is weakest."""
    show, care, project = source.show, source.care, source.project
    if care.dig_out:
        dug = min(care.dig_out, key=lambda d: d.dig_rate)
        yield (
            "Under it",
            words(
                f"Gets out if it digs faster than {show.speed(dug.dig_rate)} for the {care.unattended_h:g} h "
                f"nobody looks: the shortest tunnel has {show.dimension(dug.shortest)}. ",
                source.see("Digging out", "digging-out"),
            ),
            _at(source, dug.pack, dug.weakest_chainage),
        )
    if care.climbs:
        low = min(care.climbs, key=lambda c: c.least)
        yield (
            "Over it",
            words(
                f"Stands {show.dimension(low.least)} above the ground within "
                f"{show.dimension(project.checks.climb_distance_m)} at its lowest place, of "
                f"{show.dimension(project.fence.height_m)} as set; no height that a wolf clears is published. ",
                source.see("Climbing", "climbing"),
            ),
            _at(source, low.pack, low.weakest_chainage),
        )
    yield (
        "Through it",
        words("Not checked: wire, openings, fixing and rust of the mesh are for its maker to prove."),
        "",
    )
    gates = sum(pack.gates.x.size for pack in source.result.enclosure.packs)
    double = sum(fence.airlocks for fence in source.works.fences)
    single = " A single gate lets out whoever slips past." if double < gates else ""
    count = "1 gate" if gates == 1 else f"{gates} gates"
    yield (
        "By a gate",
        words(
            f"{count}, {double} of them with a second gate behind; sill and gap under the leaf are not checked.{single}"
        ),
        "",
    )
    yield "With the water", _water(source), ""
    yield "While nobody looks", words(_unwatched(source), source.see("The round", "round")), ""


def _water(source: PlotSource) -> Words:
    crossings = source.care.crossings
    area = source.show.area(source.project.crossings.min_area_m2)
    if not crossings:
        return words(
            f"No flow path that drains {area} or more crosses the fence line. ", source.see("Crossings", "crossings")
        )
    worst = max(crossings, key=lambda c: c.area)
    places = "1 place" if len(crossings) == 1 else f"{len(crossings)} places"
    least = "at least " if worst.is_lower_bound else ""
    return words(
        f"Flow paths cross the line at {places}, the largest drains {least}{source.show.area(worst.area)}; a flood "
        "opens a fence that is not built for it. ",
        source.see("Crossings", "crossings"),
    )


def _unwatched(source: PlotSource) -> str:
    show, care, checks = source.show, source.care, source.project.checks
    day = 24 - care.unattended_h
    said = (
        f"Rounds at {checks.evening} and {checks.morning} leave {show.hours(care.unattended_h)} by night and "
        f"{show.hours(day)} by day."
    )
    if day > care.unattended_h and care.dig_out:
        rate = min(d.shortest for d in care.dig_out) / day
        said += f" If nobody is about by day, {show.speed(rate)} is enough to dig out."
    return f"{said} "


def _at(source: PlotSource, pack: int, chainage: float) -> str:
    text = f"chainage {source.show.length(chainage)}"
    return f"pack {pack}, {text}" if source.several else text


def holding_section(source: PlotSource) -> Section:
    """The same with the weakest places, for who judges it."""
    rows = [(way, said, where or "–") for way, said, where in answers(source)]
    heads = (("A way out", "name"), ("What was found", "words"), ("Weakest place", "words"))
    return Section("Will it hold?", (table("Will it hold?", heads, rows),), source.section("holding"))


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
        lap = ""
        if source.project.trench.apron_reach_m > 0:
            lap = (
                f" Where skirt and apron are not lapped, {show.dimension(dug.without_lap)} (chainage "
                f"{show.length(dug.without_lap_chainage)}) and {show.speed(dug.without_lap_rate)} would do: look at "
                "every lap before it is covered."
            )
        yield paragraph(
            f"{source.of_pack(dug.pack)}The shortest way under the mesh is a tunnel of "
            f"{show.dimension(dug.shortest)}, at chainage {show.length(dug.weakest_chainage)}. An animal gets out "
            f"within the {care.unattended_h:g} hours that nobody looks if it digs faster than "
            f"{show.speed(dug.dig_rate)}.{lap}"
        )


def _margins(source: PlotSource) -> Iterator[Paragraph]:
    from packpale.earthworks.stretches import total

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
                    else f"the mesh is dug under over {show.length(total(found.too_short))} of the fence in that time."
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
