"""Memory that is free inside the process goes back to the machine."""

import gc
import platform
import weakref
from pathlib import Path

import pytest

from packpale.free_memory import OBJECTS_BETWEEN_SEARCHES, give_back, look_past_what_stays

PART, PARTS = 64_000, 1_000
"""Each too small for pages of its own, so that what lies above a kept one cannot go by itself. [bytes]"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only GNU's C library has a call for it")
def test_holes_between_what_is_kept_are_given_back():
    parts = [bytearray(PART) for _ in range(PARTS)]
    kept = parts[-1]
    del parts
    before = _resident()
    give_back()
    assert before - _resident() > PART * PARTS / 2
    assert len(kept) == PART


def _resident() -> int:
    """Memory of this process that is in use on the machine. [bytes]"""
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    return int(status.split("VmRSS:")[1].split()[0]) * 1024


class Holder:
    """Holds itself, so that only a search finds that nobody else does."""

    def __init__(self) -> None:
        self.itself = self


def test_what_stays_is_left_out_of_searches_and_what_comes_after_is_not():
    thresholds = gc.get_threshold()
    try:
        gc.set_threshold(700)
        look_past_what_stays()
        assert gc.get_threshold()[0] == OBJECTS_BETWEEN_SEARCHES
        frozen = gc.get_freeze_count()
        assert frozen > len(gc.get_objects()) / 2
        later = weakref.ref(Holder())
        assert later() is not None
        gc.collect()
        assert later() is None
    finally:
        gc.unfreeze()
        gc.set_threshold(*thresholds)
