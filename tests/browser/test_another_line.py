"""Another line on a plot's map: its figures against the program's, every way to change it, and what is saved."""

import json
import re

import numpy as np
import pytest
import shapely
from pyproj import Transformer
from shapely.geometry import shape

from other_lines import FIGURES, as_figures, figures_by_the_program, random_lines
from packpale.enclosure.egg import Egg
from review import factory

pytestmark = pytest.mark.browser

PLOT = "plots/plot-0/map.html"
SHOWN = "#another-figures tbody tr"
FIELDS = ("x", "y", "bearing", "area", "aspect", "taper")
EVERY = """async lines => {
    const found = [];
    for (const line of lines) found.push(await packpale.tryLine(line));
    return found;
}"""


@pytest.fixture
def tried(watched, run):
    """The map with the other line begun."""
    page = watched.open(run / PLOT)
    page.click("#to-another")
    page.wait_for_selector(SHOWN)
    return page


def fields(page):
    return {name: float(page.input_value(f"#another-{name}")) for name in FIELDS}


def told(page):
    """The figures of the line in hand, by their names."""
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    rows = page.locator(SHOWN)
    return dict(rows.nth(k).locator("th, td").all_text_contents()[:2] for k in range(rows.count()))


def saved(page):
    with page.expect_download() as file:
        page.click("#another-save")
    return file.value.suggested_filename, json.loads(file.value.path().read_text(encoding="utf-8"))


def test_figures_are_those_of_the_program(watched, run, fitting):
    page = watched.open(run / PLOT)
    eggs = random_lines(fitting.site.outline, 60, seed=3)
    got = page.evaluate(EVERY, [as_figures(egg) for egg in eggs])
    project = factory.project()
    with_limits = with_rooms = 0
    for egg, one in zip(eggs, got, strict=True):
        ours = figures_by_the_program(egg, fitting, project)
        assert one["area"] == pytest.approx(egg.area, rel=1e-9)
        assert one["perimeter"] == pytest.approx(egg.perimeter, rel=1e-9)
        assert one["over"]["metres"] == pytest.approx(ours.over, rel=0.01, abs=0.5)
        assert one["price"] == pytest.approx(ours.price, rel=1e-3)
        assert one["rock"] == pytest.approx(ours.rock, abs=1.0)
        if ours.relief is not None:
            assert one["held"]["relief"] == pytest.approx(ours.relief, abs=0.02)
            assert one["held"]["wood"] == pytest.approx(ours.wood, abs=0.002)
        if ours.room is not None:
            with_rooms += 1
            assert one["nearest"]["room"] == pytest.approx(ours.room, abs=0.04)
        with_limits += ours.over > 0
    assert with_limits > 10
    assert with_rooms > 5


def test_the_line_in_hand_begins_as_the_planned_one(tried, fitting):
    egg = fitting.enclosure.packs[0].line
    assert fields(tried)["area"] == pytest.approx(egg.area / 1e4, abs=1e-3)
    rows = tried.locator(SHOWN)
    assert all(
        rows.nth(k).locator("td").nth(0).text_content() == rows.nth(k).locator("td").nth(1).text_content()
        for k in range(rows.count())
    )
    assert told(tried)["Area"] == f"{egg.area / 1e4:.2f}\u00a0ha"


def test_fields_change_it_and_changes_can_be_taken_back(tried):
    before = fields(tried)
    for name, value in (
        ("area", "1.5"),
        ("bearing", "20"),
        ("aspect", "1.5"),
        ("taper", "0.6"),
        ("x", before["x"] + 7),
    ):
        tried.fill(f"#another-{name}", str(value))
        tried.press(f"#another-{name}", "Enter")
        now = fields(tried)
        assert now[name] == pytest.approx(float(value), abs=0.06)
        # Nothing else moves.
        assert {k: v for k, v in now.items() if k != name} == pytest.approx(
            {k: v for k, v in before.items() if k != name}
        )
        before = now
    for _ in range(5):
        tried.click("#another-undo")
    assert tried.is_disabled("#another-undo")
    assert told(tried)["Area"] == tried.locator(SHOWN).nth(0).locator("td").nth(1).text_content()
    for _ in range(5):
        tried.click("#another-redo")
    assert fields(tried) == pytest.approx(before)


@pytest.mark.parametrize(("field", "value"), [("area", "-2"), ("aspect", "0.5"), ("taper", "1.2"), ("area", "")])
def test_what_makes_no_line_leaves_it_as_it_was(tried, field, value):
    before = fields(tried)
    tried.fill(f"#another-{field}", value)
    tried.press(f"#another-{field}", "Enter")
    assert fields(tried) == before
    assert "makes no line" in tried.text_content("#another-said")


@pytest.mark.parametrize(
    ("handle", "moved"), [("M", {"x", "y"}), ("T", {"bearing"}), ("S", {"area"}), ("L", {"aspect"}), ("E", {"taper"})]
)
def test_handles_change_what_they_say(tried, handle, moved):
    before = fields(tried)
    box = tried.locator(".handle", has_text=re.compile(f"^{handle}$")).bounding_box()
    middle = tried.locator(".handle", has_text=re.compile("^M$")).bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    # Away from the middle, or to its side for the turn and the small end.
    dx, dy = x - middle["x"] - 15, y - middle["y"] - 15
    length = max((dx**2 + dy**2) ** 0.5, 1)
    step = (
        (-25, 18)
        if handle == "M"
        else (-20 * dy / length, 20 * dx / length)
        if handle in "TE"
        else (22 * dx / length, 22 * dy / length)
    )
    tried.mouse.move(x, y)
    tried.mouse.down()
    tried.mouse.move(x + step[0] / 2, y + step[1] / 2)
    tried.mouse.move(x + step[0], y + step[1])
    tried.mouse.up()
    after = fields(tried)
    changed = {k for k in FIELDS if abs(after[k] - before[k]) > 1e-9}
    assert moved <= changed
    # Longer or blunter at the same width, the line also holds more.
    assert changed <= moved | ({"area"} if handle in "LE" else set())
    tried.click("#another-undo")
    assert fields(tried) == before


def test_no_figure_breaks_within_itself(tried):
    lines = tried.locator(f"{SHOWN} td").evaluate_all("""cells => cells.map(cell => {
        const range = document.createRange();
        range.selectNodeContents(cell);
        return [cell.textContent, new Set([...range.getClientRects()].map(box => box.top)).size];
    })""")
    assert any("EUR" in text for text, _ in lines)
    assert [text for text, count in lines if count > 1 and " " not in text] == []


def test_it_says_which_rules_it_leaves(tried):
    assert "keeps to the settings" in tried.text_content("#another-said") or "no-go" in tried.text_content(
        "#another-said"
    )
    tried.fill("#another-taper", "0.2")
    tried.press("#another-taper", "Enter")
    told(tried)
    assert "Small end over big end lies outside" in tried.text_content("#another-said")
    x = fields(tried)["x"]
    tried.fill("#another-x", f"{x + 260}")
    tried.press("#another-x", "Enter")
    found = told(tried)
    assert "no-go ground" in tried.text_content("#another-said")
    assert "beyond the ground that is known" in tried.text_content("#another-said")
    assert found["Lowest to highest ground"] == "not known"


def test_what_lies_beyond_the_cells_or_on_unknown_ones_is_counted_once(watched, run):
    """Of 40 x 40 cells the eastern half is known; an egg runs over both halves and past them in the west."""
    beyond, perimeter, known = watched.open(run / PLOT).evaluate(
        """() => {
            const codes = Uint8Array.from({length: 1600}, (_, k) => k % 40 < 20 ? 255 : 1);
            const cells = {codes, least: 0, scale: 1, unknown: 255};
            const given = {step: 0.1, cells: {west: 0, north: 40, cell: 1, cols: 40, rows: 40}};
            const ground = new packpale.OtherGround(given, [], {price: cells, rock: cells, wet: cells});
            const egg = new packpale.Egg([0, 20, 90, 12, 8, 30]), along = ground.along(egg);
            return [along.beyond, egg.perimeter, along.price];
        }"""
    )
    assert known > 30
    assert beyond + known == pytest.approx(perimeter, abs=0.01)


def test_an_address_opens_the_same_line(tried, watched, run):
    tried.fill("#another-area", "1.234")
    tried.press("#another-area", "Enter")
    address, before = tried.input_value("#another-address"), fields(tried)
    assert address.startswith("file:")
    tried.goto("about:blank")
    tried.goto(address)
    tried.wait_for_selector(SHOWN)
    assert fields(tried) == pytest.approx(before, abs=1e-3)


@pytest.mark.parametrize("mark", ["#line=1,2,3", "#line=0,0,0,10,20,5", "#line=a,b", "#line=1e9,0,0,20,10,30"])
def test_an_address_that_is_none_opens_the_map_as_it_is(watched, run, mark):
    page = watched.page
    page.goto((run / PLOT).as_uri() + mark)
    page.wait_for_timeout(100)
    assert page.locator("#another").is_hidden()


def test_what_is_saved_is_the_line_to_the_last_digit(tried, run, fitting):
    tried.fill("#another-bearing", "77")
    tried.press("#another-bearing", "Enter")
    name, found = saved(tried)
    assert name.endswith("_line.geojson")
    (feature,) = found["features"]
    figures = feature["properties"]
    egg = Egg(*(figures[k] for k in FIGURES))
    assert egg.axis_bearing_deg == 77
    assert figures["flank_radius_m"] == pytest.approx(egg.flank_radius, rel=1e-9)
    assert figures[factory.project().inputs.plot_id] == factory.HOSTILE
    # Its outline, in degrees as GeoJSON asks for (RFC 7946), lies on the egg.
    ring = shape(feature["geometry"])
    assert ring.exterior.is_ccw
    lon, lat = shapely.get_coordinates(ring).T
    x, y = Transformer.from_crs("EPSG:4326", factory.CRS, always_xy=True).transform(lon, lat)
    assert np.abs(egg.distance(x, y)).max() < 0.01


@pytest.mark.parametrize("watched", [(1280, 800), (390, 844)], ids=["desktop", "phone"], indirect=True)
def test_everybody_can_use_it(watched, run):
    from axe_playwright_python.sync_playwright import Axe

    page = watched.open(run / PLOT)
    if page.viewport_size["width"] < 640:
        page.click("#panel summary")
    page.focus("#to-another")
    page.keyboard.press("Enter")
    page.wait_for_selector(SHOWN)
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == []
    box, view = page.locator("#another").bounding_box(), page.viewport_size
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= view["width"]
    assert box["y"] + box["height"] <= view["height"]
    # By keys alone: a figure changed, and taken back.
    page.focus("#another-area")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Tab")
    page.focus("#another-undo")
    page.keyboard.press("Enter")
    assert page.is_disabled("#another-undo")
    page.focus("#another-done")
    page.keyboard.press("Enter")
    assert page.locator("#another").is_hidden()
    # Where the panel is folded, its button is not there to be focused.
    assert page.evaluate("document.activeElement.id || document.activeElement.tagName") in ("to-another", "SUMMARY")
