"""alignment.xml (LandXML 1.2): the fence lines as true arcs, with the profile of the ground and the trench's bottom.

Directions are left out on purpose: the schema measures them counter-clockwise from north and files in use do
otherwise. Start, centre, end and the sense of rotation say all.
"""

import math
from pathlib import Path

import numpy as np
from pyproj import CRS

from packpale import __version__
from packpale.enclosure.egg import Arc
from packpale.enclosure.model import Pack
from packpale.review.model import PlotResult
from packpale.review.subjects.setting_out import (
    airlock_posts,
    airlocks_of,
    first_airlock_post,
    ground_at,
    stake_name,
    stakes,
)
from packpale.review.survey.xml_file import Element, child, decimal, root, write
from packpale.settings import Project
from packpale.site import Array
from packpale.site.crs import shown

NAMESPACE = "http://www.landxml.org/schema/LandXML-1.2"
SCHEMA = f"{NAMESPACE}/LandXML-1.2.xsd"
WRITTEN_ON, WRITTEN_AT = "2000-01-01", "00:00:00"
"""Date and time that stand in every file, so that the same run gives the same bytes; the schema asks for both."""
DIGITS = 6
"""Decimals of lengths and coordinates: a thousandth of a millimetre, so that long radii close."""


def write_landxml(result: PlotResult, project: Project, path: Path) -> None:
    """Write all fence lines of a plot; points are north, east and, where there is one, elevation."""
    about = {
        "version": "1.2",
        "date": WRITTEN_ON,
        "time": WRITTEN_AT,
        "language": "English",
        "readOnly": "false",
    }
    land = root("LandXML", about, namespace=NAMESPACE, schema=SCHEMA)
    units = {
        "areaUnit": "squareMeter",
        "linearUnit": "meter",
        "volumeUnit": "cubicMeter",
        "temperatureUnit": "celsius",
        "pressureUnit": "milliBars",
    }
    child(child(land, "Units"), "Metric", attributes=units)
    child(land, "CoordinateSystem", attributes=_crs(result.site.crs))
    child(land, "Project", attributes={"name": result.site.plot_id, "desc": "Fence lines and their trenches"})
    child(land, "Application", attributes={"name": "Packpale", "version": __version__})
    alignments = child(land, "Alignments")
    works = result.earthworks
    inverts = {v.pack: v.invert for v in works.volumes} if works else {}
    for pack in result.enclosure.packs:
        _alignment(alignments, pack, inverts.get(pack.number))
    for pack in result.enclosure.packs:
        _points(land, pack, result, project)
    write(land, path)


def _crs(text: str) -> dict[str, str]:
    crs = CRS.from_user_input(text)
    authority = crs.to_authority()
    code = {"epsgCode": authority[1]} if authority and authority[0] == "EPSG" else {"ogcWktCode": crs.to_wkt()}
    return {"name": crs.name, "desc": shown(crs), **code}


def _alignment(parent: Element, pack: Pack, invert: Array | None) -> None:
    line = pack.line
    name = f"Fence line of pack {pack.number}"
    head = {
        "name": name,
        "length": decimal(line.perimeter, DIGITS),
        "staStart": decimal(0.0, DIGITS),
        "desc": f"closed, clockwise from {line.start}",
    }
    alignment = child(parent, "Alignment", attributes=head)
    geometry = child(alignment, "CoordGeom", attributes={"name": name})
    for arc in line.arcs():
        _piece(geometry, arc)
    _profile(alignment, pack, invert)


def _piece(geometry: Element, arc: Arc) -> None:
    straight = math.isinf(arc.radius)
    about = {} if straight else {"rot": "cw", "crvType": "arc", "radius": decimal(arc.radius, DIGITS)}
    about |= {
        "name": arc.name,
        "staStart": decimal(arc.chainage, DIGITS),
        "length": decimal(arc.length, DIGITS),
    }
    piece = child(geometry, "Line" if straight else "Curve", attributes=about)
    child(piece, "Start", _numbers(arc.start_y, arc.start_x))
    if not straight:
        child(piece, "Center", _numbers(arc.centre_y, arc.centre_x))
    child(piece, "End", _numbers(arc.end_y, arc.end_x))


def _profile(alignment: Element, pack: Pack, invert: Array | None) -> None:
    """Ground as a surface, the bottom as straight grades between stations; the start again at the end."""
    line = pack.alignment
    if invert is None or np.isnan(line.ground).any():
        return
    station = np.append(line.chainage, pack.line.perimeter)
    profile = child(alignment, "Profile", attributes={"name": f"Profile of pack {pack.number}"})
    surface = child(profile, "ProfSurf", attributes={"name": "Ground under the fence"})
    ground = np.append(line.ground, line.ground[0])
    child(surface, "PntList2D", " ".join(_numbers(s, z) for s, z in zip(station, ground, strict=True)))
    bottom = child(profile, "ProfAlign", attributes={"name": "Bottom of the skirt trench"})
    for s, z in zip(station, np.append(invert, invert[0]), strict=True):
        child(bottom, "PVI", _numbers(s, z))


def _points(land: Element, pack: Pack, result: PlotResult, project: Project) -> None:
    points = child(land, "CgPoints", attributes={"name": f"Stakes, posts and gates of pack {pack.number}"})
    posts = pack.posts
    kinds = posts.kind or ("line",) * posts.x.size
    found = [(stake.name, stake.what, stake.x, stake.y) for stake in stakes(pack)]
    found += [
        (f"{k}", f"{kind} post", x, y)
        for k, (kind, x, y) in enumerate(zip(kinds, posts.x.tolist(), posts.y.tolist(), strict=True), 1)
    ]
    found += [
        (f"{k}", f"{post.kind} post of airlock {post.gate}", post.x, post.y)
        for k, post in enumerate(airlock_posts(pack, project), first_airlock_post(pack))
    ]
    found += [
        (f"gate {k}", f"middle of gate {k}", x, y)
        for k, (x, y) in enumerate(zip(pack.gates.x.tolist(), pack.gates.y.tolist(), strict=True), 1)
    ]
    for airlock in airlocks_of(pack, project):
        x, y = airlock.inner_gate.mean(axis=0).tolist()
        found.append((f"gate {airlock.gate} inner", f"middle of the inner gate of airlock {airlock.gate}", x, y))
    grounds = ground_at(result, [(x, y) for _, _, x, y in found])
    for (name, what, x, y), ground in zip(found, grounds, strict=True):
        child(points, "CgPoint", _numbers(y, x, ground), {"name": stake_name(pack.number, name), "desc": what})


def _numbers(*values: float) -> str:
    """Figures with blanks between them; an elevation that is not known is left out."""
    return " ".join(decimal(float(v), DIGITS) for v in values if math.isfinite(v))
