"""Sections at stations: against the volumes cut there, and on inclined planes in closed form."""

import dataclasses
import math

import numpy as np
import pytest
import shapely

from packpale.earthworks.model import Profile
from packpale.earthworks.station_section import slope_across, station_section
from packpale.earthworks.work_out import trench_section
from packpale.enclosure.alignment import stations
from packpale.enclosure.egg import Egg
from review import factory
from trench_cases import pack_of, project_of, site_of

EGG = Egg(0.0, 0.0, 0.0, 40.0, 25.0, 30.0)
"""Axis to the north: chainage begins at the southern tip, where the enclosed ground is north."""
RISE = 0.2


def on_a_plane(project):
    """The section at the southern tip on ground that rises by RISE northward, and the pack."""
    site = site_of(lambda x, y: 100 + RISE * y, half=70.0, cell=0.5)
    pack = pack_of(stations(EGG, step=1.0, elevation=site.elevation, grid=site.grid))
    return site, pack, at_the_tip(site, pack, project)


def at_the_tip(site, pack, project):
    depth, deep = np.full(pack.alignment.x.size, project.trench.depth_m), np.full(pack.alignment.x.size, 9.0)
    profile = Profile(1, depth, deep, deep, smoothed=False, deeper=(), shallower=())
    return station_section(site, pack, profile, 0, project.trench)


@pytest.mark.parametrize("side", ["outside", "inside"])
@pytest.mark.parametrize("slope", [0.0, 0.75])
def test_level_bottoms_on_a_plane_reach_out_to_the_catch_points(side, slope):
    """A wall that rises by 1 / n from half the bottom width b meets ground that falls by f at w where
    d - (w - b / 2) / n = f w; outward of the tip the ground falls.
    """
    project = project_of(trench={"formation": "level", "side": side, "side_slope": slope, "apron_reach_m": 0.0})
    trench = project.trench
    _, _, cut = on_a_plane(project)
    fall = RISE if side == "outside" else -RISE
    half = trench.bottom_width_m / 2
    # Towards the apron's side the ground lies lower by the fall, on the other side higher.
    edges = [sign * (half + slope * trench.depth_m) / (1 + slope * sign * fall) for sign in (-1, 1)]
    dug = cut.offset[cut.ground - cut.cut > 1e-6]
    assert (dug.min(), dug.max()) == pytest.approx(tuple(edges), abs=0.03)
    assert np.interp(0.0, cut.offset, cut.cut) == pytest.approx(np.interp(0.0, cut.offset, cut.ground) - trench.depth_m)
    assert np.nanmin(cut.cut) == pytest.approx(100 - 40 * RISE - trench.depth_m, abs=1e-6)


def test_a_section_that_follows_the_ground_is_that_of_level_ground():
    project = project_of(trench={"formation": "follow", "side_slope": 0.75})
    _, _, cut = on_a_plane(project)
    section = trench_section(project.trench)
    assert cut.ground - cut.cut == pytest.approx(section.depth_at(cut.offset))
    assert cut.area == pytest.approx(section.area, rel=1e-3)
    assert cut.bare_from is None


def test_the_slope_across_a_plane_is_its_slope_along_the_way_outward():
    site, pack, _ = on_a_plane(project_of())
    wanted = np.abs(pack.alignment.outward @ [0.0, RISE])
    assert slope_across(site, pack.alignment) == pytest.approx(wanted, abs=1e-9)
    assert wanted.max() == pytest.approx(RISE)


@pytest.mark.parametrize("trench", [{}, {"formation": "level", "side": "inside"}], ids=["follow", "level"])
def test_sections_are_those_that_the_volumes_are_made_of(trench):
    """Both ways of cutting the bottom, at every fiftieth station; cross-checked with the cut by stations."""
    settings = factory.project(trench=trench)
    plot = factory.result(settings=settings)
    (pack,), (volumes,), (profile,) = plot.enclosure.packs, plot.earthworks.volumes, plot.earthworks.profiles
    follows = settings.trench.formation == "follow"
    off, bare = [], 0
    for k in range(0, pack.alignment.x.size, 50):
        cut = station_section(plot.site, pack, profile, k, settings.trench)
        at = {name: np.interp(0.0, cut.offset, getattr(cut, name)) for name in ("ground", "cut", "rock", "water")}
        assert at["ground"] == pytest.approx(pack.alignment.ground[k], abs=0.01)
        assert at["ground"] - at["cut"] == pytest.approx(profile.depth[k], abs=0.02)
        assert at["ground"] - at["rock"] == pytest.approx(profile.rock_depth[k], abs=0.02)
        assert at["ground"] - at["water"] == pytest.approx(profile.water_depth[k], abs=0.02)
        off.append(cut.area / volumes.cut_at_station[k] - 1)
        if follows:
            assert cut.bare_from is None
            # The dig's edges as the section has them: the apron lies outside.
            dug = cut.offset[cut.ground - cut.cut > 1e-6]
            assert (dug.min(), dug.max()) == pytest.approx(trench_section(settings.trench).edges, abs=0.03)
            line = pack.alignment
            out = shapely.Point(np.array([line.x[k], line.y[k]]) + dug.max() * line.outward[k])
            assert not pack.line.polygon().contains(out)
            level = float(plot.site.grid.bilinear(plot.site.elevation, out.x, out.y))
            assert np.interp(dug.max(), cut.offset, cut.ground) == pytest.approx(level, abs=0.02)
        elif cut.bare_from is not None:
            # Level out to where the ground has fallen by the cover over it.
            fallen = at["ground"] - np.interp(cut.bare_from, cut.offset, cut.ground)
            assert fallen == pytest.approx(settings.trench.apron_cover_m, abs=0.02)
            bare += 1
    assert np.abs(off).max() < 0.03
    assert bool(bare) != follows


def test_a_section_ends_where_the_elevation_does():
    project = project_of()
    site, pack, whole = on_a_plane(project)
    _, y = np.meshgrid(*site.grid.centres())
    for beyond, known in ((-42.0, True), (-39.0, False)):
        # From there on southward, outside the tip, which lies 40 m south.
        blind = dataclasses.replace(site, elevation=np.where(y < beyond, math.nan, site.elevation))
        cut = at_the_tip(blind, pack, project)
        assert cut.known == known
        assert cut.cut_short
        assert np.isfinite(cut.ground).all()
        assert cut.offset.size < whole.offset.size
