"""The map's tools: two pictures side by side, measuring, the sheet for paper, a background from the network."""

import dataclasses

import numpy as np
import pytest
from pyproj import Transformer

from packpale.review.maps.map_page import Background
from packpale.review.maps.plot_map import plot_map
from packpale.review.words import Wording
from review import factory

pytestmark = pytest.mark.browser

PLOT = "plots/plot-0/map.html"
METRIC = Wording(imperial=False, currency="EUR")
MAP = "window[document.querySelector('.map').id]"
BESIDE = """name => {
    const beside = document.getElementById('beside');
    beside.value = [...beside.options].find(o => o.textContent === name).value;
    beside.dispatchEvent(new Event('change', {bubbles: true}));
}"""
EDGES = """() => {
    const line = document.getElementById('divide-line').getBoundingClientRect();
    return [(line.left + line.right) / 2, ...[...document.querySelectorAll('img.picture')].map(img => {
        const [top, right, bottom, left] = img.style.clipPath.slice(6, -1).split(' ').map(parseFloat);
        const box = img.getBoundingClientRect();
        return img.classList.contains('beside')
            ? box.left + left / 100 * box.width : box.right - (right === undefined ? top : right) / 100 * box.width;
    })];
}"""


def choose(page, name):
    page.check(f"label:has-text('{name}') >> input")


def degrees_of(x, y):
    """Latitude and longitude of points in the run's plan."""
    lon, lat = Transformer.from_crs(factory.CRS, "EPSG:4326", always_xy=True).transform(x, y)
    return np.column_stack([lat, lon]).tolist()


def test_two_pictures_meet_at_the_divider_wherever_it_is(watched, run):
    page = watched.open(run / PLOT)
    assert page.locator("#divider").is_hidden()
    choose(page, "Slope of the ground")
    page.evaluate(BESIDE, "Suitability")
    assert page.locator("img.picture").count() == 2
    assert page.locator("#left-name").text_content() == "Slope of the ground"
    assert page.locator("#right-name").text_content() == "Suitability"
    legends = page.locator(".key:visible p").all_text_contents()
    assert sum("Degrees from the horizontal" in t for t in legends) == 1
    assert sum("weighted from" in t for t in legends) == 1
    line, left, right = page.evaluate(EDGES)
    assert (left, right) == pytest.approx((line, line), abs=0.6)
    page.locator("#divide").focus()
    for _ in range(30):
        page.keyboard.press("ArrowRight")
    moved, left, right = page.evaluate(EDGES)
    assert moved > line + 20
    assert (left, right) == pytest.approx((moved, moved), abs=0.6)
    # The pictures stay cut at the same place of the screen when the map moves under them.
    page.evaluate(f"{MAP}.panBy([40, 10], {{animate: false}})")
    page.evaluate(f"{MAP}.setZoom({MAP}.getZoom() + 0.5, {{animate: false}})")
    again, left, right = page.evaluate(EDGES)
    assert again == moved
    assert (left, right) == pytest.approx((moved, moved), abs=0.6)
    page.evaluate(BESIDE, "the same as the left: one picture")
    assert page.locator("img.picture").count() == 1
    assert page.evaluate("document.querySelector('img.picture').style.clipPath") == ""
    assert page.locator("#divider").is_hidden()


def test_the_two_halves_show_different_colours(watched, run):
    import io

    import matplotlib.image

    def seen():
        shot = page.screenshot(clip={"x": 600, "y": 300, "width": 80, "height": 60})
        return matplotlib.image.imread(io.BytesIO(shot))[..., :3]

    page = watched.open(run / PLOT)
    page.evaluate(
        "document.querySelectorAll('.layer input[type=checkbox]:checked').forEach(b => b.click());"
        "document.getElementById('panel').open = false"
    )
    choose_by_script = (
        "name => [...document.querySelectorAll('.layer label')].find(l => l.textContent.includes(name)).click()"
    )
    page.evaluate(choose_by_script, "Slope of the ground")
    page.wait_for_timeout(80)
    slope = seen()
    page.evaluate(BESIDE, "Depth to the water table")
    page.wait_for_timeout(80)
    both = seen()
    assert np.abs(both[:, :36] - slope[:, :36]).max() < 0.02
    assert np.abs(both[:, 44:] - slope[:, 44:]).mean() > 0.05


def test_a_measured_square_has_its_length_and_area(watched, run):
    """120 m x 80 m of the run's plan: 400 m round, 0.96 ha."""
    site = factory.site()
    x = site.grid.west + np.array([60.0, 180.0, 180.0, 60.0])
    y = site.grid.north - np.array([70.0, 70.0, 150.0, 150.0])
    page = watched.open(run / PLOT)
    page.click("#to-measure")
    assert "Select points" in page.locator("#measured").text_content()
    for at in degrees_of(x, y):
        page.evaluate("at => packpale.measureAt(L.latLng(at))", at)
    assert page.locator("#measured").text_content() == (
        "4 points: 320.0 m along them; closed, 400.0 m round an area of 0.960 ha. In plan, not along the slope."
    )
    page.click("#measure-back")
    assert (
        "3 points: 200.0 m along them; closed, 344.2 m round an area of 0.480 ha"
        in page.locator("#measured").text_content()
    )
    page.click("#measure-anew")
    page.evaluate("packpale.measureAt(L.latLng(0, 0))")
    assert "too far away" in page.locator("#measured").text_content()
    page.click("#measure-done")
    assert page.locator("#measure").is_hidden()


def test_measuring_by_keyboard_alone(watched, run):
    page = watched.open(run / PLOT)
    page.locator("#to-measure").focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.classList.contains('map')")
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(400)
    page.keyboard.press("Enter")
    text = page.locator("#measured").text_content()
    assert text.startswith("2 points: ")
    # An arrow key moves the map by 80 pixels.
    metres = page.evaluate(
        f"""() => {{
            const a = packpale.toPlan({MAP}.containerPointToLatLng([640, 400]));
            const b = packpale.toPlan({MAP}.containerPointToLatLng([720, 400]));
            return Math.hypot(a.x - b.x, a.y - b.y);
        }}"""
    )
    assert float(text.split()[2]) == pytest.approx(metres, rel=0.02)
    assert page.locator(".leaflet-popup").count() == 0


def test_every_control_is_reached_by_the_tabulator_and_the_map_answers(watched, run):
    page = watched.open(run / PLOT)
    choose(page, "Slope of the ground")
    page.evaluate(BESIDE, "Suitability")
    page.evaluate("document.activeElement.blur()")
    met = []
    for _ in range(60):
        page.keyboard.press("Tab")
        met.append(page.evaluate("(e => e.id || e.className || e.tagName)(document.activeElement)"))
    for one in ("whole", "to-measure", "to-print", "beside", "divide"):
        assert one in met
    assert any("map" in one for one in met)
    assert any("leaflet-control-zoom-in" in one for one in met)
    boxes = page.locator("#panel input[type=checkbox]").count()
    assert met.count("INPUT") >= boxes
    # The cross and what the keys do are shown to those who use them.
    page.locator(".map").focus()
    page.keyboard.press("ArrowLeft")
    assert page.locator("#cross").is_visible()
    assert page.locator("#keys").is_visible()


def test_a_sheet_for_paper(watched, run):
    page = watched.open(run / PLOT)
    choose(page, "Suitability")
    before = page.evaluate(f"{MAP}.getBounds().toBBoxString()")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    shown = page.locator("#panel").inner_text()
    # Title, legend of what is shown and of nothing else, date of the data, no controls.
    assert factory.HOSTILE in shown
    for words in (
        "Suitability",
        "over 90: best",
        "Fence line",
        "Usable land",
        "When the ground was measured is not told",
    ):
        assert words in shown
    for words in ("Wetness index", "Posts", "Measure", "Show all", "Back to the comparison", "No colours"):
        assert words not in shown
    assert page.locator("#panel input:visible, button:visible, .leaflet-control-zoom:visible").count() == 0
    for one in (".leaflet-control-scale-line", "#north"):
        assert page.locator(one).is_visible()
    box = page.evaluate(
        "(b => [b.left, b.top, b.right, b.bottom])(document.querySelector('.map').getBoundingClientRect())"
    )
    north = page.evaluate(
        "(b => [b.left, b.top, b.right, b.bottom])(document.getElementById('north').getBoundingClientRect())"
    )
    legend = page.evaluate("document.getElementById('panel').getBoundingClientRect().top")
    assert box[0] <= north[0] < north[2] <= box[2]
    assert box[1] <= north[1] < north[3] <= box[3]
    assert legend >= box[3]
    # The plot lies whole on the sheet.
    inside = page.evaluate(f"view => {MAP}.getBounds().contains(view)", plot_view(page))
    assert inside
    assert len(page.pdf(print_background=True)) > 20_000
    page.emulate_media(media="screen")
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.locator("#to-measure").is_visible()
    assert page.evaluate("document.body.className") == ""
    west, south, east, north = map(float, page.evaluate(f"{MAP}.getBounds().toBBoxString()").split(","))
    was = list(map(float, before.split(",")))
    assert west < (was[0] + was[2]) / 2 < east
    assert south < (was[1] + was[3]) / 2 < north


def plot_view(page):
    return page.evaluate("packpale.data.view")


@pytest.fixture(scope="module")
def with_background(fitting, tmp_path_factory):
    """The plot's map with the settings of a background that no network leads to."""
    from packpale.review.maps.leaflet import write_map

    page = dataclasses.replace(
        plot_map(fitting, factory.project(maps={"data_date": "spring 2021"}), METRIC),
        background=Background("https://tiles.invalid/{z}/{x}/{y}.png", factory.HOSTILE),
    )
    path = tmp_path_factory.mktemp("background") / "map.html"
    write_map(page, path)
    return path


def test_a_background_is_asked_for_by_hand_alone_and_its_absence_is_said(chromium, with_background):
    page = chromium.new_page(viewport={"width": 1000, "height": 700})
    asked = []
    page.on("request", lambda r: asked.append(r.url) if r.url.startswith("http") else None)
    wrong = []
    page.on("pageerror", lambda e: wrong.append(str(e)))
    page.goto(with_background.as_uri())
    page.wait_for_timeout(200)
    assert "Ground measured: spring 2021" in page.locator("#panel").inner_text()
    assert asked == []
    assert page.locator("#credit").is_hidden()
    page.check("#background")
    page.locator("#background-said:has-text('did not load')").wait_for()
    assert asked
    assert all(url.startswith("https://tiles.invalid/") for url in asked)
    assert page.locator("#credit").text_content() == factory.HOSTILE
    page.uncheck("#background")
    assert page.locator("#credit").is_hidden()
    # The map goes on as before.
    page.evaluate("document.getElementById('panel').open = false")
    page.mouse.click(500, 350)
    page.locator(".leaflet-popup-content").wait_for()
    assert wrong == []
    page.close()
