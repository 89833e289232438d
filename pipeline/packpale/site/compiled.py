"""How the numerical loops in the files ``_kernels*.py`` are compiled: with no more than each needs.

The first run on a machine waits for the compiler, so what it need not make is left out (DEVELOPERS.md, compiled code).
"""

from collections.abc import Callable
from typing import Any, TypeVar

from numba import njit

F = TypeVar("F", bound=Callable[..., Any])


def _compiler(**options: Any) -> Callable[[F], F]:
    decorator: Callable[[F], F] = njit(**options)
    return decorator


loop = _compiler(cache=True, _nrt=False, no_cfunc_wrapper=True)
"""Called from Python and from other loops; makes no array, so that nobody needs to count who holds one."""

inner = _compiler(_nrt=False, no_cpython_wrapper=True, no_cfunc_wrapper=True)
"""Called from other loops of its file only, which keep it on disk with them; makes no array.

It has no way in from Python: calling it from there ends the process. Its name begins with an underscore.
"""

makes_arrays = _compiler(cache=True, no_cfunc_wrapper=True)
"""Called from Python and from other loops, and makes arrays."""
