"""The proven bound for lines that may run over limits.

Whatever the share, an egg with its outside strip lies in what no-go ground leaves. So every bound for the egg contained
in that land holds here (proof/): it takes no account of soft ground, and is as near as that ground is of no weight.
"""

from collections.abc import Sequence
from dataclasses import replace

from packpale.enclosure.fit import Ranges, fit_largest
from packpale.enclosure.line_ground import LineGround
from packpale.enclosure.model import Fit
from packpale.enclosure.proven import with_pair_proof, with_proof
from packpale.values.notes import Note


def with_line_proof(
    fits: Sequence[Fit],
    ground: LineGround,
    *,
    gap: float,
    separation: float,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float,
) -> tuple[tuple[Fit, ...], tuple[Note, ...]]:
    """The fits with the lower of their bound and the one that branch and bound proves from no-go ground; and notes.

    The search for the bound ends within ``gap`` (a share) of the largest egg that no-go ground allows, not of the
    fits: soft ground is what may lie between. Several eggs and ``separation`` as for proven.with_proof, the notes too;
    other parameters as for fit_line.fit_line.
    """
    ranges = Ranges(clearance=ground.outside_strip, taper=taper, aspect=aspect, min_radius=min_radius)
    free = fit_largest(ground.enclosable, **ranges)
    if free is None or not fits:
        return tuple(fits), ()
    (proven,), notes = with_proof([free], ground.enclosable, gap=gap, separation=separation, **ranges)
    found = [replace(f, area_bound_m2=min(f.area_bound_m2, proven.area_bound_m2)) for f in fits]
    if len(found) > 1:
        found[-1] = with_pair_proof(found, ground.enclosable, separation, ranges)
    return tuple(found), notes
