"""What pages and layers show of howls, views and neighbouring packs."""

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Polygon

from packpale.care.howl import FOREST_GROUND, FOREST_M, LADDER, OPEN_GROUND, OPEN_M, STILL_NIGHT, Heard, Howl, Reach
from packpale.care.neighbours import Neighbours
from packpale.care.viewing import Viewing, Viewpoint
from packpale.review.columns import NUMBER, TEXT, WHOLE, YES_NO
from packpale.review.model import PlotResult
from packpale.settings import Project

LAYERS: Mapping[str, tuple[str, Mapping[str, str]]] = {
    "howl_reach": (
        "Polygon",
        {
            "plot_id": TEXT,
            "pack": WHOLE,
            "level": TEXT,
            "source_level_db": NUMBER,
            "nearest_m": NUMBER,
            "farthest_m": NUMBER,
            "flat_share": NUMBER,
        },
    ),
    "howl_levels": (
        "Point",
        {
            "plot_id": TEXT,
            "pack": WHOLE,
            "kind": TEXT,
            "number": WHOLE,
            "distance_m": NUMBER,
            "level_db": NUMBER,
            "excess_db": NUMBER,
            "screened_db": NUMBER,
            "leaves_db": NUMBER,
            "audible": YES_NO,
            "surveyed": YES_NO,
        },
    ),
    "viewpoints": (
        "Point",
        {
            "plot_id": TEXT,
            "viewpoint": WHOLE,
            "ground_m": NUMBER,
            "pack": WHOLE,
            "fence_distance_m": NUMBER,
            "keeps_off": YES_NO,
            "seen_share": NUMBER,
        },
    ),
    "neighbours": (
        "LineString",
        {
            "plot_id": TEXT,
            "pack": WHOLE,
            "other_pack": WHOLE,
            "gap_m": NUMBER,
            "between": TEXT,
            "keeps_separation": YES_NO,
            "facing_m": NUMBER,
            "sees_share": NUMBER,
            "seen_share": NUMBER,
        },
    ),
}
"""Geometry type and columns of the layers of the GeoPackage that stand here."""
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


def details(result: PlotResult) -> Mapping[str, Any]:
    """What the page tells, as plain values; None where nothing is computed."""
    care = result.care
    return {
        "howl": _howl(care.howl) if care and care.howl else None,
        "viewing": _viewing(care.viewing) if care and care.viewing else None,
        "neighbours": [
            _gap(n)
            | {"packs": list(n.packs), "sees": list(n.sees), "excess_db": list(n.excess), "refuge": list(n.refuge)}
            for n in (care.neighbours if care else ())
        ],
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


def _viewing(viewing: Viewing) -> dict[str, Any]:
    return {
        "viewpoints": [_viewpoint(v) for v in viewing.viewpoints],
        "packs": [
            {"pack": p.pack, "seen_share": p.seen_share, "refuge_share": p.refuge_share, "is_bound": p.is_bound}
            for p in viewing.packs
        ],
    }


def _howl(howl: Howl) -> dict[str, Any]:
    return {
        "heard": [_heard(h) for h in howl.heard],
        "reach": [
            {
                "pack": r.pack,
                "nearest_m": r.radius.min(axis=1).tolist(),
                "farthest_m": r.radius.max(axis=1).tolist(),
                "flat": not r.surveyed.all(),
                "capped": bool((r.radius >= LADDER[-1]).any()),
            }
            for r in howl.reach
        ],
        "flat_m": list(howl.flat_reach),
        "open_m": OPEN_M,
        "open_needs_db": howl.open_needs,
        "forest_m": FOREST_M,
        "forest_needs_db": howl.forest_needs,
        "still_night": {**STILL_NIGHT, "open_m": howl.still_night[0], "forest_m": howl.still_night[1]},
        "still_ground": [OPEN_GROUND, FOREST_GROUND],
    }
