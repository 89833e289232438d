"""The round along the fence in files, on the map and on the page, read back and compared with what was computed."""

import fiona
import numpy as np
import pyogrio.raw
import pytest
import shapely
from lxml import etree
from pyproj import Transformer
from shapely.geometry import shape

from packpale.review.maps.people_layers import round_layers
from packpale.review.subjects.patrol import PATROL
from review import factory, html_pages
from review.factory import SCHEMAS

MM = 0.001


def gpx(run, layer):
    meta, _, wkb, columns = pyogrio.raw.read(run.folder / "plots/plot-0/patrol.gpx", layer=layer)
    lon, lat = shapely.get_coordinates(shapely.from_wkb(wkb)).T
    x, y = Transformer.from_crs("EPSG:4326", factory.CRS, always_xy=True).transform(lon, lat)
    return np.column_stack([x, y]), dict(zip(meta["fields"], columns, strict=True))


def test_gpx_is_valid_and_holds_path_and_numbered_checks(run, fitting):
    path = run.folder / "plots/plot-0/patrol.gpx"
    checker = etree.XMLSchema(etree.parse(SCHEMAS / "gpx_1_1.xsd"))
    assert checker.validate(etree.parse(path)), checker.error_log
    (walk,) = fitting.care.rounds
    at, columns = gpx(run, "track_points")
    assert np.abs(at - walk.path).max() < MM
    site = fitting.site
    assert columns["ele"] == pytest.approx(site.grid.bilinear(site.elevation, *walk.path.T), abs=MM)
    at, columns = gpx(run, "waypoints")
    assert columns["name"].tolist() == [f"1-{k}" for k in range(1, len(walk.checks) + 1)]
    assert columns["type"].tolist() == [c.mark.kind for c in walk.checks]
    assert np.abs(at - [(c.x, c.y) for c in walk.checks]).max() < MM


def test_layers_of_the_geopackage(run, fitting):
    (walk,) = fitting.care.rounds
    with fiona.open(run.folder / "packpale.gpkg", layer="patrol") as layer:
        first = next(iter(layer))
    assert shape(first.geometry).length == pytest.approx(walk.length, abs=MM)
    assert first.properties["total_s"] == pytest.approx(walk.total_s)
    with fiona.open(run.folder / "packpale.gpkg", layer="patrol_checks") as layer:
        rows = [f.properties for f in layer if f.properties["plot_id"] == fitting.site.plot_id]
    assert [(r["check"], r["what"]) for r in rows] == [(c.number, c.mark.what) for c in walk.checks]
    assert sum(r["leg_m"] for r in rows) + walk.last_leg == pytest.approx(walk.length)


def test_page_sets_the_round_against_the_hours(run, fitting):
    (walk,) = fitting.care.rounds
    text = html_pages.read(run.folder / "plots/plot-0/index.html").text
    minutes = round(walk.total_s / 60)
    assert f"takes {minutes} min" in text
    unseen = round(13 * 60 + walk.total_s / 60)
    assert f"unseen for {unseen // 60} h {unseen % 60} min" in text
    (dug,) = fitting.care.dig_out
    assert f"{dug.shortest / (13 + walk.total_s / 3600):.2f} m per hour would be enough to dig out" in text


def test_map_shows_path_and_numbered_checks(fitting):
    path, checks = round_layers(factory.map_source(fitting))
    (walk,) = fitting.care.rounds
    assert len(path.shapes) == 1
    assert [s.label for s in checks.shapes] == [str(c.number) for c in walk.checks]


def test_without_care_there_is_no_round(barren):
    assert list(PATROL.rows(barren, factory.project())) == []
