"""The enclosures of one plot, from its land to gates, and the reasons where none fits."""

import dataclasses
import itertools

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, box

from packpale.earthworks.work_out import work_out
from packpale.enclosure.egg import Egg
from packpale.enclosure.fitting import fits_for as ORIGINAL  # noqa: N812 - as it was before a test replaces it
from packpale.enclosure.gate_places import keep_off
from packpale.enclosure.packs import gap
from packpale.enclosure.place import cells_inside, place, screened, staked_out
from packpale.land.model import Land, Limit
from packpale.run.pricing import pricing_of
from packpale.settings import GateSettings, Project
from packpale.site import Grid, Site, Soil
from packpale.values.notes import phrase
from told import say
from trench_cases import project_of

GRID = Grid(500_000.0, 5_400_300.0, 2.0, 150, 150)
X, Y = np.meshgrid(*GRID.centres())
WHOLE = box(500_010, 5_400_010, 500_290, 5_400_290)


def full(value):
    return np.full(GRID.shape, value)


@pytest.fixture
def make_site():
    def build(features=None):
        soil = Soil(full(1.5), full(True), full(2.0), full(25.0), full(10.0), full(np.int8(2)), full(np.inf))
        elevation = 300 + 0.1 * (X - 500_000)
        inside = shapely.contains_xy(WHOLE, X, Y)
        return Site("north", "EPSG:25832", MultiPolygon([WHOLE]), GRID, elevation, inside, soil, features or {})

    return build


@pytest.fixture
def make_land():
    def build(usable=WHOLE, limits=(), suitability=None):
        usable = usable if isinstance(usable, MultiPolygon) else MultiPolygon([usable] if usable.area else [])
        zero = full(0.0)
        return Land(
            slope=full(0.1),
            filled=zero,
            ponding=zero,
            upstream_area=zero,
            path_length=zero,
            path_head=zero,
            upstream_is_lower_bound=full(False),
            wetness=zero,
            height_above_drainage=zero,
            channel=full(False),
            flow_direction=full(np.int8(-1)),
            limitation=zero,
            limiting_feature=full(np.int8(0)),
            weights={},
            consistency_ratio=None,
            suitability=(X - 500_000) / 300 if suitability is None else suitability,
            usable=usable,
            enclosable=usable,
            limits=limits,
        )

    return build


@pytest.fixture
def make_project():
    def build(**enclosure):
        inputs = {"elevation": "dem.tif", "plots": "plots.gpkg", "plot_id": "name"}
        return Project.model_validate({"inputs": inputs, "enclosure": enclosure, "fence": {"gates": 3}})

    return build


def test_largest_enclosure_is_staked_out_posted_and_gated(make_site, make_land, make_project):
    site, land, project = make_site(), make_land(), make_project()
    enclosure = place(site, land, project)
    assert enclosure.feasible
    (pack,) = enclosure.packs
    egg, strip = pack.fit.egg, project.trench.outside_strip_m
    assert pack.number == 1
    assert egg.small_radius >= project.enclosure.min_radius_m
    assert WHOLE.contains(egg.parallel(strip).polygon(1e-4))
    assert not WHOLE.contains(egg.parallel(strip + 0.01).polygon(1e-4))
    assert len(pack.alignment.x) >= egg.perimeter / project.trench.station_m
    assert len(pack.posts.x) >= egg.perimeter / project.fence.post_spacing_m
    assert len(pack.gates.x) == 3
    assert pack.gates.width == project.fence.gate_width_m
    # The ground slopes at 10 %: longer than the plan, by no more than on the steepest line.
    assert egg.perimeter * 1.001 < pack.length_3d < egg.perimeter * np.hypot(1, 0.1)
    inside = shapely.contains_xy(egg.polygon(1e-6), X, Y)
    assert (cells_inside(egg, site) == inside).all()
    assert pack.mean_suitability == pytest.approx(land.suitability[inside].mean())
    assert pack.mean_slope == pytest.approx(0.1)


def test_bound_is_proven_to_the_gap_asked_for(make_site, make_land, make_project):
    for share in (0.2, 0.005):
        (pack,) = place(make_site(), make_land(), make_project(proof_gap=share)).packs
        assert pack.fit.egg.area <= pack.fit.area_bound_m2 <= (1 + share) * pack.fit.egg.area
    assert place(make_site(), make_land(), make_project()).notes == ()


def test_a_plot_that_is_screened_has_the_line_without_proof_and_without_others(make_site, make_land, make_project):
    given = make_site(), make_land(), make_project()
    quick, whole = screened(*given), place(*given)
    assert quick.packs[0].fit.egg.area == pytest.approx(whole.packs[0].fit.egg.area, rel=0.03)
    assert quick.packs[0].fit.area_bound_m2 >= whole.packs[0].fit.area_bound_m2
    assert quick.alternatives == ()
    assert quick.packs[0].touches == ()


def test_where_the_short_search_finds_nothing_a_plot_gets_the_long_one(make_site, make_land, make_project, monkeypatch):
    asked = []

    def fits_for(*given, screening=False):
        asked.append(screening)
        return () if screening else ORIGINAL(*given)

    monkeypatch.setattr("packpale.enclosure.place.fits_for", fits_for)
    assert screened(make_site(), make_land(), make_project()).feasible
    assert asked == [True, False]


def test_first_gate_faces_the_track(make_site, make_land, make_project):
    site = make_site({"access": (Point(500_150, 5_399_000),)})
    # The ground slopes at 10 %: what a leaf leaves open there is allowed.
    project = make_project().model_copy(update={"gates": GateSettings(max_gap_m=0.5)})
    gates = place(site, make_land(), project).packs[0].gates
    assert gates.y[0] == pytest.approx(min(gates.y), abs=1e-9)
    assert gates.y[0] < 5_400_100


def test_packs_keep_their_distance(make_site, make_land, make_project):
    project = make_project(packs=3, separation_m=14.0)
    enclosure = place(make_site(), make_land(), project)
    assert [p.number for p in enclosure.packs] == [1, 2, 3]
    for a, b in itertools.combinations(enclosure.packs, 2):
        assert gap(a.fit.egg, b.fit.egg)[0] >= 14.0


def test_given_area_goes_where_the_land_suits(make_site, make_land, make_project):
    (pack,) = place(make_site(), make_land(), make_project(area_ha=0.6)).packs
    assert pack.fit.egg.area == pytest.approx(6000)
    # Suitability rises eastward: it stands against the eastern edge with its strip.
    east = pack.fit.egg.points_at(np.linspace(0, pack.fit.egg.perimeter, 2000)).x.max()
    assert east == pytest.approx(500_290 - make_project().trench.outside_strip_m, abs=0.01)


def test_of_places_that_suit_alike_the_one_that_is_easier_to_dig_is_taken(make_site, make_land, make_project):
    land = dataclasses.replace(make_land(suitability=full(0.5)), limitation=(X - 500_000) / 300)
    (pack,) = place(make_site(), land, make_project(area_ha=0.6)).packs
    west = pack.fit.egg.points_at(np.linspace(0, pack.fit.egg.perimeter, 2000)).x.min()
    assert west < 500_010 + make_project().trench.outside_strip_m + 1.0


def test_each_pack_says_what_holds_it(make_site, make_land, make_project):
    steep = Limit(
        "slope",
        phrase("steeper than 20 degrees"),
        MultiPolygon([box(500_010, 5_400_150, 500_290, 5_400_290)]),
        0.5,
        False,
    )
    land = make_land(box(500_010, 5_400_010, 500_290, 5_400_150), (steep,))
    project = make_project(packs=2, separation_m=14.0)
    packs = place(make_site(), land, project).packs
    assert len(packs) == 2
    for pack in packs:
        names = {say(name) for touch in pack.touches for name in touch.limits}
        assert names == {"plot boundary", say(steep.name), f"distance kept from pack {3 - pack.number}"}
        for touch in pack.touches:
            kept = 14.0 if "pack" in say(touch.limits[0]) else project.trench.outside_strip_m
            assert np.hypot(touch.limit_x - touch.x, touch.limit_y - touch.y) == pytest.approx(kept, abs=0.011)


STEEP = Limit("slope", phrase("steeper than 20 degrees"), MultiPolygon([WHOLE]), 0.18, False)
SETBACK = Limit("setback", phrase("plot boundary setback of 3 m"), MultiPolygon([WHOLE]), 0.06, False)
ROCK = Limit("rock", phrase("rock within 0.3 m"), MultiPolygon([WHOLE]), 0.001, False)


def test_reason_says_what_there_is_and_what_takes_the_rest(make_site, make_land, make_project):
    patch = box(500_100, 5_400_100, 500_140, 5_400_160)
    enclosure = place(make_site(), make_land(patch, (SETBACK, STEEP, ROCK)), make_project())
    assert not enclosure.feasible
    assert enclosure.packs == ()
    strip = make_project().trench.outside_strip_m
    assert say(enclosure.reason) == (
        "no fence line fits that bends no tighter than a radius of 15 m. The largest patch that may be enclosed has "
        f"0.24 ha; its largest circle has a radius of 20 m, of which the strip outside the fence takes {strip:.2f} m. "
        "What may not be enclosed: steeper than 20 degrees (18 % of the plot), plot boundary setback of 3 m (6 % of "
        "the plot)"
    )


def test_reason_tells_what_only_the_line_keeps_off_apart(make_site, make_land, make_project):
    steep = dataclasses.replace(STEEP, share=0.94, may_lie_inside=True)
    enclosure = place(make_site(), make_land(box(0, 0, 0, 0), (SETBACK, steep)), make_project())
    assert say(enclosure.reason).endswith(
        "What may not be enclosed: plot boundary setback of 3 m (6 % of the plot). What the line has to keep off: "
        "steeper than 20 degrees (94 % of the plot)"
    )


def test_reason_tells_of_no_patch_where_there_is_room_for_one(make_site, make_land, make_project):
    """Room for a circle of 70 m, and steep ground all over on which the line may not stand."""
    steep = dataclasses.replace(STEEP, share=1.0, may_lie_inside=True)
    land = make_land(box(500_010, 5_400_010, 500_150, 5_400_150), (steep,))
    project = make_project(line_over_limits=0.05)
    assert say(place(make_site(), land, project).reason) == (
        "no fence line fits that bends no tighter than a radius of 15 m and runs over limits for no more than 5 % of "
        "its length. What the line has to keep off: steeper than 20 degrees (100 % of the plot)"
    )


def test_reason_where_nothing_is_usable(make_site, make_land, make_project):
    enclosure = place(make_site(), make_land(box(0, 0, 0, 0), (STEEP,)), make_project())
    assert say(enclosure.reason) == (
        "no land that may be enclosed is left on the plot. What may not be enclosed: steeper than 20 degrees (18 % of "
        "the plot)"
    )


def test_reason_says_how_many_packs_would_fit(make_site, make_land, make_project):
    room = box(500_100, 5_400_100, 500_180, 5_400_160)
    assert len(place(make_site(), make_land(room), make_project()).packs) == 1
    enclosure = place(make_site(), make_land(room), make_project(packs=3))
    assert enclosure.packs == ()
    assert say(enclosure.reason).startswith(
        "only 1 of 3 enclosures fit, 10 m apart. The largest patch that may be enclosed has 0.48 ha"
    )


def test_reason_says_what_area_would_fit(make_site, make_land, make_project):
    land = make_land(box(500_100, 5_400_100, 500_200, 5_400_160))
    largest = place(make_site(), land, make_project()).packs[0].fit.egg.area
    enclosure = place(make_site(), land, make_project(area_ha=3))
    assert say(enclosure.reason).startswith(
        "no fence line round 3 ha fits that bends no tighter than a radius of 15 m; "
        f"the largest that fits has {largest / 1e4:.2f} ha. "
    )


def crossed_by(pack, stream_x):
    """Places where a fence line meets a stream that runs along a meridian of the grid."""
    x = pack.line.points_at(np.linspace(0, pack.line.perimeter, 4001)).x
    return int(((x[:-1] < stream_x) != (x[1:] < stream_x)).sum())


@pytest.mark.parametrize(("penalty", "crossings"), [(0.0, 2), (0.001, 2), (0.2, 0)])
def test_given_area_keeps_off_a_stream_if_that_costs_less_suitability_than_crossing(
    penalty, crossings, make_site, make_land, make_project
):
    # A stream runs south 60 m from the eastern edge, where the land suits best. An egg of 0.6 ha is about 90 m across:
    # beside the stream its middle lies some 60 m further west, which costs 60 m / 300 m = 0.2 of the suitability at
    # most, and two crossings are worth twice the penalty.
    stream = np.abs(X - 500_231) < 1
    land = dataclasses.replace(
        make_land(),
        upstream_area=np.where(stream, 20_000.0, 4.0),
        flow_direction=np.where(stream & (Y.min() < Y), 2, -1).astype(np.int8),
    )
    project = Project.model_validate(
        make_project(area_ha=0.6).model_dump(exclude_unset=True) | {"crossings": {"placing_penalty": penalty}}
    )
    (pack,) = place(make_site(), land, project).packs
    assert pack.fit.egg.area == pytest.approx(6000)
    assert crossed_by(pack, 500_231) == crossings
    # Off the stream, it stands right beside it: nearer would be better still.
    if not crossings:
        east = pack.line.points_at(np.linspace(0, pack.line.perimeter, 2000)).x.max()
        assert east == pytest.approx(500_230 - project.trench.outside_strip_m, abs=0.01)


def priced(site, land, project):
    """Placed with the prices of a run, and the bill of what was placed."""
    enclosure = place(site, land, project, pricing_of(site, land, project))
    return enclosure, work_out(site, enclosure, project).cost["likely"] if enclosure.feasible else None


def test_a_budget_buys_the_largest_whose_bill_is_within_it(make_site, make_land, make_project):
    enclosure, bill = priced(make_site(), make_land(), make_project(budget=60_000.0))
    # The bill rises by whole rolls of mesh.
    assert 0.98 * 60_000 <= bill <= 60_000
    (told,) = [a for a in enclosure.alternatives if a.aim == "budget"]
    # What is told is the bill itself, to the cent.
    assert told.price == pytest.approx(bill, abs=0.005)
    assert told.egg == enclosure.packs[0].fit.egg
    more, _ = priced(make_site(), make_land(), make_project(budget=80_000.0))
    assert more.packs[0].fit.egg.area > enclosure.packs[0].fit.egg.area


def test_a_budget_below_every_line_is_an_answer_with_the_least_price(make_site, make_land, make_project):
    enclosure, _ = priced(make_site(), make_land(), make_project(budget=9_000.0))
    assert not enclosure.feasible
    assert say(enclosure.reason).startswith(
        "no fence line on this plot is within the budget of 9,000; about the cheapest"
    )
    assert any(a.feasible for a in enclosure.alternatives)


def test_a_low_price_decides_where_an_enclosure_of_given_area_lies(make_site, make_land, make_project):
    # Rock at 0.3 m east of x = 500,150, where the suitability is highest.
    site = make_site()
    rock = np.where(X > 500_150, 0.3, 5.0)
    site = dataclasses.replace(site, soil=dataclasses.replace(site.soil, depth_to_rock=rock))
    suits, dear = priced(site, make_land(), make_project(area_ha=0.8))
    low, cheap = priced(site, make_land(), make_project(area_ha=0.8, prefer="price"))
    assert suits.packs[0].fit.egg.area == pytest.approx(8_000)
    assert low.packs[0].fit.egg.area == pytest.approx(8_000)
    assert cheap < 0.9 * dear
    assert low.packs[0].alignment.x.max() < 500_153
    # The roundest egg off the rock has the shortest line.
    assert low.packs[0].fit.egg.perimeter < 1.01 * suits.packs[0].fit.egg.perimeter


def test_the_menu_stands_beside_whatever_is_built(make_site, make_land, make_project):
    for wanted in ({}, {"packs": 2}, {"area_ha": 0.5}, {"area_ha": 50}):
        enclosure, _ = priced(make_site(), make_land(), make_project(**wanted))
        assert {a.aim for a in enclosure.alternatives} == {"size", "share"}
        prices = [a.price for a in enclosure.alternatives if a.aim == "size"]
        assert prices == sorted(prices)
        assert len(prices) > 3
    assert not enclosure.feasible


def test_without_prices_there_is_no_menu_and_nothing_is_chosen_by_price(make_site, make_land, make_project):
    assert place(make_site(), make_land(), make_project()).alternatives == ()
    with pytest.raises(ValueError, match="needs prices"):
        place(make_site(), make_land(), make_project(budget=50_000.0))


def test_what_is_kept_off_comes_from_limits_water_and_the_other_enclosures(make_site, make_land):
    stream = LineString([(500_100, 5_400_000), (500_100, 5_400_300)])
    site = make_site({"watercourses": (stream,)})
    names = {"slope": True, "dwellings": False, "keep_out": False, "setback": False, "services": True}
    limits = tuple(
        Limit(kind, phrase(kind), MultiPolygon([box(500_000, 5_400_000, 500_020, 5_400_020)]), 0.1, soft)
        for kind, soft in names.items()
    )
    line, other = (Egg(500_000.0 + x, 5_400_150.0, 0.0, 30.0, 20.0, 25.0) for x in (150, 240))
    project = project_of(gates={"from_water_m": 4.0})
    found = _said(keep_off(line, site, make_land(limits=limits), project, (other,)))
    # A machine may cross a setback or the ground near a dwelling; pipes that may lie inside are not built on.
    assert found == ["slope", "keep_out", "services", "4 m from mapped watercourses", "another enclosure"]
    assert _said(keep_off(line, site, make_land(), project)) == ["4 m from mapped watercourses"]


def test_gates_of_enclosures_side_by_side_face_away_from_each_other(make_site, make_land):
    # 4 m apart, with the access between them; level ground, so that nothing else decides.
    west, east = (Egg(500_000.0 + x, 5_400_150.0, 0.0, 40.0, 30.0, 25.0) for x in (80, 164))
    site = dataclasses.replace(make_site({"access": (Point(500_122, 5_400_150),)}), elevation=full(300.0))
    for line, other in ((west, east), (east, west)):
        alone, beside = (
            staked_out(1, line, site, make_land(), project_of(), given=line, others=others).gates
            for others in ((), (other,))
        )
        assert other.distance(alone.x, alone.y)[0] == pytest.approx(4.0, abs=0.1)
        # A vehicle of 7 m has room before each.
        out = line.points_at(beside.chainage).outward
        assert (other.distance(beside.x + 7 * out[:, 0], beside.y + 7 * out[:, 1]) > 0).all()
        assert other.distance(beside.x, beside.y)[0] > 6.0


def test_water_that_crosses_the_line_is_kept_off(make_site, make_land):
    # One flow path of 1 ha runs east along a row of cells, through the line.
    site, land = make_site(), make_land()
    row = 75
    area, way = np.zeros(site.grid.shape), np.full(site.grid.shape, -1, np.int8)
    area[row], way[row, :-1] = 1e4, 0
    channel = np.zeros(site.grid.shape, bool)
    land = type(land)(**{**vars(land), "upstream_area": area, "flow_direction": way, "channel": channel})
    line = Egg(500_150.0, 5_400_150.0, 0.0, 40.0, 30.0, 25.0)
    (crossing,) = keep_off(line, site, land, project_of())
    y = site.grid.centres()[1][row]
    assert shapely.get_coordinates(crossing.ground)[:, 1] == pytest.approx([y, y])
    assert line.distance(*shapely.get_coordinates(crossing.ground).T) == pytest.approx(0, abs=1e-6)
    channel[row, 20:25] = True
    _, dug = keep_off(line, site, land, project_of())
    assert dug.ground.size == 5
    assert dug.distance == project_of().gates.from_water_m + site.grid.cell / 2


def _said(found):
    return [say(one.name) for one in found]
