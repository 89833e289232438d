"""Main pegs within a tape of one another, and errors by closed forms and by trying all corners of the bounds."""

import math

import numpy as np
import pytest
from shapely.geometry import Polygon

from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.egg import Egg
from packpale.enclosure.fence import posts
from packpale.enclosure.gate_places import place_gates
from packpale.enclosure.main_pegs import FARTHEST_OUT_M, LONGEST_CHORD_M, MainPegs, check_errors, main_pegs
from packpale.enclosure.setting_out import baselines, pegs
from packpale.enclosure.survey_errors import instrument_error, offset_error, tape_error
from packpale.settings import SettingOutSettings
from packpale.site.grid import Grid
from trench_cases import project_of, site_on

INSTRUMENT = SettingOutSettings(instrument_distance_error_m=0.01, instrument_angle_error_deg=0.01)
GRID = Grid(499_000.0, 5_401_000.0, 10.0, 200, 200)
FLAT = np.full(GRID.shape, 250.0)
BENT = DrawnLine.from_polygon(
    Polygon([(500_000 + e, 5_400_000 + n) for e, n in ((0, 0), (60, -20), (75, 20), (25, 20), (30, 70), (-10, 50))]),
    corner_deg=10.0,
)
LINES = {
    "egg": Egg(500_000.0, 5_400_000.0, 40.0, 60.0, 40.0, 55.0),
    "large": Egg(500_000.0, 5_400_000.0, 40.0, 250.0, 180.0, 155.0),
    "tight": Egg(500_000.0, 5_400_000.0, 40.0, 16.0, 15.0, 5.0),
    "drawn": BENT,
}


def pegs_on(line, spacing=3.0):
    gates = place_gates(line, site_on(GRID, FLAT), project_of())
    standing = posts(line, spacing, FLAT, GRID, gates=gates)
    return pegs(line, standing, gates, step=10.0, elevation=FLAT, grid=GRID)


@pytest.mark.parametrize("name", LINES)
def test_main_pegs_are_the_bends_and_as_few_as_stand_half_a_tape_apart(name):
    line = LINES[name]
    found = pegs_on(line)
    main = main_pegs(found, line)
    assert main.chord.max() <= LONGEST_CHORD_M == 25.0
    assert main.diagonal.max() <= 50.0
    for bend in line.bends:
        assert np.abs(found.chainage[main.at] - bend).min() < 0.002
    assert np.abs(main.offset).max() <= FARTHEST_OUT_M == 3.0
    # From a main peg that is no bend, back to the one before: with the peg after it the chord would be too long, or
    # some peg too far out.
    n = found.x.size
    at = np.column_stack([found.x, found.y])
    for here, before in zip(main.at.tolist(), np.roll(main.at, 1).tolist(), strict=True):
        if np.abs(line.bends - found.chainage[here]).min() > 0.002:
            between = np.arange(before, before + (here - before) % n + 2) % n
            chord = at[between[-1]] - at[before]
            length = np.hypot(*chord)
            out = (
                np.abs(np.cross(np.append(chord, 0), np.pad(at[between] - at[before], ((0, 0), (0, 1))))[:, 2]) / length
            )
            assert length > LONGEST_CHORD_M or out.max() > FARTHEST_OUT_M


@pytest.mark.parametrize("name", LINES)
def test_along_and_out_from_the_chord_lead_to_every_peg(name):
    found = pegs_on(LINES[name])
    main = main_pegs(found, LINES[name])
    at = np.column_stack([found.x, found.y])
    u = at[main.after] - at[main.before]
    u /= np.hypot(*u.T)[:, None]
    left = np.column_stack([-u[:, 1], u[:, 0]])
    again = at[main.before] + main.along[:, None] * u + main.offset[:, None] * left
    assert again == pytest.approx(at, abs=1e-6)
    if name != "drawn":
        # Outward, by at most the sagitta of a chord of 25 m on the small end.
        assert main.offset.min() > -1e-9
        r = LINES[name].small_radius
        assert main.offset.max() <= r - math.sqrt(r**2 - 12.5**2) + 1e-9


def test_pegs_farther_apart_than_half_a_tape_are_all_main_pegs():
    line = LINES["large"]
    gates = place_gates(line, site_on(GRID, FLAT), project_of(fence={"gates": 0}))
    few = posts(line, 40.0, FLAT, GRID, gates=gates)
    found = pegs(line, few, gates, step=1e6, elevation=FLAT, grid=GRID)
    assert main_pegs(found, line).at.tolist() == list(range(found.x.size))


def test_a_tape_of_50_m_is_out_by_what_is_set_and_a_short_one_by_a_fifth():
    assert tape_error([0.0, 25.0, 50.0], full=0.02).tolist() == pytest.approx([0.004, 0.012, 0.02])


def test_points_are_seen_from_stake_a_by_grid_bearing_and_distance():
    frame = baselines(LINES["egg"])
    a, b = frame.stakes[:2]
    bearing, distance = frame.bearing_and_distance([a.x + 3.0, a.x, b.x, a.x], [a.y - 4.0, a.y + 7.0, b.y, a.y])
    # South-east: 180 degrees less the angle whose tangent is 3 / 4.
    assert bearing[:3] == pytest.approx([180 - math.degrees(math.atan(3 / 4)), 0.0, LINES["egg"].axis_bearing_deg])
    assert distance == pytest.approx([5.0, 7.0, LINES["egg"].centre_spacing, 0.0])
    assert math.isnan(bearing[3])


def test_the_instrument_errs_along_by_its_distance_and_across_by_its_angle():
    # 0.01 degrees are 36 seconds: 100 m times 36 / 206,265 is 17.45 mm.
    across = 100 * 36 / 206_264.806
    found = instrument_error(100.0, INSTRUMENT)
    assert found == pytest.approx(math.hypot(0.01, across), rel=1e-6)
    assert instrument_error(0.0, INSTRUMENT) == pytest.approx(0.01)


def test_an_offset_is_out_by_both_tapes_and_the_right_angle():
    # 12.5 m along: 0.008 m; 2 m out: 0.00464 m, and a degree moves its end by 0.0349 m along the chord.
    found = float(offset_error(12.5, -2.0, full=0.02))
    assert found == pytest.approx(math.hypot(0.008 + 2 * math.sin(math.radians(1)), 0.00464), rel=1e-9)


def test_checks_may_differ_by_what_both_pegs_and_the_tape_are_out_by():
    """Three main pegs among four pegs, 25 m apart and 50 m from one to the next but one, in round figures."""
    some = np.zeros(4, int)
    main = MainPegs(np.array([0, 1, 3]), np.full(3, 25.0), np.full(3, 50.0), some, some, some, some)
    chord, diagonal = check_errors(main, np.array([0.1, 0.2, 9.0, 0.4]), INSTRUMENT)
    full = INSTRUMENT.tape_error_m
    assert chord == pytest.approx(np.array([0.3, 0.6, 0.5]) + 0.6 * full)
    assert diagonal == pytest.approx(np.array([0.5, 0.3, 0.6]) + full)
