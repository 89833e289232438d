"""Settings: the animals and the people round them."""

import itertools
from dataclasses import dataclass
from datetime import time
from typing import Annotated, Any, Literal, Self, get_args

from pydantic import Field, field_validator, model_validator

from packpale.settings.base import PRINTABLE, NotNegative, Positive, Settings, TimeOfDay, ascending, is_time_of_day
from packpale.units import HECTARE_M2
from packpale.values import default

DenCriterion = Literal["drainage", "digging", "shelter", "people", "fence", "slope", "aspect"]
DEN_CRITERIA: tuple[DenCriterion, ...] = get_args(DenCriterion)
"""What the score of a den site is made of."""

OctaveBand = Literal[63, 125, 250, 500, 1000, 2000, 4000, 8000]
"""Nominal mid-band frequencies of ISO 9613. [Hz]"""


@dataclass(frozen=True)
class Gap:
    """Time between two rounds, when nobody looks."""

    start: str
    """The round before it, HH:MM."""
    end: str
    """The round after it; the same where there is one round a day."""
    hours: float


class CheckSettings(Settings):
    """When the line is walked: between two rounds nobody looks."""

    rounds: Annotated[tuple[TimeOfDay, ...], Field(strict=False)] = tuple(default("checks.rounds"))
    """Times of day at which a round starts, HH:MM, in any order. The mesh has to hold over the longest gap of the 24
    hours between them."""
    evening: TimeOfDay | None = None
    """Last of two rounds a day, HH:MM: with morning, in place of rounds."""
    morning: TimeOfDay | None = None
    """First of two rounds a day, HH:MM: with evening, in place of rounds."""
    dig_rate_m_per_h: Positive | None = None
    """Tunnel that an animal digs in an hour, if you know; none is assumed, since none is published. [m/h]"""
    dig_rate_source: Annotated[str | None, Field(min_length=1, max_length=200), PRINTABLE] = None
    """Where that rate comes from; shown beside every figure that follows from it."""
    climb_distance_m: Annotated[float, Field(gt=0, le=20)] = default("checks.climb_distance_m")
    """Ground within this distance of the fence counts for how high the fence is. [m]"""
    climb_loss_m: Annotated[float, Field(gt=0, le=3)] = default("checks.climb_loss_m")
    """Where such ground takes more than this from the fence's height, it is reported. [m]"""
    tree_distance_m: Annotated[float, Field(ge=0, le=50)] = default("checks.tree_distance_m")
    """Woodland, and single trees and boulders, within this distance of the fence are reported. [m]"""

    @model_validator(mode="after")
    def _a_rate_has_a_source(self) -> Self:
        if (self.dig_rate_m_per_h is None) != (self.dig_rate_source is None):
            raise ValueError("dig_rate_m_per_h and dig_rate_source go together; give both, or drop the one given")
        return self

    @model_validator(mode="before")
    @classmethod
    def _evening_and_morning_are_rounds(cls, given: Any) -> Any:
        words = {"evening", "morning"}
        if not isinstance(given, dict) or not words & given.keys():
            return given
        if "rounds" in given:
            raise ValueError("rounds and evening or morning are two ways to set the same; keep one of them")
        if not words <= given.keys():
            raise ValueError('evening and morning go together; give both, or all times as rounds = ["07:00", "20:00"]')
        if given["evening"] == given["morning"]:
            raise ValueError(
                f'evening and morning are both {given["evening"]!r}; write one round a day as rounds = ["07:00"]'
            )
        # A time that is none is a fault of its own key.
        if all(isinstance(given[k], str) and is_time_of_day(given[k]) for k in words):
            return {**given, "rounds": (given["morning"], given["evening"])}
        return given

    @field_validator("rounds")
    @classmethod
    def _each_time_once(cls, rounds: tuple[str, ...]) -> tuple[str, ...]:
        if not rounds:
            raise ValueError('found none; give at least one time, such as ["20:00"]')
        if len(set(rounds)) < len(rounds):
            raise ValueError(f"found {list(rounds)}; give each time once")
        return rounds

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Times between rounds, 24 hours in all; the last is the night's, from a day's last round to the first."""
        times = sorted(self.rounds)
        at = [(t := time.fromisoformat(text)).hour * 60 + t.minute for text in times]
        ends = [*at[1:], at[0] + 24 * 60]
        return tuple(
            Gap(start, end, (b - a) / 60)
            for start, end, a, b in zip(times, [*times[1:], times[0]], at, ends, strict=True)
        )

    @property
    def longest_gap(self) -> Gap:
        """The longest of the gaps; of equal ones the first of the day."""
        return max(self.gaps, key=lambda gap: gap.hours)

    @property
    def night(self) -> Gap:
        """From the last round of the day to the first of the next."""
        return self.gaps[-1]

    @property
    def unattended_h(self) -> float:
        """Hours that nobody looks, at the longest."""
        return self.longest_gap.hours


class PackSettings(Settings):
    """The animals themselves."""

    animals: Annotated[int | None, Field(gt=0, le=100)] = None
    """How many live in each enclosure: the ground for each is told beside published least areas."""


class PatrolSettings(Settings):
    """The round along the fence, walked in the evening and in the morning."""

    side: Literal["outside", "inside"] = default("patrol.side")
    """Side of the fence on which the path runs."""
    offset_m: Annotated[float, Field(gt=0, le=50)] = default("patrol.offset_m")
    """Distance of the path from the fence line. [m]"""
    pace_factor: Annotated[float, Field(gt=0, le=2)] = default("patrol.pace_factor")
    """Walking speed as a part of that on a path."""
    stop_s: Annotated[float, Field(ge=0, le=3600)] = default("patrol.stop_s")
    """Time spent at each check point. [s]"""
    weak_places: Annotated[int, Field(ge=0, le=50)] = default("patrol.weak_places")
    """Places with the shortest way under the mesh that are checked on every round, at most."""
    weak_places_apart_m: Annotated[float, Field(gt=0, le=1000)] = default("patrol.weak_places_apart_m")
    """Least distance along the fence between two such places. [m]"""


class HowlSettings(Settings):
    """How loud a howl is, through what air and over what ground it goes, and out of what it must stand."""

    source_level_db: Annotated[tuple[float, float, float], Field(strict=False)] = tuple(default("howl.source_level_db"))
    """Level of a howl 1 m from the animal: low, likely, high. [dB]"""
    bands_hz: Annotated[tuple[OctaveBand, ...], Field(strict=False, min_length=1)] = tuple(default("howl.bands_hz"))
    """Octave bands over which the level is spread evenly. [Hz]"""
    background_db: Annotated[float, Field(ge=0, le=80)] = default("howl.background_db")
    """Level of each of these bands at the listener without a howl, above which a howl is heard. [dB]"""
    temperature_c: Annotated[float, Field(ge=-20, le=50)] = default("howl.temperature_c")
    """Temperature of the air. [deg C]"""
    humidity_percent: Annotated[float, Field(ge=10, le=100)] = default("howl.humidity_percent")
    """Relative humidity of the air. [%]"""
    pressure_kpa: Annotated[float, Field(ge=50, le=110)] = default("howl.pressure_kpa")
    """Pressure of the air. [kPa]"""
    ground_factor: Annotated[float, Field(ge=0, le=1)] = default("howl.ground_factor")
    """Ground factor of ISO 9613-2: 0 hard (ice, water, rock, paved), 1 porous (grass, trees, earth)."""
    source_height_m: Annotated[float, Field(gt=0, le=3)] = default("howl.source_height_m")
    """Height of a howling animal's head above the ground. [m]"""
    receiver_height_m: Annotated[float, Field(gt=0, le=20)] = default("howl.receiver_height_m")
    """Height of the listener's ears above the ground. [m]"""

    @field_validator("source_level_db")
    @classmethod
    def _rising(cls, levels: tuple[float, float, float]) -> tuple[float, float, float]:
        low, likely, high = levels
        if not 0 < low <= likely <= high <= 140:
            raise ValueError(f"found {list(levels)}; give low, likely and high level, rising, above 0 and up to 140 dB")
        return levels

    @field_validator("bands_hz")
    @classmethod
    def _each_once(cls, bands: tuple[int, ...]) -> tuple[int, ...]:
        if len(set(bands)) < len(bands):
            raise ValueError(f"found {list(bands)}; name each octave band once")
        return bands


class CrossingSettings(Settings):
    """Where water crosses the fence, and the opening with bars that it needs there."""

    min_area_ha: NotNegative = default("crossings.min_area_ha")
    """Flow paths count as crossings of water if they drain at least this. [ha]"""
    rain_mm_per_h: (
        Positive
        | Annotated[
            tuple[Annotated[tuple[Positive, Positive], Field(strict=False)], ...], Field(min_length=1, strict=False)
        ]
        | None
    ) = None
    """Intensity of the design storm: a number, or a list of [duration in minutes, intensity]; without it only areas
    and times are told. [mm/h]"""
    rain_source: Annotated[str | None, Field(min_length=1, max_length=200), PRINTABLE] = None
    """Where that intensity comes from, with its return period; shown beside every flow."""
    runoff_coefficient: Annotated[float, Field(gt=0, le=1)] = default("crossings.runoff_coefficient")
    """Part of the rain that runs off."""
    frequency_factor: Annotated[float, Field(ge=1, le=2)] = default("crossings.frequency_factor")
    """Factor on the part that runs off, for rare storms; both together count as 1 at most."""
    roughness: Annotated[float, Field(gt=0, le=0.5)] = default("crossings.roughness")
    """Manning's n of the bed. [s/m^(1/3)]"""
    opening_height_m: Annotated[float, Field(gt=0, le=3)] = default("crossings.opening_height_m")
    """Height of an opening for water, to which it may run full. [m]"""
    bar_gap_m: Annotated[float, Field(gt=0, le=0.5)] = default("crossings.bar_gap_m")
    """Clear width between two bars. [m]"""
    bar_thickness_m: Annotated[float, Field(gt=0, le=0.2)] = default("crossings.bar_thickness_m")
    """Thickness of a bar. [m]"""
    blocked_share: Annotated[float, Field(ge=0, lt=1)] = default("crossings.blocked_share")
    """Part of the gaps that leaves and branches block."""

    placing_penalty: Annotated[float, Field(ge=0, le=1)] = default("crossings.placing_penalty")
    """Mean suitability (0 to 1) that an enclosure of a given area may lose to cross one flow path less; 0: none."""

    @property
    def min_area_m2(self) -> float:
        """Least area that counts. [m2]"""
        return self.min_area_ha * HECTARE_M2

    @model_validator(mode="after")
    def _rain_has_a_source_and_the_rest_an_effect(self) -> Self:
        if (self.rain_mm_per_h is None) != (self.rain_source is None):
            given, lacks = "rain_mm_per_h", "rain_source"
            if self.rain_mm_per_h is None:
                given, lacks = lacks, given
            raise ValueError(f"{given} needs {lacks}; a flow is worked out only from an intensity with its source")
        if isinstance(self.rain_mm_per_h, tuple):
            minutes = [m for m, _ in self.rain_mm_per_h]
            if any(later <= sooner for sooner, later in itertools.pairwise(minutes)):
                raise ValueError(f"rain_mm_per_h has the durations {minutes}; list them in rising order, each once")
        if self.rain_mm_per_h is None:
            for name in _OPENING_KEYS:
                if getattr(self, name) != default(f"crossings.{name}"):
                    raise ValueError(f"{name} has no effect without rain_mm_per_h; give it or drop the key")
        return self


_OPENING_KEYS = (
    "runoff_coefficient",
    "frequency_factor",
    "roughness",
    "opening_height_m",
    "bar_gap_m",
    "bar_thickness_m",
    "blocked_share",
)
"""Keys of [crossings] that play no part unless there is rain."""


class DenSettings(Settings):
    """Where dens could go and how they would be built."""

    count: Annotated[int, Field(ge=0, le=20)] = default("dens.count")
    """Sites looked for in each enclosure."""
    apart_m: NotNegative = default("dens.apart_m")
    """Least distance between two den sites. [m]"""
    fence_m: NotNegative = default("dens.fence_m")
    """Least distance of a den site from the fence line. [m]"""
    quiet_m: Positive = default("dens.quiet_m")
    """Distance from viewpoints, dwellings and the other pack at which they no longer count. [m]"""
    shelter_radius_m: Annotated[float, Field(gt=0, le=500)] = default("dens.shelter_radius_m")
    """Ground around a site that it is compared with for shelter from wind. [m]"""
    shelter_relief_m: Positive = default("dens.shelter_relief_m")
    """Height below the mean of that ground that counts as full shelter, above it as none. [m]"""
    best_slope_deg: Annotated[
        tuple[Annotated[float, Field(gt=0, lt=90)], Annotated[float, Field(gt=0, lt=90)]], Field(strict=False)
    ] = tuple(default("dens.best_slope_deg"))
    """Slopes between which a passage is easily dug in. [deg]"""
    max_slope_deg: Annotated[float, Field(gt=0, lt=90)] = default("dens.max_slope_deg")
    """Steeper ground is left out. [deg]"""
    sunny_side_deg: Annotated[float, Field(ge=0, le=360)] = default("dens.sunny_side_deg")
    """Direction of the warmest slopes, clockwise from north: 180 is south. [deg]"""
    passage_m: Annotated[tuple[Positive, Positive], Field(strict=False)] = tuple(default("dens.passage_m"))
    """Shortest and longest passage from entrance to chamber. [m]"""
    fall: Annotated[float, Field(ge=0, le=0.5)] = default("dens.fall")
    """Rise of the passage's floor towards the chamber per metre, so that water runs out."""
    roof_m: Positive = default("dens.roof_m")
    """Least ground over the chamber. [m]"""
    weights: dict[DenCriterion, NotNegative] = {k: default(f"dens.weights.{k}") for k in DEN_CRITERIA}
    """Weight of each criterion of a den site; any scale. Criteria not named do not count."""

    _ranges = field_validator("best_slope_deg", "passage_m")(ascending)

    @field_validator("weights")
    @classmethod
    def _something_counts(cls, weights: dict[str, float]) -> dict[str, float]:
        if not any(weights.values()):
            raise ValueError("weights are all zero; give at least one criterion a weight above 0")
        return weights


class ViewingSettings(Settings):
    """What people see from the viewing points, and how much has to stay unseen."""

    eye_height_m: Annotated[float, Field(gt=0, le=30)] = default("viewing.eye_height_m")
    """Height of the eyes above the ground at a viewing point; more on a platform. [m]"""
    target_height_m: Annotated[float, Field(ge=0, le=3)] = default("viewing.target_height_m")
    """Height of what is looked for above the ground inside the fence. [m]"""
    stand_off_m: NotNegative = default("viewing.stand_off_m")
    """Least distance of people from the fence. [m]"""
    sight_m: Positive = default("viewing.sight_m")
    """Farthest distance at which an animal is still made out. [m]"""
    least_seen_share: Annotated[float, Field(ge=0, le=1)] = default("viewing.least_seen_share")
    """Part of the ground inside the fence that should be seen from somewhere."""
    least_refuge_share: Annotated[float, Field(ge=0, le=1)] = default("viewing.least_refuge_share")
    """Part of the ground inside the fence that should be out of everyone's sight."""

    @model_validator(mode="after")
    def _both_can_be_met(self) -> Self:
        if self.least_seen_share + self.least_refuge_share > 1:
            raise ValueError(
                f"least_seen_share = {self.least_seen_share:g} and least_refuge_share = {self.least_refuge_share:g} "
                "add up to more than 1, and no ground is both; lower one of them"
            )
        return self


class NeighbourSettings(Settings):
    """What has to lie between two packs of one plot."""

    perimeter_m: NotNegative = default("neighbours.perimeter_m")
    """Least distance between two fences that count as a double fence. [m]"""
