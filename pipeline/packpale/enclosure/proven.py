"""Eggs with the proven bound on their area, as near to it as was asked for."""

from collections.abc import Sequence
from dataclasses import replace

import shapely
from shapely.geometry import MultiPolygon, Polygon

from packpale.enclosure.boundary import valid_parts
from packpale.enclosure.fit import Ranges, fit_largest
from packpale.enclosure.model import Fit
from packpale.enclosure.points_bound import smallest_of_several
from packpale.enclosure.proof import area_bound
from packpale.values.notes import Note

_WORK_FOR_ONE = 110_000_000
"""Of the search for a bound, in the units of proof.search; about 10 s."""
_WORK_FOR_SEVERAL = 6_000_000
"""Where several eggs share the land: the bound for one alone is far above theirs anyway."""


def with_proof(
    fits: Sequence[Fit],
    area: Polygon | MultiPolygon,
    *,
    gap: float,
    separation: float,
    clearance: float,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float,
) -> tuple[tuple[Fit, ...], tuple[Note, ...]]:
    """The largest eggs with the lower of their bound and the one that branch and bound proves; and notes on that.

    The search for the bound ends within ``gap`` (a share) of the largest area known, or when its work is spent, which
    is the same on every machine. Of several eggs, ``separation`` [m] apart and the largest first, the last gets the
    bound on the smallest of as many where that is lower. Other parameters as for fit.fit_largest. The notes say if the
    clock ended the search instead.
    """
    if not fits:
        return (), ()
    land = MultiPolygon(valid_parts(area))
    if not land.is_valid:
        land = shapely.union_all(list(land.geoms))
    ranges = Ranges(clearance=clearance, taper=taper, aspect=aspect, min_radius=min_radius)
    best, work = fits[0].egg.area, _WORK_FOR_ONE
    if len(fits) > 1:
        # The bound holds for a single egg, so the best single egg is what it can come near to.
        single = fit_largest(land, **ranges)
        best = max(best, single.egg.area if single else 0.0)
        work = _WORK_FOR_SEVERAL
    proof = area_bound(
        land,
        best_area=best,
        tolerance=gap,
        max_work=work,
        **ranges,
    )
    notes: tuple[Note, ...] = ()
    if proof.out_of_time:
        notes = (
            Note(
                "bound not finished",
                "the search for a bound on the enclosed area was stopped after {seconds} s",
                "Another run may prove a slightly different bound.",
                {"seconds": round(proof.seconds)},
            ),
        )
    found = [replace(f, area_bound_m2=min(f.area_bound_m2, proof.area_bound_m2)) for f in fits]
    if len(fits) > 1:
        found[-1] = with_packs_proof(found, land, separation, ranges)
    return tuple(found), notes


def with_packs_proof(fits: Sequence[Fit], land: MultiPolygon, separation: float, ranges: Ranges) -> Fit:
    """The last of several eggs with the bound on the smallest of as many that keep ``separation`` [m] apart."""
    last = fits[-1]
    eggs = [f.egg for f in fits]
    bound = smallest_of_several(land, separation, known=eggs, at_most=last.area_bound_m2, **ranges)
    return replace(last, area_bound_m2=bound)
