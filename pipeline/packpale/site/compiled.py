"""How the numerical loops in the files ``_kernels*.py`` are compiled: with no more than each needs.

The first run on a machine waits for the compiler, so what it need not make is left out (DEVELOPERS.md, compiled code).
"""

from collections.abc import Callable
from typing import Any, TypeVar

import numba

F = TypeVar("F", bound=Callable[..., Any])

TRIED = (0, 63), (0, 68)
"""First and last version of the compiler that ``compiler`` has been tried with; others compile as they do by nature."""


def shortened(version: str = numba.__version__) -> bool:
    """Whether a version of the compiler is one of those whose work is shortened."""
    return TRIED[0] <= tuple(int(part) for part in version.split(".")[:2]) <= TRIED[1]


def options(way: str, **others: Any) -> dict[str, Any]:
    """What the compiler is told: a way of ``compiler`` where its version is one of those, and ``others``."""
    if shortened():
        from packpale.site import compiler

        others["pipeline_class"] = getattr(compiler, way)
    return {"no_cfunc_wrapper": True, **others}


def _compiled(way: str, **others: Any) -> Callable[[F], F]:
    decorator: Callable[[F], F] = numba.njit(**options(way, **others))

    def compiled(function: F) -> F:
        made = decorator(function)
        if others.get("cache") and shortened():
            from packpale.site import compiler

            compiler.take_up_quickly(made)
        return made

    return compiled


loop = _compiled("OptimisedOnce", cache=True, _nrt=False)
"""Called from Python and from other loops; makes no array, so that nobody needs to count who holds one."""

inner = _compiled("TakenIn", _nrt=False, no_cpython_wrapper=True)
"""Called from other loops of its file only, which take it in and keep it on disk with them; makes no array.

It has no way in from Python: calling it from there raises TypeError. Its name begins with an underscore.
"""

makes_arrays = _compiled("OperatorsRemembered", cache=True)
"""Called from Python and from other loops, and makes arrays."""
