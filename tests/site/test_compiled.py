"""The shortened compiler: loops compute the same to the bit, fail the same, and the library is left as it was."""

import math
import os
import subprocess
import sys

import numba
import numpy as np
import pytest
from numba import njit
from numba.core.errors import TypingError
from numba.core.types.functions import BaseFunction

from packpale.site import compiled

whole = njit(**compiled.options("OptimisedOnce", _nrt=False))
part = njit(**compiled.options("TakenIn", _nrt=False, no_cpython_wrapper=True))


@pytest.fixture
def compiler():
    """The module, which may not even load with a version it was not tried with; in CI that one is to be tried."""
    if not compiled.shortened():
        reason = f"numba {numba.__version__} is not among compiled.TRIED and compiles as it does by nature"
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail(f"{reason}: try it, and raise TRIED")
        pytest.skip(reason)
    from packpale.site import compiler as module

    return module


@part
def _weighed(value, weight):
    return value * weight + math.sin(value) / (weight - 0.25)


@part
def _twice_weighed(value, weight):
    return _weighed(_weighed(value, weight), weight) - weight


def _sums(values, weights, sums):
    counted = 0
    for i in range(len(values)):
        # The same operators for whole numbers and for others.
        counted = counted * 3 + i
        sums[i] = _twice_weighed(values[i], weights[counted % len(weights)]) * counted
        sums[-1] += sums[i]
    return counted


def test_loops_compute_what_they_do_when_compiled_as_always_and_in_python():
    rng = np.random.default_rng(11)
    values, weights = rng.normal(size=501), rng.uniform(0.5, 2, 77)
    short, usual, plain = np.zeros(501), np.zeros(501), np.zeros(501)
    counted = whole(_sums)(values[:38], weights, short[:38])
    assert counted == njit(_sums)(values[:38], weights, usual[:38])
    assert np.array_equal(short, usual)
    globals_of_python = {
        **_sums.__globals__,
        "_twice_weighed": lambda v, w: _plain(_plain(v, w), w) - w,
    }
    python = type(_sums)(_sums.__code__, globals_of_python)
    assert python(values[:38], weights, plain[:38]) == counted
    # The sine of the compiler's library and Python's may differ in the last bit.
    assert np.allclose(short, plain, rtol=1e-10)


def _plain(value, weight):
    return _weighed.py_func(value, weight)


def test_an_error_of_a_loop_that_was_taken_in_is_raised_in_python():
    outer = whole(lambda v, w: _weighed(v, w) + 1.0)
    assert outer(0.5, 1.0) == 1.5 + math.sin(0.5) / 0.75
    with pytest.raises(ZeroDivisionError):
        outer(0.5, 0.25)


@pytest.mark.usefixtures("compiler")
def test_a_loop_for_other_loops_cannot_be_called_from_python():
    whole(lambda v, w: _weighed(v, w) + 1.0)(1.0, 2.0)
    with pytest.raises(TypeError):
        _weighed(1.0, 2.0)


@pytest.mark.usefixtures("compiler")
def test_what_is_taken_in_gets_no_machine_code_and_what_takes_it_in_does():
    outer = whole(lambda v, w: _weighed(v, w) + 2.0)
    outer(1.0, 2.0)
    (made,), (taken,) = outer.overloads.values(), _weighed.overloads.values()
    machine_code = made.library.codegen._engine
    assert machine_code.is_symbol_defined(made.fndesc.llvm_func_name)
    assert not machine_code.is_symbol_defined(taken.fndesc.llvm_func_name)


def test_the_compiler_is_left_as_it_was_also_when_a_loop_does_not_compile():
    before = BaseFunction.get_call_type
    with pytest.raises(TypingError):
        whole(lambda v: v + "text")(1.0)
    assert BaseFunction.get_call_type is before
    assert whole(lambda v: v + 1)(1.5) == 2.5
    assert BaseFunction.get_call_type is before


def test_types_are_found_once_for_each_operator_and_its_types(monkeypatch, compiler):
    asked = []
    find_out = BaseFunction.get_call_type
    monkeypatch.setattr(compiler, "_types_known", {})
    monkeypatch.setattr(
        BaseFunction,
        "get_call_type",
        lambda self, context, args, kws: asked.append((self, tuple(args))) or find_out(self, context, args, kws),
    )
    whole(lambda a, i: a[i] * a[i + 1] * a[i + 2] * i)(np.ones(4), 1)
    assert len(asked) == len(set(asked)) > 3


@pytest.mark.parametrize(
    ("version", "yes"),
    [("0.62.1", False), ("0.63.0", True), ("0.68.1", True), ("0.69.0rc1", False), ("1.0", False), ("0.100.1", False)],
)
def test_versions_that_were_not_tried_compile_as_by_nature(version, yes):
    assert compiled.shortened(version) is yes


LOOPS = """
import numpy as np
from packpale.site.compiled import inner, loop, makes_arrays

@inner
def _half(x):
    return x / 2

@loop
def sum_of_halves(values):
    total = 0.0
    for i in range(len(values)):
        total += _half(values[i])
    return total

@makes_arrays
def halves(values):
    out = np.empty_like(values)
    for i in range(len(values)):
        out[i] = values[i] / 2
    return out, sum_of_halves(values)
"""


@pytest.mark.usefixtures("compiler")
def test_code_that_was_kept_is_taken_up_without_what_compiling_needs(tmp_path):
    (tmp_path / "some_loops.py").write_text(LOOPS, encoding="utf-8")
    script = """
import sys
import numpy as np
from some_loops import halves, sum_of_halves
given = np.arange(5.0)
print(sum_of_halves(given), *halves(given))
print(sum(halves.stats.cache_hits.values()), "numba.np.linalg" in sys.modules)
from numba import njit
print(njit(lambda x: (x + sum_of_halves(x)).sum())(given))
"""
    folders = {**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), *sys.path])}
    first, second = (
        subprocess.run([sys.executable, "-c", script], env=folders, capture_output=True, text=True, check=True)
        for _ in range(2)
    )
    assert first.stdout.splitlines() == ["5.0 [0.  0.5 1.  1.5 2. ] 5.0", "0 True", "35.0"]
    assert second.stdout.splitlines() == ["5.0 [0.  0.5 1.  1.5 2. ] 5.0", "1 False", "35.0"]
