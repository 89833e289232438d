"""Bank, loose and compacted volume: US Army FM 5-434, Earthmoving Operations (2000), Table 1-1.

The rows are from memory; the sand row also stands in a Navy training table: 100 in place are 111 loose and 95
compacted. The table is consistent in itself, so that each row checks the others.
"""

import pytest

from packpale.earthworks.bulking import bulk
from packpale.values import default
from printed import printed

# material: bank to loose, bank to compacted, loose to bank, loose to compacted
TABLE_1_1 = {
    "sand or gravel": ("1.11", "0.95", "0.90", "0.86"),
    "loam": ("1.25", "0.90", "0.80", "0.72"),
    "clay": ("1.43", "0.90", "0.70", "0.63"),
}
ROCK_BLASTED = ("1.50", "0.67")  # bank to loose, loose to bank


@pytest.mark.parametrize("row", TABLE_1_1.values(), ids=TABLE_1_1)
def test_soil_of_one_cubic_metre(row):
    loose, compacted, back, loose_to_compacted = row
    balance = bulk(cut=1.0, rock=0.0, soil_swell=float(loose) - 1, soil_shrink=1 - float(compacted), rock_swell=0.0)
    refilled = balance.backfill_compacted - balance.import_compacted
    assert balance.cut_loose == printed(loose)
    assert refilled == printed(compacted)
    assert 1 / balance.cut_loose == printed(back)
    assert refilled / balance.cut_loose == printed(loose_to_compacted)


def test_rock_of_one_cubic_metre():
    loose, back = ROCK_BLASTED
    balance = bulk(cut=1.0, rock=1.0, soil_swell=0.0, soil_shrink=0.0, rock_swell=float(loose) - 1)
    assert balance.cut_loose == printed(loose)
    assert 1 / balance.cut_loose == printed(back)


def test_defaults_are_the_rows_for_loam_and_blasted_rock():
    loose, compacted, *_ = TABLE_1_1["loam"]
    assert 1 + default("bulking.soil_swell") == printed(loose)
    assert 1 - default("bulking.soil_shrink") == printed(compacted)
    assert 1 + default("bulking.rock_swell") == printed(ROCK_BLASTED[0])
