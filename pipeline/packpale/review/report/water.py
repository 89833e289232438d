"""Where water crosses the fence."""

from packpale.care.crossings import Crossing
from packpale.care.streams import StreamCrossing
from packpale.review.report.blocks import Block, Section, link, paragraph, points, small, table
from packpale.review.report.source import PlotSource

SHOWN = 12
"""Crossings that the page lists, those that drain most; the GeoPackage holds all."""


def crossings(source: PlotSource) -> Section:
    """The places, what drains to them, and the openings if a rain is set."""
    found = sorted(source.care.crossings, key=lambda c: -c.area)
    blocks = _places(source, found) if found else [_none(source)]
    blocks += _mapped(source)
    return Section("Where water crosses the fence", tuple(blocks), source.section("crossings"))


def _mapped(source: PlotSource) -> list[Block]:
    """Water that the map shows at the fence line, whatever the ground model says."""
    streams, show = source.care.streams, source.show
    if not streams:
        return []
    places = "1 place" if len(streams) == 1 else f"{len(streams)} places"
    return [
        paragraph(f"Water on the map crosses the fence line at {places}:"),
        points(_stream(source, s, show.length(s.chainage), show.length(s.width)) for s in streams),
    ]


def _stream(source: PlotSource, s: StreamCrossing, chainage: str, width: str) -> str:
    pack = f"pack {s.pack}, " if source.several else ""
    wide = f", {width} wide along the fence" if s.width else ""
    told = (
        "the ground model has no flow path here, so that neither what drains there nor flow and opening are known"
        if s.crossing is None
        else "the flow path that the ground model has here is told of above"
    )
    return f"{pack}chainage {chainage}{wide}: {told}"


def _none(source: PlotSource) -> Block:
    area = source.show.area(source.project.crossings.min_area_m2)
    return paragraph(f"No flow path that drains {area} or more crosses the fence line.")


def _places(source: PlotSource, found: list[Crossing]) -> list[Block]:
    show, settings = source.show, source.project.crossings
    shown = sorted(found[:SHOWN], key=lambda c: (c.pack, c.number))
    rain = settings.rain_source is not None
    heads = [
        ("Chainage", "name"),
        ("Water flows", "words"),
        ("Ground that drains here", "figure"),
        ("Longest flow path", "figure"),
        ("Time of concentration", "figure"),
    ]
    if rain:
        heads += [("Design flow", "figure"), ("Opening, wide by high", "figure"), ("Bars", "figure")]
    places = "1 place" if len(found) == 1 else f"{len(found)} places"
    more = (f"; the {SHOWN} that drain most are listed, ", link("packpale.gpkg", "packpale.gpkg"), " has all")
    said = (
        f"Flow by the rational method, {settings.runoff_coefficient:g} of the rain running off, times "
        f"{settings.frequency_factor:g}. Opening after Manning (n = {settings.roughness:g}, on the slope of the "
        f"ground), full to its height; bars {show.dimension(settings.bar_thickness_m)} thick with gaps of "
        f"{show.dimension(settings.bar_gap_m)}, of which debris blocks {show.percent(settings.blocked_share)}."
    )
    return [
        paragraph(
            f"Flow paths that drain {show.area(settings.min_area_m2)} or more cross the fence line at {places}",
            *(more if len(found) > SHOWN else ()),
            ". Each is a weak point: mesh catches what floats, bends or is undermined, and the first flood opens the "
            "fence.",
        ),
        table("Where water crosses the fence", heads, [_row(source, c, rain) for c in shown]),
        small(f"Rainfall: {settings.rain_source}. {said}")
        if rain
        else small(
            f"No design flow and no opening: both follow from {show.setting('crossings.rain_mm_per_h')}, and none is "
            "given. The weather service has the intensity of a storm that lasts as long as the time of concentration."
        ),
        small(
            "Common practice, no source: bars hinged at the top that give way to debris and fall shut again, so heavy "
            "or so held that no animal pushes them open, or a fixed rack that is cleaned after every storm, so low "
            "and close that no animal passes under or between; under them stone or concrete in place of buried mesh, "
            "carried as deep and as far as the apron and into the banks on both sides; fence posts kept out of the "
            "channel. Structural and flood design by licensed people, with the consent of the authority for the "
            "water. Have these places looked at on every round and after every storm. Paths in filled hollows and on "
            "flats are arbitrary: walk the line in the rain before deciding."
        ),
    ]


def _row(source: PlotSource, c: Crossing, rain: bool) -> list[str]:
    show = source.show
    row = [
        show.length(c.chainage) + (f", pack {c.pack}" if source.several else ""),
        "in" if c.inward else "out",
        ("at least " if c.is_lower_bound else "") + show.area(c.area),
        show.length(c.path_length),
        f"{c.concentration_min:.1f} min",
    ]
    if rain:
        o = c.opening
        row += (
            [show.discharge(o.flow), f"{show.dimension(o.width)} by {show.dimension(o.height)}", str(o.bars)]
            if o
            else ["–", "–", "–"]
        )
    return row
