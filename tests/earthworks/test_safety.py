"""Lengths of trench to which rules for people in trenches apply, ladders, spoil and side slope."""

import math

import numpy as np
import pytest

from packpale.earthworks.safety import ladders, safety_notes, spoil_width, trench_safety
from packpale.earthworks.section import TrenchSection
from packpale.earthworks.volume import cut_sections
from packpale.earthworks.wall_heights import wall_heights
from packpale.settings import BulkingSettings, PlantSettings, TrenchSettings
from told import told
from trench_cases import circle_line, pack_of, plane, site_of


def safe(depth=1.2, *, depth_at=None, water=-1.0, mound_slope=2.0, swell=0.25, ground=None, **trench):
    """Rules along a circle of 160 m round."""
    ground = ground or plane()
    line = circle_line(160 / (2 * math.pi), step=1.0, elevation=ground)
    settings = TrenchSettings(**{"depth_m": depth, "over_dig_m": 0.0, "side_slope": 1.0, **trench})
    section = TrenchSection(
        depth, settings.bottom_width_m, settings.apron_reach_m, settings.apron_cover_m, settings.side_slope
    )
    cuts = cut_sections(
        section,
        line,
        site_of(ground),
        side="outside",
        formation=settings.formation,
        depth=None if depth_at is None else depth_at(line.chainage),
    )
    bottom = np.full(line.chainage.shape, depth) if depth_at is None else depth_at(line.chainage)
    heights, over_dug = (
        wall_heights(
            section, line, site_of(ground), side="outside", formation=settings.formation, depth=bottom + deeper
        )
        for deeper in (0.0, settings.over_dig_m)
    )
    return trench_safety(
        pack_of(line),
        cuts,
        heights,
        over_dug,
        np.broadcast_to(water, line.chainage.shape),
        trench=settings,
        bulking=BulkingSettings(soil_swell=swell),
        plant=PlantSettings(mound_slope=mound_slope),
    )


@pytest.mark.parametrize(
    ("depth", "over_dig", "egress", "protection"),
    [
        (1.2, 0.0, (0, 0), (0, 0)),
        (1.2, 0.02, (0, 160), (0, 0)),
        (1.2192, 0.0, (160, 160), (0, 0)),
        (1.5, 0.02, (160, 160), (0, 0)),
        (1.5, 0.03, (160, 160), (0, 160)),
        (1.524, 0.0, (160, 160), (160, 160)),
    ],
)
def test_lengths_as_drawn_and_with_what_the_machine_digs_deeper(depth, over_dig, egress, protection):
    found = safe(depth, over_dig_m=over_dig)

    def lengths(*both):
        return tuple(round(sum(s.length for s in runs)) for runs in both)

    assert lengths(found.egress, found.egress_with_over_dig) == egress
    assert lengths(found.protection, found.protection_with_over_dig) == protection
    assert found.deepest == pytest.approx(depth)
    assert found.over_dig == over_dig


def test_only_the_deep_part_of_a_smoothed_bottom_counts():
    # 1.6 m deep from chainage 40 to 60, 1.3 to 80, 1.2 elsewhere.
    found = safe(depth_at=lambda s: np.select([(s >= 40) & (s < 60), (s >= 60) & (s < 80)], [1.6, 1.3], 1.2))
    (deep,) = found.protection
    assert (deep.start, deep.end, deep.length) == pytest.approx((39.5, 59.5, 20.0))
    assert deep.worst == pytest.approx(1.6)
    (out,) = found.egress
    assert (out.start, out.end) == pytest.approx((39.5, 79.5))
    # 40 m, and one every 2 x 7.62 m.
    assert found.ladders == 3
    note = told(safety_notes(found))[0]
    assert "5 ft (1.52 m) deep or more over 20 m. It is so at chainage 40 to 60 m" in note
    assert "at most 1.60 m" in note


def heights_along(slope, *, n, formation, side="outside", depth=1.2, reach=1.8):
    """Depths round a circle on a plane that rises eastwards, and the cross slope at each station."""
    ground = plane(slope)
    line = circle_line(160 / (2 * math.pi), step=1.0, elevation=ground)
    found = wall_heights(
        TrenchSection(depth, 0.6, reach, 0.3, n),
        line,
        site_of(ground),
        side=side,
        formation=formation,
        depth=np.full(line.chainage.shape, depth),
    )
    return found, np.abs(slope * line.outward[:, 0])


@pytest.mark.parametrize("side", ["outside", "inside"])
@pytest.mark.parametrize("n", [0.0, 0.75, 1.0, 1.5])
@pytest.mark.parametrize("slope", [0.0, 0.1, -0.3, 0.5])
def test_depth_is_from_the_higher_edge_to_the_bottom_beside_it(slope, n, side):
    # From the foot of the higher wall the ground rises by m; the wall runs n to a rise of one.
    # follow: the foot is d below the ground there, the edge n d further up: d + m n d.
    found, m = heights_along(slope, n=n, formation="follow", side=side)
    np.testing.assert_allclose(found, 1.2 * (1 + n * m), atol=1e-9)
    # level: the bottom is d below the fence, so d + m w / 2 below the ground at its uphill foot; the wall of height z
    # meets the ground where z = d + m w / 2 + m n z. The bench's own wall stays lower at this reach: its bottom is h
    # below the fence, h + m reach below the ground at its foot.
    found, m = heights_along(slope, n=n, formation="level", side=side)
    np.testing.assert_allclose(found, (1.2 + m * 0.3) / (1 - n * m), atol=1e-6)


def test_the_wall_of_a_wide_level_bench_can_be_the_highest():
    # Bench 4 m wide, 0.3 m below the fence, uphill at 0.5 and vertical walls: 0.3 + 2.0 above it.
    found, m = heights_along(0.5, n=0.0, formation="level", reach=4.0)
    assert found.max() == pytest.approx(2.3, abs=1e-6)
    assert found.min() == pytest.approx(1.2, abs=0.02)
    assert m.max() == pytest.approx(0.5, abs=1e-3)


def test_a_trench_of_a_nominal_depth_is_deeper_on_a_slope():
    # 1.2 m below the ground everywhere; 1.2 x 1.3 = 1.56 m from the higher edge where the ground rises by 0.3 across.
    found = safe(ground=plane(0.3))
    assert found.deepest == pytest.approx(1.56, abs=1e-3)
    # 5 ft where 1.2 (1 + 0.3 |cos|) is 1.524 or more, |cos| 0.9: two pieces of 2 arccos(0.9).
    share = 4 * math.acos((1.524 / 1.2 - 1) / 0.3) / (2 * math.pi)
    assert sum(s.length for s in found.protection) == pytest.approx(160 * share, abs=4)
    assert found.ladders >= 8
    note = told(safety_notes(found))[0]
    assert "a rule of the United States; your rules may differ" in note
    assert "from the higher edge of the cut to the bottom beside it" in note


@pytest.mark.parametrize(("length", "count"), [(0.0, 0), (1.0, 1), (15.24, 1), (15.3, 2), (160.0, 11)])
def test_nobody_walks_more_than_25_feet_to_a_ladder(length, count):
    assert ladders(length) == count
    if count:
        # Spread evenly, each ladder serves half its share of the length to either side.
        assert length / count / 2 <= 7.62 + 1e-9


def test_spoil_heap_holds_what_was_dug():
    # A triangle of base b at n : 1 is b / (2 n) high.
    width = spoil_width(3.0, side_slope=1.5)
    assert width * width / (2 * 1.5) / 2 == pytest.approx(3.0)
    found = safe(mound_slope=1.5, swell=0.25)
    area = TrenchSection(1.2, 0.6, 1.8, 0.3, 1.0).area * 1.25
    assert found.spoil_width == pytest.approx(2 * math.sqrt(1.5 * area))
    assert found.spoil_strip == pytest.approx(0.6096 + found.spoil_width)
    # Half on each side: two similar triangles of half the area.
    assert found.spoil_strip_two_sides - 0.6096 == pytest.approx(spoil_width(area / 2, side_slope=1.5))
    assert found.working_strip == 3.0


@pytest.mark.parametrize(
    ("soil", "water", "slope", "asked", "too_steep"),
    [
        ("A", -1.0, 0.75, 0.75, False),
        ("A", -1.0, 0.7, 0.75, True),
        ("A", 0.1, 1.0, 1.5, True),
        ("B", -1.0, 1.0, 1.0, False),
        ("B", 0.0, 1.0, 1.0, False),
        ("unknown", -1.0, 1.0, 1.5, True),
        ("C", -1.0, 1.5, 1.5, False),
    ],
)
def test_side_slope_that_the_soil_asks_for(soil, water, slope, asked, too_steep):
    found = safe(1.6, soil_type=soil, water=water, side_slope=slope)
    assert found.side_slope_asked == asked
    assert found.too_steep is too_steep
    assert any("allows nothing steeper than" in n for n in told(safety_notes(found))) is too_steep


def test_steep_walls_of_a_shallow_trench_are_not_against_the_table():
    assert not safe(1.2, side_slope=0.3).too_steep
    # But they are where the machine may dig past 5 ft.
    assert safe(1.45, side_slope=0.3, over_dig_m=0.1).too_steep


def test_trench_in_water_is_type_c_along_its_wet_length():
    wet = safe(1.6, soil_type="A", side_slope=1.0, water=np.where(np.arange(160) < 30, 0.2, -0.2))
    assert wet.wet_length == pytest.approx(30.0)
    assert any("counts as Type C where the trench stands in water" in n for n in told(safety_notes(wet)))


def test_strip_too_narrow_for_the_spoil_is_said():
    needed = safe().spoil_strip_two_sides
    for free, narrow in ((needed - 0.01, True), (needed + 0.01, False)):
        found = safe(working_strip_m=free)
        assert found.strip_too_narrow is narrow
        assert (
            any("kept free beside the dig are too narrow for the spoil" in n for n in told(safety_notes(found)))
            is narrow
        )


def test_shallow_trench_says_nothing():
    assert safety_notes(safe(1.0, over_dig_m=0.1, working_strip_m=6.0)) == []
