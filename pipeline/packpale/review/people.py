"""What pages and layers show of howls, views and neighbouring packs."""

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Polygon

from packpale.care.howl import Heard, Reach
from packpale.care.neighbours import Neighbours
from packpale.care.viewing import Viewpoint
from packpale.review.model import PlotResult
from packpale.settings import Project

LEVELS = ("low", "likely", "high")
"""Source levels of a howl, in the order of the settings."""


def reach_outline(reach: Reach, level: int) -> Polygon:
    """Ground within which a pack is heard, for the source level with this number."""
    angle = np.radians(reach.bearing_deg)
    r = np.maximum(reach.radius[level], 1.0)
    return shapely.Polygon(np.column_stack([reach.x + r * np.sin(angle), reach.y + r * np.cos(angle)]))


def reach_rows(result: PlotResult, project: Project) -> Iterable[dict[str, Any]]:
    """Rows of the layer howl_reach, but the plot's name."""
    for reach in result.care.howl.reach if result.care and result.care.howl else ():
        for k, level in enumerate(LEVELS):
            yield {
                "pack": reach.pack,
                "level": level,
                "source_level_db": project.howl.source_level_db[k],
                "nearest_m": float(reach.radius[k].min()),
                "farthest_m": float(reach.radius[k].max()),
                "flat_share": float(1 - reach.surveyed[k].mean()),
                "geometry": reach_outline(reach, k),
            }


def heard_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer howl_levels, but the plot's name."""
    for h in result.care.howl.heard if result.care and result.care.howl else ():
        yield _heard(h) | {"audible": h.excess >= 0, "geometry": shapely.Point(h.x, h.y)}


def viewpoint_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer viewpoints, but the plot's name."""
    for v in result.care.viewing.viewpoints if result.care and result.care.viewing else ():
        told = _viewpoint(v)
        number = told.pop("number")
        yield told | {"viewpoint": number, "ground_m": v.ground, "geometry": shapely.Point(v.x, v.y)}


def neighbour_rows(result: PlotResult) -> Iterable[dict[str, Any]]:
    """Rows of the layer neighbours, but the plot's name."""
    for n in result.care.neighbours if result.care else ():
        yield _gap(n) | {
            "pack": n.packs[0],
            "other_pack": n.packs[1],
            "sees_share": n.sees[0],
            "seen_share": n.sees[1],
            "geometry": shapely.LineString(n.ends),
        }


def layers(result: PlotResult, project: Project) -> dict[str, list[dict[str, Any]]]:
    """Rows of the layers of this subject by layer, but the plot's name."""
    return {
        "howl_reach": list(reach_rows(result, project)),
        "howl_levels": list(heard_rows(result)),
        "viewpoints": list(viewpoint_rows(result)),
        "neighbours": list(neighbour_rows(result)),
    }


def _heard(h: Heard) -> dict[str, Any]:
    return {
        "pack": h.pack,
        "kind": h.kind,
        "number": h.number,
        "distance_m": h.distance,
        "level_db": h.level,
        "excess_db": h.excess,
        "screened_db": h.screened,
        "leaves_db": h.leaves,
        "surveyed": h.surveyed,
    }


def _viewpoint(v: Viewpoint) -> dict[str, Any]:
    return {
        "number": v.number,
        "pack": v.pack,
        "fence_distance_m": v.fence_distance,
        "keeps_off": v.keeps_off,
        "seen_share": v.seen_share,
    }


def _gap(n: Neighbours) -> dict[str, Any]:
    return {
        "gap_m": n.gap,
        "between": n.between,
        "keeps_separation": n.keeps_separation,
        "facing_m": n.facing,
    }
