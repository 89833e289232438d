"""Whether the fence holds: each way out with its figure, its worst place, and what is published beside it."""

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from packpale.care.guidance import verdicts_at_height
from packpale.care.patrol import Round
from packpale.enclosure.model import Pack
from packpale.review.model import PlotResult
from packpale.review.report.blocks import Block, File, Files, Picture, Section, paragraph, small, strong, words
from packpale.review.report.guidance import GuidanceRow, guidance_rows
from packpale.review.report.listing import listing
from packpale.review.report.source import PlotSource
from packpale.review.subjects.holds import HOLDS, LETTERS, PLACES, Place, Published, WayOut, places
from packpale.review.words import MISSING, Wording, plain
from packpale.settings import Project
from packpale.values.guidance import guidance
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
    """Published rules in the reader's words."""

    def __init__(self, project: Project, show: Wording) -> None:
        self.project = project
        self.rows = {row.rule: row for row in guidance_rows(project, show)}

    def of(self, *keys: str, named: Sequence[str] = (), without: Sequence[str] = ()) -> list[GuidanceRow]:
        """Rules that speak of a setting, and those named, in the order of the table."""
        found = []
        for rule in guidance():
            spoken = {part.key for way in rule.ways for part in way}
            shown = rule.group in SHOWN_GROUPS and spoken & set(keys) and not spoken & set(without)
            if shown or rule.name in named:
                found.append(self.rows[rule.name])
        return found

    def at_height(self, rows: Sequence[GuidanceRow], height: float) -> dict[str, str]:
        """How the rules are met where the fence is so high. [m]"""
        rules = [rule for rule in guidance() if rule.name in {row.rule for row in rows}]
        return dict(zip((r.name for r in rules), verdicts_at_height(self.project, rules, height), strict=True))


def _beside(rows: Sequence[GuidanceRow], verdicts: dict[str, str] | None = None) -> Published:
    """What rules ask or what was seen, each with how it is met, and where that stands."""
    said = []
    for row in rows:
        verdict = (verdicts or {}).get(row.rule, row.verdict)
        met = f" ({verdict})" if verdict in ("meets", "in part", "falls short") else ""
        said.append(f"{_words(row)}{met}, for {row.animals}")
    return Published("; ".join(said), "; ".join(dict.fromkeys(row.source for row in rows)))


def _words(row: GuidanceRow) -> str:
    """The figure; what was seen to fail goes before it, and a rule without figures is told in its own words."""
    if row.asked == MISSING or row.verdict == "no dimension given":
        return row.text
    return f"{row.text}: {row.asked}" if "more than" in row.asked else row.asked


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
    n, trench = pack.number, source.project.trench
    for dug in source.care.dig_out:
        if dug.pack != n:
            continue
        at, bare = dug.weakest_chainage, dug.without_lap_chainage
        shortest, rate = Quantity(dug.shortest, "dimension"), metres_per_hour(dug.dig_rate)
        yield WayOut(n, "under", "shortest way under the mesh", "computed", shortest, at)
        yield WayOut(n, "under", "digging rate that gets out there while nobody looks", "computed", rate, at)
        if trench.apron_reach_m > 0:
            yield WayOut(
                n,
                "under",
                "shortest way where skirt and apron are not lapped",
                "computed",
                Quantity(dug.without_lap, "dimension"),
                bare,
            )
    for held in source.care.holdings:
        if held.pack != n:
            continue
        least = int(np.argmin(held.skirt_depth))
        depth = float(held.skirt_depth[least])
        beside = _beside(rules.of("trench.depth_m"))
        if depth < trench.depth_m:
            at = float(pack.alignment.chainage[least])
            figure = Quantity(depth, "dimension")
            yield WayOut(n, "under", "depth of the skirt, where it ends on rock", "computed", figure, at, beside=beside)
        else:
            yield WayOut(n, "under", "depth of the skirt", "as set", given(depth, "dimension"), beside=beside)
    beside = _beside(rules.of("trench.apron_reach_m", without=("trench.depth_m",)))
    reach = given(trench.apron_reach_m, "dimension")
    yield WayOut(n, "under", f"reach of the apron, {trench.side}", "as set", reach, beside=beside)


def _over(source: PlotSource, pack: Pack, rules: _Rules) -> Iterator[WayOut]:
    n, fence = pack.number, source.project.fence
    for c in source.care.climbs:
        if c.pack != n:
            continue
        of_height = rules.of("fence.height_m")
        beside = _beside(of_height, rules.at_height(of_height, c.least))
        least = Quantity(c.least, "dimension")
        if least.known:
            measure = "height over the ground inside, where it is lowest"
            yield WayOut(n, "over", measure, "computed", least, c.weakest_chainage, beside=beside)
        else:
            yield WayOut(n, "over", "height over the ground inside: no elevation there", "not checked", beside=beside)
    overhang, beside = (
        given(fence.overhang_m, "dimension"),
        _beside(rules.of("fence.overhang_m", without=("fence.height_m",))),
    )
    yield WayOut(
        n, "over", f"overhang, at {fence.overhang_deg:g}° above the horizontal", "as set", overhang, beside=beside
    )
    aids = [p for p in places(source.result, source.project, pack) if p.letter == "T"]
    if not source.result.site.standing:
        yield WayOut(n, "over", "trees and boulders near the fence: none were given", "not checked", where="")
    elif aids:
        nearest = min(aids, key=lambda p: p.figure.si if p.figure else 0.0)
        measure = "distance of the nearest tree, boulder or other thing that lowers it, or may"
        yield WayOut(n, "over", measure, "computed", nearest.figure, nearest.chainage)
    else:
        yield WayOut(n, "over", "trees and boulders that lower it", "computed", Quantity(0, "count"), where=NOWHERE)


def _through(source: PlotSource, pack: Pack, rules: _Rules) -> Iterator[WayOut]:
    n, mesh, life = pack.number, source.project.mesh, source.works.mesh_life
    for measure, value, beside in (
        ("wire of the mesh", mesh.wire_mm, _beside(rules.of("mesh.wire_mm"))),
        ("opening of the mesh", mesh.opening_mm, _beside(rules.of(named=("canada fox pups",)))),
    ):
        figure = None if value is None else given(value / 1000, "thickness")
        yield WayOut(n, "through", measure, "not set" if value is None else "as set", figure, beside=beside)
    measure = "years until the zinc of the buried mesh is gone"
    if life is None:
        yield WayOut(n, "through", measure, "not set")
    else:
        yield WayOut(n, "through", measure, "computed", Quantity(life.zinc_years, "number"))
    yield WayOut(n, "through", "ties, laps, damage and rust as they are", "not checked")


def _gates(source: PlotSource, pack: Pack, rules: _Rules) -> Iterator[WayOut]:
    n, gates = pack.number, pack.gates.chainage
    double = sum(f.airlocks for f in source.works.fences if f.pack == n)
    single = gates.size - double
    beside = _beside(rules.of(named=("ohio safety entrance", "germany doors")))
    measure = f"gates, of {gates.size}, without a second one behind"
    at = float(gates[double]) if single else None
    yield WayOut(n, "gate", measure, "computed", Quantity(single, "count"), at, NOWHERE, beside)
    gaps = [g for g in source.works.gates if g.pack == n and not math.isnan(g.gap)]
    if gaps:
        worst = max(gaps, key=lambda g: g.gap)
        gap = Quantity(worst.gap, "dimension")
        yield WayOut(n, "gate", f"greatest gap below a leaf, {worst.place}", "computed", gap, worst.chainage)
    yield WayOut(n, "gate", "locks, hinges and sills as they are", "not checked", where="")


def _water(source: PlotSource, pack: Pack) -> Iterator[WayOut]:
    n, found = pack.number, [p for p in places(source.result, source.project, pack) if p.letter == "W"]
    drained = [c for c in source.care.crossings if c.pack == n]
    if drained:
        largest = max(drained, key=lambda c: c.area)
        least = ", at least" if largest.is_lower_bound else ""
        measure = f"ground that drains through the largest crossing{least}"
        yield WayOut(n, "water", measure, "computed", Quantity(largest.area, "area"), largest.chainage)
    first = found[0].chainage if found else None
    measure = "places where water crosses, the first of them"
    yield WayOut(n, "water", measure, "computed", Quantity(len(found), "count"), first, NOWHERE)
    for profile in source.works.profiles:
        if profile.pack == n:
            over = profile.depth - profile.water_depth
            worst = int(np.argmax(over))
            deep = max(float(over[worst]), 0.0)
            at = float(pack.alignment.chainage[worst]) if deep else None
            measure = "highest water table over the trench's bottom"
            yield WayOut(n, "water", measure, "computed", Quantity(deep, "dimension"), at, NOWHERE)


def _unwatched(source: PlotSource, pack: Pack, rules: _Rules) -> Iterator[WayOut]:
    n, gap = pack.number, source.care.gap
    measure = f"longest time that nobody looks, from {gap.start} to {gap.end}"
    beside = _beside(rules.of(named=("ohio shelter",)))
    yield WayOut(n, "unwatched", measure, "as set", as_set(hours(gap.hours)), beside=beside)
    for walk in source.care.rounds:
        if walk.pack == n:
            at, leg = _longest_leg(walk)
            measure = "longest walk between two places that the round looks at, up to here"
            yield WayOut(n, "unwatched", measure, "computed", Quantity(leg, "length"), at, NOWHERE)


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
        found = places(result, project, pack)
        parts = [f"{LETTERS[letter]}: {_chainages(found, letter, show)}" for letter in LETTERS]
        listed = "; ".join(part for part in parts if not part.endswith(": "))
        said.append(
            f"Fence line of pack {pack.number}, {show.length(pack.line.perimeter)} round, by chainage. {listed}."
        )
    return " ".join(said)


def _chainages(found: Sequence[Place], letter: str, show: Wording) -> str:
    return ", ".join(show.length(p.chainage) for p in found if p.letter == letter)


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
        Files(
            (
                File(source.file("holds.csv"), words("this table")),
                File(source.file("holds.svg"), words("the ring as a sheet, which is in drawings.pdf too")),
            )
        ),
        listing(source, f"Every way out of plot {source.plot_id}", HOLDS, ways, without=("pack",)),
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
