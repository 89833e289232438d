"""What stands on the line: by letter on the map, and in a list that one key opens; the legend that stays in sight."""

import pytest

from packpale.review.subjects.holds import LETTERS, places
from review import factory

pytestmark = pytest.mark.browser

PLOT = "plots/plot-0/map.html"


def test_every_place_has_its_letter_on_the_map(watched, run, fitting):
    page = watched.open(run / PLOT)
    pack = fitting.enclosure.packs[0]
    names = [p.name for p in places(fitting, factory.project(), pack)]
    names += [f"H{k + 1}" for k in range(len(pack.touches))]
    names += [f"pit {k + 1}" for k in range(len(fitting.earthworks.uncertainty.pits))]
    assert len(names) > 5
    assert sorted(page.locator(".sign").all_text_contents()) == sorted(names)


def test_one_key_opens_the_list_and_an_entry_leads_to_its_place(watched, run):
    page = watched.open(run / PLOT)
    assert not page.locator("#places ol").is_visible()
    page.keyboard.press("p")
    first = page.locator("#places button").first
    assert first.is_visible()
    assert page.evaluate("document.activeElement.textContent") == first.text_content()
    page.keyboard.press("Enter")
    popup = page.locator(".leaflet-popup-content")
    popup.wait_for()
    assert LETTERS["G"].partition(",")[0] in popup.text_content()
    page.keyboard.press("p")
    assert not page.locator("#places ol").is_visible()


def test_the_key_is_a_letter_where_somebody_writes(watched, run):
    page = watched.open(run / PLOT)
    page.click("#to-another")
    page.wait_for_selector("#another-figures tbody tr")
    page.focus("#another-area")
    page.keyboard.press("p")
    assert not page.locator("#places ol").is_visible()


@pytest.mark.parametrize("watched", [(1280, 800), (390, 844)], ids=["desktop", "phone"], indirect=True)
def test_the_legend_of_the_picture_stays_in_sight(watched, run):
    page = watched.open(run / PLOT)
    page.evaluate("document.getElementById('panel').open = true")
    assert page.locator("#legend").is_hidden()
    page.check("label:has-text('Slope of the ground') >> input")
    legend = page.locator("#legend")
    assert "Slope of the ground" in legend.text_content()
    entries = legend.locator("li").all_text_contents()
    assert entries == page.locator(".key:visible li").all_text_contents()[: len(entries)] != []
    if page.viewport_size["width"] < 640:
        page.click("#panel summary")
    else:
        page.evaluate("document.getElementById('panel').scrollTop = 9999")
    box, view = legend.bounding_box(), page.viewport_size
    assert box["y"] >= 0
    assert box["y"] + box["height"] <= view["height"]
    x, y = box["x"] + box["width"] / 2, box["y"] + 8
    assert page.evaluate("([x, y]) => Boolean(document.elementFromPoint(x, y).closest('#legend'))", [x, y])
    page.evaluate("document.getElementById('panel').open = true")
    page.check("label:has-text('No colours') >> input")
    assert legend.is_hidden()
