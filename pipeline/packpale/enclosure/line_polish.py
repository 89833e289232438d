"""The last steps of the search for a line, with exact measures: what is reported is feasible, always.

The largest scale that no-go ground allows (fit.largest_scale) and the length over limits (over_limits.py) are exact.
The rasters were half a cell off, which in a narrow place hides what is best: so annealing goes on from each end, what
the conditions miss as a penalty. Then random neighbours are tried, nearer the rarer they are better, and only such as
keep the conditions. The egg is evaluated once more as it is reported, in the run's coordinates, with a micrometre to
spare.
"""

import math
from collections.abc import Sequence

import numpy as np

from packpale.enclosure import _kernels, _kernels_line, _kernels_over
from packpale.enclosure.egg import Egg
from packpale.enclosure.fit import largest_scale, position_reported
from packpale.enclosure.line_search import BY_SCORE, SPARE_M, Aim, Labour, Search, allowed, position_of
from packpale.site.grid import Array

_WEIGHT = 300.0
"""Of what the conditions miss, against the log area or cost."""
_AGREE = 0.005
"""So near are the best of two passes that agree."""
_REACH, _TEMPERATURE = (0.2, 0.01), (0.02, 0.0005)
"""Of a move, in radii, and of the annealing by exact measures: at its beginning and at its end."""


def searched(on: Search, aim: Aim, labour: Labour, known: Sequence[Egg] = ()) -> list[Egg]:
    """Feasible eggs, best first, from passes of the whole search until two agree on the best.

    ``known`` are eggs to begin from. Only the first pass does, so that the others can tell whether it was led astray.
    The polish begins from them too: the rasters may prefer places that prove to be none.
    """
    before = np.array([position_of(egg, on.land.origin) for egg in known]).reshape(-1, 6)
    found: list[tuple[float, Egg]] = []
    for seed in range(labour.passes):
        rows = on.annealed(aim, labour, () if seed else known, seed)
        more = _polished(on, rows if seed else np.vstack([before, rows]), aim, labour.polish)
        # In logs of area or price, or as much of a score.
        agree = abs(more[0][0] - found[0][0]) < _AGREE if more and found else not more and not found
        found = sorted([*found, *more], key=lambda end: -end[0])
        if seed and agree:
            break
    return [egg for _, egg in found]


def _polished(on: Search, rows: Array, aim: Aim, proposals: int) -> list[tuple[float, Egg]]:
    """What the aim makes largest, and feasible eggs near positions (x, y, psi, taper, aspect, log R), best first.

    Three of them are as good as they get.
    """
    exact = _Exact(on, aim)
    begun = []
    for row in rows:
        z, R = exact.mended(row[:5].copy(), math.exp(row[5]), 2 * proposals // 3)
        found = exact.first(z, R)
        if found is not None:
            begun.append(exact.climb(z, found, proposals // 6))
    begun.sort(key=lambda ends: -exact.rated(*ends)[0])
    ended = [exact.climb(z, R, proposals) for z, R in begun[:3]]
    ended.sort(key=lambda ends: -exact.rated(*ends)[0])
    return [(exact.rated(z, R)[0], egg) for z, R in ended if (egg := exact.reported(z, R)) is not None]


def a_hair_less(R: float) -> float:
    """A scale less what rounding may take. [m]"""
    return R * (1 - 1e-8) - SPARE_M


class _Exact:
    """Exact measures for one aim, on positions z = (x, y, psi, taper, aspect) about O and scales R."""

    def __init__(self, on: Search, aim: Aim) -> None:
        self.on, self.aim, self.shapes = on, aim, on.shapes
        self.pieces, self.room, self.out = np.empty((5, 8)), np.empty((256, 2)), np.empty((256, 2))
        if on.near is not None:
            near = on.near
            self.shift = np.subtract(on.land.origin, near.origin)
            self.tree = (*near.tree, near.band_start, near.band_edge, near.band_frame)
        if aim.cost is not None:
            self.cost, self.cost_frame = aim.cost.known, on.frame(aim.cost.grid)
        self.field = on.rasters(aim)[6:9]

    def sized(self, z: Array, R: float) -> float:
        """R, or the scale of the area that is set."""
        return R if self.aim.area is None else math.sqrt(self.aim.area / _unit(z))

    def most(self, z: Array, at_most: float) -> float:
        """Largest scale that no-go ground allows, with a hair to spare; negative where O lies in it."""
        if self.on.land.depths(z[None, :2])[0] <= 0:
            return -1.0
        return a_hair_less(largest_scale(self.on.land, z, clearance=self.shapes.clearance, at_most=at_most))

    def over(self, z: Array, R: float) -> tuple[float, float]:
        """Length over limits, with a hair of the strips on top, and perimeter. [m]"""
        k = float(z[3])
        d, F, phi, _ = _kernels_line.unit_egg(k, float(z[4]))
        if self.on.near is None:
            return 0.0, R * (math.pi + 2 * phi * F + (math.pi - 2 * phi) * k)
        x, y = float(z[0] + self.shift[0]), float(z[1] + self.shift[1])
        _kernels_over.egg_pieces(x, y, float(z[2]), R, k, d, F, phi, self.pieces)
        inside, outside = self.on.ground.inside_strip + SPARE_M, self.on.ground.outside_strip + SPARE_M
        while True:
            length = _kernels_over.over_length(self.pieces, inside, outside, *self.tree, self.room, self.out)
            if length >= 0:
                break
            self.room, self.out = np.empty((int(-length) * 2, 2)), np.empty((int(-length) * 2, 2))
        return float(length), float(self.pieces[4, 6] + self.pieces[4, 7])

    def price(self, z: Array, R: float, over: float) -> float:
        """Cost of the line."""
        if self.aim.cost is None:
            return 0.0
        k = float(z[3])
        d, F, phi, _ = _kernels_line.unit_egg(k, float(z[4]))
        _kernels_over.egg_pieces(float(z[0]), float(z[1]), float(z[2]), R, k, d, F, phi, self.pieces)
        along = _kernels_over.along(self.pieces, self.aim.cost.step, self.cost, self.cost_frame)
        return float(along) + self.aim.cost.fixed + self.aim.cost.per_over_limit_m * over

    def rated(self, z: Array, R: float) -> tuple[float, float]:
        """What the aim makes largest, and what the share misses; no-go ground is left to ``most``."""
        over, perimeter = self.over(z, R)
        missed = max(over - allowed(self.aim.share, perimeter), 0.0) / perimeter
        if self.aim.by == "area":
            return 2 * math.log(R) + math.log(_unit(z)), missed
        if self.aim.by == "cost":
            return -math.log(self.price(z, R, over)), missed
        return self._mean(z, R), missed

    def _mean(self, z: Array, R: float) -> float:
        """Mean of the score inside, exact, with its weight."""
        shape = _kernels.unit_shape(float(z[3]), float(z[4]))
        total = _kernels.field_over_egg(float(z[0]), float(z[1]), float(z[2]), R, shape, *self.field)
        return BY_SCORE * float(total) / (R * R * _unit(z))

    def fits(self, z: Array, R: float) -> bool:
        """Whether no-go ground and the least radius of the small end allow it."""
        return R * float(z[3]) >= self.shapes.min_radius and self.most(z, 1.1 * R) >= R

    def mended(self, z: Array, R: float, proposals: int) -> tuple[Array, float]:
        """A better neighbour at which the conditions are kept, or nearly so, by annealing."""
        rng = np.random.default_rng(5)

        def worth(z: Array, R: float) -> tuple[float, float]:
            R = self.sized(z, R)
            most = self.most(z, 1.1 * R)
            if self.aim.area is None:
                R = min(R, most)
            if R <= 0 or most <= 0:
                return -math.inf, R
            value, missed = self.rated(z, R)
            missed += max(math.log(R / most), 0.0)
            missed += max(math.log(self.shapes.min_radius / R / z[3]), 0.0) if self.shapes.min_radius > 0 else 0.0
            return value - _WEIGHT * missed, R

        best, R = worth(z, R)
        at, size, value = z, R, best
        for t in range(proposals):
            reach, warm = (a * (b / a) ** (t / proposals) for a, b in (_REACH, _TEMPERATURE))
            reach *= 10 ** (-1.5 * rng.random())
            trial = _moved(at, max(size, 1e-3), reach, self.shapes.limits, rng)
            new, tried = worth(trial, size * (1 + 0.5 * reach * rng.uniform(-1, 1)))
            if new >= value or rng.random() < math.exp((new - value) / warm):
                at, size, value = trial, tried, new
                if value > best:
                    z, R, best = at, size, value
        return z, R

    def first(self, z: Array, R: float) -> float | None:
        """Scale of the first feasible egg at a position, from a little more than R down; None if there is none."""
        if self.aim.area is not None:
            return R if self.fits(z, R) and self.rated(z, R)[1] == 0 else None
        R = min(1.01 * R, self.most(z, 1.1 * R))
        for _ in range(60):
            if R <= 0 or R * z[3] < self.shapes.min_radius:
                return None
            if self.rated(z, R)[1] == 0:
                return R
            R *= 0.9975
        return None

    def climb(self, z: Array, R: float, proposals: int) -> tuple[Array, float]:
        """Better neighbours that are feasible, from a feasible egg."""
        rng = np.random.default_rng(11)
        best, by = self.rated(z, R)[0], 0.03
        for _ in range(proposals):
            trial = _moved(z, R, by * 10 ** (-1.5 * rng.random()), self.shapes.limits, rng)
            size = self.sized(trial, R * rng.uniform(1 - 0.5 * by, 1.0) if self.aim.by == "cost" else R)
            if self.aim.by == "area":
                size = math.exp(0.5 * best) * (1 + 1e-7) / math.sqrt(_unit(trial))
            value, missed = self.rated(trial, size) if self.fits(trial, size) else (-math.inf, 1.0)
            if missed > 0 or value <= best:
                by = max(by * 0.99, 1e-4)
                continue
            z, best, R = trial, value, size
            by = min(by * 1.3, 0.1)
            if self.aim.by == "area":
                R = self._grown(z, R)
                best = 2 * math.log(R) + math.log(_unit(z))
        return z, R

    def _grown(self, z: Array, R: float) -> float:
        """A larger scale that is feasible at the same place, by growing strides."""
        most, stride = self.most(z, 1.5 * R), 1e-4
        while (size := min(R * (1 + stride), most)) > R and self.rated(z, size)[1] == 0:
            R, stride = size, 3 * stride
        return R

    def reported(self, z: Array, R: float) -> Egg | None:
        """The egg in the run's coordinates, feasible as it stands there."""
        for _ in range(40):
            at, most, inside = position_reported(self.on.land, self.shapes, z, at_most=2 * R)
            shape = float(z[3]), float(z[4])
            if self.aim.area is not None:
                egg = Egg.from_shape(*shape, **at, area=self.aim.area)
            else:
                egg = Egg.from_shape(*shape, **at, big_radius=min(R, most))
            if (
                inside
                and egg.big_radius <= most
                and egg.small_radius >= self.shapes.min_radius
                and self.on.allows(egg, self.aim.share)
            ):
                return egg
            if self.aim.area is not None:
                return None
            R *= 1 - 1e-6
        return None


def _unit(z: Array) -> float:
    """Area at R = 1."""
    return float(_kernels_line.unit_egg(float(z[3]), float(z[4]))[3])


def _moved(z: Array, R: float, by: float, limits: Array, rng: np.random.Generator) -> Array:
    """A neighbour of z, at random; the middle of the axis is what moves and turns."""
    u = rng.uniform(-1, 1, 5).tolist()
    if rng.random() < 0.5:
        only = int(rng.integers(5))
        u = [v if i == only else 0.0 for i, v in enumerate(u)]
    x, y, psi, taper, aspect = z.tolist()
    half = (aspect - 1) * R
    x, y = x + half * math.cos(psi), y + half * math.sin(psi)
    psi += by * u[2]
    taper, aspect = (
        min(max(v + by * more, low), high)
        for v, more, (low, high) in zip((taper, aspect), u[3:], limits.tolist(), strict=True)
    )
    half = (aspect - 1) * R
    x, y = x + by * R * u[0] - half * math.cos(psi), y + by * R * u[1] - half * math.sin(psi)
    return np.array([x, y, psi, taper, aspect])
