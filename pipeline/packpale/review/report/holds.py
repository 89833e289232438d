"""Whether the fence holds: each way out with its figure, its worst place, and what is published beside it."""

import math
from collections.abc import Collection, Iterator, Sequence
from functools import partial
from typing import Any

import numpy as np

from packpale.care.guidance import verdicts_at_height
from packpale.care.patrol import Round
from packpale.enclosure.model import Pack
from packpale.review.model import PlotResult
from packpale.review.report.blocks import Block, Picture, Section, paragraph, small, strong, words
from packpale.review.report.files import RING, file_list
from packpale.review.report.guidance import GuidanceRow, guidance_rows
from packpale.review.report.listing import listing
from packpale.review.report.source import PlotSource
from packpale.review.subjects.gates import widest_open
from packpale.review.subjects.holds import HOLDS, LETTERS, PLACES, Published, WayOut, places
from packpale.review.words import MISSING, Wording, plain
from packpale.settings import Project
from packpale.values.guidance import Rule, guidance
from packpale.values.quantity import Quantity, as_set, given, hours, metres_per_hour

NOWHERE = "no one place"
SHOWN_GROUPS = ("wolves", "large canids")
"""Whose rules stand beside a figure of a setting; others only where they are named."""


def ways_out(source: PlotSource) -> tuple[WayOut, ...]:
    """All that was looked at, pack by pack, and what was not; the first of each way is the one that decides."""
    rules = _Rules(source.project, source.show)
    return tuple(way for pack in source.result.enclosure.packs for way in _ways(source, pack, rules))


def holds_rows(result: PlotResult, project: Project) -> Iterator[dict[str, Any]]:
    """Rows of holds.csv: metric, in plain signs."""
    for way in ways_out(PlotSource(result, project, Wording.for_files(project), "")):
        yield {k: plain(v) if isinstance(v, str) else v for k, v in HOLDS.row(way).items()}


class _Rules:
    """What published rules say beside a figure, in the reader's words."""

    def __init__(self, project: Project, show: Wording) -> None:
        self.project = project
        self.rows = {row.rule.name: row for row in guidance_rows(project, show)}

    def beside(
        self, *keys: str, named: Collection[str] = (), without: Sequence[str] = (), height: float | None = None
    ) -> Published:
        """Rules that speak of a setting and of none of those ``without``, and those named, with how each is met.

        With a ``height`` [m] they are held against a fence that is so high, else against the settings.
        """
        rules = [rule for rule in guidance() if rule.name in named or _speaks_of(rule, keys, without)]
        rows = [self.rows[rule.name] for rule in rules]
        verdicts = [row.verdict for row in rows]
        if height is not None:
            verdicts = list(verdicts_at_height(self.project, rules, height))
        said = []
        for row, verdict in zip(rows, verdicts, strict=True):
            met = f" ({verdict})" if verdict in ("meets", "in part", "falls short") else ""
            said.append(f"{_words(row)}{met}, for {row.rule.animals}")
        return Published("; ".join(said), "; ".join(dict.fromkeys(row.source for row in rows)))


def _speaks_of(rule: Rule, keys: Sequence[str], without: Sequence[str]) -> bool:
    spoken = {part.key for way in rule.ways for part in way}
    return rule.group in SHOWN_GROUPS and not spoken.isdisjoint(keys) and spoken.isdisjoint(without)


def _words(row: GuidanceRow) -> str:
    """The figure; what was seen to fail goes before it, and a rule without figures is told in its own words."""
    if row.asked == MISSING or row.verdict == "no dimension given":
        return row.rule.text
    return f"{row.rule.text}: {row.asked}" if "more than" in row.asked else row.asked


def _ways(source: PlotSource, pack: Pack, rules: _Rules) -> Iterator[WayOut]:
    yield from _under(source, pack, rules)
    yield from _over(source, pack, rules)
    yield from _through(source, pack, rules)
    yield from _gates(source, pack, rules)
    yield from _water(source, pack)
    yield from _unwatched(source, pack, rules)
    yield WayOut(pack.number, "fire", "what burns beside the fence, and posts that burn", "not checked", where="")
    yield WayOut(pack.number, "power", "live wires and what feeds them; none are planned here", "not checked", where="")


def _under(source: PlotSource, pack: Pack, rules: _Rules) -> Iterator[WayOut]:
    under, trench = partial(WayOut, pack.number, "under"), source.project.trench
    for dug in (d for d in source.care.dig_out if d.pack == pack.number):
        at, bare = dug.weakest_chainage, dug.without_lap_chainage
        shortest, unlapped = (Quantity(v, "dimension") for v in (dug.shortest, dug.without_lap))
        yield under("shortest way under the mesh", shortest, at)
        yield under("digging rate that gets out there while nobody looks", metres_per_hour(dug.dig_rate), at)
        if trench.apron_reach_m > 0:
            yield under("shortest way where skirt and apron are not lapped", unlapped, bare)
    for held in (h for h in source.care.holdings if h.pack == pack.number):
        least = int(np.argmin(held.skirt_depth))
        depth = float(held.skirt_depth[least])
        beside = rules.beside("trench.depth_m")
        if depth < trench.depth_m:
            at, figure = float(pack.alignment.chainage[least]), Quantity(depth, "dimension")
            yield under("depth of the skirt, where it ends on rock", figure, at, beside=beside)
        else:
            yield under("depth of the skirt", given(depth, "dimension"), beside=beside)
    beside = rules.beside("trench.apron_reach_m", without=("trench.depth_m",))
    yield under(f"reach of the apron, {trench.side}", given(trench.apron_reach_m, "dimension"), beside=beside)


def _over(source: PlotSource, pack: Pack, rules: _Rules) -> Iterator[WayOut]:
    over, fence = partial(WayOut, pack.number, "over"), source.project.fence
    for c in (c for c in source.care.climbs if c.pack == pack.number):
        beside, least = rules.beside("fence.height_m", height=c.least), Quantity(c.least, "dimension")
        if least.known:
            yield over("height over the ground inside, where it is lowest", least, c.weakest_chainage, beside=beside)
        else:
            yield over("height over the ground inside: no elevation there", "not checked", beside=beside)
    beside = rules.beside("fence.overhang_m", without=("fence.height_m",))
    measure = f"overhang, at {fence.overhang_deg:g}° above the horizontal"
    yield over(measure, given(fence.overhang_m, "dimension"), beside=beside)
    aids = [p for p in places(source.result, source.project, pack) if p.letter == "T"]
    if not source.result.site.standing:
        yield over("trees and boulders near the fence: none were given", "not checked", where="")
    elif aids:
        away, at = min((p.figure.si, p.chainage) for p in aids if p.figure)
        measure = "distance of the nearest tree, boulder or other thing that lowers it, or may"
        yield over(measure, Quantity(away, "dimension"), at)
    else:
        yield over("trees and boulders that lower it", Quantity(0, "count"), where=NOWHERE)


def _through(source: PlotSource, pack: Pack, rules: _Rules) -> Iterator[WayOut]:
    through, mesh, life = partial(WayOut, pack.number, "through"), source.project.mesh, source.works.mesh_life
    for measure, value, beside in (
        ("wire of the mesh", mesh.wire_mm, rules.beside("mesh.wire_mm")),
        ("opening of the mesh", mesh.opening_mm, rules.beside(named=("canada fox pups",))),
    ):
        yield through(measure, "not set" if value is None else given(value / 1000, "thickness"), beside=beside)
    measure = "years until the zinc of the buried mesh is gone"
    yield through(measure, Quantity(life.zinc_years, "number") if life else "not set")
    yield through("ties, laps, damage and rust as they are", "not checked")


def _gates(source: PlotSource, pack: Pack, rules: _Rules) -> Iterator[WayOut]:
    gate, gates = partial(WayOut, pack.number, "gate"), pack.gates.chainage
    double = sum(f.airlocks for f in source.works.fences if f.pack == pack.number)
    single = gates.size - double
    beside = rules.beside(named=("ohio safety entrance", "germany doors"))
    measure = f"gates, of {gates.size}, without a second one behind"
    yield gate(measure, Quantity(single, "count"), float(gates[double]) if single else None, NOWHERE, beside)
    gaps = [g for g in source.works.gates if g.pack == pack.number and not math.isnan(g.gap)]
    if gaps:
        worst = widest_open(gaps)
        yield gate(f"greatest gap below a leaf, {worst.place}", Quantity(worst.gap, "dimension"), worst.chainage)
    yield gate("locks, hinges and sills as they are", "not checked", where="")


def _water(source: PlotSource, pack: Pack) -> Iterator[WayOut]:
    water = partial(WayOut, pack.number, "water")
    drained = [c for c in source.care.crossings if c.pack == pack.number]
    if drained:
        largest = max(drained, key=lambda c: c.area)
        measure = f"ground that drains through the largest crossing{', at least' if largest.is_lower_bound else ''}"
        yield water(measure, Quantity(largest.area, "area"), largest.chainage)
    found = [p for p in places(source.result, source.project, pack) if p.letter == "W"]
    first = found[0].chainage if found else None
    yield water("places where water crosses, the first of them", Quantity(len(found), "count"), first, NOWHERE)
    for profile in (p for p in source.works.profiles if p.pack == pack.number):
        over = profile.depth - profile.water_depth
        worst = int(np.argmax(over))
        deep = max(float(over[worst]), 0.0)
        at = float(pack.alignment.chainage[worst]) if deep else None
        yield water("highest water table over the trench's bottom", Quantity(deep, "dimension"), at, NOWHERE)


def _unwatched(source: PlotSource, pack: Pack, rules: _Rules) -> Iterator[WayOut]:
    unwatched, gap = partial(WayOut, pack.number, "unwatched"), source.care.gap
    measure = f"longest time that nobody looks, from {gap.start} to {gap.end}"
    yield unwatched(measure, as_set(hours(gap.hours)), beside=rules.beside(named=("ohio shelter",)))
    for walk in (w for w in source.care.rounds if w.pack == pack.number):
        at, leg = _longest_leg(walk)
        measure = "longest walk between two places that the round looks at, up to here"
        yield unwatched(measure, Quantity(leg, "length"), at, NOWHERE)


def _longest_leg(walk: Round) -> tuple[float | None, float]:
    """Chainage of the place at its end, and its length [m]; the last leg ends where the round began."""
    if not walk.checks or walk.last_leg >= walk.longest_leg:
        return (walk.checks[0].mark.chainage if walk.checks else None), walk.longest_leg
    end = max(walk.checks, key=lambda check: check.leg)
    return end.mark.chainage, end.leg


def ring_words(result: PlotResult, project: Project, show: Wording) -> str:
    """What the drawing of the rings shows, for who does not see it."""
    said = []
    for pack in result.enclosure.packs:
        listed: dict[str, list[str]] = {}
        for place in places(result, project, pack):
            listed.setdefault(LETTERS[place.letter], []).append(show.length(place.chainage))
        parts = "; ".join(f"{what}: {', '.join(at)}" for what, at in listed.items())
        said.append(
            f"Fence line of pack {pack.number}, {show.length(pack.line.perimeter)} round, by chainage. {parts}."
        )
    return " ".join(said)


def holds_section(source: PlotSource) -> Section:
    """The ring, the table of ways out, and the places by letter."""
    ring = Picture(
        source.file("holds_small.svg"),
        ring_words(source.result, source.project, source.show),
        words("Each fence line as a ring; letters and numbers are those of the places below."),
        source.file("holds.svg"),
    )
    ways = ways_out(source)
    blocks: list[Block] = [
        paragraph(
            strong("Not checked: fire, power, locks, ties, and what people leave open."),
            " Have somebody who keeps wolves, and whoever licenses the fence, walk the line before animals come in, "
            "and after every storm.",
        ),
        ring,
        file_list(source, RING),
        listing(source, f"Every way out of plot {source.plot_id}", HOLDS, ways),
        small(
            "Published figures were made for the animals named; current texts and the licensing authority decide. How "
            "fast a wolf digs and how high it gets is not published: nothing here says that it cannot."
        ),
        Section(
            "Places on the ring",
            tuple(
                listing(
                    source,
                    f"Places on the fence line of pack {pack.number}",
                    PLACES,
                    places(source.result, source.project, pack),
                )
                for pack in source.result.enclosure.packs
            ),
            look="folded",
        ),
    ]
    return Section("Will it hold?", tuple(blocks), source.section("holding"))
