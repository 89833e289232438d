"""How high the fence stands for who is beside it, and what helps to climb it."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from packpale.care.aids import ClimbingAid, weakening
from packpale.care.climb import Climb
from packpale.care.guidance import speaks_of_climbing, verdicts_at_height
from packpale.earthworks.stretches import total
from packpale.review.report.blocks import Block, Section, Table, Words, link, paragraph, small, table, words
from packpale.review.report.guidance import GuidanceRow, guidance_rows
from packpale.review.report.source import PlotSource
from packpale.values.guidance import guidance

MOST_AIDS = 40
"""Trees and boulders that the page lists; the GeoPackage holds all."""


def climbing(source: PlotSource) -> Section:
    """Height over the ground beside it, published rules on it, trees and boulders."""
    project, show = source.project, source.show
    blocks: list[Block] = [paragraph(_height(source, c)) for c in source.care.climbs]
    blocks += _rules(source)
    blocks += _aids(source)
    blocks.append(
        small(
            f"The overhang ({show.dimension(project.fence.overhang_m)} at {project.fence.overhang_deg:g}°) is not "
            "counted in the height. No measured height that a wolf clears was found; snow, branches, a shelter or a "
            "heap of spoil against the mesh lower the fence as a bank does."
        )
    )
    return Section("Climbing and jumping", tuple(blocks), source.section("climbing"))


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
    rules = [rule for rule in guidance() if speaks_of_climbing(rule)]
    climbs = source.care.climbs
    if not rules or not climbs:
        return
    project, show = source.project, source.show
    rows = {row.rule: row for row in guidance_rows(project, show) if row.of_climbing}
    lowest = [
        dict(zip([r.name for r in rules], verdicts_at_height(project, rules, c.least), strict=True)) for c in climbs
    ]
    failed = [r for r in rows.values() if "falls short" in (r.verdict, *(at[r.rule] for at in lowest))]
    yield paragraph(
        f"Of {len(rules)} published rules that speak of ",
        link("height or overhang", "basis.html#guidance"),
        ", these are not met, as the fence is set or where it is lowest:"
        if failed
        else ", none is missed, as the fence is set or where it is lowest.",
    )
    if failed:
        yield _missed(source, failed, lowest)


def _missed(source: PlotSource, failed: Sequence[GuidanceRow], lowest: Sequence[Mapping[str, str]]) -> Table:
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
        (
            words(f"{row.text}: {row.source}, for {row.animals}"),
            row.asked,
            row.verdict,
            *(at[row.rule] for at in lowest),
        )
        for row in failed
    ]
    return table("Published rules on height and overhang that are not met", heads, rows)


def _aids(source: PlotSource) -> Iterator[Block]:
    aids, show = source.care.aids, source.show
    if not aids:
        return
    things = "tree, boulder or other thing stands" if len(aids) == 1 else "trees, boulders or other things stand"
    yield paragraph(f"{len(aids)} {things} within {show.dimension(source.project.checks.tree_distance_m)} of a fence.")
    heads = (
        ("Thing", "name"),
        ("Fence of pack, chainage", "words"),
        ("Distance", "words"),
        ("Its height", "figure"),
        ("Left of the fence", "figure"),
        ("Lowers the fence", "words"),
    )
    yield table("Things within a leap of the fence", heads, [_aid(source, aid) for aid in aids[:MOST_AIDS]])
    if len(aids) > MOST_AIDS:
        yield small(f"The first {MOST_AIDS} are shown; the layer climbing_aids of packpale.gpkg holds all.")


def _aid(source: PlotSource, aid: ClimbingAid) -> tuple[str, ...]:
    show = source.show
    known = not np.isnan(aid.left)
    return (
        str(aid.number),
        f"{aid.pack}, {show.length(aid.chainage)}",
        aid.side if aid.side == "on the line" else f"{show.dimension(aid.distance)} {aid.side}",
        "not given" if np.isnan(aid.height) else show.dimension(aid.height),
        "not known" if not known else show.dimension(aid.left) if aid.left > 0 else "none",
        ("yes" if known else "perhaps") if weakening(aid, source.project) else "no",
    )
