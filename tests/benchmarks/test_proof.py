"""How near the proven bound comes to the area found, on all land of the fit's benchmarks, on one core.

Run with pytest -s tests/benchmarks/test_proof.py to see the table. The search counts its work, not its time; that its
allowance is spent within ten seconds of processor time is asked for here.
"""

import time

import numpy as np
import pytest
import shapely

from packpale.enclosure.fit import fit_largest
from packpale.enclosure.proof import area_bound
from polygons import blob, from_raster, lands, ring, with_ponds

SECONDS = 10.0
RANGES = {"taper": (0.5, 0.9), "aspect": (1.1, 1.6), "min_radius": 0.0}
LANDS = lands() | {
    "rough blob of 5000 corners": blob(1, 5000, roughness=0.05),
    "very rough blob": blob(11, 5000, roughness=0.1),
    "rough with ponds": with_ponds(blob(2, 3000, roughness=0.03), 5, 30),
    "ring of 1600 corners": ring(quad_segs=200),
    "narrow ring": ring(inner=80),
    "steps 500": from_raster(7, 500, low=1, high=6),
}


@pytest.fixture(scope="module")
def proofs():
    """Gap, processor time [s] and boxes for each land."""
    ranges = RANGES | {"clearance": 0.0}
    area_bound(LANDS["L"], best_area=0.0, max_boxes=10, **ranges)  # compiled
    found = {}
    for name, land in LANDS.items():
        fit = fit_largest(land, **ranges)
        started = time.process_time()
        proof = area_bound(land, best_area=fit.egg.area, **ranges)
        took = time.process_time() - started
        found[name] = (proof.area_bound_m2 / fit.egg.area - 1, took, proof.boxes)
        corners = shapely.get_num_coordinates(land)
        print(f"{name:28s} {corners:6d} corners  gap {found[name][0]:7.2%}  {took:6.2f} s  {proof.boxes:7d} boxes")  # noqa: T201 - the table
    gaps = [gap for gap, _, _ in found.values()]
    print(f"{'median, largest':28s}                 gap {np.median(gaps):7.2%}  {max(gaps):7.2%}")  # noqa: T201
    return found


def test_gap_at_most_a_thousandth_in_the_median_and_hardly_more_at_worst(proofs):
    gaps = [gap for gap, _, _ in proofs.values()]
    assert len(gaps) > 25
    assert min(gaps) >= 0
    assert np.median(gaps) <= 0.001, proofs
    assert max(gaps) <= 0.0015, proofs


@pytest.mark.parametrize("name", lands())
def test_area_found_is_within_half_a_thousandth_of_the_largest_there_can_be(name):
    """Proven, so that no search, however long, finds more; with a larger allowance of work than a run gives itself."""
    ranges = RANGES | {"clearance": 0.0}
    fit = fit_largest(LANDS[name], **ranges)
    proof = area_bound(LANDS[name], best_area=fit.egg.area, tolerance=4e-4, max_work=10**9, **ranges)
    assert fit.egg.area >= 0.9995 * proof.area_bound_m2


def test_within_ten_seconds(proofs):
    assert max(took for _, took, _ in proofs.values()) < SECONDS, proofs
