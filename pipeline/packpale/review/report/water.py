"""Where water crosses the fence."""

from collections.abc import Iterator
from typing import get_args

from packpale.care.crossings import FLAT_TOLD_M, ROUTE_FALL, ROUTE_M, Kind
from packpale.care.streams import StreamCrossing
from packpale.review.report.blocks import Block, Section, link, paragraph, points, small
from packpale.review.report.listing import listing
from packpale.review.report.source import PlotSource
from packpale.review.subjects import crossings as subject
from packpale.review.words import counted
from packpale.values.cautions import advised
from packpale.values.quantity import given

SHOWN = 2
"""Crossings that are listed in sight, those that drain most; the page tells all on demand."""


def crossings(source: PlotSource) -> Section:
    """The places, what drains to them, and the openings if a rain is set."""
    paths = [found for found in subject.crossings(source.result) if found.path]
    places = _places(source, paths) if paths else (paragraph(no_path(source)),)
    blocks = (*_standing(source), *places, *_flat(source, paths), *_mapped(source))
    return Section("Where water crosses the fence", blocks, source.section("crossings"))


def no_path(source: PlotSource) -> str:
    """That no water is known to cross."""
    area = source.show.area(source.project.crossings.min_area_m2)
    return f"No flow path that drains {area} or more crosses the fence line."


def _standing(source: PlotSource) -> Iterator[Block]:
    """Whether the trench stands in water, which comes before all water that only crosses."""
    works = source.result.earthworks
    if works and works.plant and works.plant.wet_length:
        yield paragraph(
            f"The trench itself stands in water over {source.show.length(works.plant.wet_length)} of fence line. Its "
            "walls fall in sooner there, it has to be pumped, and the buried mesh lies wet."
        )


def _flat(source: PlotSource, found: list[subject.Found]) -> Iterator[Block]:
    """Where nobody can tell from the ground model where water crosses."""
    flat, show = source.care.flat_m, source.show
    places = [f for f in found if f.path and f.path.arbitrary]
    if flat < FLAT_TOLD_M and not places:
        return
    named = "; ".join(show.length(f.chainage) for f in places[:SHOWN])
    said = " Which place water takes is a guess at chainage" if len(places) == 1 else " So it is at chainage"
    yield paragraph(
        f"Over {show.length(flat)} of fence line the ground falls by less than "
        f"{show.say(given(ROUTE_FALL * ROUTE_M, 'dimension'))} in {show.say(given(ROUTE_M, 'length'))}: water may "
        f"cross anywhere there.{f'{said} {named}.' if places else ''}"
    )


def _mapped(source: PlotSource) -> Iterator[Block]:
    """Water that the map shows at the fence line, whatever the ground model says."""
    streams, show = source.care.streams, source.show
    if streams:
        yield paragraph(f"Water on the map crosses the fence line at {counted(len(streams), 'place')}:")
        yield points(_stream(source, s, show.length(s.chainage), show.length(s.width)) for s in streams)


def _stream(source: PlotSource, s: StreamCrossing, chainage: str, width: str) -> str:
    pack = f"pack {s.pack}, " if source.several else ""
    wide = f", {width} wide along the fence" if s.width else ""
    told = (
        "the ground model has no flow path here, so that neither what drains there nor flow and opening are known"
        if s.crossing is None
        else "the flow path that the ground model has here is told of above"
    )
    return f"{pack}chainage {chainage}{wide}: {told}"


def _listed(source: PlotSource, found: list[subject.Found]) -> Block:
    rain = source.project.crossings.rain_source is not None
    without = () if rain else ("design_flow_m3_per_s", "opening_width_m", "bars")
    return listing(source, "Where water crosses the fence", subject.CROSSINGS, found, without=without)


def all_crossings(source: PlotSource) -> Section | None:
    """Every place on demand; None where those in sight are all."""
    found = [f for f in subject.crossings(source.result) if f.path]
    if len(found) <= SHOWN:
        return None
    return Section("All places where water crosses", (_listed(source, found),), look="folded")


def _places(source: PlotSource, found: list[subject.Found]) -> list[Block]:
    show, settings = source.show, source.project.crossings
    kinds = ", ".join(f"{kind}: {n}" for kind in get_args(Kind) if (n := sum(f.kind == kind for f in found)))
    most = sorted(found, key=lambda f: -f.area)[:SHOWN]
    shown = [f for f in found if f in most]
    rain = settings.rain_source is not None
    more = (f"; the {SHOWN} that drain most are listed, ", link("packpale.gpkg", "packpale.gpkg"), " has all")
    said = (
        f"Flow by the rational method, {settings.runoff_coefficient:g} of the rain running off, times "
        f"{settings.frequency_factor:g}. Opening after Manning (n = {settings.roughness:g}, on the slope of the "
        f"ground), full to its height; bars {show.dimension(settings.bar_thickness_m)} thick with gaps of "
        f"{show.dimension(settings.bar_gap_m)}, of which debris blocks {show.percent(settings.blocked_share)}."
    )
    return [
        paragraph(
            f"Flow paths that drain {show.area(settings.min_area_m2)} or more cross the fence line at "
            f"{counted(len(found), 'place')}",
            *(more if len(found) > SHOWN else ()),
            f" ({kinds}). Each is a weak point: mesh catches what floats, bends or is undermined, and the "
            "first flood opens the fence.",
        ),
        _listed(source, shown),
        small(f"Rainfall: {settings.rain_source}. {said}")
        if rain
        else small(
            f"No design flow and no opening: both follow from {show.setting('crossings.rain_mm_per_h')}, and none is "
            "given. The weather service has the intensity of a storm that lasts as long as the time of concentration."
        ),
        small(" ".join(advised(name) for name in ("crossings", "crossings authority", "crossings walk"))),
    ]
