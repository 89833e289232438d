"""Rolls of mesh to buy: strips are cut from rolls along their length, and what is left over beside them is used.

A width that is covered takes strips side by side, each a lap over the next: as many as possible as wide as the roll,
and one for the rest. A strip takes pieces as long as a roll, end to end, each a lap over the next. Out of one roll,
side by side, come as many pieces as it is wide, of two widths where two parts are of the same mesh. What is left at the
end of a strip is spare; no strip is sewn together from narrower ones.
"""

import functools
import math

import numpy as np

from packpale.settings import MeshSettings

TINY = 1e-9
"""Of a piece or a roll: rounding."""
MANY = 240
"""Pieces of a strip that is long; many ways to cut a roll come out even."""


def strips(width: float, mesh: MeshSettings, *, joint: bool) -> tuple[int, float]:
    """Strips as wide as a roll, and the width of the one beside them [m], that cover ``width`` [m].

    ``joint`` adds one lap along a long edge, where another part is fixed. No strips, and 0, where there is no width.
    """
    if not width > 0:
        return 0, 0.0
    across = width + (mesh.lap_m if joint else 0.0)
    whole = max(math.ceil((across - mesh.lap_m) / (mesh.roll_width_m - mesh.lap_m) - TINY), 1) - 1
    return whole, across - whole * (mesh.roll_width_m - mesh.lap_m)


def across(width: float, mesh: MeshSettings, *, joint: bool) -> float:
    """Mesh to each metre that covers ``width``, with the laps of strips side by side and of the joint. [m]"""
    whole, rest = strips(width, mesh, joint=joint)
    return whole * mesh.roll_width_m + rest


def pieces(length: float, mesh: MeshSettings) -> int:
    """Pieces end to end along a closed strip, each with one lap. ``length`` in metres."""
    return max(math.ceil(length / (mesh.roll_length_m - mesh.lap_m) - TINY), 0)


def rolls(first: tuple[float, float, bool], second: tuple[float, float, bool], mesh: MeshSettings) -> int:
    """Fewest rolls for two parts of one mesh, each a length [m], a width [m] and whether it has a joint."""
    bought, rests = 0, []
    for length, width, joint in (first, second):
        whole, rest = strips(width, mesh, joint=joint)
        n = pieces(length, mesh) if rest else 0
        bought += whole * n
        rests.append((rest, n))
    return bought + _fewest(mesh.roll_width_m, *rests)


@functools.lru_cache(maxsize=64)
def mean_rolls(
    first: tuple[float, bool], second: tuple[float, bool], mesh: MeshSettings, *, longer: float = 0.0
) -> tuple[float, float]:
    """Rolls for each metre of two parts [1/m], and those beyond, in the mean of many lengths.

    Each part is a width [m] and whether it has a joint; the second is ``longer`` than the first by so much [m]. Beyond
    what a metre takes stand that length, and pieces and rolls that are begun.
    """

    def bought(n: float, more: float) -> int:
        return rolls((n * each, *first), (n * each + more, *second), mesh)

    each = mesh.roll_length_m - mesh.lap_m
    per_piece = bought(MANY, 0.0) / MANY
    lengths = MANY / 8 + np.arange(0.5, 96) / 8
    return per_piece / each, float(np.mean([bought(n, longer) - n * per_piece for n in lengths]))


def _beside(roll: float, first: float, second: float) -> list[tuple[int, int]]:
    """Ways to cut a roll: pieces of the first width, and as many of the second as fit beside them."""
    most = math.floor(roll / first + TINY) if first else 0
    return [(i, math.floor((roll - i * first) / second + TINY) if second else 0) for i in range(most + 1)]


@functools.lru_cache(maxsize=256)
def _fewest(roll: float, first: tuple[float, int], second: tuple[float, int]) -> int:
    """Fewest rolls out of which so many pieces of one width and so many of another are cut."""
    (width, wanted), (other, others) = first, second
    ways = _beside(roll, width, other)
    # By pieces of the first width that are cut, those beyond the wanted left out: most pieces of the other.
    most = np.full(wanted + 1, -np.inf)
    most[0], bought = 0.0, 0
    while most[wanted] < others:
        after = np.full(wanted + 1, -np.inf)
        for i, j in ways:
            if i <= wanted:
                after[i:] = np.maximum(after[i:], most[: wanted + 1 - i] + j)
            after[wanted] = max(after[wanted], most[max(wanted - i, 0) :].max() + j)
        most, bought = after, bought + 1
    return bought
