"""The picture of all plots: names of many plots leave room for each other."""

import re

import pytest
from shapely.geometry import box

from packpale.review.report.overview import MOST_NAMED, PlotShape, overview
from packpale.review.words import Wording
from review import factory


def names(count):
    """Place and text of each name, drawn once with an edge and once without."""
    plots = [
        PlotShape(
            f"parcel {k:03}",
            k + 1,
            box(300 * (k % 30), -300 * (k // 30), 300 * (k % 30) + 200, 200 - 300 * (k // 30)),
            (),
        )
        for k in range(count)
    ]
    svg = overview(plots[::-1], Wording.of(factory.project())).svg
    found = re.findall(r'<text x="([\d.]+)" y="([\d.]+)"[^>]*>(\d+\. parcel \d+)</text>', svg)
    return list(dict.fromkeys((float(x), float(y), text) for x, y, text in found))


def test_of_many_names_none_lies_over_another_and_the_first_is_there():
    found = names(4 * MOST_NAMED)
    assert 1 < len(found) < MOST_NAMED
    assert "1. parcel 000" in [text for *_, text in found]
    for k, (x, y, text) in enumerate(found):
        for u, v, other in found[k + 1 :]:
            # Letters of 13 px are about 7 px wide.
            assert abs(x - u) >= 3.5 * (len(text) + len(other)) or abs(y - v) >= 13


@pytest.mark.parametrize("count", [1, 8])
def test_a_few_plots_all_have_their_names(count):
    assert len(names(count)) == count


def test_names_of_neighbours_keep_a_clear_gap():
    """Two small plots side by side, each narrower than its name: the second name gives way by a line or more."""
    plots = [
        PlotShape(name, None, box(x, 0, x + 60, 40), ()) for name, x in (("tessel-halves", 0), ("crooked-lot", 75))
    ]
    far = PlotShape("far-field", 1, box(300, 200, 400, 260), ())
    svg = overview([*plots, far], Wording.of(factory.project())).svg
    found = re.findall(r'<text x="([\d.]+)" y="([\d.]+)"[^>]*>([^<]*-[^<]*)</text>', svg)
    placed = {text: (float(x), float(y)) for x, y, text in found}
    assert set(placed) == {"tessel-halves", "crooked-lot", "1. far-field"}
    (x, y), (u, v) = placed["tessel-halves"], placed["crooked-lot"]
    # In the print letters of 13 px are about 9 px wide.
    assert abs(x - u) >= 4.5 * len("tessel-halvescrooked-lot") or abs(y - v) >= 16
