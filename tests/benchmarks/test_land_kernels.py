"""Speed of the land room's kernels: `pytest tests/benchmarks/test_land_kernels.py` (needs pytest-benchmark).

Invented rolling ground with noise, single precision, 2,000 x 2,000 cells; PACKPALE_BENCH_SIDE=5000 gives 25 million.
"""

import os

import numpy as np
import pytest

from packpale.land import _kernels
from packpale.land.drainage import drainage, flow_over, height_above_drainage, upstream_cells
from packpale.land.slope import aspect_deg, hillshade, slope

pytest.importorskip("pytest_benchmark")
SIDE = int(os.environ.get("PACKPALE_BENCH_SIDE", "2000"))


@pytest.fixture(scope="module")
def ground():
    """Eight octaves of waves and 3 cm of noise: some depressions of every size. [m]"""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[:SIDE, :SIDE].astype(np.float32) / SIDE
    z = rng.normal(0, 0.03, (SIDE, SIDE)).astype(np.float32)
    for octave in range(1, 9):
        p, q, s = rng.random(3) * 6
        z += (
            np.float32(60 / 2**octave)
            * np.sin(3 * 2**octave * x + p + np.cos(2 * 2**octave * y + q))
            * np.cos(3 * 2**octave * y + s)
        )
    return z


@pytest.fixture(scope="module")
def flow(ground):
    return flow_over(ground)


def test_slope_kernel_alone(benchmark, ground):
    out = np.empty_like(ground)
    eighth = np.float32(0.125)
    benchmark(_kernels.horn_slope, ground, eighth, eighth, out)
    assert np.isfinite(out[1:-1, 1:-1]).all()


@pytest.mark.parametrize("function", [slope, aspect_deg, hillshade])
def test_windows(benchmark, ground, function):
    out = benchmark(function, ground, cell_size=(1.0, 1.0))
    assert np.nanmax(out) > 0


def test_fill_and_route(benchmark, ground):
    flow = benchmark.pedantic(flow_over, args=(ground,), rounds=3, warmup_rounds=1)
    assert (flow.filled >= ground).all()


def test_upstream_cells(benchmark, flow):
    count, _ = benchmark.pedantic(upstream_cells, args=(flow,), rounds=3, warmup_rounds=1)
    assert count[flow.direction == -1].sum() == count.size


def test_height_above_drainage(benchmark, flow):
    count, _ = upstream_cells(flow)
    height = benchmark.pedantic(height_above_drainage, args=(flow, count > 10_000), rounds=3, warmup_rounds=1)
    assert np.nanmin(height) == 0


def test_whole_drainage_as_a_run_does_it(benchmark, ground):
    z = ground.astype(np.float64)
    ground_slope = slope(z, cell_size=(1.0, 1.0))
    found = benchmark.pedantic(
        drainage, args=(z, ground_slope), kwargs={"cell": 1.0, "channel_area": 1e4}, rounds=3, warmup_rounds=1
    )
    assert found.channel.any()
