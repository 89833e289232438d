"""A map stays small whatever the plot: what is left out is said in the page."""

import dataclasses

import numpy as np
import pytest
import shapely

from packpale.land.usable import cell_outlines
from packpale.review.maps import as_shown, land_layers, plot_map, themes
from packpale.review.maps.land_layers import drawn_outline
from packpale.review.maps.leaflet import page_bytes
from packpale.review.maps.theme import even_edges
from packpale.review.words import Wording, plain
from packpale.site import Grid
from review import factory

METRIC = Wording(imperial=False, currency="EUR")


def test_a_page_keeps_to_its_size_and_says_what_it_left_out(fitting, monkeypatch):
    whole = plot_map.plot_map(fitting, factory.project(), METRIC)
    assert [plain(line) for line in whole.introduction] == ["One enclosure: 2.07 ha."]
    figures = whole.probe.size
    strides = []
    for share in (0.7, 0.2):
        most = int(page_bytes(whole) - (1 - share) * figures)
        monkeypatch.setattr(plot_map, "PAGE_BYTES", most)
        page = plot_map.plot_map(fitting, factory.project(), METRIC)
        # The names and units of the figures come on top.
        assert page_bytes(page) <= most + 4_000
        assert page.probe.whole_window is False
        said = plain(" ".join(page.introduction))
        assert ("square of" in said) == (page.probe.stride > 1)
        strides.append(page.probe.stride)
    assert 1 < strides[-1] < 6
    assert f"square of {2 * strides[-1]:.2f} m" in said


def test_pictures_shrink_until_they_fit_and_that_is_said(fitting, monkeypatch):
    monkeypatch.setattr(plot_map, "LARGEST_SIDES", (150, 120, 90, 60, 40))
    shown = themes.themes(fitting, factory.project(), METRIC)
    full, coarser = plot_map._pictures(fitting, shown, most_bytes=10**6)
    assert not coarser
    size = sum(len(p.png) for p in full) * 4 / 3
    for share in (0.6, 0.4, 0.0):
        pictures, coarser = plot_map._pictures(fitting, shown, most_bytes=int(share * size))
        assert coarser
        assert sum(len(p.png) for p in pictures) * 4 / 3 <= max(share, 0.4) * size


def test_a_large_window_is_shown_in_squares_and_that_is_said(fitting, monkeypatch):
    assert as_shown.as_shown(fitting) is fitting
    cells = fitting.site.grid.rows * fitting.site.grid.cols
    monkeypatch.setattr(as_shown, "MOST_CELLS", cells // 4)
    shown = as_shown.as_shown(fitting)
    assert shown.site.grid.cell == 3 * fitting.site.grid.cell
    arrays = [getattr(of, f.name) for of in (shown.site, shown.site.soil, shown.land) for f in dataclasses.fields(of)]
    assert {a.shape for a in arrays if isinstance(a, np.ndarray)} == {shown.site.grid.shape}
    # In single precision.
    np.testing.assert_allclose(shown.land.slope[5, 7], fitting.land.slope[15:18, 21:24].mean(), rtol=1e-6)
    assert shown.site.inside[5, 7] == fitting.site.inside[16, 22]
    page = plot_map.plot_map(fitting, factory.project(), METRIC)
    assert "coarser than the cells" in plain(" ".join(page.introduction))
    # The figures of a click do not get coarser with the pictures.
    assert page.probe.stride == 1


def test_an_outline_with_few_corners_is_drawn_as_it_is():
    grid = Grid(0.0, 100.0, 1.0, 100, 100)
    area = shapely.MultiPolygon([shapely.box(10, 10, 60.5, 80)])
    drawn, side = drawn_outline(area, grid)
    assert side == 0
    assert drawn.equals(area)


def test_an_outline_with_too_many_corners_is_drawn_in_larger_squares(monkeypatch):
    monkeypatch.setattr(land_layers, "MOST_CORNERS", 400)
    grid = Grid(0.0, 120.0, 1.0, 120, 120)
    cells = np.random.default_rng(4).random(grid.shape) < 0.9
    area = cell_outlines(cells, grid)
    drawn, side = drawn_outline(area, grid)
    assert shapely.get_num_coordinates(drawn) <= 400 < shapely.get_num_coordinates(area)
    assert side >= 2
    assert side == round(side)
    # Nine cells of ten are in it, and so is about that much of the drawing.
    assert drawn.area == pytest.approx(area.area, rel=0.12)


@pytest.mark.parametrize(
    ("low", "high", "edges"),
    [
        (440.2, 452.9, [442, 444, 446, 448, 450, 452]),
        (-3.0, 3.0, [-2, -1, 0, 1, 2]),
        (0.0, 0.031, [0.01, 0.02, 0.03]),
        (7.0, 7.0, [7.01]),
        (100.0, 1100.0, [200, 400, 600, 800, 1000]),
    ],
)
def test_edges_of_heights_are_round_and_few(low, high, edges):
    assert even_edges(low, high) == pytest.approx(edges)
