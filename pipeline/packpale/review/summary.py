"""The part of one plot's result that the files of the whole run need, and keeping it on disk."""

import dataclasses
import functools
import json
import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pydantic import TypeAdapter
from shapely.geometry.base import BaseGeometry

from packpale.earthworks.bill import Bill, bill
from packpale.earthworks.stretches import total
from packpale.enclosure.egg import Egg
from packpale.enclosure.line import Line
from packpale.enclosure.model import Fit, Pack, Touch
from packpale.review import dens, digging, patrol, people
from packpale.review.aids import aid_rows
from packpale.review.alternatives import alternative_rows
from packpale.review.climb import climb_rows
from packpale.review.crossings import crossing_rows
from packpale.review.holding import holding_rows
from packpale.review.inside import inside_rows
from packpale.review.limits import limit_rows, over_limit_rows
from packpale.review.model import Estimate, PlotResult, PlotSummary
from packpale.review.setting_out import airlock_posts, airlocks_of, first_airlock_post, stake_rows
from packpale.review.stations import station_rows
from packpale.review.subjects.gates import GATE_LEAVES
from packpale.review.tables import RANKING_FIGURES
from packpale.review.words import FILES, Wording, plain
from packpale.review.words.notes import each_once
from packpale.settings import Project, TrenchSettings
from packpale.site import Array
from packpale.units import HECTARE_M2
from packpale.values.notes import Note, Phrase, listed, phrase

DRAWS = "draws.npy"
"""What the ranking reads of a plot's draws."""
CHORD_ERROR_M = 0.001
"""Largest distance between an arc and the chord that stands for it in files. [m]"""


def summarise(result: PlotResult, project: Project, folder: str, ground: Mapping[str, Any] | None) -> PlotSummary:
    """Figures and table rows of one plot.

    ``folder`` is the name of the plot's folder; ``ground`` a small picture of the ground for the overview map.
    """
    priced = bill(result.earthworks) if result.earthworks else None
    return PlotSummary(
        plot_id=result.site.plot_id,
        folder=folder,
        figures=_figures(result, project),
        earthworks=_earthworks(result),
        items=_items(priced),
        notes=notes(result),
        crs=result.site.crs,
        bounds=result.site.outline.bounds,
        bill=_bill(priced),
        estimate=_estimate(result),
        reason=result.enclosure.reason,
        alternatives=_alternatives(result),
        ground=ground,
    )


def notes(result: PlotResult) -> tuple[Note, ...]:
    """What a reader must know, each note once, in the order of the rooms."""
    rooms = (result.site, result.land, result.enclosure, result.earthworks, result.care)
    return tuple(each_once(note for room in rooms if room is not None for note in room.notes))


def write_summary(summary: PlotSummary, path: Path) -> None:
    """Write a summary as JSON, keys sorted, floats so that they read back the same."""
    # Neither copied first nor indented: either takes longer than the rest of the summary.
    values = {field.name: _plain(getattr(summary, field.name)) for field in dataclasses.fields(summary)}
    for name, adapter in _adapters().items():
        values[name] = _plain(adapter.dump_python(getattr(summary, name), mode="json"))
    text = json.dumps(values, sort_keys=True, ensure_ascii=False, allow_nan=False)
    path.write_bytes((text + "\n").encode("utf-8"))


def read_summary(path: Path) -> PlotSummary:
    """Read back what write_summary wrote.

    Raises ValueError if the file is cut short or is no summary.
    """
    raw = json.loads(path.read_text(encoding="utf-8"))
    names = {field.name for field in dataclasses.fields(PlotSummary)}
    if not isinstance(raw, dict) or raw.keys() != names:
        raise ValueError(f"{path} is no summary of a plot")
    for name in ("earthworks", "items", "alternatives", "bounds"):
        raw[name] = tuple(raw[name])
    for name, adapter in _adapters().items():
        raw[name] = adapter.validate_python(raw[name])
    return PlotSummary(**raw)


def write_draws(result: PlotResult, path: Path) -> None:
    """Write what the draws of a plot on which something fits gave, for the ranking: shape (2, draws), two rows.

    The price [the run's currency] and the change of the mean suitability inside the fences; draw k of every plot has
    the same rates.
    """
    found = result.earthworks.uncertainty if result.earthworks else None
    care = result.care
    if found is None or care is None or care.drawn_suitability is None:
        raise ValueError(f"nothing was drawn at random for plot {result.site.plot_id}")
    np.save(path, np.stack([found.drawn_price, care.drawn_suitability]).astype(np.float32))


def read_draws(path: Path, most: int | None = None) -> Array:
    """The first ``most`` draws that write_draws wrote, shape (2, draws).

    Raises OSError or ValueError if the file is not there or damaged.
    """
    drawn = np.load(path, mmap_mode="r", allow_pickle=False)
    if drawn.ndim != 2 or drawn.shape[0] != 2:
        raise ValueError(f"{path} holds no draws of a plot")
    return np.array(drawn[:, :most], np.float64)


@functools.cache
def _adapters() -> dict[str, TypeAdapter[Any]]:
    """What turns fields that hold values of our own into JSON and back."""
    kinds: dict[str, Any] = {"notes": tuple[Note, ...], "reason": Phrase | None, "estimate": Estimate | None}
    return {name: TypeAdapter(kind) for name, kind in kinds.items()}


def apron(pack: Pack, trench: TrenchSettings, chord_error: float) -> BaseGeometry:
    """Ground under which the apron lies: between the fence line and its parallel at the apron's reach."""
    reach = trench.apron_reach_m if trench.side == "outside" else -trench.apron_reach_m
    line, edge = pack.line.polygon(chord_error), pack.line.outline_at(reach, chord_error)
    return edge.difference(line) if reach > 0 else line.difference(edge)


def touched(touch: Touch) -> Phrase:
    """What the fence line touches there."""
    if not touch.limits:
        return phrase("edge of the usable land")
    return listed(touch.limits, " and ")


def in_files(found: Phrase) -> str:
    """A phrase as tables and layers hold it."""
    return plain(FILES.say(found))


def _figures(result: PlotResult, project: Project) -> dict[str, Any]:
    packs, works = result.enclosure.packs, result.earthworks
    areas = [pack.line.area for pack in packs]
    volumes = works.volumes if works else ()
    values: dict[str, Any] = {
        "feasible": result.enclosure.feasible,
        "reason": plain(Wording.for_files(project).say(result.enclosure.reason or "")),
        "plot_area_m2": result.site.outline.area,
        "usable_area_m2": result.land.usable.area,
        "enclosed_area_m2": sum(areas) if areas else None,
        "smallest_enclosure_m2": min(areas, default=None),
        "fence_length_m": sum(pack.line.perimeter for pack in packs) if packs else None,
        "fence_length_3d_m": sum(pack.length_3d for pack in packs) if packs else None,
        "mean_slope_deg": _weighted([math.degrees(math.atan(p.mean_slope)) for p in packs], areas),
        "mean_suitability": _weighted([p.mean_suitability for p in packs], areas),
        "cut_bank_m3": sum(v.cut for v in volumes) if volumes else None,
        "rock_bank_m3": sum(v.rock for v in volumes) if volumes else None,
        "wet_bank_m3": sum(v.wet for v in volumes) if volumes else None,
        "surplus_loose_m3": sum(v.surplus_loose for v in volumes) if volumes else None,
        "cost_p10": works.cost["p10"] if works else None,
        "cost_p50": works.cost["p50"] if works else None,
        "cost_p90": works.cost["p90"] if works else None,
        "escape_dig_rate_m_per_h": result.care.escape_dig_rate if result.care else None,
        "over_limits_m": sum(pack.over_limits_m for pack in packs) if packs else None,
        "price_per_ha": works.cost["p50"] / sum(areas) * HECTARE_M2 if works else None,
    }
    return _row({name: values[name] for name in RANKING_FIGURES})


def _weighted(values: list[float], weights: list[float]) -> float | None:
    return sum(v * w for v, w in zip(values, weights, strict=True)) / sum(weights) if values else None


def _earthworks(result: PlotResult) -> tuple[dict[str, Any], ...]:
    works = result.earthworks
    return tuple(
        _row(
            {
                "plot_id": result.site.plot_id,
                "pack": v.pack,
                "fence_length_m": v.fence_length,
                "section_area_m2": v.section_area,
                "cut_bank_m3": v.cut,
                "rock_bank_m3": v.rock,
                "wet_bank_m3": v.wet,
                "average_end_area_m3": v.average_end_area,
                "backfill_compacted_m3": v.backfill_compacted,
                "cut_loose_m3": v.cut_loose,
                "surplus_loose_m3": v.surplus_loose,
                "import_compacted_m3": v.import_compacted,
                "soft_rock_bank_m3": v.soft_rock,
                "hard_rock_bank_m3": v.hard_rock,
                "deepest_m": s.deepest,
                "wall_protection_m": total(s.protection),
                "way_out_m": total(s.egress),
                "in_water_m": s.wet_length,
            }
        )
        for v, s in (zip(works.volumes, works.safety, strict=True) if works else ())
    )


def _items(works: Bill | None) -> tuple[dict[str, Any], ...]:
    return tuple(
        _row(
            {
                "key": line.item.key,
                "text": line.item.text,
                "unit": line.item.unit,
                "quantity": line.item.quantity,
                "rate": list(line.item.rate),
                "price": list(line.item.price),
                "over_dig": line.over_dig,
                "ground": line.ground,
                "reckoned": list(line.reckoned),
            }
        )
        for line in (works.lines if works else ())
    )


def _bill(priced: Bill | None) -> dict[str, Any] | None:
    if priced is None:
        return None
    return {
        "total": list(priced.total),
        "bridge": [{"text": step.text, "amount": step.amount} for step in priced.bridge],
    }


def _alternatives(result: PlotResult) -> tuple[dict[str, Any], ...]:
    plot = {"plot_id": result.site.plot_id}
    rows = alternative_rows(result, CHORD_ERROR_M)
    return tuple(_row({**plot, **{k: v for k, v in row.items() if k != "geometry"}}) for row in rows)


def _estimate(result: PlotResult) -> Estimate | None:
    found = result.earthworks.uncertainty if result.earthworks else None
    return Estimate(found.estimate_class, found.class_low[1], found.class_high[1]) if found else None


def layer_rows(result: PlotResult, project: Project) -> dict[str, list[dict[str, Any]]]:
    """Rows of every layer of one plot by layer, with shapely geometry under ``geometry``."""
    site, land, packs, care = result.site, result.land, result.enclosure.packs, result.care
    plot = {"plot_id": site.plot_id}
    return {
        "plots": [{**plot, "area_m2": site.outline.area, "geometry": site.outline}],
        "usable_land": [{**plot, "area_m2": land.usable.area, "geometry": land.usable}],
        "limits": [{**plot, **row} for row in limit_rows(result)],
        "fence_lines": [{**plot, **fence_line_row(pack.number, pack.line, pack.fit)} for pack in packs],
        "aprons": [{**plot, **_apron(pack, project.trench)} for pack in packs],
        "stations": [{**plot, **row} for row in station_rows(result)],
        "posts": [{**plot, **row} for pack in packs for row in _posts(pack, result, project)],
        "gates": [{**plot, **row} for pack in packs for row in _gates(pack)],
        "airlocks": [{**plot, **row} for pack in packs for row in _airlocks(pack, project)],
        "gate_leaves": [{**plot, **row} for row in _gate_leaves(result)],
        "alternatives": [{**plot, **row} for row in alternative_rows(result, CHORD_ERROR_M)],
        "touches": [{**plot, **row} for pack in packs for row in _touches(pack)],
        "over_limits": [{**plot, **row} for row in over_limit_rows(result)],
        "stakes": [{**plot, **row} for pack in packs for row in stake_rows(pack)],
        "trench_stretches": [{**plot, **row} for row in digging.stretch_rows(result)],
        "climb_stretches": [{**plot, **row} for row in climb_rows(result)],
        "climbing_aids": [{**plot, **row} for row in aid_rows(result)],
        "dig_stretches": [{**plot, **row} for row in holding_rows(result)],
        "crossings": [{**plot, **row} for row in crossing_rows(result)],
        "inside": [{**plot, **row} for row in inside_rows(result)],
        "advised_pits": [{**plot, **row} for row in digging.pit_rows(result)],
        "dens": [{**plot, **row} for row in dens.den_rows(care)],
        "patrol": [{**plot, **row} for row in patrol.path_rows(care)],
        "patrol_checks": [{**plot, **row} for row in patrol.check_rows(care)],
        **{layer: [{**plot, **row} for row in rows] for layer, rows in people.layers(result, project).items()},
    }


def fence_line_row(number: int, line: Line, fit: Fit | None) -> dict[str, Any]:
    """One row of the layer fence_lines but the plot's name; the polygon has chords of at most CHORD_ERROR_M.

    What only an egg or a fit has is None for a drawn line.
    """
    egg = line if isinstance(line, Egg) else None
    return {
        "pack": number,
        "big_x": egg and egg.big_x,
        "big_y": egg and egg.big_y,
        "axis_bearing_deg": egg and egg.axis_bearing_deg,
        "big_radius_m": egg and egg.big_radius,
        "small_radius_m": egg and egg.small_radius,
        "flank_radius_m": egg and egg.flank_radius,
        "centre_spacing_m": egg and egg.centre_spacing,
        "area_m2": line.area,
        "perimeter_m": line.perimeter,
        "area_bound_m2": fit and fit.area_bound_m2,
        "fit_s": fit and fit.fit_s,
        "origin": "fitted" if fit else "given" if egg else "drawn",
        "geometry": line.polygon(CHORD_ERROR_M),
    }


def _apron(pack: Pack, trench: TrenchSettings) -> dict[str, Any]:
    area = apron(pack, trench, CHORD_ERROR_M)
    return {"pack": pack.number, "reach_m": trench.apron_reach_m, "side": trench.side, "geometry": area}


def _posts(pack: Pack, result: PlotResult, project: Project) -> Iterable[dict[str, Any]]:
    posts, site = pack.posts, result.site
    for i in range(posts.x.size):
        yield {
            "pack": pack.number,
            "post": i + 1,
            "chainage_m": float(posts.chainage[i]),
            "ground_m": float(posts.ground[i]),
            "deflection_deg": float(posts.deflection_deg[i]),
            "kind": posts.kind[i] if posts.kind else "line",
            "geometry": shapely.Point(posts.x[i], posts.y[i]),
        }
    for number, post in enumerate(airlock_posts(pack, project), first_airlock_post(pack)):
        yield {
            "pack": pack.number,
            "post": number,
            "chainage_m": math.nan,
            "ground_m": float(site.grid.bilinear(site.elevation, post.x, post.y)),
            "deflection_deg": math.nan,
            "kind": f"{post.kind} of airlock {post.gate}",
            "geometry": shapely.Point(post.x, post.y),
        }


def _gates(pack: Pack) -> Iterable[dict[str, Any]]:
    gates = pack.gates
    for i in range(gates.x.size):
        yield {
            "pack": pack.number,
            "gate": i + 1,
            "chainage_m": float(gates.chainage[i]),
            "width_m": gates.width,
            "geometry": shapely.Point(gates.x[i], gates.y[i]),
        }


def _gate_leaves(result: PlotResult) -> Iterable[dict[str, Any]]:
    for leaf in result.earthworks.gates if result.earthworks else ():
        yield {**GATE_LEAVES.row(leaf), "geometry": shapely.Point(leaf.x, leaf.y)}


def _airlocks(pack: Pack, project: Project) -> Iterable[dict[str, Any]]:
    for airlock in airlocks_of(pack, project):
        room = shapely.Polygon(airlock.corners)
        yield {
            "pack": pack.number,
            "gate": airlock.gate,
            "length_m": project.fence.airlock_length_m,
            "width_m": float(math.dist(*airlock.corners[:2])),
            "area_m2": room.area,
            "geometry": room,
        }


def _touches(pack: Pack) -> Iterable[dict[str, Any]]:
    for touch in pack.touches:
        yield {
            "pack": pack.number,
            "chainage_m": touch.chainage,
            "limit": in_files(touched(touch)),
            "geometry": shapely.Point(touch.limit_x, touch.limit_y),
        }


def _row(values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _plain(value) for name, value in values.items()}


_PLAIN = frozenset({float, int, str, bool, type(None)})


def _plain(value: Any) -> Any:
    """The same value of types that JSON knows; a number that is not finite becomes None."""
    kind = type(value)
    # First what there is most of: asking whether something is a mapping takes long.
    if kind in _PLAIN:
        return None if kind is float and not math.isfinite(value) else value
    if isinstance(value, Mapping):
        return {str(key): _plain(v) for key, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, np.generic):
        return _plain(value.item())
    return value
