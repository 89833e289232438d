"""A drawn line on pages, maps and in the GeoPackage: words instead of an egg's figures."""

import re

import fiona
import pytest

from packpale.care.assess import assess as assess_care
from packpale.enclosure.drawn import DrawnLine
from packpale.review.maps.plot_map import plot_map
from packpale.review.words import Wording
from review import factory, html_pages
from review.factory import SAID


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """A run of one plot with two drawn lines, one with corners and one round."""
    from shapely.geometry import Point, Polygon

    ground = factory.site()
    west, north = ground.grid.west, ground.grid.north
    bent = Polygon(
        [(west + e, north - n) for e, n in ((70, 110), (60, 60), (120, 80), (230, 60), (230, 120), (150, 135))]
    )
    ring = Point(west + 150, north - 200).buffer(38, quad_segs=40)
    lines = [DrawnLine.from_polygon(shape, corner_deg=10.0) for shape in (bent, ring)]
    settings = factory.project(enclosure={"fence_line": "lines.gpkg", "packs": 2})
    result = factory.result(settings=settings, lines=lines)
    folder = tmp_path_factory.mktemp("drawn-run")
    factory.run_folder(folder, [result], settings)
    return folder, result, settings


def test_page_says_that_the_line_was_given(drawn):
    folder, *_ = drawn
    text = html_pages.read(folder / "plots/plot-0/index.html").text
    assert "The fence line was given and is used as it is; nothing was fitted." in text
    for word in ("o larger one fits", "line touches", "room on all sides", "None", "nan"):
        assert word not in text, word
    # What is assumed for a search that did not take place is not listed.
    text = html_pages.read(folder / "basis.html").text
    names = set(re.findall(r"enclosure\.\w+", text))
    assert names <= {"enclosure.separation_m", "enclosure.min_radius_m", "enclosure.packs"}
    assert "enclosure.taper" not in text


def test_page_tells_what_the_fence_takes(drawn):
    folder, result, settings = drawn
    text = html_pages.read(folder / "plots/plot-0/index.html").text
    show = SAID
    fences = result.earthworks.fences
    for kind, name in (("line", "Line posts"), ("bend", "Posts at bends"), ("steep", "Posts on steep ground")):
        assert f"{name} {' '.join(str(f.posts[kind]) for f in fences)}" in text
    for kind in ("fence", "overhang", "skirt", "apron"):
        row = " ".join(show.quantity(f.mesh[kind].with_laps, "m2") for f in fences)
        assert f"Mesh for the {kind}, with laps {row}" in text
    for fence in fences:
        assert f"{fence.holes}, {show.volume(fence.concrete)}" in text
        assert f"{fence.largest_deflection_deg:.1f}° at chainage" in text
    assert f"; {settings.fence.max_panel_deflection_deg:g}°" in text


def test_map_names_the_line_and_shows_no_egg(drawn):
    _, result, settings = drawn
    page = plot_map(result, settings, Wording(imperial=False, currency="EUR"))
    layers = {layer.title: layer for layer in page.vectors}
    assert "Axis, arcs and centres" not in layers
    assert "What holds the fence line" not in layers
    first, second = layers["Fence line"].shapes
    assert dict(first.rows)["Line"] == dict(second.rows)["Line"] == "drawn, used as it is"
    assert [dict(s.rows)["Corners with a post of their own"] for s in (first, second)] == ["6", "0"]
    assert not any("proven" in name for name, _ in first.rows)
    kinds = {dict(shape.rows)["Kind"] for shape in layers["Posts"].shapes}
    assert kinds >= {"line post", "bend post, strutted"}
    (stations,) = (layer for title, layer in layers.items() if title.startswith("Stations"))
    radii = [dict(shape.rows)["Radius here"] for shape in stations.shapes]
    assert "straight" in radii
    text = repr(page.vectors)
    assert "None" not in re.sub(r"style=None|dash=None|\bNone\b(?=[,)])", "", text)


def test_geopackage_leaves_empty_what_only_an_egg_has(drawn):
    folder, result, _ = drawn
    with fiona.open(folder / "packpale.gpkg", layer="fence_lines") as layer:
        rows = list(layer)
    assert len(rows) == 2
    for row, pack in zip(rows, result.enclosure.packs, strict=True):
        assert row.properties["origin"] == "drawn"
        empty = {k for k, v in row.properties.items() if v is None}
        assert empty == {
            "big_x",
            "big_y",
            "axis_bearing_deg",
            "big_radius_m",
            "small_radius_m",
            "flank_radius_m",
            "centre_spacing_m",
            "area_bound_m2",
            "fit_s",
        }
        assert row.properties["perimeter_m"] == pack.line.perimeter
    with fiona.open(folder / "packpale.gpkg", layer="aprons") as layer:
        assert all(row.geometry.type == "Polygon" for row in layer)


def test_the_dig_out_holds_for_a_drawn_line(drawn):
    _, result, settings = drawn
    care = assess_care(result.site, result.land, result.enclosure, settings)
    assert [d.pack for d in care.dig_out] == [1, 2]
    # On level ground: down the skirt, straight to the apron's end, up.
    trench = settings.trench
    level = trench.depth_m + (trench.apron_reach_m**2 + (trench.depth_m - trench.apron_cover_m) ** 2) ** 0.5
    assert 0.7 * level < care.dig_out[0].shortest < 1.3 * (level + trench.apron_cover_m)
