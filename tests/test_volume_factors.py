"""The table of published swell and shrink."""

import pytest

from packpale.values import default
from packpale.values.volume_factors import swell_range, volume_factors
from printed import printed

FM_5_434_TABLE_1_1 = {  # bank to loose, bank to compacted (from memory)
    "sand or gravel": ("1.11", "0.95"),
    "loam": ("1.25", "0.90"),
    "clay": ("1.43", "0.90"),
    "rock, blasted": ("1.50", "1.30"),
}
ALASKA = {  # swell in percent, as printed in the copy
    "sandy gravel": 5,
    "sand": 5,
    "silt": 35,
    "loess": 35,
    "siliceous shale": 40,
    "siltstone": 45,
    "sandstone": 61,
    "limestone": 63,
    "granite": 72,
    "clay, damp": 40,
    "clay, dry": 35,
    "gravel, dry": 15,
    "gravel, wet": 5,
    "decomposed rock, 25 % rock": 25,
    "decomposed rock, 50 % rock": 27,
    "decomposed rock, 75 % rock": 40,
}
UK = {
    "sand, gravel, soft clay, silt": (5, 20),
    "firm clay, peat": (20, 40),
    "mudstone": (20, 40),
    "weak rock": (40, 55),
}


def rows(source):
    return {f.material: f for f in volume_factors() if f.source.startswith(source)}


def test_rows_of_fm_5_434():
    found = rows("FM 5-434")
    assert found.keys() == FM_5_434_TABLE_1_1.keys()
    for name, (loose, compacted) in FM_5_434_TABLE_1_1.items():
        assert 1 + found[name].swell[0] == 1 + found[name].swell[1] == printed(loose)
        assert 1 - found[name].shrink == printed(compacted)


def test_rows_of_the_alaska_list():
    found = rows("Alaska")
    assert {name: round(100 * f.swell[0]) for name, f in found.items()} == ALASKA
    assert all(f.swell[0] == f.swell[1] and f.shrink is None for f in found.values())


def test_rows_of_the_uk_ranges():
    assert {name: tuple(round(100 * s) for s in f.swell) for name, f in rows("UK").items()} == UK


def test_no_row_is_of_another_source():
    assert len(volume_factors()) == len(FM_5_434_TABLE_1_1) + len(ALASKA) + len(UK)


@pytest.mark.parametrize(
    ("ground", "least", "most"), [("soil", 0.05, 0.43), ("soft rock", 0.20, 0.55), ("hard rock", 0.50, 0.72)]
)
def test_sources_disagree_so_that_the_range_is_carried(ground, least, most):
    assert swell_range(ground) == (least, most)


@pytest.mark.parametrize(
    ("ground", "key"), [("soil", "soil_swell"), ("soft rock", "soft_rock_swell"), ("hard rock", "rock_swell")]
)
def test_defaults_lie_in_the_published_range(ground, key):
    least, most = swell_range(ground)
    assert least <= default(f"bulking.{key}") <= most
