"""Crossings on the first page, on the map and in the GeoPackage, against what the room found."""

import dataclasses

import fiona
import pytest

from packpale.care.crossings import Opening
from packpale.review.maps.holding_layers import crossing_layer
from packpale.review.report import water
from packpale.review.subjects.crossings import CROSSINGS
from packpale.review.words import Wording, plain
from packpale.values.cautions import advised
from review import factory, html_pages
from review.factory import SAID

METRIC = Wording(imperial=False, currency="EUR")
RAIN = {"rain_mm_per_h": 90.0, "rain_source": "invented storm of 50 years"}


def with_crossings(plot, crossings):
    return dataclasses.replace(plot, care=dataclasses.replace(plot.care, crossings=tuple(crossings)))


def wet(plot):
    """The same crossings, each with an opening."""
    opening = Opening(90.0, 0.07, 0.44, 0.5, 5)
    return with_crossings(plot, [dataclasses.replace(c, opening=opening) for c in plot.care.crossings])


def shown(plot):
    return crossing_layer(factory.map_source(plot, wording=METRIC))


def test_rows_of_the_geopackage(run):
    found = run.plots[0].care.crossings
    assert len(found) > 1
    with fiona.open(run.folder / "packpale.gpkg", layer="crossings") as file:
        rows = [r for r in file if r.properties["plot_id"] == run.plots[0].site.plot_id]
    # Behind them stands what only the map shows: a stream that begins inside.
    rows, mapped = rows[: len(found)], rows[len(found) :]
    assert [row.properties["crossing"] for row in mapped] == [None]
    for row, c in zip(rows, found, strict=True):
        assert row.geometry.coordinates == pytest.approx((c.x, c.y))
        assert row.properties["direction"] == ("in" if c.inward else "out")
        assert row.properties["contributing_area_m2"] == c.area
        assert row.properties["design_flow_m3_per_s"] is None


def test_rows_with_an_opening(fitting):
    (first, *_) = CROSSINGS.rows(wet(fitting), factory.project())
    assert (first["design_flow_m3_per_s"], first["opening_width_m"], first["opening_height_m"]) == (0.07, 0.44, 0.5)
    assert (first["bars"], first["intensity_mm_per_h"]) == (5, 90.0)


def test_the_plots_page_lists_them_and_says_what_is_missing(run):
    page = html_pages.read(run.folder / "plots/plot-0/index.html")
    for c in run.plots[0].care.crossings:
        way = "into the enclosure" if c.inward else "out of the enclosure"
        assert f"{SAID.length(c.chainage)} {c.kind} {way} at least {SAID.area(c.area)}" in page.text
        assert f"at least {SAID.duration(60 * c.concentration_min)}" in page.text
    assert "No design flow and no opening" in page.text
    assert "Design flow Opening" not in page.text
    assert "with the consent of the authority for the water" in page.text


def test_the_plots_page_tells_flow_and_opening(fitting, tmp_path):
    settings = factory.project(crossings=RAIN)
    factory.run_folder(tmp_path, [wet(fitting)], settings)
    text = html_pages.read(tmp_path / "plots/plot-0/index.html").text
    assert "Rainfall: invented storm of 50 years." in text
    assert "0.07 m³/s 0.44 m by 0.50 m 5" in text
    assert "both follow from the rainfall, and none is given" not in text


def test_map_marks_each_and_tells_what_is_known(fitting):
    layer = shown(fitting)
    assert len(layer.shapes) == len(fitting.care.crossings) + len(fitting.care.streams)
    assert advised("crossings authority") in layer.explanation
    rows = dict(layer.shapes[0].rows)
    first = fitting.care.crossings[0]
    assert rows["Ground that drains here"] == f"at least {METRIC.area(first.area)}"
    assert rows["Design flow"] == "not worked out: no rainfall is given"
    opening = dict(shown(wet(fitting)).shapes[0].rows)["Opening, width by height"]
    assert plain(opening) == "0.44 m by 0.50 m"


def test_the_page_lists_those_that_drain_most(fitting):
    one = fitting.care.crossings[0]
    many = [dataclasses.replace(one, number=k + 1, area=1000.0 * (k + 1)) for k in range(water.SHOWN + 3)]
    section = water.crossings(factory.source(with_crossings(fitting, many)))
    (listed,) = [block for block in section.blocks if block.kind == "table"]
    assert f"at {water.SHOWN + 3} places" in factory.words_of(section)
    shown = [f"at least {SAID.area(c.area)}" for c in many[3:]]
    assert [factory.words_of(row[3]) for row in listed.rows] == shown
