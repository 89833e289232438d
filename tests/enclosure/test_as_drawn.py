"""What is said of a line that was given, and that it goes through as it is."""

import dataclasses

import numpy as np
import pytest
import shapely
from shapely.geometry import MultiPolygon, Polygon, box

from packpale.enclosure.egg import Egg
from packpale.enclosure.place import place
from packpale.land.model import Land, Limit
from packpale.settings import Project
from packpale.site import Grid, Site, Soil
from packpale.site.model import EGG_COLUMNS, GivenLine
from packpale.values.notes import phrase
from told import say, told

WEST, SOUTH = 500_000.0, 5_400_000.0
GRID = Grid(WEST, SOUTH + 300, 2.0, 150, 150)
X, Y = np.meshgrid(*GRID.centres())
PLOT = box(WEST + 10, SOUTH + 10, WEST + 290, SOUTH + 290)


def at(*corners):
    return Polygon([(WEST + e, SOUTH + n) for e, n in corners])


def square(west, south, side=80):
    return box(WEST + west, SOUTH + south, WEST + west + side, SOUTH + south + side)


CIRCLE = shapely.Point(WEST + 150, SOUTH + 150).buffer(50, quad_segs=40)


def placed(*lines, usable=PLOT, limits=(), **settings):
    zero, full = np.zeros(GRID.shape), np.ones(GRID.shape)
    soil = Soil(1.5 * full, full > 0, 2 * full, 25 * full, 10 * full, zero.astype(np.int8), np.inf * full)
    site = Site(
        "north",
        "EPSG:25832",
        MultiPolygon([PLOT]),
        GRID,
        300 + 0.1 * (X - WEST),
        shapely.contains_xy(PLOT, X, Y),
        soil,
        {},
        fence_lines=tuple(x if isinstance(x, GivenLine) else GivenLine(x) for x in lines),
    )
    names = [f.name for f in dataclasses.fields(Land)]
    arrays = dict.fromkeys(names, zero) | {"weights": {}, "consistency_ratio": None}
    land = Land(
        **arrays
        | {
            "channel": zero > 0,
            "flow_direction": np.full(GRID.shape, -1, np.int8),
            "slope": 0.1 * full,
            "suitability": (X - WEST) / 300,
            "usable": MultiPolygon([usable]),
            "enclosable": MultiPolygon([usable]),
            "limits": limits,
        }
    )
    inputs = {"elevation": "dem.tif", "plots": "plots.gpkg", "plot_id": "name"}
    enclosure = {"fence_line": "lines.gpkg"} | settings.pop("enclosure", {})
    project = Project.model_validate({"inputs": inputs, "enclosure": enclosure, **settings})
    return place(site, land, project)


def test_the_line_is_used_as_it_is():
    # No cell's centre lies on it.
    shape = at((50.3, 50.2), (50.3, 120.4), (90.2, 90.3), (150.4, 140.2), (160.3, 60.4))
    enclosure = placed(shape)
    (pack,) = enclosure.packs
    assert enclosure.feasible
    assert pack.fit is None
    assert pack.touches == ()
    assert pack.line.polygon().equals(shape)
    assert (pack.line.area, pack.line.perimeter) == pytest.approx((shape.area, shape.length))
    # Means over the cells inside, by shapely.
    inside = shapely.intersects_xy(shape, X, Y)
    assert pack.mean_suitability == pytest.approx(((X - WEST) / 300)[inside].mean())
    assert pack.posts.of("bend") == 5
    assert pack.gates.x.size == 2
    assert pack.length_3d > shape.length


def test_a_round_line_on_usable_land_needs_no_word():
    assert placed(CIRCLE).notes == ()


def test_a_plot_without_a_line_is_an_answer():
    enclosure = placed()
    assert not enclosure.feasible
    assert say(enclosure.reason) == "no fence line is drawn on this plot"


def test_corners_are_said_with_the_sharpest():
    (note,) = told(placed(at((50, 50), (50, 130), (130, 130), (170, 50))).notes)
    # The sharpest turn of the quadrangle is that at (170, 50): 180 less atan(2).
    assert note.startswith("Pack 1: the drawn line has 4 corners of more than 10°, the sharpest of 117°. That is at ")
    assert f"chainage {80 + 80 + np.hypot(40, 80):.0f} m" in note
    assert "common practice, no source" in note
    drawn = placed(at((50, 50), (50, 130), (130, 130), (170, 50)), fence={"max_panel_deflection_deg": 90})
    (note,) = told(drawn.notes)
    assert "1 corner of more than 90°" in note


def first_note(*lines, **options):
    return told(placed(*lines, **options).notes)[0]


def test_ground_outside_the_plot_and_the_usable_land():
    assert first_note(square(240, 100)) == "Pack 1: 140 m of the drawn line lie outside the plot."
    rock = Limit("rock", phrase("rock within 0.3 m"), MultiPolygon([square(90, 0, 60)]), 0.1, False)
    note = first_note(square(80, 20), usable=PLOT.difference(rock.area), limits=(rock,))
    # The rock covers 60 m of the southern side.
    assert note == (
        "Pack 1: 60 m of 320 m of the drawn line lie on no-go ground. It is used as it is. "
        "What rules that ground out: 60 m rock within 0.3 m."
    )
    # Of the 60 m by 60 m the line holds the northern 40 m; nothing is said twice of the strip.
    notes = told(placed(square(80, 20), usable=PLOT.difference(rock.area), limits=(rock,)).notes)
    assert notes[1] == (
        "Pack 1: the drawn line encloses 2,400 m² of no-go ground. It is used as it is. What rules that ground out: "
        "2,400 m² rock within 0.3 m."
    )
    assert not any("strip" in note for note in notes)
    note = first_note(square(12, 100), usable=PLOT)
    # 2 m between line and plot; the strip is 5.1 m wide by default: 3.1 m of it for 80 m and two rounded corners.
    reach, kept = 5.1**2, 2 / 5.1
    strip = 3.1 * 80 + 2 * (np.pi * reach / 4 - (reach / 2) * (np.arcsin(kept) + kept * np.sqrt(1 - kept**2)))
    assert note == (
        f"Pack 1: the drawn line keeps off no-go ground, but {strip:.0f} m² of the strip that digging needs do not. "
        "It takes 5.10 m outside the line."
    )


def test_a_drawn_line_over_ground_that_may_lie_inside():
    """The strip reaches 5.1 m out and 4.5 m in: a square from 90 to 150 m east is met on the southern side alone."""
    rock = Limit("rock", phrase("rock within 0.3 m"), MultiPolygon([square(90, 0, 60)]), 0.1, True)
    enclosure = placed(square(80, 20), usable=PLOT, limits=(rock,), enclosure={"line_over_limits": 0.15})
    (pack,) = enclosure.packs
    assert pack.over_limits_m == pytest.approx(60, abs=1e-9)
    (stretch,) = pack.over_limits
    points = pack.line.points_at([stretch.from_m, stretch.to_m])
    assert sorted(points.x - WEST) == pytest.approx([90, 150])
    assert points.y - SOUTH == pytest.approx([20, 20])
    (note,) = (n for n in told(enclosure.notes) if "over limits" in n)
    assert note.startswith(
        "Pack 1: 60 m of 320 m of the fence line run over limits (19 %). enclosure.line_over_limits allows 15 %. The"
    )
    assert f"rock within 0.3 m, 60 m (chainage {stretch.from_m:.0f} to {stretch.to_m:.0f} m)" in note
    few = placed(square(80, 20), usable=PLOT, limits=(rock,), enclosure={"line_over_limits": 0.2})
    assert "(19 %). The strip" in next(n for n in told(few.notes) if "over limits" in n)


def test_necks_and_notches_are_said():
    neck = at((50, 50), (50, 110), (110, 110), (110, 84), (150, 84), (150, 110), (200, 110), (200, 50), (150, 50))
    neck = neck.difference(at((110, 40), (110, 80), (150, 80), (150, 40)))
    assert any("narrower than twice the 4.50 m" in n for n in told(placed(neck).notes))
    notch = square(60, 60, 100).difference(at((100, 160), (104, 160), (104, 100), (100, 100)))
    assert not any("comes within" in n for n in told(placed(notch).notes))  # an open notch closes no ring
    bottle = notch.difference(at((90, 120), (114, 120), (114, 100), (90, 100)))
    assert any("comes within twice the 5.10 m" in n for n in told(placed(bottle).notes))


def test_several_packs_and_their_distance():
    enclosure = placed(square(20, 20), square(105, 20), enclosure={"packs": 3})
    assert [p.number for p in enclosure.packs] == [1, 2]
    assert "2 of 3 enclosures are drawn on this plot." in told(enclosure.notes)
    assert "Packs 1 and 2: the fence lines drawn are 5.00 m apart. enclosure.separation_m is 10 m." in told(
        enclosure.notes
    )


EGG = Egg(WEST + 130.123, SOUTH + 150.456, 63.7, 42.25, 24.5, 51.75)
FIGURES = dict(
    zip(
        EGG_COLUMNS,
        (EGG.big_x, EGG.big_y, EGG.axis_bearing_deg, EGG.big_radius, EGG.small_radius, EGG.centre_spacing),
        strict=True,
    )
)


def test_figures_that_make_the_line_make_it_an_egg_again():
    (pack,) = placed(GivenLine(EGG.polygon(0.005), FIGURES)).packs
    assert pack.line == EGG
    assert (pack.fit, pack.drawn, pack.egg) == (None, None, EGG)
    assert len(pack.line.arcs()) == 5


@pytest.mark.parametrize(
    "change",
    [{"big_x": EGG.big_x + 0.2}, {"small_radius_m": EGG.small_radius + 0.3}, {"small_radius_m": 50.0}],
    ids=["moved", "another shape", "no egg at all"],
)
def test_figures_of_another_line_are_told_and_the_line_is_used_as_drawn(change):
    enclosure = placed(GivenLine(EGG.polygon(0.005), FIGURES | change))
    (pack,) = enclosure.packs
    assert pack.egg is None
    assert pack.line.area == pytest.approx(EGG.area, rel=1e-3)
    assert "figures of another line" in [note.kind for note in enclosure.notes]


def test_part_of_an_egg_is_not_taken_for_it():
    # Every corner lies on the egg, and most of its outline is missing.
    points = shapely.get_coordinates(EGG.polygon(0.005).exterior)[:-1]
    (pack,) = placed(GivenLine(Polygon(points[: len(points) // 2]), FIGURES)).packs
    assert pack.egg is None
