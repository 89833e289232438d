"""Profile of the trench's bottom along the closed line: as deep as the ground asks, and no rougher than can be dug.

Mesh that hangs less deep than drawn is a hole in the fence, so that smoothing only ever deepens.
"""

import math
from dataclasses import dataclass

import numpy as np

from packpale.earthworks.model import Profile
from packpale.earthworks.stretches import stretches, total, where
from packpale.enclosure.model import Alignment, Pack
from packpale.settings import LandSettings, TrenchSettings
from packpale.site import Array, Site
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, given

SMALLEST_RING = 6
"""Stations from which neighbours on both sides are different ones."""
GOOD_M, GOOD_ENOUGH_M = 2e-4, 5e-3
"""Distance from the nearest profile at which the search ends, and at which its best is taken if rounding lets it get
no nearer. [m] The profile found keeps all limits in either case."""
MOST_ITERATIONS = 60


def invert_at(chainage: Array, line: Alignment, invert: Array, *, perimeter: float) -> Array:
    """Elevation of the trench's bottom at any chainage of a closed line. [m]

    It runs straight from station to station, from the last on to the first; ``invert`` [m] is that at the stations of
    ``line``, shape (stations,), NaN where it is not known, as it then is on both sides of the station.
    """
    return np.interp(chainage, line.chainage, invert, period=perimeter)


def smooth_invert(
    highest: Array, *, step: float, max_gradient: float | None = None, vertical_curve: float | None = None
) -> Array:
    """Of all bottoms nowhere above ``highest`` that keep the limits, the nearest to it by least squares.

    Parameters
    ----------
    highest : shape (stations,)
        The highest bottom allowed at each station of a closed line at equal steps. [m]
    step
        Distance between stations. [m]
    max_gradient
        Largest rise or fall per metre between neighbouring stations; None for no limit. [m/m]
    vertical_curve
        Smallest radius of a vertical curve: the gradient changes by at most ``step / vertical_curve`` at a station,
        upward or downward; None for no limit. [m]

    Returns
    -------
    shape (stations,)
        Elevation of the bottom. [m] Without limits it is ``highest`` itself.

    Raises
    ------
    ValueError
        If a limit is not positive, an elevation is missing, or the line has fewer than six stations.
    ArithmeticError
        If no answer is found.

    Notes
    -----
    A convex quadratic programme: minimise sum (z - highest)^2 subject to linear limits. A primal-dual interior-point
    method with Mehrotra's predictor and corrector [1]_ starts from a level bottom below everything, which keeps all
    limits, and never leaves them: what it returns is never above ``highest``. Each iteration solves one ring of
    equations that couple five neighbours, so that time grows with the number of stations.

    References
    ----------
    .. [1] J. Nocedal and S. J. Wright, Numerical Optimization, 2nd ed., Springer 2006, section 16.6 (from memory).
    """
    top = np.asarray(highest, float)
    if max_gradient is None and vertical_curve is None:
        return top.copy()
    if not np.isfinite(top).all() or not step > 0 or top.size < SMALLEST_RING:
        raise ValueError(f"a closed profile needs at least {SMALLEST_RING} known elevations and a positive step")
    if not ((max_gradient is None or max_gradient > 0) and (vertical_curve is None or vertical_curve > 0)):
        raise ValueError(f"limits must be positive, got {max_gradient=}, {vertical_curve=}")
    rise = math.inf if max_gradient is None else max_gradient * step
    bend = math.inf if vertical_curve is None else step**2 / vertical_curve
    if (np.abs(_rise(top)) <= rise).all() and (np.abs(_bend(top)) <= bend).all():
        return top.copy()
    datum = float(top.min())
    return datum + _nearest_below(top - datum, rise, bend)


def _rise(z: Array) -> Array:
    return np.asarray(np.roll(z, -1) - z)


def _bend(z: Array) -> Array:
    return np.asarray(np.roll(z, -1) - 2 * z + np.roll(z, 1))


@dataclass(frozen=True)
class _Limits:
    """The limits as a matrix times the elevations: first the elevations themselves, then rise and bend both ways."""

    with_rise: bool
    with_bend: bool

    def rows(self, z: Array) -> Array:
        """Left-hand sides, shape (kinds, stations)."""
        out = [z]
        if self.with_rise:
            out += [_rise(z), -_rise(z)]
        if self.with_bend:
            out += [_bend(z), -_bend(z)]
        return np.stack(out)

    def columns(self, m: Array) -> Array:
        """The transposed matrix times ``m``, of the shape that ``rows`` has; shape (stations,)."""
        out: Array = m[0].copy()
        if self.with_rise:
            difference = m[1] - m[2]
            out += np.roll(difference, 1) - difference
        if self.with_bend:
            out += _bend(m[-2] - m[-1])
        return out

    def normal(self, weight: Array) -> tuple[Array, Array, Array]:
        """Diagonal and the couplings to the next and the next but one of I + rows' weight rows."""
        p = weight[1] + weight[2] if self.with_rise else np.zeros(weight.shape[1])
        q = weight[-2] + weight[-1] if self.with_bend else np.zeros(weight.shape[1])
        diagonal = 1 + weight[0] + p + np.roll(p, 1) + 4 * q + np.roll(q, 1) + np.roll(q, -1)
        return diagonal, -p - 2 * (q + np.roll(q, -1)), np.roll(q, -1)


def _nearest_below(top: Array, rise: float, bend: float) -> Array:
    """The interior-point iteration; elevations above the lowest of ``top``."""
    from packpale.earthworks import _kernels_profile

    n = top.size
    limits = _Limits(math.isfinite(rise), math.isfinite(bend))
    bound = np.stack([top] + [np.full(n, b) for b in (rise, rise, bend, bend) if math.isfinite(b)])
    z = np.full(n, -max(1.0, float(top.max())))
    slack = bound - limits.rows(z)
    multiplier = 1.0 / slack
    best, best_off = z, math.inf
    for _ in range(MOST_ITERATIONS):
        gap = float((slack * multiplier).mean())
        dual = z - top + limits.columns(multiplier)
        # The objective is strongly convex: this bounds the root mean square distance from the answer.
        off = math.sqrt(gap * len(bound)) + float(np.sqrt(np.mean(dual**2)))
        if off < best_off:
            best, best_off = z, off
        if off < GOOD_M or not off < 1e3 * best_off:
            break
        weight = multiplier / slack
        matrix = limits.normal(weight)

        # First straight for the answer, to see how far that leads; then with the centring that takes.
        step = limits.rows(_kernels_profile.solve_closed(*matrix, limits.columns(multiplier) - dual))
        d_slack, d_multiplier = -step, weight * step - multiplier
        ahead = (slack + _longest(slack, d_slack) * d_slack) * (
            multiplier + _longest(multiplier, d_multiplier) * d_multiplier
        )
        target = slack * multiplier + d_slack * d_multiplier - (float(ahead.mean()) / gap) ** 3 * gap
        dz = _kernels_profile.solve_closed(*matrix, limits.columns(target / slack) - dual)
        d_slack = -limits.rows(dz)
        d_multiplier = -weight * d_slack - target / slack
        length = 0.995 * min(_longest(slack, d_slack), _longest(multiplier, d_multiplier))
        z = z + length * dz
        # Carried along, not computed anew: near a limit the difference would be rounding.
        slack = slack + length * d_slack
        multiplier = multiplier + length * d_multiplier
    if not best_off <= GOOD_ENOUGH_M:
        raise ArithmeticError("no profile found within the limits; raise max_gradient or lower vertical_curve_m")
    # What rounding left above the line goes down with the whole profile, which changes no gradient.
    return best - max(0.0, float((best - top).max()))


def _longest(value: Array, change: Array) -> float:
    """Longest step, at most 1, that keeps every value positive."""
    falling = change < 0
    return min(1.0, float((-value[falling] / change[falling]).min())) if falling.any() else 1.0


def trench_profile(pack: Pack, site: Site, trench: TrenchSettings) -> Profile:
    """Depth of the trench's bottom along one pack's line, and where it is off the depth set.

    The bottom runs straight from station to station; between them the ground is looked at every quarter of a cell,
    so that a hump or hollow there shows as well.

    Raises ArithmeticError if the limits set leave no profile.
    """
    line = pack.alignment
    highest = line.ground - trench.depth_m
    invert = smooth_invert(
        highest, step=line.step, max_gradient=trench.max_gradient, vertical_curve=trench.vertical_curve_m
    )
    depth = line.ground - invert
    fine, step = _depths_between(pack, invert, site)
    limit = trench.gap_limit_m
    grid, soil = site.grid, site.soil
    return Profile(
        pack=pack.number,
        depth=depth,
        rock_depth=grid.nearest(soil.depth_to_rock, line.x, line.y),
        water_depth=grid.nearest(soil.water_table, line.x, line.y),
        smoothed=bool((depth > trench.depth_m + 1e-6).any()),
        deeper=stretches(fine > trench.depth_m + limit, fine, step=step),
        shallower=stretches(fine < trench.depth_m - limit, fine, step=step, largest=False),
    )


def profile_notes(found: Profile, trench: TrenchSettings) -> list[Note]:
    """Where mesh and bottom part by more than the limit."""
    packs = (found.pack,)
    off = {"limit": given(trench.gap_limit_m, "dimension"), "depth": given(trench.depth_m, "dimension")}
    notes = []
    if found.deeper:
        notes.append(
            Note(
                "bottom below the skirt",
                "the bottom lies more than {limit} deeper than {depth} over {length}",
                "It does {where}, and is at most {deepest} deep; the skirt has to reach down there, or the gap under "
                "it be filled.",
                {
                    **off,
                    "length": Quantity(total(found.deeper), "length"),
                    "where": where(found.deeper),
                    "deepest": Quantity(max(s.worst for s in found.deeper), "dimension"),
                },
                packs,
                size=total(found.deeper),
            )
        )
    if found.shallower:
        notes.append(
            Note(
                "bottom not deep enough",
                "the bottom lies more than {limit} less deep than {depth} over {length}",
                "It does {where}, where the ground dips between stations, and is only {least} deep at the least; dig "
                "it deeper there, or lower {setting:trench.station_m}.",
                {
                    **off,
                    "length": Quantity(total(found.shallower), "length"),
                    "where": where(found.shallower),
                    "least": Quantity(min(s.worst for s in found.shallower), "dimension"),
                },
                packs,
                size=total(found.shallower),
            )
        )
    return notes


def gradient_notes(pack: Pack, found: Profile, land: LandSettings) -> list[Note]:
    """Where the bottom climbs or falls along the line more steeply than a machine can stand, as on a bank.

    Judged over the ground that a machine stands on, as the limit of the land is.
    """
    line = pack.alignment
    bottom = line.ground - found.depth
    reach = max(1, round(land.footprint_m / 2 / line.step))
    gradient = np.abs(np.roll(bottom, -reach) - np.roll(bottom, reach)) / (2 * reach * line.step)
    steep = stretches(
        gradient > math.tan(math.radians(land.max_slope_deg)),
        gradient,
        step=line.step,
        first=float(line.chainage[0]),
    )
    if not steep:
        return []
    return [
        Note(
            "bottom too steep",
            "the bottom climbs or falls more steeply than {limit} along the line, over {length}",
            "It does {where}, and by {worst} at the most; no machine digs along there. Have it dug by hand or from the "
            "side, with spoil and loose stones kept from rolling onto whoever is below.",
            {
                "limit": given(land.max_slope_deg, "slope"),
                "length": Quantity(total(steep), "length"),
                "where": where(steep),
                "worst": Quantity(math.degrees(math.atan(max(s.worst for s in steep))), "slope"),
            },
            (found.pack,),
            size=total(steep),
        )
    ]


def _depths_between(pack: Pack, invert: Array, site: Site) -> tuple[Array, float]:
    """Depth of the straight bottom below the ground at points between the stations, and their distance. [m]"""
    line = pack.alignment
    parts = max(1, math.ceil(line.step / (site.grid.cell / 4)))
    t = np.arange(parts) / parts
    if pack.drawn is not None:
        points = pack.drawn.points_at(line.chainage[:, None] + line.step * t)
        ground = site.grid.bilinear(site.elevation, points.x, points.y)
        return (ground - invert[:, None] - (np.roll(invert, -1) - invert)[:, None] * t).ravel(), line.step / parts
    ahead = [np.roll(a, -1) for a in (line.x, line.y, invert)]
    x, y, z = (a[:, None] + (b - a)[:, None] * t for a, b in zip((line.x, line.y, invert), ahead, strict=True))
    # From the chord back to the curve: the part of the turn across it, as a parabola.
    turn = line.outward - np.roll(line.outward, -1, axis=0)
    along = np.column_stack([ahead[0] - line.x, ahead[1] - line.y])
    rise = -(turn * along).sum(axis=1) / 2
    middle = line.outward + np.roll(line.outward, -1, axis=0)
    middle = middle / np.linalg.norm(middle, axis=1)[:, None]
    bulge = rise[:, None] * t * (1 - t)
    ground = site.grid.bilinear(site.elevation, x + middle[:, :1] * bulge, y + middle[:, 1:] * bulge)
    return (ground - z).ravel(), line.step / parts
