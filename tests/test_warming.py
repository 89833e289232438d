"""Kernels are compiled once for all workers: what counts as cold, and that each part compiles what it is named for."""

import importlib.util

import numpy as np
import pytest
from numba import types

from packpale import warming
from packpale.enclosure import _kernels as fit
from packpale.enclosure.proof import _kernels as proof
from packpale.land import _kernels_drainage as flow

FEW = 5
"""So many modules of libraries may be loaded late: which those are changes with their versions."""


@pytest.fixture
def loaded(tmp_path):
    """Loads, each time as a new process would, a kernel that nobody has compiled yet."""
    module_file = tmp_path / "small_kernel.py"
    module_file.write_text("from numba import njit\n\n@njit(cache=True)\ndef one(x):\n    return x + 1\n")

    def load():
        spec = importlib.util.spec_from_file_location("small_kernel", module_file)
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        return module.one

    return load


def test_a_kernel_is_cold_until_it_was_compiled_once(loaded):
    small_kernel = loaded()
    assert warming.is_cold(small_kernel)
    small_kernel(1.0)
    assert not warming.is_cold(small_kernel)
    assert not warming.is_cold(len)  # of what is not known nothing is claimed


@pytest.mark.parametrize(("arguments", "given"), [("(f8,)", 1.0), ("(f8[:,::1],)", np.zeros((2, 2)))])
def test_a_call_in_another_process_finds_what_was_compiled_ahead(loaded, arguments, given):
    warming.compile_for(loaded(), arguments)
    kept = set(stored(loaded()))
    loaded()(given)
    assert len(kept) == 1
    assert set(stored(loaded())) == kept


@pytest.mark.parametrize(
    ("part", "kernel"), [("proof", proof.search), ("fit", fit.refine), ("land", flow.height_above)]
)
def test_a_part_compiles_its_largest_kernel(part, kernel):
    warming.warm(part)
    assert kernel.nopython_signatures
    assert part not in warming.parts_to_compile()


@pytest.mark.parametrize("part", warming.KERNELS)
def test_a_part_compiles_its_kernels_for_the_arguments_named(part):
    warming.warm(part)
    for name in warming.KERNELS[part]:
        assert warming.kernel_named(name).nopython_signatures, name
    assert part not in warming.parts_to_compile()


def test_no_kernel_is_compiled_once_more_for_a_number_that_stands_in_the_code():
    """Numba takes such a number for a kind of its own, and a run waits for each kind."""
    kernels = [k for room in (fit, proof, flow) for k in vars(room).values() if hasattr(k, "nopython_signatures")]
    kinds = [(kernel, key[0]) for kernel in kernels for key in stored(kernel)]
    assert kinds
    assert [(k.py_func.__name__, args) for k, args in kinds if any(isinstance(a, types.Literal) for a in args)] == []


def stored(kernel):
    """Keys of what is kept on disk of a kernel; the first of each are the types of its arguments."""
    return kernel._cache._cache_file._load_index() if hasattr(kernel._cache, "_cache_file") else {}
