"""How sure volumes and price are: errors of the ground and spread of the rates, drawn many times over.

What is drawn, each independent of the others:

- every rate, triangular (``price.drawn_prices``), the same on all plots;
- the error of the depth to rock and of the depth to water along the lines (``ground_error``). Rock is uneven over
  the width of a pit, each segment for itself; water beside a pit is off by the season, all of it together. A depth is
  never negative. Whether rock is hard or soft is taken as it is;
- the error of the elevation model, which the cut feels only as far as the section does. A shift shared by all ground
  cancels, because depths are measured from the ground as it is found. ``follow`` measures every column from the
  ground above it, so that nothing is left; ``level`` feels the error at each offset against that under the fence.
  Parts of a section take such a change in proportion to their volume. A smoothed bottom is taken to be smoothed
  again over the ground as it is found;
- how much deeper than drawn the machine digs: evenly between nothing and ``trench.over_dig_m``, the same all along
  and on all plots, as the same machine digs whichever is chosen.

Soil and rock swell as set, quantities of the fence are those taken off, and no wrong trench line, weather, stop of
work or change of design is drawn: the real spread is wider.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from packpale.earthworks.bulking import soil_balance
from packpale.earthworks.estimate_class import estimate_class
from packpale.earthworks.ground_error import (
    Segments,
    covariance_left,
    distances,
    level_error,
    root,
    segments,
    sum_over_segments,
    telling,
)
from packpale.earthworks.model import Driver, Item, Profile, Uncertainty
from packpale.earthworks.narrowing import (
    WORTH_SAYING,
    Ground,
    all_pits,
    best_pits,
    flanks,
    narrowed,
    narrowing,
    pit_places,
)
from packpale.earthworks.price import (
    ELEVATION,
    OVER_DIG,
    ROCK,
    WATER,
    drawn_prices,
    generator,
    triangular,
)
from packpale.earthworks.section import TrenchSection
from packpale.earthworks.volume import CutSections, at_stations, cut_sections
from packpale.enclosure.model import Pack
from packpale.settings import BulkingSettings, Project
from packpale.site import Array, Site

ROCK_NEARER, WATER_NEARER = "rock nearer the surface", "water nearer the surface"
ELEVATION_ERROR, DUG_DEEPER = "elevation under the trench", "depth dug beyond what is drawn"
CHUNK = 2500
"""Draws that are worked on at a time; the draws themselves do not depend on it."""
SHIFTS = 25
"""Shifts of rock and water for which the cut is computed; between them volumes are taken as linear."""
ENDS, NEAR = (0.1, 0.9), 0.05
"""Parts of all draws at the low and at the high end of an input, and how far round them draws count as there."""
SPAN = 4.5
"""How many standard deviations the shifts reach: beyond lie 7 draws in a million."""


@dataclass(frozen=True)
class Trench:
    """One pack's trench as it is drawn."""

    pack: Pack
    cuts: CutSections
    profile: Profile
    curvature: Array


@dataclass(frozen=True)
class _Table:
    """Volumes of each segment as drawn and over-dug, and for each shift; shape (2, segments, shifts). [m3]"""

    cut: Array
    """Shape (2, segments)."""
    soft: Array
    hard: Array
    wet: Array
    rock_shifts: Array
    water_shifts: Array


@dataclass(frozen=True)
class _Errors:
    """Square roots of the covariances of what is drawn along the lines, each of shape (segments, segments)."""

    rock: Array
    water: Array
    scale: Array
    """Of the factor on the volumes of each segment."""


@dataclass(frozen=True)
class _Drawn:
    """All draws together."""

    totals: Array
    """Cut, soft rock, hard rock and wet, shape (draws, packs, 4). [m3]"""
    means: Mapping[str, Array]
    """Each error's mean along the lines, shape (draws,)."""
    rock_covariance: Array
    """Of each segment's price of rock with that of all rock, shape (segments,). [currency2]"""
    rock_slope: Array
    water_slope: Array
    """Change of the price with the error of each segment, shape (segments,). [currency per m]"""


def uncertainty(
    site: Site, trenches: Sequence[Trench], section: TrenchSection, items: Sequence[Item], project: Project
) -> Uncertainty:
    """Percentiles of volumes and price, what drives the spread, and what would narrow it.

    The same seed and plot give the same draws, whichever other plots there are.
    """
    settings = project.uncertainty
    packs = [t.pack for t in trenches]
    found = segments(packs, min(settings.soil_correlation_m, settings.elevation_correlation_m))
    points = np.column_stack([found.x, found.y])
    rock_pits, water_pits = telling(site.pits, "depth_to_rock_m"), telling(site.pits, "water_table_m")
    left = [
        covariance_left(points, pits, correlation=settings.soil_correlation_m, variance=far**2 - at_pit**2)
        for pits, far, at_pit in (
            (rock_pits, settings.rock_depth_sd_m, settings.rock_depth_sd_at_pit_m),
            (water_pits, settings.water_table_sd_m, settings.water_table_sd_at_pit_m),
        )
    ]
    errors = _errors(left, found, trenches, project)
    table = _table(site, trenches, found, section, project)
    rock_price, wet_price = _price_of_ground(items, project.bulking)
    drawn = _draw(site.plot_id, found, errors, table, project, prices=(rock_price, wet_price))
    volumes = _volumes(drawn.totals, project.bulking)
    quantities = _quantities(volumes)
    prices, rates = drawn_prices(items, quantities, draws=project.run.draws, seed=project.run.seed)
    variance = max(float(prices.var()), 1e-12)
    grounds = [Ground(k, slope) for k, slope in zip(left, (drawn.rock_slope, drawn.water_slope), strict=True)]
    places, taken = best_pits(grounds)
    # Pits that would not be named are not placed either.
    pits = pit_places(places, found, packs) if narrowed(taken / variance) >= WORTH_SAYING else ()
    shares = {i.key: _correlation(rates[i.key], prices) ** 2 for i in items if i.quantity > 0 and i.rate[0] < i.rate[2]}
    near = distances(points, rock_pits).min(axis=1) <= settings.soil_correlation_m if len(rock_pits) else None
    stated = estimate_class(
        items,
        near_pits=float(found.length[near].sum() / found.length.sum()) if near is not None else 0.0,
        rates_set=project.rates.model_fields_set,
    )
    return Uncertainty(
        draws=project.run.draws,
        volumes={name: _percentiles(v) for name, v in volumes.items()},
        price=_percentiles(prices),
        drivers=drivers(items, quantities, drawn.means),
        drawn_price=prices,
        flanks=flanks(found, packs, drawn.rock_covariance / variance, rock_pits),
        estimate_class=stated.number,
        class_reason=stated.reason,
        class_low=stated.low,
        class_high=stated.high,
        narrowing=narrowing(
            items, shares, pits, taken / variance, all_round=all_pits(grounds) / variance, packs=len(packs)
        ),
        pits=pits,
    )


def drivers(items: Sequence[Item], quantities: Mapping[str, Array], errors: Mapping[str, Array]) -> tuple[Driver, ...]:
    """What each uncertain input does to the price, the largest first; what does nothing is left out.

    One input at a time goes from where one draw in ten is lower (P10) to where one in ten is higher (P90), and the
    mean price over all that is drawn beside it is compared. For a rate, independent of quantities, that is the mean
    quantity times the difference of the rate. For an error of the ground the draws themselves are compared, those
    within ``NEAR`` of either end, at the mean of every rate. ``quantities`` and ``errors`` have shape (draws,).
    """
    out = []
    for item in items:
        low, high = (float(triangular(np.array(share), *item.rate)) for share in ENDS)
        out.append(Driver(f"rate: {item.key}", float(np.mean(quantities.get(item.key, item.quantity))) * (high - low)))
    ground = np.asarray(sum(q * sum(i.rate) / 3 for i in items if (q := quantities.get(i.key)) is not None))
    for name, error in errors.items():
        if np.ptp(error) > 0:
            low, high = (
                float(
                    ground[(error >= np.quantile(error, end - NEAR)) & (error <= np.quantile(error, end + NEAR))].mean()
                )
                for end in ENDS
            )
            out.append(Driver(name, high - low))
    return tuple(sorted((d for d in out if d.swing), key=lambda d: (-abs(d.swing), d.name)))


def _correlation(one: Array, other: Array) -> float:
    a, b = one - one.mean(), other - other.mean()
    size = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / size if size > 0 else 0.0


def _percentiles(values: Array) -> tuple[float, float, float]:
    p10, p50, p90 = np.quantile(values, (0.1, 0.5, 0.9))
    return float(p10), float(p50), float(p90)


def _errors(left: Sequence[Array], found: Segments, trenches: Sequence[Trench], project: Project) -> _Errors:
    settings = project.uncertainty
    rock, water = left
    n = found.x.size
    scale = np.zeros(n)
    if project.trench.formation == "level":
        for k, trench in enumerate(trenches):
            own = found.pack == k
            at = found.middle[own]
            sd = level_error(
                trench.cuts, at, rmse=settings.elevation_rmse_m, correlation=settings.elevation_correlation_m
            )
            scale[own] = sd / np.maximum(trench.cuts.cut[at, 0], 1e-9)
    points = np.column_stack([found.x, found.y])
    alike = np.exp(-distances(points, points) / settings.elevation_correlation_m)
    return _Errors(
        root(rock + settings.rock_depth_sd_at_pit_m**2 * np.eye(n)),
        root(water + settings.water_table_sd_at_pit_m**2),
        root(np.outer(scale, scale) * alike),
    )


def _shifts(sd: float, deepest: float, farthest: float) -> Array:
    """Shifts from those that bring the layer to the surface to those that take it below the deepest trench. [m]"""
    least, most = max(-SPAN * sd, -farthest), min(SPAN * sd, deepest)
    if most - least < 1e-6:
        # Nothing shifts: the second entry only gives the table a step.
        return np.array([least, least + 1.0])
    return np.linspace(least, most, SHIFTS)


def _table(site: Site, trenches: Sequence[Trench], found: Segments, section: TrenchSection, project: Project) -> _Table:
    settings, trench, soil = project.uncertainty, project.trench, site.soil
    deepest = max(float(t.cuts.deepest.max()) for t in trenches) + trench.over_dig_m
    rock_shifts = _shifts(settings.rock_depth_sd_m, deepest, float(soil.depth_to_rock.max()))
    water_shifts = _shifts(settings.water_table_sd_m, deepest, float(soil.water_table.max()))
    count = max(rock_shifts.size, water_shifts.size)
    # What does not shift has the same entry all along.
    rock_at, water_at = (s if s.size == count else np.full(count, s[0]) for s in (rock_shifts, water_shifts))
    out = np.zeros((4, 2, found.x.size, count))
    for k, one in enumerate(trenches):
        own = found.pack == k
        for over, extra in enumerate((0.0, trench.over_dig_m)):
            if over and not extra:
                out[:, 1, own] = out[:, 0, own]
                continue
            cuts = cut_sections(
                section,
                one.pack.alignment,
                site,
                side=trench.side,
                formation=trench.formation,
                depth=one.profile.depth + extra,
                rock_shift=rock_at[:, None],
                water_shift=water_at[:, None],
            )
            parts = np.stack([cuts.cut, cuts.rock - cuts.hard, cuts.hard, cuts.wet])
            along = one.pack.alignment.step * at_stations(parts, one.curvature)
            out[:, over, own] = np.swapaxes(sum_over_segments(along, found, k), 1, 2)
    return _Table(out[0, :, :, 0].copy(), out[1], out[2], out[3], rock_shifts, water_shifts)


def _price_of_ground(items: Sequence[Item], bulking: BulkingSettings) -> tuple[Array, float]:
    """What a cubic metre of soft and of hard rock adds to the price, and one of wet ground, at mean rates.

    Rock is dug dearer than soil, does not go back and is carried off: fill comes in for it, soil all going back.
    """
    mean = {i.key: sum(i.rate) / 3 for i in items}

    def adds(rate: str, swell: float) -> float:
        return (
            mean.get(rate, 0.0)
            - mean.get("excavate_soil_per_m3", 0.0)
            + (1 - bulking.soil_shrink) * mean.get("import_fill_per_m3", 0.0)
            + (1 + swell) * mean.get("place_surplus_per_m3", 0.0)
        )

    rock = np.array(
        [
            adds("excavate_soft_rock_per_m3", bulking.soft_rock_swell),
            adds("excavate_rock_per_m3", bulking.rock_swell),
        ]
    )
    return rock, mean.get("extra_over_wet_per_m3", 0.0)


def _draw(
    plot_id: str,
    found: Segments,
    errors: _Errors,
    table: _Table,
    project: Project,
    *,
    prices: tuple[Array, float],
) -> _Drawn:
    from packpale.earthworks import _kernels_uncertainty

    draws, n = project.run.draws, found.x.size
    random = {k: generator(project.run.seed, plot_id, k) for k in (ROCK, WATER, ELEVATION)}
    weight = found.length / found.length.sum()
    totals = np.zeros((draws, int(found.pack.max()) + 1, 4))
    deeper = generator(project.run.seed, "", OVER_DIG).random(draws)
    over = deeper if project.trench.over_dig_m else np.zeros(draws)
    means = {name: np.zeros(draws) for name in (ROCK_NEARER, WATER_NEARER, ELEVATION_ERROR)}
    rock_all, rock_slope, water_slope = _Together(n), _Together(n), _Together(n)
    for start in range(0, draws, CHUNK):
        part = slice(start, min(start + CHUNK, draws))
        size = (part.stop - part.start, n)
        rock, water, scale = (
            random[k].standard_normal(size) @ r.T if r.any() else np.zeros(size)
            for k, r in ((ROCK, errors.rock), (WATER, errors.water), (ELEVATION, errors.scale))
        )
        for name, error in zip(means, (-rock, -water, scale), strict=True):
            means[name][part] = error @ weight
        of_rock, of_wet = np.empty((*size, 2)), np.empty(size)
        _kernels_uncertainty.drawn_volumes(
            rock,
            water,
            np.maximum(1 + scale, 0.0),
            over[part],
            found.pack,
            table.cut,
            table.soft,
            table.hard,
            table.wet,
            *_start_and_step(table.rock_shifts),
            *_start_and_step(table.water_shifts),
            totals[part],
            of_rock,
            of_wet,
        )
        rock_price, wet_price = of_rock @ prices[0], of_wet * prices[1]
        rock_all.add(rock_price, rock_price.sum(axis=1)[:, None])
        rock_slope.add(rock_price, rock)
        water_slope.add(wet_price, water)
    return _Drawn(
        totals,
        {**means, DUG_DEEPER: over},
        rock_all.covariance,
        rock_slope.slope,
        water_slope.slope,
    )


def _start_and_step(shifts: Array) -> tuple[float, float]:
    return float(shifts[0]), float(shifts[1] - shifts[0])


class _Together:
    """Covariance of two quantities of each segment, added up chunk by chunk."""

    def __init__(self, segments_: int) -> None:
        self.count = 0
        self.sums = np.zeros((4, segments_))

    def add(self, one: Array, other: Array) -> None:
        self.count += one.shape[0]
        self.sums += np.stack(
            [
                one.sum(axis=0),
                np.broadcast_to(other.sum(axis=0), one.shape[1:]),
                (one * other).sum(axis=0),
                np.broadcast_to((other * other).sum(axis=0), one.shape[1:]),
            ]
        )

    @property
    def covariance(self) -> Array:
        one, other, product, _ = self.sums / self.count
        return np.asarray(product - one * other)

    @property
    def slope(self) -> Array:
        """Of the first quantity with the second, by least squares; 0 where the second does not vary."""
        _, other, _, square = self.sums / self.count
        variance = square - other**2
        return np.where(variance > 1e-12, self.covariance / np.where(variance > 1e-12, variance, 1.0), 0.0)


def _volumes(totals: Array, bulking: BulkingSettings) -> dict[str, Array]:
    """Volumes of all packs of each draw, shape (draws,); each pack is balanced for itself. [m3]"""
    cut, soft, hard, wet = (totals[:, :, k] for k in range(4))
    # Over rounding where rock lies at the surface.
    rock = np.minimum(soft + hard, cut)
    imported, soil_left = soil_balance(cut, rock, soil_shrink=bulking.soil_shrink)
    surplus = (
        soil_left * (1 + bulking.soil_swell)
        + soft * (1 + bulking.soft_rock_swell)
        + (rock - soft) * (1 + bulking.rock_swell)
    )
    parts = {
        "cut": cut,
        "soil": cut - rock,
        "rock": rock,
        "soft_rock": soft,
        "hard_rock": rock - soft,
        "wet": wet,
        "surplus_loose": surplus,
        "import_compacted": imported,
    }
    return {name: part.sum(axis=1) for name, part in parts.items()}


def _quantities(volumes: Mapping[str, Array]) -> dict[str, Array]:
    """Quantities of the priced list that follow the ground, by key."""
    return {
        "excavate_soil_per_m3": volumes["soil"],
        "excavate_soft_rock_per_m3": volumes["soft_rock"],
        "excavate_rock_per_m3": volumes["hard_rock"],
        "extra_over_wet_per_m3": volumes["wet"],
        "backfill_and_compact_per_m3": volumes["cut"],
        "import_fill_per_m3": volumes["import_compacted"],
        "place_surplus_per_m3": volumes["surplus_loose"],
    }
