"""The sheets of the gates measured back: leaves, gaps, what lies below, swings, vehicle and airlock."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from scipy.interpolate import RegularGridInterpolator

from packpale.earthworks.gates import INNER, OUTER, gate_leaves
from packpale.enclosure.egg import Egg
from packpale.review.drawings.drawing_set import _sheets
from packpale.review.drawings.gate_sheets import gate_sheet, gates_of
from packpale.review.drawings.paper import write_svg
from packpale.review.drawings.sheet import Title
from packpale.review.lettering import printable
from packpale.review.words import Wording
from review import factory
from review.measured import Paper

KEY = {OUTER: "outer", INNER: "inner"}
CASES = {
    "two leaves into the airlock": {},
    "one leaf over a sill": {
        "gates": {"below": "concrete sill", "sill_above_ground_m": 0.1, "leaves": 1},
        "trench": {"side": "inside", "depth_m": 1.0},
    },
    "a single gate outward, in feet": {
        "fence": {"airlock_length_m": 0.0, "gates": 1},
        "gates": {"swing": "out"},
        "units": "imperial",
    },
    "a vehicle too large": {
        "fence": {"airlock_length_m": 8.0, "vehicle_width_m": 4.5, "hole_depth_m": 1.5},
        "gates": {"swing": "out"},
    },
}


@pytest.fixture(scope="module", params=CASES.values(), ids=CASES)
def case(request, tmp_path_factory):
    """Settings, plot, and its gate sheets read back."""
    settings = factory.project(**request.param)
    plot = factory.result(settings=settings)
    return settings, plot, read_back(plot, settings, tmp_path_factory.mktemp("gates"))


def read_back(plot, settings, folder):
    papers = []
    for name, sheet in _sheets(plot, settings, Wording.of(settings)):
        if name.startswith("gate-"):
            write_svg(sheet, folder / f"{name}.svg")
            papers.append(Paper(folder / f"{name}.svg"))
    return papers


def leaves_of(plot, gate):
    return [leaf for leaf in plot.earthworks.gates if leaf.gate == gate]


def test_a_sheet_for_each_gate(case):
    settings, plot, papers = case
    assert len(papers) == settings.fence.gates
    for gate, paper in enumerate(papers, 1):
        assert f"Gate {gate}" in paper.texts
        assert sum(name.startswith("leaf-") and name.count("-") == 2 for name in paper.lines) == len(
            leaves_of(plot, gate)
        )


def test_leaves_and_gaps_measured_back(case):
    settings, plot, papers = case
    show = Wording.of(settings).dimension
    for gate, paper in enumerate(papers, 1):
        scale, _ = paper.scales()
        for leaf in leaves_of(plot, gate):
            name = f"{KEY[leaf.place]}-{leaf.leaf}"
            outline = shapely.Polygon(paper.points(f"leaf-{name}") * scale / 1000)
            west, low, east, top = outline.bounds
            assert (east - west, top - low) == pytest.approx((leaf.width, leaf.height), abs=1e-3)
            assert paper.length(f"leaf-width-{name}") * scale / 1000 == pytest.approx(leaf.width, abs=1e-3)
            assert paper.length(f"leaf-height-{name}") * scale / 1000 == pytest.approx(leaf.height, abs=1e-3)
            assert paper.length(f"gap-{name}") * scale / 1000 == pytest.approx(leaf.gap, abs=1e-3)
            assert f"gap {printable(show(leaf.gap))}" in paper.texts
            assert printable(show(leaf.width)) in paper.texts
            # The gap is that between the drawn leaf and what is drawn below it.
            if math.isnan(leaf.sill_top):
                ground = paper.points(f"ground-{KEY[leaf.place]}-1") * scale / 1000
                at = np.linspace(west, east, 400)
                assert (low - np.interp(at, *ground.T)).max() == pytest.approx(leaf.gap, abs=0.005)
            else:
                sill = shapely.Polygon(paper.points("sill") * scale / 1000).bounds
                assert low - sill[3] == pytest.approx(leaf.gap, abs=1e-3)
                assert sill[3] - sill[1] == pytest.approx(
                    settings.gates.sill_depth_m + settings.gates.sill_above_ground_m, abs=1e-3
                )


def test_ground_below_a_gate_is_that_of_the_elevation(case):
    """Against scipy's interpolation of the cells, along the chord between the gate's posts, seen from outside."""
    settings, plot, papers = case
    grid, line = plot.site.grid, plot.enclosure.packs[0].line
    x, y = grid.centres()
    x, y = np.ravel(x), np.ravel(y)
    surface = RegularGridInterpolator((y[::-1], x), plot.site.elevation[::-1])
    for gate, paper in enumerate(papers, 1):
        scale, _ = paper.scales()
        leaf = leaves_of(plot, gate)[0]
        half = plot.enclosure.packs[0].gates.width / 2
        left, right = (line.points_at(leaf.chainage + sign * half) for sign in (1, -1))
        share = np.linspace(0, 1, 30)
        true = surface(np.column_stack([left.y + share * (right.y - left.y), left.x + share * (right.x - left.x)]))
        # Levels from the leaf's lower edge, widths from its left end.
        corner = paper.points("leaf-outer-1").min(axis=0)
        ground = (paper.points("ground-outer-1") - corner) * scale / 1000
        clear = math.hypot(right.x - left.x, right.y - left.y)
        drawn = np.interp(share * clear, *ground.T)
        assert drawn + leaf.underside == pytest.approx(true, abs=0.005)
        for name, deep in (("skirt", settings.trench.depth_m), ("apron", settings.trench.apron_cover_m)):
            below = (paper.points(f"{name}-below-1") - corner) * scale / 1000
            assert below - ground == pytest.approx(np.column_stack([0 * below[:, 0], 0 * below[:, 0] - deep]), abs=1e-3)
        # Footings of the posts: in the trench at the fence line, in ground as it lies at the inner gate.
        trench, hole = settings.trench.depth_m, settings.fence.hole_depth_m
        for side, at in ((1, 0.0), (2, clear)):
            box = shapely.Polygon((paper.points(f"footing-outer-{side}") - corner) * scale / 1000).bounds
            level = float(np.interp(at, *ground.T))
            assert box[1::2] == pytest.approx((level - max(hole, trench), level - max(hole, trench) + hole), abs=1e-3)
            assert (box[0] + box[2]) / 2 == pytest.approx(at, abs=1e-3)


def test_plan_of_the_gate_measured_back(case):
    settings, plot, papers = case
    fence, inward = settings.fence, settings.gates.swing == "in"
    for gate, paper in enumerate(papers, 1):
        _, scale = paper.scales()
        swept = []
        for leaf in leaves_of(plot, gate):
            name = f"{KEY[leaf.place]}-{leaf.leaf}"
            shut, wide_open, way = (paper.points(f"{kind}-{name}") * scale / 1000 for kind in ("shut", "open", "swing"))
            assert np.linalg.norm(way - shut[0], axis=1) == pytest.approx(np.full(len(way), leaf.width), abs=1e-3)
            assert way[[0, -1]] == pytest.approx(np.array([shut[1], wide_open[1]]), abs=1e-3)
            assert (wide_open[1, 1] > shut[0, 1]) == inward
            assert abs(np.dot(shut[1] - shut[0], wide_open[1] - wide_open[0])) < 1e-3
            swept.append(shapely.Polygon([shut[0], *way]))
        vehicle = shapely.Polygon(paper.points("vehicle") * scale / 1000)
        west, south, east, north = vehicle.bounds
        size = (east - west, north - south)
        assert size == pytest.approx((fence.vehicle_width_m, fence.vehicle_length_m), abs=1e-3)
        first = leaves_of(plot, gate)[0]
        assert paper.length("clear-width") * scale / 1000 == pytest.approx(first.spare_width + size[0], abs=1e-3)
        if fence.airlock_length_m == 0:
            assert "No airlock: a single gate." in paper.texts
            continue
        assert paper.length("airlock-length") * scale / 1000 == pytest.approx(fence.airlock_length_m, abs=1e-3)
        assert paper.length("airlock-width") * scale / 1000 == pytest.approx(fence.airlock_width_m, abs=0.05)
        # It stands clear of the leaves' way where they say that there is room, and in it where not.
        reach = shapely.union_all(swept).buffer(-1e-3)
        gates = shapely.MultiLineString([paper.points(f"shut-{k}-1") * scale / 1000 for k in ("outer", "inner")])
        stands = reach.intersects(vehicle) or gates.intersects(vehicle)
        assert stands == (first.spare_length < 0)
        assert any("too short" in text for text in paper.texts) == (first.spare_length < 0)
        assert any("too narrow" in text for text in paper.texts) == (first.spare_width < 0)


def test_warnings_stand_where_they_belong(case):
    _, plot, papers = case
    for gate, paper in enumerate(papers, 1):
        wide = any(leaf.gap > 0.1 for leaf in leaves_of(plot, gate))
        assert any("an animal may dig or" in text for text in paper.texts) == wide
        assert any("ground that is filled" in text for text in paper.texts)
        assert sum("elevation" in text.lower() and "errors" in text for text in paper.texts) == 1


def test_missing_elevation_is_not_drawn_as_ground(tmp_path):
    settings = factory.project()
    plot = factory.result(settings=settings)
    pack, site = plot.enclosure.packs[0], plot.site
    x, y = np.meshgrid(*site.grid.centres())
    for radius, runs in ((1.5, {1, 2}), (40.0, {0})):
        hole = np.hypot(x - pack.gates.x[0], y - pack.gates.y[0]) < radius
        blind = dataclasses.replace(site, elevation=np.where(hole, np.nan, site.elevation))
        works = dataclasses.replace(plot.earthworks, gates=gate_leaves(blind, pack, settings))
        blind_plot = dataclasses.replace(plot, site=blind, earthworks=works)
        gate = gates_of(blind_plot, settings)[0]
        title = Title("p", "plot", "", 1, 1, "", "")
        write_svg(gate_sheet(gate, blind_plot, settings, Wording.of(settings), title), tmp_path / "gate.svg")
        paper = Paper(tmp_path / "gate.svg")
        assert "elevation missing" in paper.texts
        assert sum(name.startswith("ground-outer") for name in paper.lines) in runs
        assert not [t for t in paper.texts if "nan" in t]
        assert "nan" not in " ".join(path.get("d") for path in paper.paths.values())


def test_two_packs_name_theirs():
    settings = factory.project()
    west, north = 500_000.0, 5_500_000.0
    eggs = (
        Egg(west + 110.0, north - 90.0, 95.0, 40.0, 26.0, 60.0),
        Egg(west + 200.0, north - 200.0, 300.0, 40.0, 25.0, 70.0),
    )
    plot = factory.result(settings=settings, lines=eggs)
    sheets = [sheet for name, sheet in _sheets(plot, settings, Wording.of(settings)) if name.startswith("gate-")]
    assert [s.title.drawing for s in sheets] == [f"Pack {p}, gate {g}" for p in (1, 2) for g in (1, 2)]
    numbers = [sheet.title.number for _, sheet in _sheets(plot, settings, Wording.of(settings))]
    assert numbers == list(range(1, sheets[0].title.sheets + 1))
