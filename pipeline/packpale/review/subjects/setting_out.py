"""The tables a crew sets the fence line out from."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from shapely.geometry import Polygon

from packpale.earthworks.profile import invert_at
from packpale.enclosure.airlocks import Airlock, AirlockPost, airlocks
from packpale.enclosure.egg import Arc, Egg
from packpale.enclosure.main_pegs import main_pegs, peg_errors
from packpale.enclosure.model import Pack
from packpale.enclosure.setting_out import CurveElements, Pegs, Stake, baselines, curve_elements, pegging, pegs
from packpale.enclosure.survey_errors import instrument_error
from packpale.review.model import PlotResult
from packpale.review.subjects.field import PACK, PLOT, POPUP, Field, Subject, point_of
from packpale.review.subjects.line import CHAINAGE
from packpale.review.subjects.stations import ARC, BEARING, BUILT_AT, GROUND, INVERT, RADIUS, rows_along, station_rows
from packpale.settings import Project
from packpale.site import Array


@dataclass(frozen=True)
class StakeOf:
    """A stake of the line of a pack."""

    pack: int
    stake: Stake


@dataclass(frozen=True)
class ArcOf:
    """An arc of the line of a pack, with its elements; a straight piece has none but its length, its own chord."""

    pack: int
    arc: Arc

    @property
    def elements(self) -> CurveElements:
        if math.isinf(self.arc.radius):
            return CurveElements(0.0, self.arc.length, 0.0, math.inf, math.inf)
        return curve_elements(self.arc.radius, self.arc.turn_deg)


POST_KINDS: Mapping[str, str] = {
    "line": "line post",
    "bend": "bend post, strutted",
    "gate": "gate post",
    "steep": "strutted for steep ground",
}
"""What each post is for."""


def stakes(pack: Pack) -> tuple[Stake, ...]:
    """Stakes of a pack: those of the baselines, on an egg also centres, tips and changes of arc."""
    line = pack.line
    return pegging(line).stakes if isinstance(line, Egg) else baselines(line).stakes


def _stakes(result: PlotResult, _project: Project) -> Iterator[StakeOf]:
    return (StakeOf(pack.number, stake) for pack in result.enclosure.packs for stake in stakes(pack))


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


def _airlocks(result: PlotResult, project: Project) -> Iterator[dict[str, Any]]:
    fence = project.fence
    for pack in result.enclosure.packs:
        for airlock in airlocks_of(pack, project):
            room = Polygon(airlock.corners)
            yield {
                "pack": pack.number,
                "gate": airlock.gate,
                "length_m": fence.airlock_length_m,
                "width_m": float(math.dist(*airlock.corners[:2])),
                "area_m2": room.area,
                "vehicle_length_m": fence.vehicle_length_m,
                "geometry": room,
            }


def ground_at(result: PlotResult, places: Sequence[tuple[float, float]]) -> list[float]:
    """Level of the ground at places x, y; NaN where it is not known. [m]"""
    site = result.site
    levels: list[float] = site.grid.bilinear(site.elevation, *np.reshape(places, (-1, 2)).T).tolist()
    return levels


def _posts(result: PlotResult, project: Project) -> Iterator[dict[str, Any]]:
    for pack in result.enclosure.packs:
        p = pack.posts
        columns = {"chainage_m": p.chainage, "x": p.x, "y": p.y, "ground_m": p.ground}
        columns |= {"deflection_deg": p.deflection_deg}
        yield from rows_along(pack, columns, kind=p.kind or ["line"] * p.x.size, post=range(1, p.x.size + 1))
        for row in _airlock_rows(pack, result, project):
            yield row | {"chainage_m": None, "deflection_deg": None, "kind": f"{row['kind']} of airlock {row['gate']}"}


def _kind(row: Mapping[str, Any]) -> str:
    kind, _, gate = row["kind"].partition(" of airlock ")
    return f"{POST_KINDS[kind]}{f', in airlock {gate}' if gate else ''}"


def _bend(row: Mapping[str, Any]) -> str | None:
    return None if row["deflection_deg"] is None else f"{row['deflection_deg']:.1f}°"


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


def peg_rows(result: PlotResult, project: Project) -> Iterator[dict[str, Any]]:
    """Rows of pegs.csv: the pegs of each line, then those of its airlocks."""
    volumes = result.earthworks.volumes if result.earthworks else ()
    for pack in result.enclosure.packs:
        found, line = pegs_of(pack, result, project), pack.line
        main = main_pegs(found, line)
        bottoms = [v.invert for v in volumes if v.pack == pack.number]
        invert = [invert_at(found.chainage, pack.alignment, v, perimeter=line.perimeter) for v in bottoms]
        columns = {
            "chainage_m": found.chainage,
            "x": found.x,
            "y": found.y,
            "ground_m": found.ground,
            "invert_m": invert[0] if invert else np.full(found.x.shape, np.nan),
            "along_chord_m": main.along,
            "out_from_chord_m": main.offset,
            "radius_m": found.radius,
            "arc_from_start_of_arc_m": found.arc_from_start,
            "deflection_deg": found.deflection_deg,
            "chord_from_start_of_arc_m": found.chord_from_start,
            "chord_from_previous_peg_m": found.chord_from_previous,
            **_from_a(pack, found.x, found.y),
            "error_m": peg_errors(line, found, main, project.setting_out),
        }
        yield from rows_along(
            pack,
            columns,
            peg=range(1, found.x.size + 1),
            kind=found.kind,
            post=found.post,
            from_main_peg=(main.before + 1).tolist(),
            arc=found.arc,
            over_limit=[_kinds_at(pack, at) for at in found.chainage.tolist()],
        )
        for peg, row in enumerate(_airlock_rows(pack, result, project), found.x.size + 1):
            own = {"peg": peg, "kind": f"{row['kind']} post of airlock {row['gate']}"}
            yield dict.fromkeys(PEGS.columns) | row | own


def _from_a(pack: Pack, x: Array, y: Array) -> dict[str, Array]:
    """Where points lie as seen from stake A."""
    frame = baselines(pack.line)
    bearing, distance = frame.bearing_and_distance(x, y)
    along, right = frame.along_and_right(x, y)
    return {
        "bearing_from_a_deg": bearing,
        "distance_from_a_m": distance,
        "along_baseline_1_m": along,
        "right_of_baseline_1_m": right,
    }


def _airlock_rows(pack: Pack, result: PlotResult, project: Project) -> Iterator[dict[str, Any]]:
    """Rows of the airlocks' own posts, which stand on no arc and on no chord."""
    found, site, first = airlock_posts(pack, project), result.site, first_airlock_post(pack)
    if not found:
        return
    x, y = np.array([post.x for post in found]), np.array([post.y for post in found])
    columns = {"x": x, "y": y, "ground_m": site.grid.bilinear(site.elevation, x, y)}
    columns |= _from_a(pack, x, y)
    columns["error_m"] = instrument_error(columns["distance_from_a_m"], project.setting_out)
    kinds, gates = [post.kind for post in found], [post.gate for post in found]
    yield from rows_along(pack, columns, post=range(first, first + len(found)), kind=kinds, gate=gates)


def _kinds_at(pack: Pack, chainage: float) -> str:
    """Kinds of limit that the line is over at a chainage, joined by "+"."""
    perimeter = pack.line.perimeter
    at = (s.kind for s in pack.over_limits if (chainage - s.from_m) % perimeter <= s.length_m)
    return "+".join(dict.fromkeys(at))


def peg_name(pack: int, peg: int) -> str:
    """A peg's name in points.csv; on drawings its number stands alone."""
    return f"{pack}-peg-{peg}"


def stake_name(pack: int, stake: str) -> str:
    """A stake's name in points.csv, and on drawings of several packs; with one pack its letter stands alone there."""
    return f"{pack}-{stake}"


def point_rows(result: PlotResult, project: Project) -> Iterator[dict[str, Any]]:
    """Rows of points.csv: the stakes of each pack, then the pegs. Z is the ground, empty where it is not known."""
    for pack in result.enclosure.packs:
        found = stakes(pack)
        for stake, ground in zip(found, ground_at(result, [(s.x, s.y) for s in found]), strict=True):
            yield {
                "name": stake_name(pack.number, stake.name),
                "E": stake.x,
                "N": stake.y,
                "Z": ground,
                "code": "stake",
            }
    for row in peg_rows(result, project):
        yield {
            "name": peg_name(row["pack"], row["peg"]),
            "E": row["x"],
            "N": row["y"],
            "Z": row["ground_m"],
            # One word: some instruments end a code at a blank.
            "code": row["kind"].replace(" ", "_"),
        }


def _arcs(result: PlotResult, _project: Project) -> Iterator[ArcOf]:
    return (ArcOf(pack.number, arc) for pack in result.enclosure.packs for arc in pack.line.arcs())


AIRLOCKS = Subject(
    "airlocks",
    "Room between a gate and the second one inside it",
    "Polygon",
    (
        PLOT,
        PACK,
        Field("gate", "Number of its gate along the line", "number of it"),
        Field("length_m", "Depth inward from the fence line", "dimension", shown=POPUP),
        Field("width_m", "Width along the fence line", "dimension", shown=POPUP),
        Field("area_m2", "Area of the room", "area"),
        Field("vehicle_length_m", "Longest vehicle inside", "dimension", shown=POPUP),
    ),
    _airlocks,
)
POSTS = Subject(
    "posts",
    "A post",
    "Point",
    (
        PLOT,
        PACK,
        Field("post", "Number of the post along the line", "number of it"),
        BUILT_AT,
        GROUND,
        Field("deflection_deg", "Angle in plan between the panels there", "bearing", told=_bend, shown=POPUP),
        Field("kind", "Kind", "text", told=_kind, shown=POPUP),
    ),
    _posts,
)
STAKES = Subject(
    "stakes",
    "A stake to set the line out from",
    "Point",
    (
        PLOT,
        PACK,
        Field("stake", "Its letter", "text", "stake.name"),
        Field("what", "What it marks", "text", "stake.what"),
    ),
    _stakes,
    lambda item: point_of(item.stake),
)
X, Y = Field("x", "Easting", "coordinate"), Field("y", "Northing", "coordinate")
SETTING_OUT = Subject(
    "setting_out.csv",
    "A point along a line",
    "",
    (PACK, CHAINAGE, X, Y, GROUND, INVERT, BEARING, ARC, RADIUS),
    station_rows,
)
ARCS = Subject(
    "arcs.csv",
    "An arc of a line",
    "",
    (
        PACK,
        Field("arc", ARC.title, "text", "arc.name"),
        Field("centre_x", "Centre, easting", "coordinate", "arc.centre_x", shown=POPUP),
        Field("centre_y", "Centre, northing", "coordinate", "arc.centre_y", shown=POPUP),
        Field("radius_m", "Radius", "dimension", "arc.radius", shown=POPUP),
        Field("turn_deg", "Angle that it turns through", "bearing", "arc.turn_deg", shown=POPUP),
        Field("start_chainage_m", "Chainage of its start", "dimension", "arc.chainage", shown=POPUP),
        Field("length_m", "Length", "dimension", "arc.length", shown=POPUP),
        Field("start_x", "Start, easting", "coordinate", "arc.start_x"),
        Field("start_y", "Start, northing", "coordinate", "arc.start_y"),
        Field("start_bearing_deg", "Bearing at its start", "bearing", "arc.start_bearing_deg"),
        Field("end_x", "End, easting", "coordinate", "arc.end_x"),
        Field("end_y", "End, northing", "coordinate", "arc.end_y"),
        Field("end_bearing_deg", "Bearing at its end", "bearing", "arc.end_bearing_deg"),
        Field("deflection_deg", "Deflection from tangent to long chord", "bearing", "elements.deflection_deg"),
        Field("long_chord_m", "Long chord", "length", "elements.long_chord"),
        Field("mid_ordinate_m", "Mid-ordinate", "dimension", "elements.mid_ordinate"),
        Field("tangent_m", "Tangent; empty from half a circle on, and where straight", "length", "elements.tangent"),
        Field("external_m", "External; empty there too", "length", "elements.external"),
    ),
    _arcs,
)
PEGS = Subject(
    "pegs.csv",
    "A peg",
    "",
    (
        PACK,
        Field("peg", "Number of the peg along the line", "number of it"),
        Field("kind", "What it is for", "text"),
        Field("post", "Number of the post there", "number of it"),
        CHAINAGE,
        X,
        Y,
        GROUND,
        INVERT,
        Field(
            "from_main_peg", "Number of the main peg at it or before it; empty for posts of airlocks", "number of it"
        ),
        Field("along_chord_m", "From there along the chord to the next main peg", "length"),
        Field("out_from_chord_m", "Squarely out from that chord, away from the ground enclosed", "length"),
        ARC,
        RADIUS,
        Field("arc_from_start_of_arc_m", "Along the arc from its start", "length"),
        Field("deflection_deg", "Deflection from the tangent at the arc's start", "bearing"),
        Field("chord_from_start_of_arc_m", "Chord from the arc's start", "length"),
        Field("chord_from_previous_peg_m", "Chord from the peg before", "length"),
        Field("bearing_from_a_deg", "Grid bearing from stake A", "bearing"),
        Field("distance_from_a_m", "Horizontal distance from stake A", "length"),
        Field("along_baseline_1_m", "Along baseline 1", "length"),
        Field("right_of_baseline_1_m", "To its right; along baseline 2 from stake A", "length"),
        Field("error_m", "What it may be out by if it is set as pegging.txt says", "length"),
        Field("over_limit", "Limits that the line runs over there", "text"),
    ),
    peg_rows,
)
POINTS = Subject(
    "points.csv",
    "A stake or peg, in metres of the run's CRS",
    "",
    (
        Field("name", "Pack, and letter of the stake or number of the peg", "text"),
        Field("E", "Easting [m]", "coordinate"),
        Field("N", "Northing [m]", "coordinate"),
        Field("Z", "Ground level [m]; empty where it is not known", "coordinate"),
        Field("code", "stake, or what the peg is for, in one word", "text"),
    ),
    point_rows,
)
