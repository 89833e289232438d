"""What stands along the fence lines: stations with what holds a wolf in there, gates."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import numpy as np
import shapely

from packpale.enclosure.model import Pack
from packpale.review.model import PlotResult
from packpale.review.subjects.field import PACK, PLOT, POPUP, Field, Subject
from packpale.review.subjects.line import CHAINAGE
from packpale.settings import Project
from packpale.site import Array


def station_rows(result: PlotResult, _project: Project) -> Iterator[dict[str, Any]]:
    """A row for each station, the arc by its name; NaN where nothing is computed."""
    works, care = result.earthworks, result.care
    for pack in result.enclosure.packs:
        line = pack.alignment
        names = [arc.name for arc in pack.line.arcs()]

        def along(found: Iterable[Any], name: str, pack: Pack = pack) -> Array:
            """Values of one of the rooms along this pack's line."""
            values = next((getattr(one, name) for one in found if one.pack == pack.number), None)
            return np.full(pack.alignment.x.shape, np.nan) if values is None else values

        profiles, dug = works.profiles if works else (), care.dig_out if care else ()
        held, climbed = care.holdings if care else (), care.climbs if care else ()
        columns = {
            "chainage_m": line.chainage,
            "x": line.x,
            "y": line.y,
            "ground_m": line.ground,
            "invert_m": along(works.volumes if works else (), "invert"),
            "bearing_deg": line.bearing_deg,
            "radius_m": line.radius,
            "depth_m": along(profiles, "depth"),
            "rock_depth_m": along(profiles, "rock_depth"),
            "water_depth_m": along(profiles, "water_depth"),
            "tunnel_m": along(dug, "tunnel"),
            "dig_rate_m_per_h": along(held, "rate"),
            "margin_h": along(held, "margin_h"),
            "height_inside_m": along(climbed, "inside"),
            "height_outside_m": along(climbed, "outside"),
        }
        yield from rows_along(pack, columns, arc=[names[k] for k in line.arc])


def _gates(result: PlotResult, _project: Project) -> Iterator[dict[str, Any]]:
    for pack in result.enclosure.packs:
        g = pack.gates
        columns = {"chainage_m": g.chainage, "x": g.x, "y": g.y, "width_m": np.full(g.x.shape, g.width)}
        yield from rows_along(pack, columns, gate=range(1, g.x.size + 1))


def rows_along(pack: Pack, columns: Mapping[str, Array], **others: Iterable[Any]) -> Iterator[dict[str, Any]]:
    """A row for each point of a pack's line, from arrays with a value for each of them."""
    whole = {name: values.tolist() for name, values in columns.items()} | others
    points = shapely.points(columns["x"], columns["y"])
    for point, *values in zip(points, *whole.values(), strict=True):
        yield {"pack": pack.number, **dict(zip(whole, values, strict=True)), "geometry": point}


GROUND = Field("ground_m", "Ground level", "dimension", shown=POPUP)
INVERT = Field("invert_m", "Bottom of the trench", "dimension")
BEARING = Field("bearing_deg", "Bearing along the line", "bearing", shown=POPUP)
ARC = Field("arc", "Arc of the egg, or straight", "text")
RADIUS = Field("radius_m", "Radius here", "dimension", shown=POPUP, unknown="straight")
STATIONS = Subject(
    "stations",
    "A station along a fence line",
    "Point",
    (
        PLOT,
        PACK,
        CHAINAGE,
        GROUND,
        INVERT,
        BEARING,
        ARC,
        RADIUS,
        Field("depth_m", "Depth of the trench", "dimension"),
        Field("rock_depth_m", "Depth to rock", "dimension"),
        Field("water_depth_m", "Depth to water", "dimension"),
        Field("tunnel_m", "Shortest way under the mesh", "dimension"),
        Field("dig_rate_m_per_h", "Digging rate that gets out there within the unattended hours", "speed"),
        Field("margin_h", "Hours to spare at the rate given", "duration"),
        Field("height_inside_m", "Height of the fence over the ground inside", "dimension"),
        Field("height_outside_m", "Height of the fence over the ground outside", "dimension"),
    ),
    station_rows,
)
BUILT_AT = Field("chainage_m", "Chainage", "dimension", shown=POPUP)
"""Told to the centimetre, as what stands there is built."""
GATES = Subject(
    "gates",
    "A gate",
    "Point",
    (
        PLOT,
        PACK,
        Field("gate", "Number of the gate along the line", "number of it"),
        BUILT_AT,
        Field("width_m", "Clear width", "dimension", shown=POPUP),
    ),
    _gates,
)
