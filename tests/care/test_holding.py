"""How long the mesh holds along the line: closed forms on level ground with rock at a depth."""

import math

import numpy as np
import pytest
from pydantic import ValidationError

from packpale.care.assess import assess
from packpale.care.digout import shortest_tunnels
from packpale.care.holding import skirt_depths
from packpale.land.assess import assess as assess_land
from packpale.review.words import FILES, plain
from told import told
from trench_cases import circle_line, enclosure_of, pack_of, plane, project_of, site_of

D, REACH, COVER = 1.2, 1.8, 0.3
MESH = {"depth_m": D, "apron_reach_m": REACH, "apron_cover_m": COVER}


def tunnel(depth):
    """Down, straight to the free end, up; an apron no deeper than the skirt."""
    cover = np.minimum(COVER, depth)
    return depth + np.hypot(REACH, depth - cover) + cover


def held(*, rock=100.0, checks=None, **trench):
    line = circle_line(30.0, step=1.0, elevation=plane())
    project = project_of(trench={**MESH, **trench}, checks=checks or {})
    site = site_of(plane(), half=45.0, rock=rock)
    care = assess(site, assess_land(site, project), enclosure_of(pack_of(line)), project)
    return care, line


def half_rock(x, y):
    """Rock at .5 m in the west, deep in the east."""
    return np.where(x < 0, 0.5, 3.0)


@pytest.mark.parametrize("formation", ["follow", "level"])
@pytest.mark.parametrize("depth", [0.0, 0.2, 0.5, 0.9])
def test_a_skirt_that_ends_on_rock_is_a_shallower_skirt(depth, formation):
    care, _ = held(rock=depth, end_on_rock=True, formation=formation)
    np.testing.assert_allclose(care.dig_out[0].tunnel, tunnel(depth), atol=1e-5)


@pytest.mark.parametrize("side", ["outside", "inside"])
@pytest.mark.parametrize("slope", [-0.3, 0.3])
@pytest.mark.parametrize("rock", [0.2, 0.5])
def test_on_rock_under_a_slope_the_way_leads_round_the_shallower_skirt(side, slope, rock):
    # In the east the ground is z = m u, u to the apron side. The skirt ends on rock d down; c = cos of the slope's
    # angle. From its end d c to the ground where the other side falls away, else d up along the skirt; then straight
    # to the apron's free end, (a, m a - h) under ground that it follows with h no more than d, and h c up from there.
    ground = plane(east=slope)
    line = circle_line(30.0, step=2 * math.pi * 30 / 360, elevation=ground)
    site = site_of(ground, half=45.0, rock=rock)
    trench = project_of(trench={**MESH, "end_on_rock": True, "side": side}).trench
    depth = skirt_depths(line, site, trench)
    np.testing.assert_array_equal(depth, rock)
    found = shortest_tunnels(
        line, site, depth=depth, apron_reach=REACH, apron_cover=COVER, side=side, formation="follow"
    )
    at = int(np.argmax(line.x) if side == "outside" else np.argmin(line.x))
    c, cover = 1 / math.hypot(1, slope), min(COVER, rock)
    down = rock * c if slope > 0 else rock
    assert found[at] == pytest.approx(down + math.hypot(REACH, slope * REACH - cover + rock) + cover * c, rel=1e-9)


def test_each_station_has_the_depth_of_its_own_rock():
    care, line = held(rock=half_rock, end_on_rock=True)
    depth = np.where(line.x < 0, 0.5, D)
    clear = np.abs(line.x) > 1
    found = care.holdings[0]
    np.testing.assert_array_equal(found.skirt_depth[clear], depth[clear])
    np.testing.assert_allclose(care.dig_out[0].tunnel[clear], tunnel(depth)[clear])
    (stretch,) = found.on_rock
    assert stretch.length == pytest.approx(30 * math.pi, abs=2)
    assert stretch.worst == 0.5
    assert care.escape_dig_rate == pytest.approx(tunnel(0.5) / 13)
    assert "0.50 m deep at the least. The way under it" in told(care.notes)[0]
    assert "Volumes and prices still hold the full depth" in told(care.notes)[0]


def test_without_the_setting_the_skirt_goes_down_into_rock():
    care, line = held(rock=half_rock)
    np.testing.assert_allclose(care.dig_out[0].tunnel, tunnel(D))
    assert care.holdings[0].on_rock == ()
    project = project_of(trench=MESH)
    np.testing.assert_array_equal(skirt_depths(line, site_of(plane(), half=45.0, rock=0.1), project.trench), D)


def test_no_rate_is_assumed():
    care, _ = held()
    assert care.holdings[0].margin_h is None
    assert care.holdings[0].too_short == ()
    np.testing.assert_allclose(care.holdings[0].rate, tunnel(D) / 13)


@pytest.mark.parametrize("rate", [0.2, 0.5])
def test_margin_is_the_time_to_dig_less_the_hours_nobody_looks(rate):
    given = {"dig_rate_m_per_h": rate, "dig_rate_source": "invented trial"}
    care, line = held(rock=half_rock, end_on_rock=True, checks=given)
    depth = np.where(line.x < 0, 0.5, D)
    clear = np.abs(line.x) > 1
    found = care.holdings[0]
    np.testing.assert_allclose(found.margin_h[clear], (tunnel(depth) / rate - 13)[clear])
    # At .2 m/h 2.62 m take 13.1 h and 3.51 m take 17.6 h; at .5 m/h 5.2 h and 7.0 h.
    if rate == 0.2:
        assert found.too_short == ()
    else:
        assert sum(s.length for s in found.too_short) == pytest.approx(line.step * line.x.size)
        worst = 13 - tunnel(0.5) / rate
        early = plain(FILES.hours(worst))
        assert f"{early} before the round at 20:00 at the weakest place" in told(care.notes)[0]
        assert "(invented trial)" in told(care.notes)[0]


@pytest.mark.parametrize("given", [{"dig_rate_m_per_h": 0.5}, {"dig_rate_source": "a book"}])
def test_a_rate_without_source_or_the_other_way_round_is_refused(given):
    with pytest.raises(ValidationError, match="go together"):
        project_of(checks=given)
