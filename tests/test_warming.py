"""Kernels are compiled once for all workers: what counts as cold, and that each part compiles what it is named for."""

import importlib.util

import pytest

from packpale import warming
from packpale.enclosure import _kernels as fit
from packpale.enclosure.proof import _kernels as proof
from packpale.land import _kernels_drainage as flow


def test_a_kernel_is_cold_until_it_was_compiled_once(tmp_path):
    module_file = tmp_path / "small_kernel.py"
    module_file.write_text("from numba import njit\n\n@njit(cache=True)\ndef one(x):\n    return x + 1\n")
    spec = importlib.util.spec_from_file_location("small_kernel", module_file)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert warming.is_cold(module.one)
    module.one(1.0)
    assert not warming.is_cold(module.one)
    assert not warming.is_cold(len)  # of what is not known nothing is claimed


@pytest.mark.parametrize(
    ("part", "kernel"), [("proof", proof.search), ("fit", fit.refine_all), ("land", flow.height_above)]
)
def test_a_part_compiles_its_largest_kernel(part, kernel):
    warming.warm(part)
    assert kernel.nopython_signatures
    assert part not in warming.parts_to_compile()
