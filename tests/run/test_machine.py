"""Cores and memory: those of the machine, or fewer where a container's limits say so."""

import os

import psutil
import pytest

from packpale.run.machine import cores, free_memory


def test_without_limits_the_machine_counts(tmp_path):
    assert cores(tmp_path) == len(os.sched_getaffinity(0))
    assert free_memory(tmp_path) == pytest.approx(psutil.virtual_memory().available, rel=0.2)


@pytest.mark.parametrize(
    ("quota", "expected"),
    [("max 100000", None), ("150000 100000", 2), ("50000 100000", 1), ("nonsense", None)],
)
def test_a_container_s_share_of_processor_time_bounds_the_cores(tmp_path, monkeypatch, quota, expected):
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: range(64))
    (tmp_path / "cpu.max").write_text(quota, encoding="ascii")
    assert cores(tmp_path) == (expected or 64)


@pytest.mark.parametrize(("limit", "expected"), [("300000000", 100_000_000), ("100", 0)])
def test_a_container_s_memory_bounds_what_is_free(tmp_path, limit, expected):
    (tmp_path / "memory.max").write_text(limit, encoding="ascii")
    (tmp_path / "memory.current").write_text("200000000", encoding="ascii")
    assert free_memory(tmp_path) == expected


def test_no_limit_of_memory_is_none(tmp_path):
    (tmp_path / "memory.max").write_text("max\n", encoding="ascii")
    assert free_memory(tmp_path) > 200_000_000
