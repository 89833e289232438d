"""The map of a plot as a still picture: where things lie in it, what its legend names, how it is written."""

import dataclasses

import numpy as np
import pytest
import shapely
from PIL import Image

from packpale.review.drawings.paper import svg, write_png
from packpale.review.drawings.sheet import Areas, Line, Sheet, Title
from packpale.review.drawings.still_picture import HEIGHT_MM, WIDTH_MM, still_picture, view_of, write_still_picture
from packpale.review.map_styles import FENCE, OVER, SURROUNDINGS, TOUCH, USABLE
from packpale.review.words import Wording
from review import factory

METRIC = Wording(imperial=False, currency="EUR")


def sheet_of(result, wording=METRIC):
    return still_picture(result, factory.project(), wording)


def words(sheet):
    return [text.text for text in sheet.texts]


def pixels(path):
    with Image.open(path) as picture:
        return np.asarray(picture.convert("RGB")).astype(float) / 255


def at(plot, x, y):
    """Row and column of the pixel under places of the run's CRS."""
    across, up = view_of(plot.site)[0].at(x, y)
    return np.floor((HEIGHT_MM - up) * 9).astype(int), np.floor(across * 9).astype(int)


def with_features(plot, **features):
    return dataclasses.replace(plot, site=dataclasses.replace(plot.site, features=features))


@pytest.mark.parametrize("plot", ["plot-0", "plot-2"])
def test_picture_is_900_wide(run, plot):
    assert pixels(run.folder / f"plots/{plot}/picture.png").shape == (684, 900, 3)


def test_fence_line_lies_in_the_picture_where_it_should(run):
    """Dark red of the fence line at its stations."""
    plot = run.plots[0]
    line, gates = plot.enclosure.packs[0].alignment, plot.enclosure.packs[0].gates
    away = np.min(np.hypot(line.x[:, None] - gates.x, line.y[:, None] - gates.y), axis=1) > 8
    red = pixels(run.folder / "plots/plot-0/picture.png")[at(plot, line.x[away], line.y[away])]
    assert np.mean((red[:, 0] > 0.5) & (red[:, 1] < 0.3)) > 0.95


def test_usable_land_is_green_and_what_is_not_is_grey(run):
    plot = run.plots[0]
    image = pixels(run.folder / "plots/plot-0/picture.png")
    grid = plot.site.grid
    x, y = (cells.ravel() for cells in np.meshgrid(*grid.centres()))
    fence = plot.enclosure.packs[0].line.polygon(0.05).boundary.buffer(15)
    clear = shapely.difference(plot.land.usable.buffer(-4), fence)
    green = shapely.contains_xy(clear, x, y)
    inside = plot.site.outline.buffer(-8)
    drawn = [shape.buffer(4) for shapes in plot.site.features.values() for shape in shapes]
    other = shapely.union_all([plot.land.usable.buffer(4), fence, *drawn])
    grey = shapely.contains_xy(shapely.difference(inside, other), x, y)
    assert grey.sum() > 100
    assert green.sum() > 100
    tint = image[at(plot, x[green], y[green])]
    assert np.mean(tint[:, 1] - tint[:, 0] > 0.05) > 0.98
    plain = image[at(plot, x[grey], y[grey])]
    assert np.mean(np.abs(plain[:, 1] - plain[:, 0]) < 0.03) > 0.98


def test_ground_lies_where_its_cells_are(fitting, tmp_path):
    """Ground without elevation stays blank, where it is; level ground round it has its one grey."""
    site = fitting.site
    elevation = np.full(site.grid.shape, 300.0)
    middle = [n // 2 for n in site.grid.shape]
    elevation[middle[0] - 2 : middle[0] + 3, middle[1] - 2 : middle[1] + 3] = np.nan
    bare = dataclasses.replace(fitting, site=dataclasses.replace(site, elevation=elevation, features={}))
    bare = dataclasses.replace(bare, land=dataclasses.replace(bare.land, usable=shapely.MultiPolygon()))
    bare = dataclasses.replace(bare, enclosure=dataclasses.replace(bare.enclosure, packs=()))
    write_still_picture(bare, factory.project(), METRIC, tmp_path / "a.png")
    image = pixels(tmp_path / "a.png")
    x, y = (axis[k] for axis, k in zip(site.grid.centres(), middle[::-1], strict=True))
    np.testing.assert_array_equal(image[at(bare, x, y)], [1.0, 1.0, 1.0])
    far = 8 * site.grid.cell
    around = image[at(bare, x + np.array([far, -far, 0, 0]), y + np.array([0, 0, far, -far]))]
    flat = [0x6D + 0.78 * (0xFB - 0x6D), 0x6A + 0.78 * (0xFA - 0x6A), 0x63 + 0.78 * (0xF7 - 0x63)]
    np.testing.assert_allclose(around, np.tile(np.array(flat) / 255, (4, 1)), atol=0.012)


def test_legend_names_what_is_in_sight_and_nothing_else(fitting):
    west, south, east, north = fitting.site.outline.bounds
    wide = east - west
    here = shapely.LineString([(west, south), (east, north)])
    there = shapely.box(east + 3 * wide, south, east + 4 * wide, north)
    named = words(sheet_of(with_features(fitting, watercourses=(here,), woodland=(there,))))
    assert "watercourses" in named
    assert "woodland" not in named
    assert {"usable land", "plot boundary", "buried apron", "fence line", "gate"} <= set(named)
    assert "woodland" in words(sheet_of(with_features(fitting, woodland=(shapely.box(west, south, east, north),))))


def test_over_limits_and_touches_are_told_where_there_are_any(fitting):
    pack = fitting.enclosure.packs[0]

    def of(**changed):
        packs = (dataclasses.replace(pack, **changed),)
        return sheet_of(dataclasses.replace(fitting, enclosure=dataclasses.replace(fitting.enclosure, packs=packs)))

    for field, text, style in (("over_limits", "line over a limit", OVER), ("touches", "touches a limit", TOUCH)):
        found = getattr(pack, field)
        assert (text in words(of())) == bool(found)
        without = of(**{field: ()})
        assert text not in words(without)
        assert style.colour not in {mark.colour for mark in without.marks if isinstance(mark, Line)}


def test_packs_have_their_numbers_where_there_are_several(fitting):
    pack = fitting.enclosure.packs[0]
    two = (pack, dataclasses.replace(pack, number=2))
    several = dataclasses.replace(fitting, enclosure=dataclasses.replace(fitting.enclosure, packs=two))
    assert {"1", "2"} <= set(words(sheet_of(several)))
    assert not {"1", "2"} & set(words(sheet_of(fitting)))


@pytest.mark.parametrize(("imperial", "unit"), [(False, "m"), (True, "ft")])
def test_scale_bar_is_as_long_as_it_says(fitting, imperial, unit):
    sheet = sheet_of(fitting, Wording(imperial=imperial, currency="EUR"))
    (bar,) = (mark for mark in sheet.marks if isinstance(mark, Line) and mark.name == "scale-bar")
    metres = np.ptp(bar.points[:, 0]) * view_of(fitting.site)[0].scale / 1000
    shown = words(sheet)
    assert shown[-2 if shown[-1] == "N" else -1] == unit
    longest = max(float(text.replace(",", "")) for text in shown if text.replace(",", "").replace(".", "").isdigit())
    assert longest * (0.3048 if imperial else 1.0) == pytest.approx(metres)
    assert "N" in shown


def test_every_text_is_of_8_points_and_within_the_picture(fitting):
    full = with_features(fitting, **dict.fromkeys(SURROUNDINGS, (fitting.site.outline,)))
    for turned in (False, True):
        sheet = sheet_of(on_its_side(full) if turned else full)
        assert {text.size for text in sheet.texts} == {8.0}
        corners = np.concatenate([text.corners for text in sheet.texts])
        assert corners.min() >= 0
        assert (corners <= (WIDTH_MM, HEIGHT_MM)).all()
        texts = [shapely.Polygon(text.corners) for text in sheet.texts]
        assert not [1 for k, one in enumerate(texts) for other in texts[:k] if one.intersection(other).area > 0.1]


def on_its_side(plot):
    """The same ground with an outline twice as wide as high, or twice as high as wide where it was wide."""
    west, south, east, north = plot.site.outline.bounds
    narrow = (north - south) / 2 if view_of(plot.site)[1][2] < WIDTH_MM else 2 * (north - south)
    outline = shapely.box(west, south, east, south + narrow)
    return dataclasses.replace(plot, site=dataclasses.replace(plot.site, outline=outline))


def test_legend_stands_beside_a_high_plot_and_below_a_wide_one(fitting):
    boxes = [view_of(plot.site)[1] for plot in (fitting, on_its_side(fitting))]
    assert sorted((box[2] - box[0], box[3] - box[1]) for box in boxes) == [(62.0, 76.0), (100.0, 59.0)]


def test_two_runs_write_the_same_bytes(fitting, tmp_path):
    for name in ("a.png", "b.png"):
        write_still_picture(fitting, factory.project(), METRIC, tmp_path / name)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


def test_colours_are_those_of_the_map(fitting):
    marks = sheet_of(fitting).marks
    assert USABLE.fill in {mark.colour for mark in marks if isinstance(mark, Areas)}
    assert FENCE.colour in {mark.colour for mark in marks if isinstance(mark, Line)}


def test_holes_of_areas_stay_free_and_ground_is_seen_through_them(tmp_path):
    sheet = Sheet(Title("", "", "", 1, 1, "", ""), "", size=(30.0, 30.0))
    rings = [np.array(shapely.box(*box).exterior.coords) for box in ((0, 0, 30, 30), (10, 10, 20, 20))]
    sheet.areas(rings, colour="#000000", opacity=0.5)
    write_png(sheet, tmp_path / "a.png", width_px=30)
    image = pixels(tmp_path / "a.png")[..., 0]
    assert image[15, 15] == 1.0
    assert image[5, 5] == pytest.approx(0.5, abs=0.01)
    assert 'fill-rule="evenodd"' in svg(sheet)
