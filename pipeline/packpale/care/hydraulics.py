"""Water that comes down to a fence in a storm, and the opening that lets it through: textbook formulas in SI."""

import itertools
import math

LARGEST_RATIONAL_M2 = 800_000.0
"""The rational method is for catchments up to about this (HEC-22: 80 ha; from memory). [m2]"""


def time_of_concentration_min(length: float, slope: float) -> float:
    """Time that water takes from the far end of a catchment to its outlet, after Kirpich. [min]

    ``length`` of the longest flow path [m], ``slope`` its fall over its length [m/m], positive. 0 without length.

    References
    ----------
    .. [1] Z. P. Kirpich, "Time of concentration of small agricultural watersheds", Civil Engineering 10 (6), 1940,
       p. 362: 0.0078 L^0.77 S^-0.385 with L in feet, which is 0.0195 L^0.77 S^-0.385 with L in metres.
    """
    if not (length >= 0 and slope > 0):
        raise ValueError(f"no such flow path: {length=} m, {slope=}")
    return float(0.0195 * length**0.77 * slope**-0.385)


def rational_flow(*, coefficient: float, intensity_mm_per_h: float, area: float) -> float:
    """Peak flow by the rational method, C i A. [m3/s]

    ``coefficient`` is the part of the rain that runs off, a factor for rare storms included; more than all of it
    cannot, so that it counts as 1 at most. ``area`` in m2.

    References
    ----------
    .. [1] FHWA, Hydraulic Engineering Circular 22, Urban Drainage Design Manual, chapter 3.
    """
    return min(coefficient, 1.0) * intensity_mm_per_h * area / 3.6e6


def intensity_at(rain: float | tuple[tuple[float, float], ...], minutes: float) -> float:
    """Rainfall intensity of a storm of a duration, from one number or from [duration in min, mm/h] in rising order.

    Between two durations straight in the logarithms of both, as such tables are drawn; before the first and after the
    last theirs. [mm/h]
    """
    if not isinstance(rain, tuple):
        return rain
    if minutes <= rain[0][0]:
        return rain[0][1]
    for (t0, i0), (t1, i1) in itertools.pairwise(rain):
        if minutes <= t1:
            return float(i0 * (i1 / i0) ** (math.log(minutes / t0) / math.log(t1 / t0)))
    return rain[-1][1]


def manning_flow(*, area: float, wetted_perimeter: float, slope: float, roughness: float) -> float:
    """Uniform flow through a section, after Manning: A R^(2/3) S^(1/2) / n, R = A / P. [m3/s]

    ``area`` [m2], ``wetted_perimeter`` [m], ``slope`` of the bed [m/m], ``roughness`` n [s/m^(1/3)].
    """
    return float(area * (area / wetted_perimeter) ** (2 / 3) * math.sqrt(slope) / roughness)


def open_share(*, bar_gap: float, bar_thickness: float, blocked_share: float) -> float:
    """Part of an opening behind a bar screen that lets water through: what bars leave, less what debris takes of it."""
    return bar_gap / (bar_gap + bar_thickness) * (1 - blocked_share)


def opening_width(flow: float, *, height: float, slope: float, roughness: float, share: float) -> float:
    """Width of a rectangular opening, full to its ``height``, that carries a flow [m].

    ``share`` of it is open. The bars' own friction is left out. Flow in m3/s, height in m, slope above 0.

    Raises ValueError if a value is not positive.
    """
    if not (flow > 0 and height > 0 and slope > 0 and roughness > 0 and share > 0):
        raise ValueError(f"no such opening: {flow=}, {height=}, {slope=}, {roughness=}, {share=}")

    def carries(width: float) -> float:
        return share * manning_flow(
            area=width * height, wetted_perimeter=width + 2 * height, slope=slope, roughness=roughness
        )

    low, high = 0.0, height
    while carries(high) < flow:
        low, high = high, 2 * high
    while high - low > 1e-6 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if carries(middle) < flow else (low, middle)
    return high
