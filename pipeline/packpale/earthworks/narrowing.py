"""Where the spread of the price comes from on the ground, and what would narrow it most."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from packpale.earthworks.ground_error import Segments, distances
from packpale.earthworks.model import Flank, Item, PitPlace
from packpale.enclosure.model import Pack
from packpale.site import Array

SIDES = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
PITS = 2
"""Pits whose effect is weighed against a firm rate."""
WORTH_SAYING = 0.01
"""Part of the width from P10 to P90 below which nothing is said to narrow it."""


MUCH_MORE = 1.5
"""How many times more pits all along the line must do than the few, to be worth saying."""


@dataclass(frozen=True)
class Ground:
    """An error of the ground and how the price follows it; arrays of shape (segments,) or its square."""

    left: Array
    """Covariance that a pit would take away, as ``covariance_left`` has it. [m2]"""
    slope: Array
    """Change of the price with the error, by linear regression over the draws. [currency per m]"""


def side_of(found: Segments, packs: Sequence[Pack]) -> tuple[Array, Array]:
    """Index into SIDES of each segment, and its angle from the middle of that side; seen from its pack's middle."""
    angle = np.empty(found.x.size)
    for k, pack in enumerate(packs):
        own = found.pack == k
        east, north = found.x[own] - pack.alignment.x.mean(), found.y[own] - pack.alignment.y.mean()
        angle[own] = np.degrees(np.arctan2(east, north)) % 360
    side = np.round(angle / 45).astype(int) % len(SIDES)
    return side, np.abs((angle - 45 * side + 180) % 360 - 180)


def flanks(found: Segments, packs: Sequence[Pack], shares: Array, pits: Array) -> tuple[Flank, ...]:
    """Flanks by their part in the variance of the price; ``shares`` is that of each segment."""
    side, off = side_of(found, packs)
    away = distances(np.column_stack([found.x, found.y]), pits).min(axis=1) if len(pits) else np.full(side.size, np.inf)
    out = []
    for k, pack in enumerate(packs):
        for name, index in zip(SIDES, range(len(SIDES)), strict=True):
            own = np.flatnonzero((found.pack == k) & (side == index))
            if own.size:
                share = float(np.clip(shares[own].sum(), 0.0, 1.0))
                middle, most = own[np.argmin(off[own])], own[np.argmax(shares[own])]
                out.append(Flank(name, share, float(away[middle]), float(found.chainage[most]), pack.number))
    return tuple(sorted(out, key=lambda f: (-f.share, f.pack, SIDES.index(f.name))))


def best_pits(grounds: Sequence[Ground], count: int = PITS) -> tuple[tuple[int, ...], float]:
    """The segments where pits take most off the variance of the price, one after the other, and how much. [currency2]

    A pit tells of all ``grounds``. What it takes off is (K g)_j^2 / K_jj, by the kriging that ``covariance_left`` has.
    """
    left = [g.left.copy() for g in grounds]
    chosen: list[int] = []
    taken = 0.0
    for _ in range(count):
        gain = np.zeros(left[0].shape[0])
        for ground, k in zip(grounds, left, strict=True):
            own = np.diag(k)
            # Beside a pit nothing is left to tell but rounding.
            known = own > 1e-6 * max(float(np.diag(ground.left).max(initial=0.0)), 1e-12)
            gain += np.where(known, (k @ ground.slope) ** 2 / np.where(known, own, 1.0), 0.0)
        best = int(np.argmax(gain))
        if not gain[best] > 0:
            break
        chosen.append(best)
        taken += float(gain[best])
        left = [k - np.outer(k[:, best], k[best]) / max(k[best, best], 1e-12) for k in left]
    return tuple(chosen), taken


def all_pits(grounds: Sequence[Ground]) -> float:
    """What pits all along the lines would take off the variance of the price. [currency2]"""
    return float(sum(g.slope @ g.left @ g.slope for g in grounds))


def narrowed(taken: float) -> float:
    """Part of the width from P10 to P90 that goes where a part ``taken`` of the variance goes (a normal price)."""
    return 1 - math.sqrt(max(0.0, 1 - taken))


def pit_places(places: Sequence[int], found: Segments, packs: Sequence[Pack]) -> tuple[PitPlace, ...]:
    """The segments chosen for pits as places on the ground."""
    side, _ = side_of(found, packs)
    return tuple(
        PitPlace(
            packs[found.pack[j]].number,
            SIDES[side[j]],
            float(found.chainage[j]),
            float(found.x[j]),
            float(found.y[j]),
        )
        for j in places
    )


def narrowing(
    items: Sequence[Item],
    rate_shares: Mapping[str, float],
    pits: Sequence[PitPlace],
    pit_share: float,
    *,
    all_round: float,
    packs: int,
) -> str:
    """What would narrow the spread most, one sentence.

    ``rate_shares`` holds the part of the price's variance that each rate causes, by key; ``pit_share`` the part that
    ``pits`` would take off it, ``all_round`` the part that pits all along the lines would; ``packs`` is how many
    there are.
    """
    offers = []
    if rate_shares:
        key, share = max(rate_shares.items(), key=lambda pair: pair[1])
        text = next(i.text for i in items if i.key == key)
        offers.append((narrowed(share), f'a firm rate for "{text}"'))
    if pits:
        offers.append((narrowed(pit_share), _pits_in_words(pits, several_packs=packs > 1)))
    offers = sorted((o for o in offers if o[0] >= WORTH_SAYING), key=lambda o: -o[0])
    if not offers:
        return "No single rate and no pit would narrow the price by as much as 1 %."
    (most, what), *others = offers
    more = "".join(f", and {text} by about {100 * part:.0f} %" for part, text in others)
    at_best = narrowed(all_round)
    # Where a few pits do most of what pits can do, there is nothing to add.
    rest = f"; pits all along the line by {100 * at_best:.0f} %" if at_best > MUCH_MORE * narrowed(pit_share) else ""
    if at_best < WORTH_SAYING:
        rest = ""
    return (
        f"{what[0].upper()}{what[1:]} would narrow the range of the price most, by about {100 * most:.0f} %{more}"
        f"{rest}."
    )


def _pits_in_words(pits: Sequence[PitPlace], *, several_packs: bool) -> str:
    flanks_ = [f"the {p.flank} flank" + (f" of pack {p.pack}" if several_packs else "") for p in pits]
    if len(pits) == 1:
        return f"a trial pit on {flanks_[0]}"
    if len(set(flanks_)) == 1:
        return f"two trial pits on {flanks_[0]}"
    return f"two trial pits, one on {flanks_[0]} and one on {flanks_[1]},"
