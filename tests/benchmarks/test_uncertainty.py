"""How long the spread of the price and the smoothed bottom take. Run with pytest-benchmark.

To be reached: 10,000 draws of one plot under 2 s. On two busy cores a fence line of 1 km took 0.9 s (``follow``) and
1.0 s (``level``), all of the room included: cuts, tables of cuts, draws, drivers.
"""

import math

import numpy as np
import pytest

from packpale.earthworks.profile import smooth_invert
from packpale.earthworks.work_out import work_out
from trench_cases import circle_line, enclosure_of, pack_of, project_of, site_of


def ground(x, y):
    return 200 + 5 * np.sin(x / 80) + 5 * np.cos(y / 90)


@pytest.mark.parametrize("formation", ["follow", "level"])
def test_ten_thousand_draws(benchmark, formation):
    line = circle_line(1000 / (2 * math.pi), step=1.0, elevation=ground)
    site = site_of(ground, half=200.0, rock=lambda x, y: 1.3 + 0.4 * np.sin(x / 20), water=1.5)
    project = project_of(trench={"formation": formation}, run={"draws": 10_000})
    enclosure = enclosure_of(pack_of(line))
    works = benchmark.pedantic(work_out, (site, enclosure, project), warmup_rounds=1, rounds=5)
    assert works.uncertainty.draws == 10_000
    assert works.uncertainty.volumes["rock"][0] < works.uncertainty.volumes["rock"][2]


def test_smoothed_bottom_of_a_hundred_kilometres(benchmark):
    s = np.arange(100_000.0)
    top = 200 + 8 * np.sin(s / 300) + 0.3 * np.sin(s / 7) + np.random.default_rng(0).normal(0, 0.05, s.size)
    # Closed: the last station leads to the first.
    top += (top[0] - top[-1]) * s / s[-1]
    z = benchmark.pedantic(
        smooth_invert, (top,), {"step": 1.0, "max_gradient": 0.06, "vertical_curve": 60.0}, warmup_rounds=1, rounds=3
    )
    assert (z <= top + 1e-9).all()
    assert np.abs(np.diff(z)).max() <= 0.06 + 1e-6
