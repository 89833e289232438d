"""Cautions and advice stand in tables, each with who stands behind it, and reach the readers they are for."""

from typing import get_args

import pytest

from packpale.values import STATUSES
from packpale.values.cautions import Reader, advice, advised, caution, cautions, cautions_for
from packpale.values.table import rows_of

EVERY_REPORT = {
    # What every report carries, whoever reads it: danger of trenches, services, licence and design, water, errors.
    "trench": ("competent person", "spoil well back from the edge"),
    "services": ("located", "before any digging"),
    "licence": ("licence", "structural design"),
    "water": ("local authority",),
    "ground": ("Elevation models have errors", "until a trial pit is dug"),
    "decision": ("replace neither a survey",),
}


def test_what_every_report_carries_is_there_the_gravest_first():
    assert [said.key for said in cautions()][: len(EVERY_REPORT)] == list(EVERY_REPORT)
    for key, words in EVERY_REPORT.items():
        assert all(word in caution(key) for word in words)


@pytest.mark.parametrize("reader", get_args(Reader))
def test_each_reader_is_told_of_trenches_services_and_the_licence(reader):
    told = cautions_for(reader)
    assert told[:3] == tuple(caution(key) for key in ("trench", "services", "licence"))
    assert caution("rates") in told or reader != "prices"
    assert (caution("left_out") in told) == (reader in ("decides", "prices"))


def test_each_has_status_and_source():
    found = [*cautions(), *advice().values()]
    assert len(found) == len(rows_of("cautions.csv")) + len(rows_of("advice.csv"))
    assert all(said.status in STATUSES and said.source for said in found)
    assert all(said.readers for said in cautions())


def test_advice_says_where_no_source_stands_behind_it():
    assert advised("crossings").endswith("(common practice, no source).")
    assert "no source" not in advised("den preference")


def test_a_row_without_source_or_with_an_unknown_reader_is_refused(monkeypatch):
    row = {"key": "k", "subject": "k", "readers": "builds", "text": "t", "status": "assumption", "source": "s"}
    for change in ({"source": ""}, {"readers": "everybody"}, {"status": "hearsay"}, {"text": ""}):
        monkeypatch.setattr("packpale.values.cautions.rows_of", lambda table, change=change: [row | change])
        with pytest.raises(ValueError, match="incomplete"):
            cautions.__wrapped__()
