"""The proven bound for lines that may run over limits.

Whatever the share, an egg with its outside strip lies in what no-go ground leaves. So every bound for the egg contained
in that land holds here (proof/): it takes no account of soft ground, and is as near as that ground is of no weight.
Where it is not near, the line that is certain to run over soft ground is counted against the share (share_bound.py).
"""

from collections.abc import Sequence
from dataclasses import replace

from packpale.enclosure.fit import Ranges, fit_largest
from packpale.enclosure.line_ground import LineGround
from packpale.enclosure.model import Fit
from packpale.enclosure.proven import with_packs_proof, with_proof
from packpale.enclosure.share_bound import MOST_BOXES, share_bound
from packpale.values.notes import Note

_WIDE = 1.1
"""Bound over area from which soft ground is looked at: the search for it takes seconds."""
_FEWER_FOR_SEVERAL = 5
"""Of several eggs the bound for one alone is far above theirs anyway."""


def with_line_proof(
    fits: Sequence[Fit],
    ground: LineGround,
    share: float,
    *,
    gap: float,
    separation: float,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float,
) -> tuple[tuple[Fit, ...], tuple[Note, ...]]:
    """The fits with the lower of their bound and the one that branch and bound proves; and notes.

    ``share``: largest part of the line's length that may run over limits. The search on no-go ground ends within
    ``gap`` (a share) of the largest egg that it allows; where that is far above the fits, soft ground and the share are
    looked at too, until the work for that is spent. Several eggs and ``separation`` as for proven.with_proof, the
    notes too; other parameters as for fit_line.fit_line.
    """
    ranges = Ranges(clearance=ground.outside_strip, taper=taper, aspect=aspect, min_radius=min_radius)
    free = fit_largest(ground.enclosable, **ranges)
    if free is None or not fits:
        return tuple(fits), ()
    (proven,), notes = with_proof([free], ground.enclosable, gap=gap, separation=separation, **ranges)
    bound, largest = proven.area_bound_m2, fits[0].egg.area
    if bound > _WIDE * largest:
        bound = share_bound(
            ground,
            share,
            best_area=largest,
            at_most=bound,
            max_boxes=MOST_BOXES if len(fits) == 1 else MOST_BOXES // _FEWER_FOR_SEVERAL,
            taper=taper,
            aspect=aspect,
            min_radius=min_radius,
        )
    found = [replace(f, area_bound_m2=min(f.area_bound_m2, bound)) for f in fits]
    if len(found) > 1:
        found[-1] = with_packs_proof(found, ground.enclosable, separation, ranges)
    return tuple(found), notes
