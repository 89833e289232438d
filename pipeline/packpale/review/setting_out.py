"""Rows of the tables a crew sets the fence line out from."""

import math
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
import shapely

from packpale.enclosure.airlocks import Airlock, AirlockPost, airlocks
from packpale.enclosure.egg import Arc, Egg
from packpale.enclosure.main_pegs import MainPegs, main_pegs
from packpale.enclosure.model import Pack
from packpale.enclosure.setting_out import Pegs, Stake, baselines, curve_elements, pegging, pegs
from packpale.enclosure.survey_errors import instrument_error, offset_error
from packpale.review.model import PlotResult
from packpale.settings import Project
from packpale.site import Array


def stakes(pack: Pack) -> tuple[Stake, ...]:
    """Stakes of a pack: those of the baselines, on an egg also centres, tips and changes of arc."""
    line = pack.line
    return pegging(line).stakes if isinstance(line, Egg) else baselines(line).stakes


def stake_rows(pack: Pack) -> Iterator[dict[str, Any]]:
    """Rows of the layer stakes."""
    for stake in stakes(pack):
        yield {
            "pack": pack.number,
            "stake": stake.name,
            "what": stake.what,
            "geometry": shapely.Point(stake.x, stake.y),
        }


def airlocks_of(pack: Pack, project: Project) -> tuple[Airlock, ...]:
    """The airlocks inside a pack's gates."""
    fence = project.fence
    size = {"length": fence.airlock_length_m, "width": fence.airlock_width_m, "spacing": fence.post_spacing_m}
    return airlocks(pack.line, pack.gates, **size)


def airlock_posts(pack: Pack, project: Project) -> list[AirlockPost]:
    """The posts of all airlocks of a pack, in the order of their numbers."""
    return [post for airlock in airlocks_of(pack, project) for post in airlock.posts]


def first_airlock_post(pack: Pack) -> int:
    """Number of a pack's first airlock post: those of the line come before."""
    return int(pack.posts.x.size) + 1


def pegs_of(pack: Pack, result: PlotResult, project: Project) -> Pegs:
    """The pegs of one pack's line."""
    site = result.site
    return pegs(
        pack.line,
        pack.posts,
        pack.gates,
        step=project.setting_out.step_m,
        elevation=site.elevation,
        grid=site.grid,
    )


def main_pegs_of(pack: Pack, found: Pegs) -> MainPegs:
    """The main pegs among a pack's pegs."""
    return main_pegs(found, pack.line)


def peg_rows(result: PlotResult, project: Project) -> Iterator[dict[str, Any]]:
    """Rows of pegs.csv."""
    works = result.earthworks
    inverts = {v.pack: v.invert for v in works.volumes} if works else {}
    for pack in result.enclosure.packs:
        found, line = pegs_of(pack, result, project), pack.alignment
        # The bottom runs straight from station to station, round the closed line.
        invert = (
            np.interp(found.chainage, line.chainage, inverts[pack.number], period=pack.line.perimeter)
            if pack.number in inverts
            else np.full(found.x.shape, np.nan)
        )
        placed, main = _placed(pack, found.x, found.y), main_pegs_of(pack, found)
        error = peg_errors(pack, found, main, project)
        for i in range(found.x.size):
            yield {
                "pack": pack.number,
                "peg": i + 1,
                "kind": found.kind[i],
                "post": found.post[i],
                "chainage_m": float(found.chainage[i]),
                "x": float(found.x[i]),
                "y": float(found.y[i]),
                "ground_m": float(found.ground[i]),
                "invert_m": float(invert[i]),
                "from_main_peg": int(main.before[i]) + 1,
                "along_chord_m": float(main.along[i]),
                "out_from_chord_m": float(main.offset[i]),
                "arc": found.arc[i],
                "radius_m": float(found.radius[i]),
                "arc_from_start_of_arc_m": float(found.arc_from_start[i]),
                "deflection_deg": float(found.deflection_deg[i]),
                "chord_from_start_of_arc_m": float(found.chord_from_start[i]),
                "chord_from_previous_peg_m": float(found.chord_from_previous[i]),
                **placed[i],
                "error_m": float(error[i]),
                "over_limit": _kinds_at(pack, float(found.chainage[i])),
            }
        yield from _airlock_rows(pack, result, project, after=found.x.size)


def peg_errors(pack: Pack, found: Pegs, main: MainPegs, project: Project) -> Array:
    """What each peg may be out by: main pegs by the instrument at stake A, the others by that and their tapes. [m]"""
    set_from_a = _errors_from_a(pack, found.x, found.y, project)
    taped = offset_error(main.along, main.offset, full=project.setting_out.tape_error_m)
    error = np.maximum(set_from_a[main.before], set_from_a[main.after]) + taped
    error[main.at] = set_from_a[main.at]
    return np.asarray(error)


def _errors_from_a(pack: Pack, x: Array, y: Array, project: Project) -> Array:
    a, errors = baselines(pack.line).stakes[0], project.setting_out
    return instrument_error(
        np.hypot(x - a.x, y - a.y),
        distance_error=errors.instrument_distance_error_m,
        angle_error_deg=errors.instrument_angle_error_deg,
    )


def _placed(pack: Pack, x: Array, y: Array) -> list[dict[str, Any]]:
    """Where points lie as seen from stake A."""
    frame = baselines(pack.line)
    a = frame.stakes[0]
    along, right = frame.along_and_right(x, y)
    distance = np.hypot(x - a.x, y - a.y)
    bearing = np.where(distance > 0, np.degrees(np.arctan2(x - a.x, y - a.y)) % 360, math.nan)
    names = ("bearing_from_a_deg", "distance_from_a_m", "along_baseline_1_m", "right_of_baseline_1_m")
    return [dict(zip(names, row, strict=True)) for row in np.column_stack([bearing, distance, along, right]).tolist()]


def _airlock_rows(pack: Pack, result: PlotResult, project: Project, *, after: int) -> Iterator[dict[str, Any]]:
    """Pegs of the airlocks' own posts, which stand on no arc and on no chord."""
    found, site = airlock_posts(pack, project), result.site
    if not found:
        return
    x, y = np.array([post.x for post in found]), np.array([post.y for post in found])
    ground = site.grid.bilinear(site.elevation, x, y)
    placed, error = _placed(pack, x, y), _errors_from_a(pack, x, y, project)
    on_no_arc = dict.fromkeys(
        (
            "chainage_m",
            "invert_m",
            "along_chord_m",
            "out_from_chord_m",
            "radius_m",
            "arc_from_start_of_arc_m",
            "deflection_deg",
            "chord_from_start_of_arc_m",
            "chord_from_previous_peg_m",
        ),
        math.nan,
    )
    for i, post in enumerate(found):
        yield on_no_arc | {
            "pack": pack.number,
            "peg": after + i + 1,
            "kind": f"{post.kind} post of airlock {post.gate}",
            "post": first_airlock_post(pack) + i,
            "x": post.x,
            "y": post.y,
            "ground_m": float(ground[i]),
            "from_main_peg": None,
            "arc": "",
            **placed[i],
            "error_m": float(error[i]),
            "over_limit": "",
        }


def _kinds_at(pack: Pack, chainage: float) -> str:
    """Kinds of limit that the line is over at a chainage, joined by "+"."""
    perimeter = pack.line.perimeter
    at = (s.kind for s in pack.over_limits if (chainage - s.from_m) % perimeter <= s.length_m)
    return "+".join(dict.fromkeys(at))


def setting_out(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of setting_out.csv, with the station as ``geometry``; the arc by its name.

    Depths of the trench, of rock and of water below the ground stand beside them for the workbook.
    """
    works = result.earthworks
    profiles = {p.pack: p for p in works.profiles} if works else {}
    inverts = {v.pack: v.invert for v in works.volumes} if works else {}
    for pack in result.enclosure.packs:
        line = pack.alignment
        names = [arc.name for arc in pack.line.arcs()]
        invert = inverts.get(pack.number, np.full(line.x.shape, np.nan))
        profile = profiles.get(pack.number)
        for i in range(line.x.size):
            yield {
                "pack": pack.number,
                "chainage_m": float(line.chainage[i]),
                "depth_m": float(profile.depth[i]) if profile else math.nan,
                "rock_depth_m": float(profile.rock_depth[i]) if profile else math.nan,
                "water_depth_m": float(profile.water_depth[i]) if profile else math.nan,
                "x": float(line.x[i]),
                "y": float(line.y[i]),
                "ground_m": float(line.ground[i]),
                "invert_m": float(invert[i]),
                "bearing_deg": float(line.bearing_deg[i]),
                "arc": names[line.arc[i]],
                "radius_m": float(line.radius[i]),
                "geometry": shapely.Point(line.x[i], line.y[i]),
            }


def arcs(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of arcs.csv: what it takes to peg out each arc from its centre."""
    for pack in result.enclosure.packs:
        for arc in pack.line.arcs():
            yield {
                "pack": pack.number,
                "arc": arc.name,
                "centre_x": arc.centre_x,
                "centre_y": arc.centre_y,
                "radius_m": arc.radius,
                "turn_deg": arc.turn_deg,
                "start_chainage_m": arc.chainage,
                "length_m": arc.length,
                "start_x": arc.start_x,
                "start_y": arc.start_y,
                "start_bearing_deg": arc.start_bearing_deg,
                "end_x": arc.end_x,
                "end_y": arc.end_y,
                "end_bearing_deg": arc.end_bearing_deg,
                **_elements(arc),
            }


def _elements(arc: Arc) -> dict[str, float | None]:
    """A straight piece has no elements but its length, which is its own chord."""
    if math.isinf(arc.radius):
        return {
            "deflection_deg": 0.0,
            "long_chord_m": arc.length,
            "mid_ordinate_m": 0.0,
            "tangent_m": None,
            "external_m": None,
        }
    found = curve_elements(arc.radius, arc.turn_deg)
    return {
        "deflection_deg": found.deflection_deg,
        "long_chord_m": found.long_chord,
        "mid_ordinate_m": found.mid_ordinate,
        "tangent_m": found.tangent,
        "external_m": found.external,
    }
