"""Compiled loops that have no way in from Python, given one for a test."""

from functools import cache

from numba import njit


@cache
def from_python(loop):
    """The same loop, to be called from Python: calling it straight raises TypeError."""

    @njit
    def entry(*arguments):
        return loop(*arguments)

    return entry
