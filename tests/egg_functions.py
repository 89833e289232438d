"""What the proof of the bound is about, from the egg's own closed forms at a big radius of 1.

Minus twice the logs of its support function and of its radius by direction; p = 1 - taper, q = 2 (aspect - 1), angles
from the axis.
"""

import math

from packpale.enclosure.egg import Egg


def w_line(phi, p, q):
    egg = Egg.from_shape(1 - p, 1 + q / 2, axis_bearing_deg=90.0, big_radius=1.0)
    return -2 * math.log(egg.support(math.cos(phi), math.sin(phi)))


def w_point(phi, p, q):
    """Minus twice the log of the distance from O to the line in direction phi, arc by arc.

    On the big end 1. A ray meets the circle of radius F about (0, -(F - 1)) at -(F - 1) sin + sqrt(F^2 - (F - 1)^2
    cos^2), and the one of radius k about (d, 0) at d cos + sqrt(k^2 - d^2 sin^2).
    """
    egg = Egg.from_shape(1 - p, 1 + q / 2, axis_bearing_deg=90.0, big_radius=1.0)
    phi = abs(math.remainder(phi, 2 * math.pi))
    cos, sin = math.cos(phi), math.sin(phi)
    if cos <= 0:
        return 0.0
    k, d, F = egg.small_radius, egg.centre_spacing, egg.flank_radius
    G = F - 1
    if phi >= joins(p, q)[1]:
        return -2 * math.log(-G * sin + math.sqrt(F * F - G * G * cos * cos))
    return -2 * math.log(d * cos + math.sqrt(k * k - d * d * sin * sin))


def joins(p, q):
    """Angle from the axis at which flank and small end join: of the normal, and of the ray from O."""
    egg = Egg.from_shape(1 - p, 1 + q / 2, big_radius=1.0)
    normal = math.pi / 2 - egg.flank_turn
    return normal, math.atan2(
        egg.small_radius * math.sin(normal), egg.centre_spacing + egg.small_radius * math.cos(normal)
    )
