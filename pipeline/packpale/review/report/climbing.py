"""How high the fence stands for who is beside it, and what helps to climb it."""

from collections.abc import Iterator, Sequence

import numpy as np

from packpale.care.aids import ClimbingAid, weakening
from packpale.care.climb import Climb
from packpale.care.guidance import speaks_of_climbing, verdicts_at_height
from packpale.earthworks.stretches import total
from packpale.review.report.blocks import Block, Section, Table, Words, link, paragraph, small, table, words
from packpale.review.report.guidance import GuidanceRow, guidance_rows
from packpale.review.report.listing import listing
from packpale.review.report.source import PlotSource
from packpale.review.subjects.climbing import CLIMBING_AIDS

MOST_AIDS = 40
"""Trees and boulders that the page lists; the GeoPackage holds all."""


def climbing(source: PlotSource) -> Section:
    """Height over the ground beside it, published rules on it, trees and boulders."""
    project, show = source.project, source.show
    blocks = (
        *(paragraph(_height(source, c)) for c in source.care.climbs),
        *_rules(source),
        *_aids(source),
        small(
            f"The overhang ({show.dimension(project.fence.overhang_m)} at {project.fence.overhang_deg:g}°) is not "
            "counted in the height. No measured height that a wolf clears was found; snow, branches, a shelter or a "
            "heap of spoil against the mesh lower the fence as a bank does."
        ),
    )
    return Section("Climbing and jumping", blocks, source.section("climbing"))


def _height(source: PlotSource, c: Climb) -> str:
    project, show = source.project, source.show
    outside = float(np.nanmin(c.outside)) if not np.isnan(c.outside).all() else None
    trees = total(c.near_trees)
    wood = f" Woodland stands within {show.dimension(project.checks.tree_distance_m)} over {show.length(trees)}."
    return (
        f"{source.of_pack(c.pack)}Above the highest ground within {show.dimension(project.checks.climb_distance_m)} "
        f"of it, the fence of {show.dimension(project.fence.height_m)} stands {show.dimension(c.least)} high from "
        f"inside at its lowest place, chainage {show.length(c.weakest_chainage)}, and {show.dimension(outside)} from "
        f"outside. The ground takes more than {show.dimension(project.checks.climb_loss_m)} of its height over "
        f"{show.length(total(c.banks_inside))} inside and {show.length(total(c.banks_outside))} outside."
        f"{wood if trees else ''}"
    )


def _rules(source: PlotSource) -> Iterator[Block]:
    project, climbs = source.project, source.care.climbs
    rows = [row for row in guidance_rows(project, source.show) if speaks_of_climbing(row.rule)]
    if not rows or not climbs:
        return
    rules = [row.rule for row in rows]
    at_lowest = (verdicts_at_height(project, rules, c.least) for c in climbs)
    verdicts = zip([row.verdict for row in rows], *at_lowest, strict=True)
    failed = [(row, found) for row, found in zip(rows, verdicts, strict=True) if "falls short" in found]
    yield paragraph(
        f"Of {len(rules)} published rules that speak of ",
        link("height or overhang", "basis.html#guidance"),
        ", these are not met, as the fence is set or where it is lowest:"
        if failed
        else ", none is missed, as the fence is set or where it is lowest.",
    )
    if failed:
        yield _missed(source, failed)


def _missed(source: PlotSource, failed: Sequence[tuple[GuidanceRow, Sequence[str]]]) -> Table:
    """Rules with how each is met, as set and at the lowest place of each fence."""
    show = source.show
    heads = [
        ("Published", "name"),
        ("Asked", "words"),
        (f"As set, {show.dimension(source.project.fence.height_m)}", "words"),
        *(
            (f"{f'Pack {c.pack} at' if source.several else 'At'} its lowest place, {show.dimension(c.least)}", "words")
            for c in source.care.climbs
        ),
    ]
    rows: list[tuple[str | Words, ...]] = [
        (words(f"{row.rule.text}: {row.source}, for {row.rule.animals}"), row.asked, *found) for row, found in failed
    ]
    return table("Published rules on height and overhang that are not met", heads, rows)


def _aids(source: PlotSource) -> Iterator[Block]:
    aids, show = source.care.aids, source.show
    if not aids:
        return
    things = "tree, boulder or other thing stands" if len(aids) == 1 else "trees, boulders or other things stand"
    yield paragraph(f"{len(aids)} {things} within {show.dimension(source.project.checks.tree_distance_m)} of a fence.")
    yield listing(
        source,
        "Things within a leap of the fence",
        CLIMBING_AIDS,
        aids[:MOST_AIDS],
        further=(("Lowers the fence", lambda aid: _lowers(source, aid)),),
    )
    if len(aids) > MOST_AIDS:
        yield small(f"The first {MOST_AIDS} are shown; the layer climbing_aids of packpale.gpkg holds all.")


def _lowers(source: PlotSource, aid: ClimbingAid) -> str:
    if not weakening(aid, source.project):
        return "no"
    return "perhaps" if np.isnan(aid.left) else "yes"
