"""The programme of work by hand: whole days, a line that is dug once, hours and amounts that add up."""

import dataclasses
import itertools
import math

import numpy as np
import pytest

from packpale.earthworks.fence_take_off import fence_take_off
from packpale.earthworks.model import Profile
from packpale.earthworks.plant import machine_work
from packpale.earthworks.programme import cut_into_days, days_of, programme, programme_notes, share_between
from packpale.settings import BulkingSettings, PlantSettings, ProgrammeSettings
from told import told
from trench_cases import circle_line, length_of, pack_of, project_of, volumes_of

BULKING = BulkingSettings(soil_swell=0.25, soil_shrink=0.1, rock_swell=0.5, soft_rock_swell=0.4)
PLANT = PlantSettings(bucket_m3=0.3, cycle_s=20.0, fill_soil=1.0, efficiency=0.75, hours_per_day=8.0, open_days=2.0)


@pytest.mark.parametrize(
    ("hours", "days"), [(24.0, 3), (8.01, 2), (8.0, 1), (7.99, 1), (0.0, 0), (0.01, 1), (0.1 + 0.2 + 7.7, 1)]
)
def test_days_are_rounded_up(hours, days):
    assert days_of(hours, 8.0) == days


def test_even_work_is_cut_into_equal_days():
    # 100 stations of 0.24 h: 24 h, three days of a third of the line each.
    assert cut_into_days(np.full(100, 0.24), 8.0) == pytest.approx([0, 100 / 3, 200 / 3, 100])


def test_the_last_day_is_what_is_left():
    # 8.01 h: the second day has 0.01 h of it, and as much of the line.
    assert cut_into_days(np.full(89, 0.09), 8.0) == pytest.approx([0, 8 / 0.09, 89])


def test_slow_ground_makes_short_days():
    # Stations 0 to 3 take 4 h each, 4 to 7 1 h; work begins in the middle of the stretch of station 0: of its 4 h the
    # last 2 come at the end. 2 + 4 + 2: half of station 2's stretch. 2 + 4 + 1 + 1: that of 3, and two more to 5.5.
    ends = cut_into_days(np.array([4, 4, 4, 4, 1, 1, 1, 1.0]), 8.0)
    assert ends == pytest.approx([0, 2, 5.5, 8])
    assert share_between(np.array([4, 4, 4, 4, 1, 1, 1, 1.0]), ends) == pytest.approx([8, 8, 4])


def test_without_a_trench_there_is_one_day():
    assert cut_into_days(np.zeros(5), 8.0) == pytest.approx([0, 5])


def planned(volumes=None, *, rock_depth=9.0, water=9.0, plant=PLANT, radius=50 / math.pi, number=1, **settings):
    """A circle of 100 m in 100 stations, dug as deep everywhere, and its programme."""
    line = circle_line(radius, step=1.0)
    n = line.chainage.size
    volumes = volumes or volumes_of(324.0, bulking=BULKING)
    area = volumes.cut_at_station if volumes.cut_at_station.size == n else np.full(n, volumes.cut / length_of(line))
    volumes = dataclasses.replace(volumes, cut_at_station=area, stripped_area=300.0)
    pack = pack_of(line, number=number)
    depth = np.full(n, 1.2)
    rock, wet = (np.broadcast_to(v, n).astype(float) for v in (rock_depth, water))
    profile = Profile(number, depth, rock, wet, smoothed=False, deeper=(), shallower=())
    project = project_of()
    fence = fence_take_off(pack, fence=project.fence, trench=project.trench, mesh=project.mesh)
    worked = machine_work([pack], [volumes], [profile], bulking=BULKING, plant=plant)
    made = programme([pack], [volumes], [profile], [fence], worked, plant=plant, settings=ProgrammeSettings(**settings))
    return made, volumes, fence, worked


def of(made, work):
    return [day for day in made.days if day.work == work]


def test_a_day_s_trench_sums_to_the_line_and_touches_the_next():
    made, _, _, _ = planned()
    trench = of(made, "trench")
    assert len(trench) > 3
    assert sum(d.end - d.start for d in trench) == pytest.approx(100.0)
    assert [d.start for d in trench[1:]] == pytest.approx([d.end for d in trench[:-1]])
    assert (trench[0].start, trench[-1].end) == (0.0, pytest.approx(100.0))


def test_hours_and_amounts_sum_to_those_of_plant_and_take_off():
    made, volumes, fence, worked = planned(volumes_of(324.0, soft=20.0, hard=10.0, bulking=BULKING), rock_depth=0.9)
    trench = of(made, "trench")
    assert sum(d.machine_h for d in trench) == pytest.approx(worked.machine_hours)
    for name in ("cut_loose", "backfill_compacted", "import_compacted", "surplus_loose"):
        assert sum(getattr(d, name) for d in trench) == pytest.approx(getattr(volumes, name)), name
    assert volumes.import_compacted > 0
    mesh = fence.mesh["skirt"].with_laps + fence.mesh["apron"].with_laps
    assert sum(d.buried_mesh for d in trench) == pytest.approx(mesh)
    assert sum(d.posts for d in made.days) == sum(fence.posts.values())
    assert sum(d.concrete for d in made.days) == pytest.approx(fence.concrete)
    assert sum(d.gates for d in made.days) == fence.gates
    # 300 m2 at 100 m2 an hour.
    machine = sum(d.machine_h for d in of(planned(clear_m2_per_h=100.0)[0], "clear"))
    assert machine == pytest.approx(3.0)


def test_one_day_of_trench_by_hand():
    # 324 m3 in the ground: 10 h to dig, 450 m3 loose at 40.5 an hour to fill; nothing is left over. Mesh at such a
    # rate that it takes a hundredth of an hour for each metre.
    made, _, fence, _ = planned(people=1, mesh_m2_per_h=1000.0, posts_first=True)
    mesh = fence.mesh["skirt"].with_laps + fence.mesh["apron"].with_laps
    total = 10.0 + 450 / 40.5 + mesh / 1000.0
    trench = of(made, "trench")
    assert len(trench) == math.ceil(total / 8)
    assert [d.end - d.start for d in trench[:-1]] == pytest.approx([100 * 8 / total] * (len(trench) - 1))
    assert sum(d.crew_h for d in trench) == pytest.approx(mesh / 1000.0)


def test_nothing_stands_open_where_each_day_is_closed():
    made, _, _, _ = planned()
    assert {d.open_overnight for d in made.days} == {0.0}
    assert programme_notes(made) == []


def test_open_days_add_up_and_what_follows_waits():
    made, _, _, _ = planned(close_each_day=False, people=20)
    trench = of(made, "trench")
    assert len(trench) >= 3
    length = [d.end - d.start for d in trench]
    # A stretch is filled two days later: it stands open in two nights.
    two = [a + b for a, b in itertools.pairwise(length)]
    assert [d.open_overnight for d in trench] == pytest.approx([length[0], *two])
    assert of(made, "hang")[0].day == trench[-1].day + 3
    (note,) = programme_notes(made)
    assert f"Up to {max(d.open_overnight for d in trench):.0f} m of trench stand open overnight" in told([note])[0]
    # People in plenty: the machine alone decides, 21.1 h in three days.
    assert len(trench) == 3


def test_days_follow_one_another_in_the_order_of_work():
    made, _, _, _ = planned(posts_first=True)
    assert [d.day for d in made.days] == list(range(1, made.last_day + 1))
    assert list(dict.fromkeys(d.work for d in made.days)) == ["clear", "posts", "trench", "hang", "gates", "check"]
    assert all(max(d.machine_h, d.crew_h) <= PLANT.hours_per_day + 1e-9 for d in made.days)


def test_more_people_take_fewer_days():
    few, many = (planned(people=n, posts_first=True)[0] for n in (1, 6))
    assert many.last_day < few.last_day
    # Twice two hours for each post: 40 posts and those of two airlocks.
    posts = sum(planned()[2].posts.values())
    assert len(of(few, "posts")) == math.ceil(posts * 2.0 / 8)


def test_posts_in_the_dig_are_set_as_it_is_dug():
    first, within = (planned(people=4, posts_first=p) for p in (True, False))
    made, _, fence, _ = within
    assert of(made, "posts") == []
    posts, whole = sum(fence.posts.values()), sum(d.crew_h for d in of(made, "trench"))
    assert sum(d.posts for d in of(made, "trench")) == posts
    # Two hours for each by one of four people.
    assert whole - sum(d.crew_h for d in of(first[0], "trench")) == pytest.approx(posts * 2.0 / 4)
    assert max(d.machine_h + d.crew_h for d in of(made, "trench")) <= PLANT.hours_per_day + 1e-9


def test_rock_is_slow_where_it_lies():
    n = 100
    rock = np.where(np.arange(n) < n // 2, 0.3, 9.0)
    made, _, _, _ = planned(volumes_of(324.0, hard=121.5, bulking=BULKING), rock_depth=rock)
    lengths = [d.end - d.start for d in of(made, "trench")]
    assert lengths[0] < 0.5 * max(lengths)


def test_water_is_told_for_the_day_that_meets_it():
    water = np.where(np.arange(100) < 40, 1.0, 9.0)
    trench = of(planned(water=water)[0], "trench")
    assert sum(d.in_water for d in trench) == pytest.approx(40.0)
    assert trench[-1].in_water == pytest.approx(0.5)


def test_packs_follow_one_another():
    line = circle_line(50 / math.pi, step=1.0)
    packs = [pack_of(line, number=k) for k in (1, 2)]
    volumes = [
        dataclasses.replace(volumes_of(cut, pack=k, bulking=BULKING), cut_at_station=np.full(100, cut / 100))
        for k, cut in ((1, 324.0), (2, 162.0))
    ]
    depth = np.full(100, 1.2)
    profiles = [Profile(k, depth, depth + 1, depth + 1, smoothed=False, deeper=(), shallower=()) for k in (1, 2)]
    project = project_of()
    fences = [fence_take_off(p, fence=project.fence, trench=project.trench, mesh=project.mesh) for p in packs]
    worked = machine_work(packs, volumes, profiles, bulking=BULKING, plant=PLANT)
    made = programme(packs, volumes, profiles, fences, worked, plant=PLANT, settings=ProgrammeSettings())
    assert [d.day for d in made.days] == list(range(1, made.last_day + 1))
    hours = {k: sum(d.machine_h for d in of(made, "trench") if d.pack == k) for k in (1, 2)}
    # Twice the cut, twice the hours.
    assert hours[1] == pytest.approx(2 * hours[2])
    assert max(d.day for d in made.days if d.pack == 1) < min(d.day for d in made.days if d.pack == 2)
