"""fence_line.gpx (GPX 1.1): stakes and gates as waypoints, posts as routes, fence lines and airlocks as tracks."""

import itertools
import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from pyproj import CRS

from packpale.enclosure.airlocks import Airlock, AirlockPost
from packpale.enclosure.model import Pack
from packpale.review.model import PlotResult
from packpale.review.subjects.setting_out import airlock_posts, airlocks_of, stake_name, stakes
from packpale.review.survey.xml_file import Element, child, children, decimal, root, write
from packpale.settings import Project
from packpale.site import Array
from packpale.site.crs import moved, shift_accuracy, shown

NAMESPACE = "http://www.topografix.com/GPX/1/1"
SCHEMA = "http://www.topografix.com/GPX/1/1/gpx.xsd"
DEGREE_DIGITS = 10
"""Decimals of latitude and longitude: a hundredth of a millimetre."""
CHORD_ERROR_M = 0.001
"""Largest distance between the line and the track between two of its points. [m]"""


def write_gpx(result: PlotResult, project: Project, path: Path) -> None:
    """Write the fence lines of a plot for satellite receivers, in WGS 84.

    Elevations are those of the input, in metres, and left out where the ground is not known.
    """
    gpx, writer = gpx_document(f"Fence lines of plot {result.site.plot_id}", result)
    packs = result.enclosure.packs
    for pack in packs:
        _waypoints(gpx, pack, airlocks_of(pack, project), writer)
    for pack in packs:
        _routes(gpx, pack, airlock_posts(pack, project), writer)
    for pack in packs:
        _track(gpx, pack, airlocks_of(pack, project), writer)
    write(gpx, path)


def gpx_document(name: str, result: PlotResult) -> "tuple[Element, GpxPoints]":
    """An empty document that says how its places were found, and what adds a plot's points to it."""
    gpx = root("gpx", {"version": "1.1", "creator": "Packpale"}, namespace=NAMESPACE, schema=SCHEMA)
    about = child(gpx, "metadata")
    children(about, {"name": name, "desc": _about(result)})
    return gpx, GpxPoints(result)


def _about(result: PlotResult) -> str:
    crs = CRS.from_user_input(result.site.crs)
    middle = result.site.outline.centroid
    wgs84 = CRS.from_epsg(4326)
    lon, lat = moved(middle.x, middle.y, crs, wgs84)
    accuracy = shift_accuracy(crs, wgs84, float(lon), float(lat))
    known = {None: "not known", 0.0: "exact"}.get(accuracy, f"about {accuracy or 0:g} m")
    return (
        f"Moved from {shown(crs)} to WGS 84; accuracy of that change as registered: {known}. Elevations are those of "
        "the elevation model that was given, in its own height system, not heights above the ellipsoid. A hand-held "
        "receiver finds a place to some metres: peg with pegs.csv, look around with this."
    )


class GpxPoints:
    """Coordinates and ground of a plot's points."""

    def __init__(self, result: PlotResult) -> None:
        self.site = result.site
        self.crs = CRS.from_user_input(result.site.crs)
        self.wgs84 = CRS.from_epsg(4326)

    def add(self, parent: Element, tag: str, x: Array, y: Array) -> list[Element]:
        """An element for each point, with latitude, longitude and elevation."""
        lon, lat = moved(x, y, self.crs, self.wgs84)
        # The schema's longitudes end before 180.
        lon = (np.asarray(lon) + 180) % 360 - 180
        ground = self.site.grid.bilinear(self.site.elevation, x, y)
        out = []
        for la, lo, z in zip(lat.tolist(), lon.tolist(), ground.tolist(), strict=True):
            place = {"lat": decimal(la, DEGREE_DIGITS), "lon": decimal(lo, DEGREE_DIGITS)}
            point = child(parent, tag, attributes=place)
            if math.isfinite(z):
                child(point, "ele", decimal(z, 3))
            out.append(point)
        return out


def _waypoints(gpx: Element, pack: Pack, airlocks: Sequence[Airlock], writer: GpxPoints) -> None:
    found = stakes(pack)
    x, y = np.array([s.x for s in found]), np.array([s.y for s in found])
    for stake, point in zip(found, writer.add(gpx, "wpt", x, y), strict=True):
        what = f"Pack {pack.number}, stake {stake.name}: {stake.what}"
        children(point, {"name": stake_name(pack.number, stake.name), "desc": what, "type": "stake"})
    for number, point in enumerate(writer.add(gpx, "wpt", pack.gates.x, pack.gates.y), start=1):
        what = f"Pack {pack.number}, middle of gate {number}"
        children(point, {"name": f"{pack.number}-gate {number}", "desc": what, "type": "gate"})
    for airlock in airlocks:
        x, y = airlock.inner_gate.mean(axis=0)
        (point,) = writer.add(gpx, "wpt", np.array([x]), np.array([y]))
        what = f"Pack {pack.number}, middle of the gate at the inner end of airlock {airlock.gate}"
        children(point, {"name": f"{pack.number}-gate {airlock.gate} inner", "desc": what, "type": "inner gate"})


def _routes(gpx: Element, pack: Pack, of_airlocks: Sequence[AirlockPost], writer: GpxPoints) -> None:
    """Posts in the order of their numbers, which go on from those of the line to those of the airlocks."""
    posts, numbers = pack.posts, itertools.count(1)
    kinds = posts.kind or ("line",) * posts.x.size
    places = zip(kinds, posts.x.tolist(), posts.y.tolist(), strict=True)
    routes = {
        f"Posts of pack {pack.number}": [(f"{kind} post", x, y) for kind, x, y in places],
        f"Posts of the airlocks of pack {pack.number}": [
            (f"{post.kind} post of airlock {post.gate}", post.x, post.y) for post in of_airlocks
        ],
    }
    for name, found in routes.items():
        if found:
            route = child(gpx, "rte")
            child(route, "name", name)
            what, x, y = zip(*found, strict=True)
            for kind, point in zip(what, writer.add(route, "rtept", np.array(x), np.array(y)), strict=True):
                children(point, {"name": f"{pack.number}-{next(numbers)}", "type": kind})


def _track(gpx: Element, pack: Pack, airlocks: Sequence[Airlock], writer: GpxPoints) -> None:
    rings = {f"Fence line of pack {pack.number}": np.asarray(pack.line.polygon(CHORD_ERROR_M).exterior.coords)}
    for airlock in airlocks:
        rings[f"Airlock {airlock.gate} of pack {pack.number}"] = np.vstack([airlock.corners, airlock.corners[:1]])
    for name, ring in rings.items():
        track = child(gpx, "trk")
        child(track, "name", name)
        writer.add(child(track, "trkseg"), "trkpt", *ring.T)
