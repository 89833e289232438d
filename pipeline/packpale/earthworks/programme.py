"""A programme of work, day by day: what one machine and its crew do, how much, and what stands open overnight.

A planning aid. Hours of the machine are those of ``plant``; hours of people follow from outputs that somebody has set.
Work on one pack's fence follows that on another's, and each kind of work begins on a day of its own.
"""

import itertools
import math
from collections.abc import Iterator, Sequence

import numpy as np

from packpale.earthworks.fence_take_off import FenceTakeOff
from packpale.earthworks.model import Plant, Profile, Programme, Volumes, Work, WorkDay
from packpale.enclosure.model import Pack
from packpale.settings import PlantSettings, ProgrammeSettings
from packpale.site import Array
from packpale.values.notes import Note
from packpale.values.quantity import Quantity

ROCK_TASKS = ("dig soft rock", "break hard rock", "dig broken rock")
FILL, PLACE = ("fill the trench",), ("place soil left over", "place rock left over")
ROUNDING = 1e-9
"""Part of a day by which work may run over without another day."""


def days_of(hours: float, hours_per_day: float) -> int:
    """Whole days that so many hours take; 0 for none."""
    return math.ceil(hours / hours_per_day - ROUNDING)


def cut_into_days(costs: Array, hours_per_day: float) -> Array:
    """Where along a closed line each day's work ends, shape (days + 1,), from 0 to the number of stations.

    ``costs`` holds the hours for the stretch that each station stands for, which is centred on it, while the work
    begins at station 0: half of that stretch comes first, the other half last. Within a stretch the hours are even.
    Every day but the last is full. Without any hours there is one day.
    """
    at, hours = _cumulative(costs)
    total = float(hours[-1])
    ends = hours_per_day * np.arange(1, max(days_of(total, hours_per_day), 1))
    inner = np.interp(ends, hours, at) if total > 0 else ends
    return np.concatenate([[0.0], inner, [float(costs.size)]])


def share_between(values: Array, ends: Array) -> Array:
    """What lies between each two of ``ends`` of something that each station has so much of, as in ``cut_into_days``."""
    at, grown = _cumulative(values)
    return np.diff(np.interp(ends, at, grown))


def _cumulative(values: Array) -> tuple[Array, Array]:
    """Places along a closed line, in stations, and what lies before each."""
    parts = np.concatenate([[values[0] / 2], values[1:], [values[0] / 2]])
    at = np.concatenate([[0.0], np.arange(values.size) + 0.5, [float(values.size)]])
    return at, np.concatenate([[0.0], np.cumsum(parts)])


def programme(
    packs: Sequence[Pack],
    volumes: Sequence[Volumes],
    profiles: Sequence[Profile],
    fences: Sequence[FenceTakeOff],
    worked: Plant,
    *,
    plant: PlantSettings,
    settings: ProgrammeSettings,
) -> Programme:
    """All days of one plot's work, numbered from 1, pack by pack.

    The machine's hours are shared over the stations in proportion to the section cut there, those for rock to what of
    it lies below the depth to rock. Posts stand in the dig and are set in it, but for ``posts_first``. With
    ``close_each_day`` a stretch is dug, gets its posts and mesh and is filled on one day, one after the other, while
    the machine carries away what is left over as people work in it. Without, the machine goes on digging and filling
    while people work behind it, and each stretch is filled ``plant.open_days``
    later, rounded up; the hours of filling are counted with the stretch.
    """
    cut = [v.cut_at_station * p.alignment.step for v, p in zip(volumes, packs, strict=True)]
    rock = [part * _below_rock(profile) for part, profile in zip(cut, profiles, strict=True)]
    hours = {t.name: t.hours for t in worked.tasks}
    digging = [name for name in hours if name not in (*FILL, *PLACE)]

    def over(names: Sequence[str], weights: Sequence[Array]) -> list[Array]:
        whole = sum(float(w.sum()) for w in weights)
        shares = weights if whole > 0 else cut
        whole = whole or sum(float(w.sum()) for w in cut)
        total = sum(hours.get(name, 0.0) for name in names)
        return [total * share / whole if whole > 0 else 0.0 * share for share in shares]

    soil = [part - below for part, below in zip(cut, rock, strict=True)]
    of_soil = over([n for n in digging if n not in ROCK_TASKS], soil)
    of_rock = over(ROCK_TASKS, rock)
    fill, place = over(FILL, cut), over(PLACE, cut)
    days: list[WorkDay] = []
    for k, pack in enumerate(packs):
        crew = _Crew(pack, volumes[k], profiles[k], fences[k], settings=settings, plant=plant)
        days += crew.all(days[-1].day if days else 0, of_soil[k] + of_rock[k], fill[k], place[k])
    return Programme(tuple(days))


def programme_notes(found: Programme) -> list[Note]:
    """What stands open overnight."""
    worst = max(found.days, key=lambda day: day.open_overnight, default=None)
    if worst is None or not worst.open_overnight:
        return []
    return [
        Note(
            "trench open overnight",
            "up to {length} of trench stand open overnight",
            "Somebody or an animal may fall in, and walls that held by day may not by morning: fence it off and light "
            "it, or fill each day's stretch by the evening ({setting:programme.close_each_day}).",
            {"length": Quantity(worst.open_overnight, "length")},
            size=worst.open_overnight,
        )
    ]


def _below_rock(profile: Profile) -> Array:
    """Part of the depth of each station's trench that lies below the depth to rock, 0 to 1."""
    return np.clip(1 - np.nan_to_num(profile.rock_depth, nan=np.inf) / profile.depth, 0.0, 1.0)


class _Crew:
    """Work on one pack's fence, in its order."""

    def __init__(
        self,
        pack: Pack,
        volumes: Volumes,
        profile: Profile,
        fence: FenceTakeOff,
        *,
        settings: ProgrammeSettings,
        plant: PlantSettings,
    ) -> None:
        self.pack, self.volumes, self.profile, self.fence = pack, volumes, profile, fence
        self.settings, self.plant = settings, plant
        self.length = pack.alignment.step * pack.alignment.chainage.size
        self.posts = sum(fence.posts.values())

    def all(self, last: int, dig: Array, fill: Array, place: Array) -> Iterator[WorkDay]:
        """Days after the ``last``."""
        people = self.settings.people
        fence, along = self.fence, self.length / self.settings.set_out_m_per_h
        machine = self.volumes.stripped_area / self.settings.clear_m2_per_h
        for day in self.spread("clear", last, max(machine, along), machine=machine, crew=along):
            last = day.day
            yield day
        hours = self.posts * self.settings.post_h / people if self.settings.posts_first else 0.0
        for day in self.spread("posts", last, hours, crew=hours, posts=self.posts, concrete=fence.concrete):
            last = day.day
            yield day
        for day in self.trench(last, dig, fill, place):
            last = day.day
            yield day
        if not self.settings.close_each_day:
            last += math.ceil(self.plant.open_days)
        hours = fence.hung_length / self.settings.hang_m_per_h / people
        for day in self.spread("hang", last, hours, crew=hours):
            last = day.day
            yield day
        hours = fence.gates * self.settings.gate_h / people
        for day in self.spread("gates", last, hours, crew=hours, gates=fence.gates):
            last = day.day
            yield day
        yield from self.spread("check", last, along, crew=along)

    def spread(
        self,
        work: Work,
        last: int,
        hours: float,
        *,
        machine: float = 0.0,
        crew: float = 0.0,
        posts: int = 0,
        gates: int = 0,
        concrete: float = 0.0,
    ) -> Iterator[WorkDay]:
        """Even work of so many hours along the whole line; things are counted when they are finished."""
        per_day = self.plant.hours_per_day
        for k in range(days_of(hours, per_day)):
            done, before = min((k + 1) * per_day / hours, 1.0), k * per_day / hours
            part = done - before
            yield WorkDay(
                last + k + 1,
                self.pack.number,
                work,
                before * self.length,
                done * self.length,
                machine * part,
                crew * part,
                posts=_finished(posts, done) - _finished(posts, before),
                gates=_finished(gates, done) - _finished(gates, before),
                concrete=concrete * part,
            )

    def trench(self, last: int, dig: Array, fill: Array, place: Array) -> Iterator[WorkDay]:
        """A stretch of trench each day, from the start of the line clockwise."""
        mesh = sum(self.fence.mesh[kind].with_laps for kind in ("skirt", "apron"))
        n = dig.size
        # Posts that stand in the dig are set on its bottom, before the mesh; they are spread evenly.
        posts = 0 if self.settings.posts_first else self.posts
        by_hand = mesh / self.settings.mesh_m2_per_h + posts * self.settings.post_h
        laid = np.full(n, by_hand / self.settings.people / n)
        if self.settings.close_each_day:
            costs = dig + np.maximum(laid, place) + fill
        else:
            costs = np.maximum(dig + place + fill, laid)
        ends = cut_into_days(costs, self.plant.hours_per_day)
        step, v = self.pack.alignment.step, self.volumes
        cut_share = share_between(v.cut_at_station, ends) / (v.cut_at_station.sum() or 1.0)
        machine, crew = share_between(dig + fill + place, ends), share_between(laid, ends)
        wet = share_between(np.where(self.profile.depth > self.profile.water_depth, step, 0.0), ends)
        length = np.diff(ends) * step
        nights = 0 if self.settings.close_each_day else math.ceil(self.plant.open_days)
        for k, (a, b) in enumerate(itertools.pairwise(ends.tolist())):
            part = float(cut_share[k])
            yield WorkDay(
                last + k + 1,
                self.pack.number,
                "trench",
                a * step,
                b * step,
                float(machine[k]),
                float(crew[k]),
                cut_loose=v.cut_loose * part,
                backfill_compacted=v.backfill_compacted * part,
                import_compacted=v.import_compacted * part,
                surplus_loose=v.surplus_loose * part,
                buried_mesh=mesh * (b - a) / n,
                posts=_finished(posts, b / n) - _finished(posts, a / n),
                concrete=self.fence.concrete * (b - a) / n if posts else 0.0,
                open_overnight=float(length[max(k + 1 - nights, 0) : k + 1].sum()) if nights else 0.0,
                in_water=float(wet[k]),
            )


def _finished(things: int, share: float) -> int:
    return math.floor(things * share + ROUNDING)
