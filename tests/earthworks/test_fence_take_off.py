"""The fence's own quantities: mesh with laps by hand, apron by Steiner's formula, posts, airlocks and what is noted."""

import math

import numpy as np
import pytest
import shapely

from packpale.earthworks.fence_take_off import fence_notes, fence_take_off, mesh_area
from packpale.earthworks.mesh_fixings import seams, seams_per_m
from packpale.earthworks.mesh_rolls import mean_rolls, pieces, rolls, strips
from packpale.enclosure.egg import Egg
from packpale.enclosure.fence import posts
from packpale.enclosure.gate_places import place_gates
from packpale.enclosure.model import Gates, Posts
from packpale.settings import MeshSettings
from packpale.site import Grid
from told import told
from trench_cases import circle_line, pack_of, project_of, site_on

ROLLS = MeshSettings(roll_width_m=2.0, roll_length_m=25.0, lap_m=0.3)
EGG = Egg(500_000.0, 5_400_000.0, 40.0, 60.0, 30.0, 95.0)
GRID = Grid(499_700.0, 5_400_300.0, 2.0, 300, 300)
X, Y = np.meshgrid(*GRID.centres())
FLAT = np.full(GRID.shape, 250.0)


def taken(pack, **sections):
    project = project_of(**sections)
    return fence_take_off(pack, fence=project.fence, trench=project.trench, mesh=project.mesh)


def notes(pack, **sections):
    return told(fence_notes(pack, taken(pack, **sections), project_of(**sections).fence))


def test_laps_of_one_strip_by_hand():
    # 100 m in pieces of 25 m that lie 0.3 m over each other round a closed line: five pieces, 24.7 m of each seen.
    area = mesh_area(100.0, 1.7, ROLLS, joint=False)
    assert area.net == pytest.approx(170.0)
    assert area.with_laps == pytest.approx((100 + 5 * 0.3) * 1.7)
    # A joint with the next kind of mesh makes the strip a lap wider: 2.0 m, still one roll wide.
    assert mesh_area(100.0, 1.7, ROLLS, joint=True).with_laps == pytest.approx(101.5 * 2.0)


def test_laps_of_two_strips_by_hand():
    # 2.5 m takes two strips with 0.3 m of lap between them: one of 2.0 m and one of 0.8 m.
    assert strips(2.5, ROLLS, joint=False) == (1, pytest.approx(0.8))
    assert mesh_area(98.8, 2.5, ROLLS, joint=False).with_laps == pytest.approx((98.8 + 4 * 0.3) * 2.8)
    # Two strips that lap cover 3.7 m exactly, a little more takes three.
    assert strips(3.7, ROLLS, joint=False) == (1, pytest.approx(2.0))
    assert strips(3.71, ROLLS, joint=False) == (2, pytest.approx(0.31))


NONE = (100.0, 0.0, True)


@pytest.mark.parametrize(
    ("first", "second", "bought"),
    [
        # One strip of 1.7 m or 2.0 m out of each roll, two of 1.0 m.
        ((100.0, 1.7, False), NONE, 5),
        ((100.0, 1.7, True), NONE, 5),
        ((100.0, 1.0, False), NONE, 3),
        # Four rolls as they are, and 0.8 m out of two more.
        ((98.8, 2.5, False), NONE, 6),
        ((98.8, 3.71, False), NONE, 9),
        # Skirt 1.2 + 0.3 = 1.5 m; apron 1.8 + 0.3 = 2.1 m: a whole roll and 0.4 m, which fits beside the skirt.
        ((100.0, 1.2, True), (105.0, 1.8, True), 10),
        # Skirt 1.4 + 0.3 = 1.7 m: 0.4 m no longer fits beside it; five go out of a roll.
        ((100.0, 1.4, True), (105.0, 1.8, True), 11),
        (NONE, NONE, 0),
    ],
)
def test_rolls_as_they_are_cut_by_hand(first, second, bought):
    assert rolls(first, second, ROLLS) == bought
    assert rolls(second, first, ROLLS) == bought


def fewest_by_trying(pieces, roll):
    """Fewest rolls of a width for pieces of any widths: every piece in every roll begun, or in a new one."""
    best = len(pieces)

    def put(k, free):
        nonlocal best
        if len(free) >= best and k < len(pieces):
            return
        if k == len(pieces):
            best = min(best, len(free))
            return
        for i in range(len(free)):
            if free[i] >= pieces[k] - 1e-9:
                put(k + 1, [*free[:i], free[i] - pieces[k], *free[i + 1 :]])
        put(k + 1, [*free, roll - pieces[k]])

    put(0, [])
    return best


def test_no_way_of_cutting_takes_fewer_rolls():
    random = np.random.default_rng(7)
    mixed = 0
    for _ in range(150):
        widths, counts = random.uniform(0.25, 2.0, 2).round(2), random.integers(1, 6, 2)
        lengths = [24.7 * n for n in counts]
        found = rolls((lengths[0], widths[0], False), (lengths[1], widths[1], False), ROLLS)
        assert found == fewest_by_trying([w for w, n in zip(widths, counts, strict=True) for _ in range(n)], 2.0)
        alone = sum(math.ceil(n / math.floor(2.0 / w + 1e-9)) for w, n in zip(widths, counts, strict=True))
        mixed += found < alone
    # The two are cut out of the same rolls often enough for that to be tried.
    assert mixed > 20


@pytest.mark.parametrize("length", [1.0, 24.7, 24.71, 98.8, 100.0, 500.0])
def test_pieces_with_their_laps_reach_round(length):
    n = pieces(length, ROLLS)
    assert n * (25.0 - 0.3) >= length - 1e-9
    assert (n - 1) * (25.0 - 0.3) < length


def test_a_long_line_takes_what_a_metre_takes():
    per_m, begun = mean_rolls((1.2, True), (1.8, True), ROLLS)
    # A skirt and 0.4 m of the apron out of one roll, the rest of the apron out of another; two strips, each half a
    # piece too long in the mean.
    assert (per_m, begun) == pytest.approx((2 / 24.7, 1.0), abs=1e-9)
    assert rolls((5000.0, 1.2, True), (5000.0, 1.8, True), ROLLS) == pytest.approx(5000 * per_m, abs=2)
    # Ten pieces more of the apron take ten rolls as they are, and two more out of each of which five are cut.
    assert mean_rolls((1.2, True), (1.8, True), ROLLS, longer=247.0)[1] == pytest.approx(1.0 + 10 + 2, abs=0.5)


def test_no_width_takes_no_mesh():
    assert mesh_area(100.0, 0.0, ROLLS, joint=True).with_laps == 0
    assert strips(0.0, ROLLS, joint=True) == (0, 0.0)


@pytest.mark.parametrize(("side", "sign"), [("outside", 1), ("inside", -1)])
def test_apron_covers_the_ring_between_the_line_and_its_parallel(side, sign):
    line = circle_line(20.0, step=0.5)
    ring = abs(math.pi * ((20 + sign * 1.8) ** 2 - 20**2))
    found = taken(pack_of(line), trench={"apron_reach_m": 1.8, "side": side})
    assert found.mesh["apron"].net == pytest.approx(ring, rel=1e-9)
    # Twice the length on the ground takes twice the mesh.
    steep = taken(pack_of(line, length_3d=2 * 2 * math.pi * 20), trench={"apron_reach_m": 1.8, "side": side})
    assert steep.mesh["apron"].net == pytest.approx(2 * ring, rel=1e-9)


def test_apron_of_an_egg_is_the_area_between_the_polygons():
    from trench_cases import egg_line

    found = taken(pack_of(egg_line(EGG, step=0.5)), trench={"apron_reach_m": 1.8})
    ring = EGG.parallel(1.8).polygon(1e-5).difference(EGG.polygon(1e-5)).area
    assert found.mesh["apron"].net == pytest.approx(ring, rel=1e-4)


def test_an_airlock_has_sides_an_end_a_second_gate_and_its_posts():
    fence = {
        "height_m": 2.0, "overhang_m": 1.0, "gate_width_m": 4.0, "airlock_length_m": 10.0, "airlock_width_m": 5.0,
        "post_spacing_m": 3.0, "straining_wires": 2,
    }  # fmt: skip
    pack = pack_of(circle_line(20.0, step=0.5), length_3d=130.0, posts=40, gates=2)
    found = taken(pack, fence=fence)
    # Two sides of 10 m and an end of 5 m less its gate, twice; two gates' openings off the line.
    assert found.airlock_length == pytest.approx(2 * (20 + 5 - 4))
    assert found.hung_length == pytest.approx(130 - 8 + 42)
    assert found.gates == 4
    # A side of 10 m in panels of 3 m: three posts between its ends; each airlock has two sides.
    assert found.posts == {"line": 40 + 2 * 6, "bend": 2 * 4, "steep": 0, "gate": 2 * 2}
    assert found.holes == found.arms == 40 + 12 + 8 + 4
    assert found.wire == pytest.approx(2 * found.hung_length)
    assert found.mesh["fence"].net == pytest.approx(2.0 * found.hung_length)
    assert found.mesh["skirt"].net == pytest.approx(1.2 * 130)
    # As wide as its gate it has no corners of its own: the gates' posts stand there.
    narrow = taken(pack, fence=fence | {"airlock_width_m": 4.0})
    assert narrow.posts["bend"] == 0
    assert narrow.airlock_length == pytest.approx(40)
    single = taken(pack, fence=fence | {"airlock_length_m": 0.0})
    assert (single.gates, single.airlocks, single.airlock_length) == (2, 0, 0)
    assert single.hung_length == pytest.approx(122)


def on_circle(*, deflection, kinds):
    """Forty posts with one angle between their panels."""
    zeros = np.zeros(40)
    return Posts(np.arange(40.0), zeros, zeros, zeros, np.full(40, deflection), kinds)


def with_posts(standing, gates=0):
    import dataclasses

    return dataclasses.replace(pack_of(circle_line(20.0, step=0.5), gates=gates), posts=standing)


def test_panels_that_bend_too_much_are_noted_with_the_spacing_that_would_do():
    plain = with_posts(on_circle(deflection=8.6, kinds=("line",) * 40))
    assert notes(plain, fence={"max_panel_deflection_deg": 9.0}) == []
    (note,) = notes(plain, fence={"max_panel_deflection_deg": 6.0})
    # A chord of 2 R sin(limit / 2) on 20 m turns by the limit.
    assert f"at most {2 * 20 * math.sin(math.radians(3)):.2f} m apart" in note
    assert "8.6°" in note
    assert "40 posts" in note
    # A post that is strutted for a bend takes any angle.
    bends = with_posts(on_circle(deflection=8.6, kinds=("bend",) * 40))
    assert notes(bends, fence={"max_panel_deflection_deg": 6.0}) == []
    assert taken(bends).largest_deflection_deg == 0


def test_an_airlock_too_short_and_a_gate_too_narrow_for_the_vehicle_are_noted():
    pack = pack_of(circle_line(20.0, step=0.5))
    fit = {"gate_width_m": 4.0, "airlock_length_m": 9.0, "vehicle_length_m": 7.0, "vehicle_width_m": 2.5}
    assert notes(pack, fence=fit) == []
    (note,) = notes(pack, fence=fit | {"vehicle_length_m": 7.5})
    assert "9.5 m long. fence.airlock_length_m is 9 m" in note
    (note,) = notes(pack, fence=fit | {"vehicle_width_m": 4.2})
    assert "4.2 m wide does not pass" in note
    (note,) = notes(pack, fence=fit | {"airlock_length_m": 0.0})
    assert "901:1-4-01.1" in note


def test_posts_stand_at_both_sides_of_gates_and_none_in_between():
    # One gate lies over the tip of the big end, where chainage starts, the other on a change of arc.
    middle = np.array([0.5, EGG.bends[1] + 0.3])
    points = EGG.points_at(middle)
    gates = Gates(middle, points.x, points.y, 4.0)
    standing = posts(EGG, 3.0, FLAT, GRID, gates=gates)
    assert standing.of("gate") == 4
    assert standing.of("bend") == 3
    assert (np.diff(standing.chainage) > 0).all()
    sides = np.mod(np.concatenate([middle - 2, middle + 2]), EGG.perimeter)
    found = standing.chainage[[k == "gate" for k in standing.kind]]
    assert found == pytest.approx(np.sort(sides), abs=1e-9)
    apart = np.mod(standing.chainage[:, None] - middle + EGG.perimeter / 2, EGG.perimeter) - EGG.perimeter / 2
    assert (np.abs(apart) >= 2 - 1e-9).all()
    panels = np.hypot(np.roll(standing.x, -1) - standing.x, np.roll(standing.y, -1) - standing.y)
    assert np.sort(panels)[:-2].max() <= 3.0 + 1e-9
    # The two openings are the only longer spans.
    assert np.sort(panels)[-2:] == pytest.approx(4.0, abs=0.02)
    assert standing.deflection_deg.sum() == pytest.approx(360)


def test_posts_on_steep_ground_are_steep_ones():
    slope = 250.0 + 0.3 * np.maximum(X - EGG.big_x, 0)
    standing = posts(EGG, 3.0, slope, GRID, steep=0.2)
    tangent = np.abs(np.sin(np.radians(EGG.points_at(standing.chainage).bearing_deg)))
    kinds = np.array(standing.kind)
    rise = np.where(standing.x > EGG.big_x + 6, 0.3 * tangent, 0.0)
    assert (kinds[rise > 0.22] != "line").all()
    assert (kinds[(standing.x < EGG.big_x - 6) | (tangent < 0.5)] != "steep").all()
    assert 10 < standing.of("steep") < standing.x.size / 2


def test_gates_that_overlap_are_refused():
    one = EGG.points_at([10.0, 12.0])
    with pytest.raises(ValueError, match="overlap"):
        posts(EGG, 3.0, FLAT, GRID, gates=Gates(np.array([10.0, 12.0]), one.x, one.y, 4.0))


def test_a_gate_keeps_its_airlock_off_steep_ground_inside():
    # Flat but for a bank 8 m inside the eastern part of the line: only a long airlock meets it.
    line = EGG.polygon(0.01)
    near = shapely.contains_xy(line.buffer(-8), X, Y) & (EGG.big_x < X)
    ground = np.where(near, 256.0, 250.0)
    track = shapely.Point(EGG.big_x + 190, EGG.big_y + 60)
    site = site_on(GRID, ground, access=(track,))
    one = {"gates": 1, "airlock_length_m": 0.0}
    short = place_gates(EGG, site, project_of(fence=one))
    long = place_gates(EGG, site, project_of(fence=one | {"airlock_length_m": 12.0}))
    assert short.x[0] > EGG.big_x + 20
    assert long.x[0] < EGG.big_x + 5


def test_laps_by_their_length_by_hand():
    # One strip of 2.0 m in five pieces: five ends of 2.0 m, and along the edge where it joins the next part.
    assert seams(100.0, 1.7, ROLLS, joint=True) == pytest.approx(100.0 + 5 * 2.0)
    assert seams(100.0, 1.7, ROLLS, joint=False) == pytest.approx(5 * 1.7)
    # Two strips, 2.0 and 0.8 m, in four pieces: one lap along, four ends of 2.8 m.
    assert seams(98.8, 2.5, ROLLS, joint=False) == pytest.approx(98.8 + 4 * 2.8)
    assert seams(98.8, 0.0, ROLLS, joint=True) == 0
    assert seams_per_m(2.5, ROLLS, joint=False) == pytest.approx(1 + 2.8 / 24.7)


def test_ties_and_pegs_by_hand():
    # A circle of 50 m radius, two gates of 4 m without airlocks; skirt 1.2 m, apron 1.8 m outside.
    around = 2 * math.pi * 50
    line = circle_line(50.0, step=around / 300)
    pack = pack_of(line, length_3d=around, posts=105, gates=2)
    found = taken(
        pack,
        fence={"height_m": 2.5, "overhang_m": 1.0, "airlock_length_m": 0.0, "gate_width_m": 4.0, "straining_wires": 3},
        trench={"depth_m": 1.2, "apron_reach_m": 1.8},
        mesh={
            "wire_tie_spacing_m": 0.5,
            "post_tie_spacing_m": 0.35,
            "lap_tie_spacing_m": 0.2,
            "anchor_spacing_m": 2.0,
        },
    ).fixings
    hung = around - 8
    apron = around + math.pi * 1.8  # mean of both edges, one full turn
    assert found.on_wires == math.ceil(2 * 3 * hung)
    assert found.on_posts == 105 * 8  # 7.1 on each, the last part counted

    def ends(length):
        return math.ceil(length / 24.7)

    laps = (
        (hung + ends(hung) * 2.8)  # fence: 2.0 and 0.8 m
        + (hung + ends(hung) * 1.3)  # overhang: one strip, joined to the fence
        + ends(around) * 1.5  # skirt: one strip
        + (2 * apron + ends(apron) * 2.4)  # apron: 2.0 and 0.4 m, and joined to the skirt
    )
    assert found.in_laps == math.ceil(5 * laps)
    assert (found.joint_length, found.in_joint) == (pytest.approx(hung), math.ceil(5 * hung))
    assert found.anchors == math.ceil(apron / 2)
    assert taken(pack, trench={"apron_reach_m": 0.0}).fixings.anchors == 0
