"""Climbing on the first page, on the map and in the GeoPackage, against what the room found."""

import dataclasses

import fiona
import numpy as np
import pytest

from packpale.care.guidance import speaks_of_climbing, verdicts_at_height
from packpale.earthworks.stretches import total
from packpale.review.maps.holding_layers import climb_layers
from packpale.review.report.guidance import guidance_rows
from packpale.review.words import Wording, plain
from packpale.values.guidance import guidance
from review import factory, html_pages
from review.factory import SAID

METRIC = Wording(imperial=False, currency="EUR")


def test_rows_of_the_geopackage(run):
    (found,) = run.plots[0].care.climbs
    with fiona.open(run.folder / "packpale.gpkg", layer="climb_stretches") as file:
        rows = [r.properties for r in file if r.properties["plot_id"] == run.plots[0].site.plot_id]
    for kind, stretches in (
        ("bank inside", found.banks_inside),
        ("bank outside", found.banks_outside),
        ("woodland near", found.near_trees),
    ):
        told = [(r["start_chainage_m"], r["length_m"], r["worst_m"]) for r in rows if r["kind"] == kind]
        assert told == [pytest.approx((s.start, s.length, s.worst)) for s in stretches], kind
    assert rows


def test_the_plots_page(run):
    (c,) = run.plots[0].care.climbs
    text = html_pages.read(run.folder / "plots/plot-0/index.html").text
    lowest = f"stands {SAID.dimension(c.least)} high from inside at its lowest place, chainage "
    assert lowest + SAID.length(c.weakest_chainage) in text
    assert f"over {SAID.length(total(c.banks_inside))} inside" in text
    # Published figures stand beside: what is asked, the verdict as set, the verdict at the lowest place.
    rules = [rule for rule in guidance() if speaks_of_climbing(rule)]
    rows = {row.rule.name: row for row in guidance_rows(run.settings, METRIC) if row.rule in rules}
    assert len(rules) == len(rows) > 5
    at_lowest = dict(zip([r.name for r in rules], verdicts_at_height(run.settings, rules, c.least), strict=True))
    shown = 0
    for name, row in rows.items():
        verdicts = (row.verdict, at_lowest[name])
        told = f"for {row.rule.animals} {plain(row.asked)} {' '.join(verdicts)}" in text
        assert told == ("falls short" in verdicts), name
        shown += told
    assert 0 < shown < len(rows)


def test_the_coloured_line_is_whole_and_each_piece_in_its_class(fitting):
    (found,) = fitting.care.climbs
    line = fitting.enclosure.packs[0].alignment
    project = factory.project()
    # From 0 to .9 m missing, once along the line.
    inside = 2.5 - np.linspace(0, 0.9, line.x.size)
    plot = dataclasses.replace(
        fitting, care=dataclasses.replace(fitting.care, climbs=(dataclasses.replace(found, inside=inside),))
    )
    layer = next(iter(climb_layers(factory.map_source(plot, project))))
    lengths = [float(dict(s.rows)["Length"].split()[0]) for s in layer.shapes]
    perimeter = line.step * line.x.size
    assert len(lengths) == 4
    np.testing.assert_allclose(np.array(lengths) / perimeter, np.array([0.05, 0.25, 0.3, 0.3]) / 0.9, atol=0.01)
    assert [s.style for s in layer.shapes] == [style for style, _ in layer.legend]
