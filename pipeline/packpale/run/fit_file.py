"""Eggs in the polygons of any file: no elevation, no settings file; a row for every feature."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from packpale.faults import Faults
from packpale.review.model import FieldFits
from packpale.settings import EnclosureSettings, fault_lines
from packpale.units import HECTARE_M2

if TYPE_CHECKING:
    from shapely.geometry import MultiPolygon

    from packpale.enclosure.line_ground import Score
    from packpale.enclosure.model import Fit
    from packpale.site.fields import Field

SCORE_CELLS = 150
"""Cells along the longer side of a polygon when an egg of a given area is placed."""


def enclosure_wanted(**given: Any) -> EnclosureSettings:
    """Settings of the enclosure from options of the command line; those not given keep their defaults.

    Raises Faults with the option's name.
    """
    try:
        return EnclosureSettings.model_validate({k: v for k, v in given.items() if v is not None})
    except ValidationError as error:
        raise Faults(*[_as_option(line) for line in fault_lines(error)]) from error


def _as_option(line: str) -> str:
    key, _, rest = line.partition(":")
    return f"--{key.removesuffix('_m').replace('_', '-')}:{rest}"


def fit_file(
    polygons: Path,
    out: Path,
    *,
    layer: str | None = None,
    id_column: str | None = None,
    crs: str | None = None,
    wanted: EnclosureSettings,
    clearance: float = 0.0,
    holes_inside: bool = False,
    watch: Callable[[int, int], None] = lambda done, total: None,
) -> tuple[tuple[FieldFits, ...], tuple[str, ...]]:
    """Fit eggs into every polygon of a layer and write them as a GeoPackage; returns the rows and what to know.

    ``clearance`` [m] is the free strip outside the fence line. With ``holes_inside`` holes of the polygons may lie
    inside the fence, and only its line with that strip keeps off them. ``watch`` is told how many of all features are
    done; ``crs`` is that of a file that states none. Raises Faults if the input is at fault or the output is there
    already; then nothing is written.
    """
    from packpale.review.fits import write_fits
    from packpale.review.words.notes import for_a_file
    from packpale.site.fields import read_fields

    if out.suffix.lower() != ".gpkg":
        raise Faults(f"--out {out}: the result is a GeoPackage; give the file a name that ends in .gpkg")
    if out.exists():
        raise Faults(f"--out {out}: exists and is not overwritten; choose another name or remove it")
    fields = read_fields(polygons, layer, id_column, crs)
    rows: list[FieldFits] = []
    for field in fields.rows:
        watch(len(rows), len(fields.rows))
        rows.append(_fit(field, wanted, clearance, holes_inside=holes_inside))
    watch(len(rows), len(rows))
    write_fits(rows, fields.crs, out)
    repaired = (f"feature {r.field.number}: {for_a_file(note)}" for r in rows for note in r.field.notes)
    return tuple(rows), (*map(for_a_file, fields.notes), *repaired)


def _fit(field: "Field", wanted: EnclosureSettings, clearance: float, *, holes_inside: bool) -> FieldFits:
    if field.problem:
        return FieldFits(field, (), field.problem)
    holes = any(part.interiors for part in field.outline.geoms)
    try:
        fits = (_fits_round_holes if holes_inside and holes else _fits)(field, wanted, clearance)
    except ValueError as error:
        return FieldFits(field, (), str(error))
    if len(fits) < wanted.packs:
        return FieldFits(field, (), _reason(field, wanted, clearance, len(fits)))
    return FieldFits(field, fits, "")


def _fits(field: "Field", wanted: EnclosureSettings, clearance: float) -> "tuple[Fit, ...]":
    from packpale.enclosure.best_place import fit_areas
    from packpale.enclosure.fit import Ranges
    from packpale.enclosure.packs import fit_packs
    from packpale.enclosure.proven import with_proof

    ranges = Ranges(clearance=clearance, taper=wanted.taper, aspect=wanted.aspect, min_radius=wanted.min_radius_m)
    if wanted.area_ha == "largest":
        fits = fit_packs(field.outline, wanted.packs, wanted.separation_m, **ranges)
        return with_proof(fits, field.outline, gap=wanted.proof_gap, separation=wanted.separation_m, **ranges)[0]
    score = _depth(field.outline)
    return fit_areas(
        field.outline,
        wanted.packs,
        wanted.separation_m,
        target_area=wanted.area_ha * HECTARE_M2,
        score=score.raster,
        grid=score.grid,
        **ranges,
    )


def _fits_round_holes(field: "Field", wanted: EnclosureSettings, clearance: float) -> "tuple[Fit, ...]":
    """Eggs whose line and strip keep off the holes, which may lie inside."""
    import shapely
    from shapely.geometry import MultiPolygon, Polygon

    from packpale.enclosure.fit import Forms
    from packpale.enclosure.line_bound import with_line_proof
    from packpale.enclosure.line_ground import LineGround
    from packpale.enclosure.line_packs import fit_packs_on_lines
    from packpale.enclosure.place_line import place_lines

    forms = Forms(taper=wanted.taper, aspect=wanted.aspect, min_radius=wanted.min_radius_m)
    filled = shapely.union_all([Polygon(part.exterior) for part in field.outline.geoms])
    whole = MultiPolygon(list(shapely.get_parts(filled)))
    holes = [part for part in shapely.get_parts(filled.difference(field.outline)) if isinstance(part, Polygon)]
    ground = LineGround(whole, {"hole": MultiPolygon(holes)}, inside_strip=0.0, outside_strip=clearance)
    if wanted.area_ha == "largest":
        fits = fit_packs_on_lines(ground, 0.0, wanted.packs, wanted.separation_m, **forms)
        return with_line_proof(fits, ground, 0.0, gap=wanted.proof_gap, separation=wanted.separation_m, **forms)[0]
    area, score = wanted.area_ha * HECTARE_M2, _depth(field.outline)
    return place_lines(ground, 0.0, wanted.packs, wanted.separation_m, area=area, score=score, **forms)


def _depth(outline: "MultiPolygon") -> "Score":
    """Where nothing is known of the ground the best place is the one farthest from the boundary in the mean."""
    import numpy as np
    import shapely

    from packpale.enclosure.line_ground import Score
    from packpale.site.grid import Grid

    west, south, east, north = outline.bounds
    cell = max(east - west, north - south) / SCORE_CELLS
    grid = Grid(west, north, cell, int(np.ceil((north - south) / cell)), int(np.ceil((east - west) / cell)))
    x, y = np.meshgrid(*grid.centres())
    depth = shapely.distance(outline.boundary, shapely.points(x, y))
    inside = np.where(shapely.contains_xy(outline, x, y), depth, 0.0)
    return Score(inside / max(float(inside.max()), 1e-9), grid)


def _reason(field: "Field", wanted: EnclosureSettings, clearance: float, fitting: int) -> str:
    import shapely

    parts: Sequence[Any] = field.outline.geoms
    largest = max(parts, key=lambda part: part.area)
    circle = shapely.length(shapely.maximum_inscribed_circle(largest, tolerance=0.01 * largest.area**0.5))
    if fitting:
        what = f"only {fitting} of {wanted.packs} enclosures fit, {wanted.separation_m:g} m apart"
    else:
        size = "" if wanted.area_ha == "largest" else f" round {wanted.area_ha:g} ha"
        what = f"no fence line{size} fits that bends no tighter than a radius of {wanted.min_radius_m:g} m"
    strip = f", of which the strip outside the fence takes {clearance:g} m" if clearance else ""
    part = f"the largest part has {largest.area / HECTARE_M2:.3g} ha"
    return f"{what}: {part}, its largest circle a radius of {circle:.1f} m{strip}"
