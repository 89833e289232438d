"""Area and time of the search for a line on twelve plots of real ground, against a search of ten times the effort.

Run with pytest -s tests/benchmarks/test_fit_line.py to see the table; PACKPALE_PLOTS=0:4 takes the first four plots
only. Times are processor time, once compiled, on one core.
"""

import os
import time
from dataclasses import replace

import numpy as np
import pytest

from packpale.enclosure.fit import Shapes
from packpale.enclosure.fit_line import fit_line, largest
from packpale.enclosure.line_search import USUAL, Labour, Search
from real_grounds import real_grounds

SHARES = (0.0, 0.05, 0.1, 0.2)
RANGES = {"taper": (0.5, 0.9), "aspect": (1.1, 1.6), "min_radius": 8.0}
CHOSEN = slice(*(int(n) if n else None for n in os.environ.get("PACKPALE_PLOTS", ":").split(":")))
# One pass, where the usual search takes shorter ones until four find the same.
LONG = Labour(
    starts=4 * USUAL.starts,
    rounds=tuple(replace(r, steps=int(2.5 * r.steps), kept=3 * r.kept) for r in USUAL.rounds),
    polish=2 * USUAL.polish,
    again=2 * USUAL.again,
)


@pytest.fixture(scope="module")
def found():
    """Area [m2] and processor time [s] by plot, share, and whether the search was the long one."""
    grounds = real_grounds(12)
    first = next(iter(grounds.values()))
    fit_line(first, 0.1, **RANGES)  # compiled
    out = {}
    for name, ground in list(grounds.items())[CHOSEN]:
        row = f"{name:28s}"
        usual = long = None
        on = Search.on(ground, Shapes(ground.outside_strip, RANGES["taper"], RANGES["aspect"], RANGES["min_radius"]))
        for share in SHARES:
            started = time.process_time()
            usual = largest(on, share, USUAL, usual)
            middle = time.process_time()
            long = largest(on, share, LONG, max((e for e in (usual, long) if e), key=lambda e: e.area, default=None))
            took = middle - started
            areas = [egg.area if egg else 0.0 for egg in (usual, long)]
            out[name, share] = (areas[0] / areas[1] if areas[1] else 1.0, took)
            row += f"  {share:4.0%} {areas[0]:7.0f} of {areas[1]:7.0f} in {took:5.2f} s"
        print(row, flush=True)  # noqa: T201 - the table
    ratios, seconds = np.array(list(out.values())).T
    few = (ratios < 0.99).sum()
    print(f"area {ratios.mean():.4f} of the long one in the mean, {ratios.min():.4f} at worst, {few} under 0.99")  # noqa: T201
    print(f"{np.median(seconds):.2f} s a fit in the median, {seconds.max():.2f} s at worst")  # noqa: T201
    return out


def test_area_comes_near_that_of_a_long_search(found):
    ratios = np.array([ratio for ratio, _ in found.values()])
    assert ratios.mean() >= 0.99, found
    assert ratios.min() >= 0.97, found


def test_a_fit_takes_a_second(found):
    seconds = [took for _, took in found.values()]
    assert np.median(seconds) <= 1.3, found
    assert max(seconds) <= 4.0, found
