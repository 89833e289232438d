"""The classes of the coloured pictures."""

import dataclasses
import itertools

import numpy as np
import pytest
import rasterio
import shapely

from packpale.review.maps import themes
from packpale.review.words import Wording
from review import factory

METRIC = Wording(imperial=False, currency="EUR")


@pytest.fixture(scope="module")
def shown(fitting):
    return {t.key: t for t in themes.themes(fitting, factory.project(), METRIC)}


def test_every_class_has_a_colour_and_words(shown):
    for theme in shown.values():
        assert len(theme.colours) == len(theme.texts) == len(theme.edges) + 1
        assert list(theme.edges) == sorted(theme.edges)


def test_classes_begin_at_their_edges(shown):
    slope = shown["slope"]
    numbers = slope.classes(np.array([0.0, 1.99, 2.0, 19.99, 20.0, 45.0, np.nan]))
    assert [slope.texts[n - 1] for n in numbers[:-1]] == [
        "under 2°",
        "under 2°",
        "2° to 5°",
        "15° to 20°",
        "20° to 30°: too steep here",
        "over 30°: too steep here",
    ]
    assert numbers[-1] == 0


def test_ramps_grow_steadily_lighter_or_darker(shown):
    """Read in grey, neighbouring classes differ and never turn back (sRGB luma weights of ITU-R BT.709)."""
    for key in ("slope", "wetness", "ponding", "diggability", "suitability"):
        colours = [c for c in shown[key].colours if c]
        grey = [
            sum(w * int(c[k : k + 2], 16) for w, k in zip((0.2126, 0.7152, 0.0722), (1, 3, 5), strict=True))
            for c in colours
        ]
        steps = [b - a for a, b in itertools.pairwise(grey)]
        assert all(s > 4 for s in steps) or all(s < -4 for s in steps), key


def test_not_usable_says_what_the_limits_say(fitting, shown):
    theme = shown["not_usable"]
    grid = fitting.site.grid
    x, y = np.meshgrid(*grid.centres())
    held = np.array([shapely.contains_xy(limit.area, x, y) for limit in fitting.land.limits])
    count = held.sum(axis=0)
    numbers = theme.classes(theme.values)
    np.testing.assert_array_equal(numbers > 0, count > 0)
    words = np.array(["", *theme.texts])[numbers]
    assert set(words[count > 1]) == {"more than one of these"}
    for k, limit in enumerate(fitting.land.limits):
        assert set(words[held[k] & (count == 1)]) <= {METRIC.say(limit.name)}


def test_limiting_feature_is_named_and_blank_where_nothing_limits(fitting):
    from packpale.land.diggability import FEATURES

    limitation, feature = fitting.land.limitation.copy(), fitting.land.limiting_feature.copy()
    limitation[20:30, 20:30] = 0.0
    feature[40:50, 40:50] = FEATURES.index("clay")
    land = dataclasses.replace(fitting.land, limitation=limitation, limiting_feature=feature)
    shown = themes.themes(dataclasses.replace(fitting, land=land), factory.project(), METRIC)
    (theme,) = (t for t in shown if t.key == "limiting")
    numbers = theme.classes(theme.values)
    limited = np.nan_to_num(limitation) > 0
    np.testing.assert_array_equal(numbers > 0, limited)
    words = np.array(["", *theme.texts])[numbers]
    np.testing.assert_array_equal(words[limited], np.array(FEATURES)[feature[limited]])
    assert len(set(words[limited])) >= 2


def test_level_ground_is_always_equally_bright(fitting):
    flat = dataclasses.replace(fitting.site, elevation=np.full(fitting.site.grid.shape, 300.0))
    levelled = themes.hillshade(dataclasses.replace(fitting, site=flat))
    assert np.unique(levelled.values[1:-1, 1:-1]) == pytest.approx([0.78])


def test_files_of_a_plot(run):
    always = {"map.html", "picture.png", "section.svg", "result.json", "report.json", "index.html", "layers.gpkg"} | {
        f"{n}.tif" for n in ("slope_deg", "wetness", "ponding_m", "diggability", "suitability")
    }
    fits = always | {"setting_out.csv", "arcs.csv", "profile.svg", "plan.svg", "drawings.pdf"}
    fits |= {"section_small.svg", "profile_small.svg", "draws.npy"}
    fits |= {"section_small.svg", "profile_small.svg", "holds.svg", "holds_small.svg", "holds.csv", "programme.csv"}
    fits |= {"pegs.csv", "pegging.txt", "fence_line.gpx", "patrol.gpx", "alignment.xml"}
    fits |= {"points.csv", "plan.dxf", "sections.svg"}
    assert {p.name for p in (run.folder / "plots/plot-0").iterdir()} == fits
    assert {p.name for p in (run.folder / "plots/plot-2").iterdir()} == always
    with rasterio.open(run.folder / "plots/plot-2/suitability.tif") as file:
        assert file.count == 1
