"""Speed of the land room's kernels: `pytest tests/benchmarks/test_land_kernels.py` (needs pytest-benchmark).

Invented rolling ground with noise, single precision, 2,000 x 2,000 cells; PACKPALE_BENCH_SIDE=5000 gives 25 million.
Ratios are of processor time in the same run, since other work on the machine stretches the time on the wall; the
printed lines show with `-s`.
"""

import os
import subprocess
import sys
import time

import numpy as np
import pytest

from packpale.land import _kernels
from packpale.land.drainage import drainage, flow_over, height_above_drainage, upstream_cells, wetness_index
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


def least_processor_seconds(work, rounds):
    """Of several rounds, after one that compiles and loads."""
    work()
    taken = []
    for _ in range(rounds):
        started = time.process_time()
        work()
        taken.append(time.process_time() - started)
    return min(taken)


def test_slope_takes_at_most_three_copies(ground):
    out = np.empty_like(ground)
    eighth = np.float32(0.125)
    copy = least_processor_seconds(lambda: np.copyto(out, ground), 15)
    kernel = least_processor_seconds(lambda: _kernels.horn_slope(ground, eighth, eighth, out), 15)
    print(  # noqa: T201 - what the benchmark is for
        f"\nslope of {ground.size:,} cells: {kernel:.4f} s, copying them {copy:.4f} s, ratio {kernel / copy:.2f}"
    )
    assert kernel <= 3 * copy


def our_chain(z, ground_slope):
    return drainage(z, ground_slope, cell=1.0, channel_area=1e4)


def topotoolbox_chain(z, ground_slope):
    """Fill, steepest descent, accumulation and wetness; it has no height above drainage."""
    import topotoolbox

    grid = topotoolbox.GridObject()
    grid.z, grid.cellsize = z, 1.0
    flow = topotoolbox.FlowObject(grid)  # fills first
    area = flow.flow_accumulation().z
    return wetness_index(area, ground_slope)


def pyflwdir_chain(z, ground_slope):
    """Fill with directions, accumulation, wetness and height above drainage."""
    import pyflwdir
    from pyflwdir import dem

    filled, directions = dem.fill_depressions(z, nodata=-9999.0, outlets="edge")
    flow = pyflwdir.from_array(directions, ftype="d8", latlon=False)
    area = flow.upstream_area(unit="cell")
    return wetness_index(area, ground_slope), flow.hand(drain=area > 1e4, elevtn=filled)


@pytest.mark.parametrize("theirs", [topotoolbox_chain, pyflwdir_chain])
def test_whole_drainage_is_quicker_than(theirs, ground):
    ground_slope = slope(ground, cell_size=(1.0, 1.0))
    rounds = 2 if SIDE <= 2000 else 1
    ours = least_processor_seconds(lambda: our_chain(ground, ground_slope), rounds)
    other = least_processor_seconds(lambda: theirs(ground, ground_slope), rounds)
    print(  # noqa: T201 - as above
        f"\ndrainage of {ground.size:,} cells: {ours:.2f} s, {theirs.__name__} {other:.2f} s, ratio {other / ours:.1f}"
    )
    assert ours < other


PEAK = """
import sys
from pathlib import Path
import numpy as np
from packpale.land.drainage import drainage
z = np.load(sys.argv[1])
slope = np.load(sys.argv[2])
drainage(z, slope, cell=1.0, channel_area=1e4)
line = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
print(int(line.split()[1]) * 1024)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="the peak is read from /proc")
def test_whole_drainage_in_one_gigabyte_for_25_million_cells(ground, tmp_path):
    """Everything counts: the interpreter, the ground, its slope and all results."""
    np.save(tmp_path / "z.npy", ground)
    np.save(tmp_path / "slope.npy", slope(ground, cell_size=(1.0, 1.0)))
    done = subprocess.run(
        [sys.executable, "-c", PEAK, tmp_path / "z.npy", tmp_path / "slope.npy"], capture_output=True, check=True
    )
    peak = int(done.stdout)
    print(f"\ndrainage of {ground.size:,} cells: peak {peak / 1e6:.0f} MB")  # noqa: T201 - as above
    # Less ground leaves the share of the interpreter and the libraries, 200 MB at most.
    assert peak < 200e6 + 800e6 * ground.size / 25e6
