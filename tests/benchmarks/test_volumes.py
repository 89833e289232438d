"""Cutting 100 km of trench at stations of 1 m, and the tunnels under its mesh. Run with pytest-benchmark."""

import math

import numpy as np
import pytest

from packpale.care.digout import shortest_tunnels
from packpale.earthworks.section import TrenchSection
from packpale.earthworks.volume import cut_sections
from trench_cases import circle_line, site_of

SECTION = TrenchSection(1.2, 0.6, 1.8, 0.3, 1.0)
RADIUS = 100_000 / (2 * math.pi)


@pytest.fixture(scope="module")
def long_trench():
    """100 km of line on an elevation model of 10 m cells with waves and noise."""
    noise = np.random.default_rng(0).normal(0, 0.3, (3240, 3240))
    site = site_of(
        lambda x, y: 200 + 5 * np.sin(x / 80) + 5 * np.cos(y / 90) + noise, half=16_200.0, cell=10.0, rock=1.0
    )
    line = circle_line(RADIUS, step=1.0, elevation=lambda x, y: site.grid.bilinear(site.elevation, x, y))
    return line, site


@pytest.mark.parametrize("formation", ["follow", "level"])
def test_volumes(benchmark, long_trench, formation):
    line, site = long_trench
    cut_sections(SECTION, circle_line(20.0, step=5.0), site, side="outside", formation=formation)  # compiled beforehand
    cuts = benchmark(cut_sections, SECTION, line, site, side="outside", formation=formation)
    assert np.isfinite(cuts.cut).all()


@pytest.mark.parametrize("formation", ["follow", "level"])
def test_tunnels(benchmark, long_trench, formation):
    line, site = long_trench
    mesh = {"depth": 1.2, "apron_reach": 1.8, "apron_cover": 0.3, "side": "outside", "formation": formation}
    shortest_tunnels(circle_line(20.0, step=5.0), site, **mesh)
    tunnels = benchmark.pedantic(shortest_tunnels, (line, site), mesh, rounds=3)
    assert np.isfinite(tunnels).all()
