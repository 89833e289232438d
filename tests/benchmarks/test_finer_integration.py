"""Volumes of every plot of the demo and of the real ground against integrations twenty times finer.

Run with ``pytest -s tests/benchmarks/test_finer_integration.py``: it prints each part and how far it is off.
"""

import math
from pathlib import Path

import numpy as np
import pytest

from packpale.earthworks.section import TrenchSection
from packpale.earthworks.volume import along_curve, cut_sections, mean_curvature
from packpale.enclosure.alignment import stations
from packpale.enclosure.place import place
from packpale.land.assess import assess
from packpale.run.run import read_and_open
from packpale.site.inputs import read_site

CONFIG = Path(__file__).parents[2] / "config"
PARTS = ("cut", "rock", "hard", "wet")
FINER = 20


def lines_of(name):
    """Site, fence line and settings of the trench of every pack."""
    opened = read_and_open(CONFIG / f"{name}.toml")
    project, inputs = opened.project, opened.inputs
    for plot in inputs.plots:
        site = read_site(inputs, plot.plot_id, project)
        for pack in place(site, assess(site, project), project).packs:
            yield site, pack.line, project.trench


def section_of(trench):
    return TrenchSection(
        trench.depth_m, trench.bottom_width_m, trench.apron_reach_m, trench.apron_cover_m, trench.side_slope
    )


def volumes(site, line, trench, formation, step):
    along = stations(line, step=step, elevation=site.elevation, grid=site.grid)
    cuts = cut_sections(section_of(trench), along, site, side=trench.side, formation=formation)
    curvature = mean_curvature(along, side=trench.side)
    return [along_curve(getattr(cuts, part), curvature, step=along.step) for part in PARTS]


def columns(site, line, trench):
    """The same where bottoms follow the ground, by columns: soil is that of the cell under each, nothing else known."""
    section, sign = section_of(trench), 1.0 if trench.side == "outside" else -1.0
    along = stations(line, step=trench.station_m / FINER, elevation=site.elevation, grid=site.grid)
    inner, outer = section.edges
    o = inner + (outer - inner) * (np.arange(400) + 0.5) / 400
    cut = section.depth_at(o)
    out = np.zeros(4)
    for block in np.array_split(np.arange(along.x.size), 40):
        nx, ny = sign * along.outward[block].T
        x, y = along.x[block][:, None] + nx[:, None] * o, along.y[block][:, None] + ny[:, None] * o
        rock = np.maximum(cut - site.grid.nearest(site.soil.depth_to_rock, x, y), 0)
        wet = np.maximum(cut - site.grid.nearest(site.soil.water_table, x, y), 0)
        hard = np.where(site.grid.nearest(site.soil.rock_is_hard, x, y), rock, 0)
        longer = 1 + sign * o / along.radius[block][:, None]
        out += [(part * longer).sum() for part in (np.broadcast_to(cut, x.shape), rock, hard, wet)]
    return out * along.step * (outer - inner) / o.size


@pytest.mark.parametrize("name", ["demo", "real_ground"])
def test_every_part_is_within_a_thousandth(name, monkeypatch):
    for site, line, trench in lines_of(name):
        for formation in ("follow", "level"):
            found = volumes(site, line, trench, formation, trench.station_m)
            with monkeypatch.context() as finer:
                finer.setattr("packpale.earthworks.volume.STRIP_M", 0.05 / math.sqrt(FINER))
                fine = [volumes(site, line, trench, formation, trench.station_m / FINER)]
            if formation == "follow":
                fine.append(columns(site, line, trench))
            for other in fine:
                off = {
                    p: f"{v:.1f} m3, {100 * (v / w - 1):+.4f} %"
                    for p, v, w in zip(PARTS, found, other, strict=True)
                    if w > 1
                }
                print(f"{site.plot_id}, {formation}: {off}")  # noqa: T201 - what the benchmark is for
                assert all(v == pytest.approx(w, rel=1e-3) for v, w in zip(found, other, strict=True) if w > 1)
