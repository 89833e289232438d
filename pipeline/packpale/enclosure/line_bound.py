"""The proven bound for lines that may run over limits.

Whatever the share, an egg with its outside strip lies in what no-go ground leaves. So every bound for the egg contained
in that land holds here (proof/): it takes no account of soft ground, and is as near as that ground is of no weight.
"""

from collections.abc import Sequence

from packpale.enclosure.fit import Ranges, fit_largest
from packpale.enclosure.line_ground import LineGround
from packpale.enclosure.model import Fit
from packpale.enclosure.proven import with_proof
from packpale.values.notes import Note


def with_line_proof(
    fits: Sequence[Fit],
    ground: LineGround,
    *,
    gap: float,
    taper: tuple[float, float],
    aspect: tuple[float, float],
    min_radius: float,
) -> tuple[tuple[Fit, ...], tuple[Note, ...]]:
    """The fits with the lower of their bound and the one that branch and bound proves from no-go ground; and notes.

    The search for the bound ends within ``gap`` (a share) of the largest egg that no-go ground allows, not of the
    fits: soft ground is what may lie between. Other parameters as for fit_line.fit_line, notes as of
    proven.with_proof.
    """
    ranges = Ranges(clearance=ground.outside_strip, taper=taper, aspect=aspect, min_radius=min_radius)
    free = fit_largest(ground.enclosable, **ranges)
    if free is None or not fits:
        return tuple(fits), ()
    (proven,), notes = with_proof([free], ground.enclosable, gap=gap, **ranges)
    bound = proven.area_bound_m2
    return tuple(Fit(f.egg, min(f.area_bound_m2, bound), f.fit_s) for f in fits), notes
