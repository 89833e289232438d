"""The round along the fence, as files, layers, map and page show it."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from shapely.geometry import LineString, Point

from packpale.care.model import Care
from packpale.care.patrol import Check, Round
from packpale.review.maps.map_page import Shape, Style, VectorLayer
from packpale.review.model import PlotResult
from packpale.review.projecting import Degrees
from packpale.review.subjects.patrol import PATROL, PATROL_CHECKS, OnRound
from packpale.review.survey.gpx import gpx_document
from packpale.review.survey.xml_file import child, write
from packpale.review.words import Wording

PATH = Style("#0b5c6b", width=2.5, dash="7 5", halo=True)
CHECK = Style("#0b5c6b", "#ffffff", 1.0, width=2, radius=5)


def path_rows(care: Care | None) -> Iterable[dict[str, Any]]:
    """Rows of the layer patrol, but the plot's name."""
    for walk in care.rounds if care else ():
        yield {**PATROL.row(walk), "geometry": LineString(walk.path)}


def check_rows(care: Care | None) -> Iterable[dict[str, Any]]:
    """Rows of the layer patrol_checks, but the plot's name."""
    for walk in care.rounds if care else ():
        for check in walk.checks:
            yield {**PATROL_CHECKS.row(OnRound(walk, check)), "geometry": Point(check.x, check.y)}


def write_patrol(result: PlotResult, path: Path) -> None:
    """Write patrol.gpx: the path of each round as a closed track, its check points as numbered waypoints. WGS 84."""
    care = result.care
    walks = care.rounds if care else ()
    gpx, writer = gpx_document(f"Rounds along the fences of plot {result.site.plot_id}", result)
    for walk in walks:
        x, y = np.array([c.x for c in walk.checks]), np.array([c.y for c in walk.checks])
        for check, point in zip(walk.checks, writer.add(gpx, "wpt", x, y), strict=True):
            child(point, "name", f"{walk.pack}-{check.number}")
            child(point, "desc", f"Pack {walk.pack}, check point {check.number}: {check.mark.what}")
            child(point, "type", check.mark.kind)
    for walk in walks:
        track = child(gpx, "trk")
        child(track, "name", f"Round along the fence of pack {walk.pack}")
        writer.add(child(track, "trkseg"), "trkpt", *walk.path.T)
    write(gpx, path)


def patrol_layers(result: PlotResult, wording: Wording, degrees: Degrees) -> Iterator[VectorLayer]:
    """The rounds and their check points on the map."""
    walks = result.care.rounds if result.care else ()
    paths = [
        Shape(
            degrees(LineString(walk.path)),
            f"Round along the fence of pack {walk.pack}",
            PATROL.popup(walk, wording),
        )
        for walk in walks
    ]
    yield VectorLayer("Pack and people", "Round along the fence", paths, PATH, False, "Walked clockwise.")
    checks = [_check(walk, check, wording, degrees) for walk in walks for check in walk.checks]
    yield VectorLayer("Pack and people", "Check points of the round", checks, CHECK, False, "Numbered as they are met.")


def _check(walk: Round, check: Check, wording: Wording, degrees: Degrees) -> Shape:
    return Shape(
        degrees(Point(check.x, check.y)),
        f"Check point {check.number} of pack {walk.pack}",
        PATROL_CHECKS.popup(OnRound(walk, check), wording),
        label=str(check.number),
    )
