"""A proven upper bound on the area of any egg that fits.

Every egg of a given range of taper k and aspect a, with its free strip of width s outside it, inside the land:

1. Support function. With R = 1 the egg's support function h(n) is 1 on the big end, F - (F - 1) cos t on a flank (t
   from the cross axis, 0 <= t <= phi) and k + d cos t on the small end (t from the axis). On a flank h >= 1 because
   F > 1; h then rises with the direction towards the axis, and so it does on the small end. So h >= 1 everywhere: the
   egg holds the disc of radius R about O.
2. Depth. The disc of radius R + s about O lies in one part of the land, so R + s <= D, the depth of the deepest point
   of the land. D is bounded by a quartering search: depth changes by no more than the distance moved, so in a square
   of half diagonal q it is at most the depth of its centre plus q.
3. Shape. At R = 1 the area A(k, a) rises with a and with k. By the first variation, dA is the integral of dh over the
   line's length. With a alone: dF/da = 2 d / (1 - k) > 0 lifts the flanks, dh = dF (1 - cos t) >= 0; on the small end
   dh = 2 cos t da >= 0. With k alone: dF/dk = (F - k - d) / (1 - k) >= 0, as F - k = hypot(d, F - 1) >= d; on the
   small end dd = -dk and the integral of (1 - cos t) k dk is >= 0. So A <= A(k_max, a_max).
   Hence A <= (D - s)^2 A(k_max, a_max).                                                                        (1)
4. Isoperimetry. The parallel curve at distance s encloses A + P s + pi s^2 (Steiner; exact here, as the parallel
   curve is an egg of the same centres), and this lies in one part, of area B. With P^2 >= 4 pi A:
   (sqrt A + s sqrt pi)^2 <= B, hence A <= (sqrt B - s sqrt pi)^2, 0 if the bracket is negative.                  (2)
5. Length. The egg's length 2 a R plus 2 s is at most the diameter of the part, itself at most the diameter 2 G of
   the smallest circle round it, so a R <= G - s. With R <= D - s, the largest A(k_max, a) R^2 is bounded on each of a
   number of intervals [a_i, a_i+1] of the aspect by A(k_max, a_i+1) min(D - s, (G - s) / a_i)^2.                (3)

6. Several eggs. n of them, w apart and each grown by c = w / 2, have no point inside in common. Each grown by s lies in
   the land, so grown by c in the land grown by e = max(c - s, 0), of area B'. So n (sqrt A + c sqrt pi)^2 <= B' for the
   smallest, as in 4. With L the length of all rings and m the number of parts, B' <= B + L e + pi e^2 m: outside an
   outer ring the strip has at most the area L e + pi e^2, in a hole at most L e. And B' is at most that of the grown
   convex hull, H + L_H e + pi e^2 (Steiner).                                                                   (4)

The bound is the least of (1), (2), (3), the latter two for the part that allows most. It is raised by one part in 10^9
for rounding.
"""

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import Polygon

from packpale.enclosure.egg import Egg


def area_bound(
    parts: Sequence[Polygon],
    depth: float,
    *,
    clearance: float,
    taper: tuple[float, float],
    aspect: tuple[float, float],
) -> float:
    """Upper bound on the area of any egg in the land with its strip of ``clearance`` [m] round it. [m2]

    ``parts``: the land's parts. ``depth``: an upper bound on the distance from any point of the land to its boundary
    [m], as fit.deepest gives it.
    """
    largest_disc = max(depth - clearance, 0.0)
    aspects = np.linspace(*aspect, 65)
    areas = [Egg.from_shape(taper[1], a, big_radius=1.0).area for a in aspects]
    best = 0.0
    for part in sorted(parts, key=lambda p: -p.area):
        by_area = max(math.sqrt(part.area) - clearance * math.sqrt(math.pi), 0.0) ** 2
        if by_area <= best:
            break
        reach = max(float(shapely.minimum_bounding_radius(part)) - clearance, 0.0)
        by_length = max(
            areas[min(i + 1, len(areas) - 1)] * min(largest_disc, reach / a) ** 2 for i, a in enumerate(aspects)
        )
        best = max(best, min(by_area, by_length))
    return float(best * (1 + 1e-9))


def smallest_bound(parts: Sequence[Polygon], n: int, separation: float, *, clearance: float) -> float:
    """Upper bound (4) on the area of the smallest of ``n`` eggs that keep ``separation`` [m] from each other. [m2]

    It says something new only where the eggs need most of the land; that of a single egg (area_bound) holds as well.
    """
    half = separation / 2
    beyond = max(half - clearance, 0.0)
    area, length = math.fsum(p.area for p in parts), math.fsum(p.length for p in parts)
    hull = shapely.convex_hull(shapely.union_all(parts))
    room = min(
        area + length * beyond + math.pi * beyond**2 * len(parts),
        hull.area + hull.length * beyond + math.pi * beyond**2,
    )
    return float(max(math.sqrt(room / n) - half * math.sqrt(math.pi), 0.0) ** 2 * (1 + 1e-9))
