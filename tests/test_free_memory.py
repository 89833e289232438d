"""Memory that is free inside the process goes back to the machine."""

import platform
from pathlib import Path

import pytest

from packpale.free_memory import give_back

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
