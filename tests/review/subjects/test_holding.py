"""How long the mesh holds, on the first page, on the map and in the GeoPackage, against what the room found."""

import dataclasses

import fiona
import numpy as np
import pytest

from packpale.earthworks.model import Stretch
from packpale.review.maps.holding_layers import mesh_layers
from packpale.review.report.holding import digging_out
from packpale.review.subjects.stretches import ABOVE_WEAKEST, DIG_STRETCHES
from review import factory, html_pages


def with_margin(plot):
    """The same plot with hours to spare from -3 to 9 along the line, and a stretch on rock."""
    (found,) = plot.care.holdings
    margin = np.linspace(-3, 9, found.rate.size)
    new = dataclasses.replace(
        found, margin_h=margin, too_short=(Stretch(0.0, 100.0, 100.0, -3.0),), on_rock=(Stretch(5.0, 25.0, 20.0, 0.4),)
    )
    return dataclasses.replace(plot, care=dataclasses.replace(plot.care, holdings=(new,)))


def layers(plot):
    return {layer.title: layer for layer in mesh_layers(factory.map_source(plot)) if layer.shapes}


def test_the_whole_line_is_in_the_geopackage_by_classes_of_rate(run):
    (found,) = run.plots[0].care.holdings
    with fiona.open(run.folder / "packpale.gpkg", layer="dig_stretches") as file:
        rows = [r.properties for r in file if r.properties["plot_id"] == run.plots[0].site.plot_id]
    assert {r["kind"] for r in rows} == {"digging rate"}
    line = run.plots[0].enclosure.packs[0].alignment
    assert sum(r["length_m"] for r in rows) == pytest.approx(line.step * line.x.size)
    assert min(r["worst"] for r in rows) == pytest.approx(found.rate.min())
    weakest = sum(r["length_m"] for r in rows if r["worst"] < ABOVE_WEAKEST[0] * found.rate.min())
    assert weakest == pytest.approx(line.step * (found.rate < ABOVE_WEAKEST[0] * found.rate.min()).sum())


def test_margin_and_rock_have_rows_of_their_own(fitting):
    rows = list(DIG_STRETCHES.rows(with_margin(fitting), factory.project()))
    assert [r["worst"] for r in rows if r["kind"] == "margin"] == pytest.approx([-3, 0, 2, 6], abs=0.1)
    assert [(r["worst"], r["unit"]) for r in rows if r["kind"] == "mesh ends on rock"] == [(0.4, "m")]
    assert [(r["length_m"], r["unit"]) for r in rows if r["kind"] == "dug through in time"] == [(100.0, "h")]


def test_map_colours_the_line_by_rate_and_by_margin(fitting):
    plain = layers(fitting)
    assert list(plain) == ["Digging rate that gets out in time"]
    both = layers(with_margin(fitting))
    assert len(both) == 3
    margin = both["Hours to spare before the mesh is dug under"]
    assert [s.style for s in margin.shapes] == [style for style, _ in margin.legend]
    assert [text for _, text in margin.legend] == ["below 0 min", "0 min to 2 h", "2 h to 6 h", "6 h and more"]
    assert dict(both["Mesh ends on rock"].shapes[0].rows)["At the worst place"] == "0.40 m, least depth"


def told(plot, **checks):
    project = factory.project(checks=checks)
    return factory.words_of(digging_out(factory.source(plot, project)))


def test_the_plots_page(run, fitting):
    assert (
        "has not been measured in print, so none is assumed"
        in html_pages.read(run.folder / "plots/plot-0/index.html").text
    )
    given = {"dig_rate_m_per_h": 0.3, "dig_rate_source": "invented trial"}
    text = told(with_margin(fitting), **given)
    assert "At 0.30 m per hour (invented trial) the mesh is dug under over 100 m of the fence" in text
    assert "Over 20 m the skirt ends on rock" in text
    assert "none is assumed" not in text
