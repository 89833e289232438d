"""Figures of single cells carried in a page: whole numbers of the digit shown, packed."""

import base64
import functools
import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from packpale.site import Cells, Grid
from packpale.site.spread import every

NOT_KNOWN = 65535
"""Code of a cell without a value."""
Codes = npt.NDArray[np.uint16]


@dataclass(frozen=True)
class Reading:
    """One figure or word for each cell.

    A number is (code + ``least``) / 10^``digits`` in ``unit``. With ``words`` a code names one of them; with
    ``several`` every bit of the code names one, and 0 none.
    """

    key: str
    title: str
    codes: Codes
    unit: str = ""
    digits: int = 0
    least: int = 0
    words: tuple[str, ...] = ()
    several: bool = False
    none: str = ""
    """What to say where no word applies."""
    lead: str = ""
    """What stands before the words of ``several``."""
    cut_at_top: bool = False
    """The largest code stands for all larger figures too."""

    @functools.cached_property
    def wide(self) -> bool:
        """Whether the codes need two bytes; in one byte 255 stands for NOT_KNOWN."""
        return bool(self.codes[self.codes != NOT_KNOWN].max(initial=0) >= 255)

    @functools.cached_property
    def packed(self) -> str:
        """The codes for the page: each cell less its western neighbour, bytes apart, deflated, base64."""
        codes = self.codes if self.wide else np.minimum(self.codes, 255)
        before = np.zeros_like(codes)
        before[:, 1:] = codes[:, :-1]
        before[1:, 0] = codes[:-1, 0]
        difference = codes - before  # wraps round, and so does the sum in the page
        planes = [difference & 255, difference >> 8] if self.wide else [difference & 255]
        return base64.b64encode(zlib.compress(np.stack(planes).astype(np.uint8).tobytes(), 4)).decode("ascii")


@dataclass(frozen=True)
class Probe:
    """Readings on one grid of square cells; ``stride`` counts the run's cells along the side of one of them."""

    grid: Grid
    readings: tuple[Reading, ...]
    stride: int = 1
    whole_window: bool = True
    """Whether figures are kept round the plot as well."""

    @property
    def size(self) -> int:
        """Bytes that the readings take in the page."""
        return sum(len(r.packed) for r in self.readings)


def number(key: str, title: str, values: Cells, *, digits: int, unit: str = "", scale: float = 1.0) -> Reading:
    """Reading of ``values`` times ``scale`` rounded to ``digits`` decimals; NaN is not known.

    Figures beyond the 65,534 steps that fit above the least one are cut there, infinite ones too.
    """
    steps = np.round(values * scale * 10.0**digits)
    known = np.isfinite(steps)
    least = int(steps[known].min()) if known.any() else 0
    codes = np.where(np.isnan(steps), NOT_KNOWN, np.clip(steps - least, 0, NOT_KNOWN - 1)).astype(np.uint16)
    cut = bool((steps - least > NOT_KNOWN - 1).any())
    return Reading(key, title, codes, unit, digits, least, cut_at_top=cut)


def words(
    key: str,
    title: str,
    index: npt.NDArray[np.integer[Any]],
    names: Sequence[str],
    *,
    none: str,
    known: npt.NDArray[np.bool_],
) -> Reading:
    """Reading that names one of ``names``; a negative index is ``none``, and nothing is said where not ``known``."""
    # Indices of one byte have no room for NOT_KNOWN, which recent versions of numpy refuse to widen for.
    named = np.where(index < 0, len(names), index.astype(np.int32))
    codes = np.where(known, named, NOT_KNOWN).astype(np.uint16)
    return Reading(key, title, codes, words=(*names, none))


def flags(
    key: str, title: str, held: Sequence[npt.NDArray[np.bool_]], names: Sequence[str], *, none: str, lead: str = ""
) -> Reading:
    """Reading that lists every one of up to 15 ``names`` whose mask holds; those beyond share the last bit."""
    most = 15
    masks, said = list(held), list(names)
    if len(masks) > most:
        masks[most - 1 :] = [np.logical_or.reduce(masks[most - 1 :])]
        said[most - 1 :] = [" or ".join(said[most - 1 :])]
    codes = np.zeros(held[0].shape if held else (0, 0), np.uint16)
    for bit, mask in enumerate(masks):
        codes |= mask.astype(np.uint16) << bit
    return Reading(key, title, codes, words=tuple(said), several=True, none=none, lead=lead)


def kept_within(probe: Probe, mask: npt.NDArray[np.bool_]) -> Probe:
    """The readings of the cells in ``mask`` alone, on the smallest grid that holds them."""
    rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not rows.size:
        return probe
    high, wide = (slice(int(held[0]), int(held[-1]) + 1) for held in (rows, cols))
    readings = [
        replace(r, codes=np.where(mask, r.codes, NOT_KNOWN)[high, wide].astype(np.uint16)) for r in probe.readings
    ]
    return replace(probe, grid=probe.grid.part(high, wide), readings=tuple(readings), whole_window=False)


def thinned(probe: Probe, stride: int) -> Probe:
    """The cell in the middle of every square of ``stride`` cells, standing for all of it."""
    some = every(probe.grid, stride)
    readings = tuple(replace(x, codes=some.of(x.codes)) for x in probe.readings)
    return replace(probe, grid=some.grid, readings=readings, stride=probe.stride * stride)


def fitting(probe: Probe, inside: npt.NDArray[np.bool_], *, most_bytes: int) -> Probe:
    """The readings in at most ``most_bytes``: first those round the plot go, then the cells grow."""
    if probe.size <= most_bytes:
        return probe
    within = smaller = kept_within(probe, inside)
    stride = 1
    while smaller.size > most_bytes and stride < max(within.grid.shape):
        # Bytes go about with the number of cells: the step that should do is tried next.
        stride = max(stride + 1, math.floor(stride * math.sqrt(smaller.size / max(most_bytes, 1))))
        smaller = thinned(within, stride)
    return smaller
