"""Mapped water that crosses the fence, on the page, on the map and in the GeoPackage."""

import dataclasses

import fiona
import pytest

from packpale.care.streams import StreamCrossing
from packpale.review.maps.holding_layers import crossing_layer
from packpale.review.subjects.crossings import CROSSINGS
from packpale.review.words import Wording
from review import factory, html_pages

METRIC = factory.Plainly(Wording(imperial=False, currency="EUR"))


@pytest.fixture(scope="module")
def mapped(fitting):
    """The fitting plot with a stream at its first flow path, and a pond where the ground model has none."""
    (path, *_) = fitting.care.crossings
    at = fitting.enclosure.packs[0].alignment
    streams = (
        StreamCrossing(1, path.chainage, path.x, path.y, 0.0, path.number),
        StreamCrossing(1, float(at.chainage[5]), float(at.x[5]), float(at.y[5]), 7.5, None),
    )
    return dataclasses.replace(fitting, care=dataclasses.replace(fitting.care, streams=streams))


def test_layer_says_which_crossings_are_mapped_and_has_those_that_only_the_map_shows(mapped, tmp_path):
    factory.run_folder(tmp_path, [mapped], factory.project())
    with fiona.open(tmp_path / "packpale.gpkg", layer="crossings") as file:
        rows = list(file)
    paths = mapped.care.crossings
    assert [r.properties["mapped"] for r in rows] == [True, *[False] * (len(paths) - 1), True]
    unseen = rows[-1]
    assert unseen.geometry.coordinates == pytest.approx((mapped.care.streams[1].x, mapped.care.streams[1].y))
    known = {"plot_id", "pack", "chainage_m", "kind", "is_lower_bound", "arbitrary", "mapped"}
    assert {name for name, value in unseen.properties.items() if value is not None} == known
    text = html_pages.read(tmp_path / "plots/plot-0/index.html").text
    assert "Water on the map crosses the fence line at 2 places" in text
    assert "chainage 5 m, 8 m wide along the fence: the ground model has no flow path here" in text
    assert f"chainage {METRIC.length(paths[0].chainage)}: the flow path that the ground model has here" in text


def test_map_marks_what_only_the_map_shows(mapped):
    layer = crossing_layer(factory.map_source(mapped))
    assert len(layer.shapes) == len(mapped.care.crossings) + 1
    assert layer.shapes[-1].title == "Mapped water crosses the fence of pack 1"
    rows = dict(layer.shapes[-1].rows)
    assert rows["Mapped water along the fence"] == "7.50 m"
    assert rows["Ground that drains here"].startswith("not known")


def test_without_mapped_water_nothing_is_said(fitting, tmp_path):
    dry = dataclasses.replace(fitting, care=dataclasses.replace(fitting.care, streams=()))
    assert not any(row["mapped"] for row in CROSSINGS.rows(dry, factory.project()))
    factory.run_folder(tmp_path, [dry], factory.project())
    assert "Water on the map" not in html_pages.read(tmp_path / "plots/plot-0/index.html").text
