"""How loud a howl arrives, and how far people hear the pack."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from packpale.care import _kernels_howl
from packpale.care.atmosphere import air_absorption, mid_band
from packpale.care.propagation import divergence, ground_effect, leaves, screen
from packpale.enclosure.model import Pack
from packpale.settings import HowlSettings
from packpale.site import Array, Mask, Site
from packpale.values.howl_reach import howl_reach
from packpale.values.notes import Note

BEARINGS = 72
"""Directions in which the reach is sought."""
PLACES = 24
"""Points along a fence line that a howl may come from, beside the middle of the enclosure."""
LADDER = np.geomspace(10.0, 40_000.0, 420)
"""Distances at which the reach is sought; it lies between two of them, 2 % apart. [m]"""
OPEN_M, FOREST_M = ((howl_reach()[k].low + howl_reach()[k].high) / 2 for k in ("open ground", "dense forest"))
"""How far howls are heard over open ground and in dense forest, the middle of what is told. [m]"""
STILL_NIGHT = {"temperature_c": -10.0, "background_db": 10.0}
"""Air and quiet in which the method comes to such distances; 10 dB is about the threshold of hearing at 250 Hz."""
OPEN_GROUND, FOREST_GROUND = 0.0, 0.3
"""Ground factors that go with it: ice or crusted snow, and a forest's ground that is frozen in part."""


@dataclass(frozen=True)
class Heard:
    """A howl of one pack as it arrives at one place, from wherever in the enclosure it arrives loudest."""

    pack: int
    kind: str
    """"dwelling" or "pack"."""
    number: int
    """Of the dwelling, in the order of the input, or of the other pack; from 1."""
    x: float
    y: float
    source_x: float
    source_y: float
    """Where the howl comes from."""
    distance: float
    """Between the two. [m]"""
    level: float
    """All bands together, from the likely source level. [dB]"""
    excess: float
    """By how much the clearest band stands out of the background; negative where the howl is not heard. [dB]"""
    screened: float
    """What ground in between takes in that band, beyond what the ground takes anyway. [dB]"""
    leaves: float
    """What leaves take in that band. [dB]"""
    surveyed: bool
    """Whether the elevation model reaches all the way; the rest is taken as flat."""


@dataclass(frozen=True)
class Reach:
    """How far one pack is heard from the middle of its enclosure; arrays of shape (3, bearings)."""

    pack: int
    x: float
    y: float
    bearing_deg: Array
    """Clockwise from grid north, shape (bearings,). [deg]"""
    radius: Array
    """Farthest distance at which people hear the howl, for the low, likely and high source level. [m]"""
    surveyed: Mask
    """Whether the elevation model reaches that far."""


@dataclass(frozen=True)
class Howl:
    """Howls of all packs of one plot."""

    heard: tuple[Heard, ...]
    reach: tuple[Reach, ...]
    flat_reach: tuple[float, float, float]
    """Radius on open flat ground for the low, likely and high source level. [m]"""
    open_needs: float
    """Source level at which open flat ground carries a howl over OPEN_M. [dB]"""
    forest_needs: float
    """Source level at which it is heard over FOREST_M of flat ground through more leaves than count. [dB]"""
    still_night: tuple[float, float]
    """How far the high source level is heard under STILL_NIGHT over OPEN_GROUND, and over FOREST_GROUND through more
    leaves than count. [m]"""
    notes: tuple[Note, ...] = ()


def howl(site: Site, packs: Sequence[Pack], settings: HowlSettings) -> Howl:
    """Howls of every pack at every dwelling, at the other packs, and all round."""
    wood = [g for g in site.features.get("woodland", ()) if g.area > 0]
    ways = _Ways(site, shapely.union_all(wood) if wood else None, settings)
    heard = []
    for pack in packs:
        sources = _sources(pack)
        for number, home in enumerate(site.features.get("dwellings", ()), 1):
            heard.append(ways.loudest(sources, home.centroid, pack.number, "dwelling", number))
        heard += [
            ways.loudest(sources, _middle(other), pack.number, "pack", other.number)
            for other in packs
            if other.number != pack.number
        ]
    flat = [reach_on_flat_ground(settings, level) for level in settings.source_level_db]
    return Howl(
        tuple(heard),
        tuple(ways.reach(pack) for pack in packs),
        (flat[0], flat[1], flat[2]),
        source_level_needed(settings, OPEN_M),
        source_level_needed(settings, FOREST_M, leaves_m=FOREST_M),
        _on_a_still_night(settings),
        _notes(ways, heard),
    )


def _on_a_still_night(settings: HowlSettings) -> tuple[float, float]:
    """How far the high source level carries over open ground and through forest. [m]"""
    loudest = settings.source_level_db[2]
    over_open, in_forest = (
        settings.model_copy(update={**STILL_NIGHT, "ground_factor": ground}) for ground in (OPEN_GROUND, FOREST_GROUND)
    )
    return (
        reach_on_flat_ground(over_open, loudest),
        reach_on_flat_ground(in_forest, loudest, leaves_m=FOREST_M),
    )


def _notes(ways: "_Ways", heard: Sequence[Heard]) -> tuple[Note, ...]:
    said = []
    if not all(h.surveyed for h in heard):
        said.append(
            Note(
                "howl beyond the ground",
                "some dwellings at which howls are heard lie beyond the elevation model",
                "Ground out there is taken as flat and open, which is louder than behind a hill.",
            )
        )
    if ways.gaps:
        said.append(
            Note(
                "howl beyond the ground",
                "ground without elevation on the way of howls is taken as straight between its edges",
            )
        )
    return tuple(said)


def clear_excess(settings: HowlSettings, distance: Array, level: float, leaves_m: float = 0.0) -> Array:
    """How far the clearest band stands out of the background over flat ground, for a source level at 1 m. [dB]"""
    bands = [
        level
        - 10.0 * np.log10(len(settings.bands_hz))
        - divergence(distance)
        - _absorption(settings, band) * distance
        - _ground(settings, band, distance)
        - leaves(band, leaves_m)
        for band in settings.bands_hz
    ]
    return np.asarray(np.max(bands, axis=0) - settings.background_db)


def source_level_needed(settings: HowlSettings, distance: float, leaves_m: float = 0.0) -> float:
    """Source level at 1 m from which a howl is just heard over flat ground. [dB]"""
    return float(-clear_excess(settings, np.array([distance]), 0.0, leaves_m)[0])


def reach_on_flat_ground(settings: HowlSettings, level: float, leaves_m: float = 0.0) -> float:
    """Farthest distance at which a howl is heard over flat ground, with leaves on ``leaves_m`` of the way. [m]"""
    return _farthest(clear_excess(settings, LADDER, level, leaves_m))


def _absorption(settings: HowlSettings, band: float) -> float:
    return air_absorption(
        mid_band(band),
        temperature_c=settings.temperature_c,
        humidity_percent=settings.humidity_percent,
        pressure_kpa=settings.pressure_kpa,
    )


def _ground(settings: HowlSettings, band: float, distance: Array) -> Array:
    return ground_effect(
        band,
        distance,
        source_height=settings.source_height_m,
        receiver_height=settings.receiver_height_m,
        ground=settings.ground_factor,
    )


def _farthest(excess: Array) -> float:
    """Farthest distance on the ladder at which ``excess`` is not negative, between its steps; 0 if nowhere. [m]"""
    audible = np.flatnonzero(excess >= 0)
    if not audible.size:
        return 0.0
    k = int(audible[-1])
    if k == LADDER.size - 1:
        return float(LADDER[-1])
    share = excess[k] / (excess[k] - excess[k + 1])
    return float(LADDER[k] + share * (LADDER[k + 1] - LADDER[k]))


def _middle(pack: Pack) -> Point:
    return pack.line.polygon(0.1).centroid


def _sources(pack: Pack) -> list[Point]:
    line = pack.alignment
    every = np.unique(np.linspace(0, line.x.size - 1, PLACES).round().astype(int))
    return [_middle(pack), *(Point(line.x[i], line.y[i]) for i in every)]


@dataclass(frozen=True)
class _Losses:
    """Per band and receiver, shape (bands, receivers): what ground with ridges, and leaves, take. [dB]"""

    arriving: Array
    """Level of a source of 0 dB at 1 m in each band. [dB]"""
    screened: Array
    leaves: Array


class _Ways:
    """Ways of a sound over one plot's ground."""

    def __init__(self, site: Site, wood: BaseGeometry | None, settings: HowlSettings) -> None:
        self.site = site
        self.wood = wood
        self.settings = settings
        self.gaps = False
        if wood is not None:
            shapely.prepare(wood)

    def losses(self, x: float, y: float, unit: tuple[float, float], receivers: Array) -> _Losses:
        """From (x, y) in the direction ``unit`` to receivers at ascending distances. [m]"""
        s = self.settings
        start, steps, ground = self._profile(x, y, unit, float(receivers[-1]))
        at = np.interp(receivers, steps, ground) if steps.size else np.full(receivers.shape, start)
        count = np.searchsorted(steps, receivers - 1e-9).astype(np.int64)
        over, before, behind = np.empty((3, receivers.size))
        tight = np.empty((3, steps.size + 1))
        source, height = start + s.source_height_m, at + s.receiver_height_m
        _kernels_howl.tight_ways(steps, ground, source, count, receivers, height, over, before, behind, *tight)
        straight = np.hypot(receivers, height - source)
        # Shorter than a thousandth of a millimetre is the rounding of two square roots, and no ridge.
        over = np.where(over - straight < 1e-6, straight, over)
        way = self._in_leaves(x, y, unit, receivers)
        arriving, screened, leafy = [], [], []
        for band in s.bands_hz:
            floor = _ground(s, band, receivers)
            wall = screen(band, over=over, straight=straight, before=before, behind=behind)
            # Equation (12): over an edge the screen takes the place of the ground effect where it is more.
            wall = np.where(wall > 0, np.maximum(wall - floor, 0.0), 0.0)
            trees = leaves(band, way)
            arriving.append(
                -10.0 * np.log10(len(s.bands_hz))
                - divergence(straight)
                - _absorption(s, band) * straight
                - floor
                - wall
                - trees
            )
            screened.append(wall)
            leafy.append(trees)
        return _Losses(np.array(arriving), np.array(screened), np.array(leafy))

    def _profile(self, x: float, y: float, unit: tuple[float, float], far: float) -> tuple[float, Array, Array]:
        """Ground at the source and every half cell from there as far as the elevation reaches, gaps bridged.

        Half a cell of the window as far as it can be crossed, then half a cell of the ground round it.
        """
        steps, reached = np.zeros(0), 0.0
        for grid in (self.site.grid, *((self.site.around.grid,) if self.site.around else ())):
            west, south, east, north = grid.bounds
            until, step = min(far, float(np.hypot(east - west, north - south))), grid.cell / 2
            more = reached + step * np.arange(1, int((until - reached) / step) + 1, dtype=np.float64)
            steps, reached = np.concatenate([steps, more]), max(reached, float(more[-1]) if more.size else 0.0)
        along = np.concatenate([[0.0], steps])
        ground = self.site.ground(x + unit[0] * along, y + unit[1] * along)
        known = np.flatnonzero(~np.isnan(ground))
        if not known.size:
            return 0.0, along[:0], ground[:0]
        whole = np.interp(along, along[known], ground[known])
        last = int(known[-1])
        self.gaps |= known.size <= last
        return float(whole[0]), steps[:last], whole[1 : last + 1]

    def _in_leaves(self, x: float, y: float, unit: tuple[float, float], receivers: Array) -> Array:
        """Length of the way that lies in woods. [m]"""
        if self.wood is None:
            return np.zeros(receivers.shape)
        way = shapely.LineString([(x, y), (x + unit[0] * receivers[-1], y + unit[1] * receivers[-1])])
        length = np.zeros(receivers.shape)
        for part in shapely.get_parts(shapely.intersection(way, self.wood)):
            if part.length:
                ends = np.hypot(*(np.asarray(part.coords)[[0, -1]] - (x, y)).T)
                length += np.clip(receivers, ends.min(), ends.max()) - ends.min()
        return length

    def surveyed(self, x: npt.ArrayLike, y: npt.ArrayLike) -> Mask:
        """Whether the elevation model tells the ground at places."""
        return np.asarray(~np.isnan(self.site.ground(x, y)))

    def loudest(self, sources: Sequence[Point], to: Point, pack: int, kind: str, number: int) -> Heard:
        """The howl that arrives loudest at a place."""
        best: Heard | None = None
        surveyed = bool(self.surveyed(to.x, to.y))
        for source in sources:
            distance = max(source.distance(to), 1.0)
            unit = ((to.x - source.x) / distance, (to.y - source.y) / distance)
            losses = self.losses(source.x, source.y, unit, np.array([distance]))
            levels = self.settings.source_level_db[1] + losses.arriving[:, 0]
            clearest = int(np.argmax(levels))
            found = Heard(
                pack,
                kind,
                number,
                to.x,
                to.y,
                source.x,
                source.y,
                distance,
                level=float(10.0 * np.log10(np.sum(10.0 ** (levels / 10.0)))),
                excess=float(levels[clearest] - self.settings.background_db),
                screened=float(losses.screened[clearest, 0]),
                leaves=float(losses.leaves[clearest, 0]),
                surveyed=surveyed,
            )
            if best is None or found.level > best.level:
                best = found
        if best is None:
            raise ValueError("a howl needs at least one place to come from")
        return best

    def reach(self, pack: Pack) -> Reach:
        """How far the pack is heard all round."""
        middle = _middle(pack)
        bearings = np.arange(BEARINGS) * 360.0 / BEARINGS
        radius = np.empty((3, BEARINGS))
        east, north = np.sin(np.radians(bearings)), np.cos(np.radians(bearings))
        for k in range(BEARINGS):
            arriving = self.losses(middle.x, middle.y, (float(east[k]), float(north[k])), LADDER).arriving.max(axis=0)
            for row, level in enumerate(self.settings.source_level_db):
                radius[row, k] = _farthest(level + arriving - self.settings.background_db)
        surveyed = self.surveyed(middle.x + east * radius, middle.y + north * radius)
        return Reach(pack.number, middle.x, middle.y, bearings, radius, surveyed)
