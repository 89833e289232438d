"""The pack and the people: the round, howls, views, the other packs, dens."""

import math
from collections.abc import Iterator

from packpale.care.dens import CHAMBER_M, ENTRANCE_WIDTH_M
from packpale.care.howl import FOREST_GROUND, FOREST_M, LADDER, OPEN_GROUND, OPEN_M, STILL_NIGHT, Howl, Reach
from packpale.care.patrol import Round
from packpale.care.viewing import Viewing
from packpale.review.report.blocks import Block, Section, link, paragraph, small
from packpale.review.report.listing import listing
from packpale.review.report.source import PlotSource
from packpale.review.subjects.dens import DENS
from packpale.review.subjects.patrol import PATROL_CHECKS, OnRound
from packpale.review.subjects.people import HOWL_LEVELS, NEIGHBOURS, VIEWPOINTS
from packpale.values.cautions import advised
from packpale.values.howl_reach import howl_reach
from packpale.values.notes import phrase
from packpale.values.quantity import Quantity, given, printed


def round_section(source: PlotSource) -> Section | None:
    """The walk along each fence, and how long nobody looks."""
    care, show = source.care, source.show
    if not care.rounds:
        return None
    together = ""
    if len(care.rounds) > 1:
        together = f"All rounds take {show.duration(care.rounds_s)}, the way from one pack to the next left out. "
    rounds = "one round" if care.rounds_a_day == 1 else f"{care.rounds_a_day} rounds"
    blocks: tuple[Block, ...] = (
        *(paragraph(_walk(source, walk)) for walk in care.rounds),
        paragraph(
            f"{together}With {rounds} that is {show.duration(care.rounds_a_day_s)} a day for one person. Walked the "
            "same way round every time, no place is unseen for longer than the "
            f"{show.hours(care.gap.hours)} from {care.gap.start} to {care.gap.end}; walked opposite ways, the places "
            f"near the start are unseen for {show.hours(care.unseen_h)}, and {show.speed(care.dig_rate_unseen)} would "
            "be enough to dig out."
        ),
        *(_stops(source, walk) for walk in care.rounds if walk.checks),
        small(
            "Speed on foot by Tobler’s function on the slope along the path, times "
            f"{source.project.patrol.pace_factor:g}; snow, dark and undergrowth slow it down. For a receiver: ",
            link("patrol.gpx", source.file("patrol.gpx")),
            ". Look at the whole fence, not only at the check points.",
        ),
    )
    return Section("The round along the fence", blocks, source.section("round"))


def _walk(source: PlotSource, walk: Round) -> str:
    show = source.show
    stops = f" and {show.duration(walk.stops_s)} for {len(walk.checks)} stops" if walk.stops_s else ""
    return (
        f"{source.of_pack(walk.pack)}A round is {show.length(walk.length)} long with {show.length(walk.climb)} of "
        f"climb and takes {show.duration(walk.total_s)}: {show.duration(walk.walking_s)} of walking clockwise "
        f"({show.duration(walk.other_way_s)} the other way round){stops}. The longest piece between two check points "
        f"is {show.length(walk.longest_leg)}."
    )


def _stops(source: PlotSource, walk: Round) -> Block:
    title = f"Stops of the round{f' of pack {walk.pack}' if source.several else ''}"
    stops = [OnRound(walk, check) for check in walk.checks]
    show = source.show
    back = ("Back", "start of the round", "", show.length(walk.last_leg), show.duration(walk.last_leg_s))
    return listing(source, title, PATROL_CHECKS, stops, foot=[back])


def howls(source: PlotSource) -> Section | None:
    """How far a howl carries, and who hears it."""
    howl = source.care.howl
    if howl is None:
        return None
    blocks: list[Block] = [paragraph(_reach(source, r)) for r in howl.reach]
    if howl.heard:
        blocks.append(listing(source, "Who hears the howls", HOWL_LEVELS, howl.heard))
    else:
        blocks.append(paragraph("No dwellings are given, so that nobody is known who would hear it."))
    blocks += _loudness(source, howl)
    return Section("Howls", tuple(blocks), source.section("howls"))


def _reach(source: PlotSource, r: Reach) -> str:
    show = source.show
    nearest, farthest = r.radius.min(axis=1), r.radius.max(axis=1)
    flat = " The elevation model does not reach that far all round: beyond it flat open ground is assumed."
    capped = " Farther than the last figure nothing is computed."
    return (
        f"{source.of_pack(r.pack)}People outdoors hear a howl from the middle of the enclosure up to "
        f"{show.length(float(nearest[1]))} away in the direction in which it carries least, and up to "
        f"{show.length(float(farthest[1]))} in the one in which it carries farthest, if a howl is as loud as taken to "
        f"be likely; {show.length(float(farthest[0]))} to {show.length(float(farthest[2]))} in that direction for the "
        f"low and the high level.{'' if r.surveyed.all() else flat}{capped if (r.radius >= LADDER[-1]).any() else ''}"
    )


def _loudness(source: PlotSource, howl: Howl) -> Iterator[Block]:
    show, settings = source.show, source.project.howl
    told = phrase(
        "Nobody has published how loud a howl is: {level} at {away} is an assumption, and every level and "
        "distance moves with it. Levels are those downwind or on a clear calm night (ISO 9613-2, accuracy "
        "stated up to {stated} only), {temperature}, {humidity} humidity, a background of {background} in "
        "each band, and ground with factor {ground}.",
        level=given(settings.source_level_db[1], "level"),
        away=given(1.0, "dimension"),
        stated=printed(1000, "m"),
        temperature=given(settings.temperature_c, "temperature"),
        humidity=given(settings.humidity_percent / 100, "share"),
        background=given(settings.background_db, "level"),
        ground=given(settings.ground_factor, "number"),
    )
    yield small(show.say(told))
    still_open, still_forest = (Quantity(round(v, -2), "distance") for v in howl.still_night)
    told = phrase(
        "Common practice, without a source, has howls heard at about {over_open} over open ground and "
        "{in_forest} through dense forest. Under the conditions above that asks for {open_needs} at that "
        "distance from the animal over open flat ground, and for {forest_needs} over {forest} of forest. The "
        "method comes to such distances for the high level ({high}) on a still night of {cold} against a "
        "background of {quiet}: {still_open} over open ground as hard as ice or crusted snow (factor "
        "{open_factor}), {still_forest} through forest on ground frozen in part (factor {forest_factor}). "
        "Layers of air that lead sound along, or a call from a height, carry farther than this method tells.",
        over_open=given(OPEN_M, "distance"),
        in_forest=howl_reach()["dense forest"],
        open_needs=Quantity(howl.open_needs, "level"),
        forest_needs=Quantity(howl.forest_needs, "level"),
        forest=given(FOREST_M, "distance"),
        high=given(settings.source_level_db[2], "level"),
        cold=given(STILL_NIGHT["temperature_c"], "temperature"),
        quiet=given(STILL_NIGHT["background_db"], "level"),
        still_open=still_open,
        still_forest=still_forest,
        open_factor=given(OPEN_GROUND, "number"),
        forest_factor=given(FOREST_GROUND, "number"),
    )
    yield small(show.say(told))


def views(source: PlotSource) -> Section | None:
    """What is seen from the viewing points, and what stays out of sight."""
    viewing = source.care.viewing
    if viewing is None:
        return None
    settings, show = source.project.viewing, source.show
    blocks: tuple[Block, ...] = (
        *map(paragraph, _seen(source, viewing)),
        listing(source, "What each viewing point sees", VIEWPOINTS, viewing.viewpoints),
        small(
            f"An animal {show.dimension(settings.target_height_m)} high is looked for with eyes "
            f"{show.dimension(settings.eye_height_m)} above the ground, up to {show.length(settings.sight_m)} away. "
            "Only bare ground hides: trees, bushes and mounds hide more, so that more is refuge than is said here. "
            "How far people must be kept off the fence is for the licensing authority to say."
        ),
    )
    return Section("What people see", blocks, source.section("views"))


def _seen(source: PlotSource, viewing: Viewing) -> Iterator[str]:
    settings, show = source.project.viewing, source.show
    for p in viewing.packs:
        if not math.isfinite(p.seen_share):
            yield (
                f"{source.of_pack(p.pack)}how much of the ground inside the fence is seen is not known: the viewing "
                "points lie beyond the elevation model."
            )
            continue
        refuge_is_met = p.refuge_share >= settings.least_refuge_share
        met = "both are met" if p.seen_share >= settings.least_seen_share and refuge_is_met else "not both are met"
        least, most = ("at least ", "at most ") if p.is_bound else ("", "")
        yield (
            f"{source.of_pack(p.pack)}{least}{show.percent(p.seen_share)} of the ground inside the fence is seen from "
            f"some viewing point, {most}{show.percent(p.refuge_share)} from none. Asked for are "
            f"{show.percent(settings.least_seen_share)} seen and {show.percent(settings.least_refuge_share)} refuge: "
            f"{'not known whether both are met' if p.is_bound and refuge_is_met else met}."
        )


def between_packs(source: PlotSource) -> Section | None:
    """Every two packs beside each other."""
    show, project = source.show, source.project
    if not source.care.neighbours:
        return None
    note = small(
        f"Under {show.dimension(project.neighbours.perimeter_m)} two fences stand too close to count as two; a lane "
        f"lets a vehicle of {show.dimension(project.fence.vehicle_width_m)} through. What one pack sees of the other "
        "is looked for from its fence line over bare ground, with eyes "
        f"{show.dimension(project.viewing.target_height_m)} high."
    )
    found = listing(source, "Between the packs", NEIGHBOURS, source.care.neighbours)
    return Section("Between the packs", (found, note), source.section("between"))


def dens(source: PlotSource) -> Section | None:
    """Where dens could go."""
    show, found = source.show, source.care.dens
    if not found:
        return None
    note = small(
        "A dash stands where the input was not given. "
        f"{advised('den size')} An entrance is taken as {show.dimension(ENTRANCE_WIDTH_M)} wide, a chamber as "
        f"{show.dimension(CHAMBER_M[0])} by {show.dimension(CHAMBER_M[1])} and {show.dimension(CHAMBER_M[2])} high. "
        f"{advised('den preference')} The pack chooses for itself. {advised('den danger')}"
    )
    return Section("Places for dens", (listing(source, "Places for dens", DENS, found), note), source.section("dens"))
