"""The pages as a user opens them: from files, without a network, on a desktop and on a phone."""

import pytest

from review import factory

pytestmark = pytest.mark.browser

PLOT = "plots/plot-0/map.html"
both_widths = pytest.mark.parametrize("watched", [(1280, 800), (390, 844)], ids=["desktop", "phone"], indirect=True)


def open_panel(page):
    if not page.evaluate("document.getElementById('panel').open"):
        page.click("#panel summary")


def map_object(page):
    """Name of the map in the page's script."""
    return page.evaluate("document.querySelector('.map').id")


def colours(page, clip):
    """Mean colour of a part of the screen, 0 to 1 for red, green and blue."""
    import io

    import matplotlib.image

    return matplotlib.image.imread(io.BytesIO(page.screenshot(clip=clip)))[..., :3].mean(axis=(0, 1))


@both_widths
@pytest.mark.parametrize("name", ["index.html", "map.html", PLOT, "plots/plot-1/map.html"])
def test_opens_without_a_request_or_an_error(watched, run, name):
    page = watched.open(run / name)
    page.wait_for_timeout(200)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "wider than the screen"
    assert [u for u in watched.asked if u.startswith("file:")] == [(run / name).as_uri()] or name == "index.html"


def test_every_picture_of_the_index_is_shown(watched, run):
    page = watched.open(run / "index.html")
    widths = page.evaluate("Array.from(document.images, i => i.complete && i.naturalWidth)")
    # The map of each plot.
    assert len(widths) == 2
    assert min(widths) > 200


def test_every_picture_layer_goes_on_and_off(watched, run):
    page = watched.open(run / PLOT)
    open_panel(page)
    found = page.evaluate(
        """async () => {
            const boxes = [...document.querySelectorAll('#panel input[name=picture]')], seen = [];
            for (const box of [...boxes.slice(1), boxes[0]]) {
                box.click();
                const img = document.querySelectorAll('img.picture');
                if (img[0]) await img[0].decode();
                const layer = box.closest('.layer'), key = layer && layer.querySelector('.key');
                const open = [...document.querySelectorAll('#panel .key')].filter(
                    k => !k.hidden && k.parentNode.querySelector('input[type=radio]'));
                seen.push([box.value !== '', img.length, img[0] ? img[0].naturalWidth : 0, open.length,
                    key && key.querySelectorAll('.swatch').length, key && key.textContent.trim().length]);
            }
            return seen;
        }"""
    )
    assert len(found) == 11
    for coloured, pictures, width, legends, swatches, words in found[:-1]:
        assert coloured
        assert (pictures, legends) == (1, 1)
        assert width > 100
        assert swatches >= 1
        assert words > 20
    assert found[-1][:4] == [False, 0, 0, 0]


@both_widths
def test_every_vector_layer_goes_on_and_off(watched, run):
    page = watched.open(run / PLOT)
    open_panel(page)
    counts = page.evaluate(
        """() => [...document.querySelectorAll('.layer input[type=checkbox]')].map(box => {
            const count = () => document.querySelectorAll('.map path, .map .sign').length;
            if (box.checked) box.click();
            const without = count();
            box.click();
            const shown = count(), key = box.closest('.layer').querySelector('.key'), told = !key || !key.hidden;
            box.click();
            return [without, shown, count(), told];
        })"""
    )
    assert len(counts) >= 13
    for without, shown, again, told in counts:
        assert shown > without == again
        assert told


@both_widths
def test_a_coloured_picture_changes_what_is_seen(watched, run):
    page = watched.open(run / PLOT)
    open_panel(page)
    page.check("label:has-text('Suitability') >> input")
    page.evaluate("document.getElementById('panel').open = false")
    size = page.viewport_size
    clip = {"x": size["width"] * 0.5, "y": size["height"] * 0.45, "width": 60, "height": 60}
    seen = colours(page, clip)
    open_panel(page)
    page.check("label:has-text('No colours') >> input")
    page.evaluate("document.getElementById('panel').open = false")
    assert abs(seen - colours(page, clip)).max() > 0.05


@both_widths
def test_popup_shows_a_hostile_name_as_text(watched, run):
    page = watched.open(run / "map.html")
    page.evaluate("document.getElementById('panel').open = false")
    at = page.evaluate(
        """() => {
            const box = document.querySelector('.label').getBoundingClientRect();
            return [box.x + box.width / 2, box.bottom + 12];
        }"""
    )
    page.mouse.click(*at)
    popup = page.locator(".leaflet-popup-content")
    popup.wait_for()
    assert factory.HOSTILE in popup.text_content()
    assert "Enclosed" in popup.text_content()
    assert popup.locator("img, script").count() == 0
    assert popup.locator("a").get_attribute("href") == "plots/plot-0/map.html"
    assert page.locator(".label").first.text_content() == f"1. {factory.HOSTILE}"
    assert page.locator("img[src=x]").count() == 0


def test_popup_of_the_fence_line_gives_its_figures(watched, run):
    page = watched.open(run / PLOT)
    page.evaluate("document.getElementById('panel').open = false")
    # A corner of the line on the screen, found from the layer's own geometry.
    at = page.evaluate(
        """name => {
            const map = window[name];
            let found = null;
            map.eachLayer(layer => {
                const p = layer.feature && layer.feature.properties;
                if (p && p.title.startsWith('Fence line') && !p.title.endsWith('over a limit')) {
                    const ring = layer.getLatLngs()[0];
                    found = map.latLngToContainerPoint(ring[Math.floor(ring.length / 3)]);
                }
            });
            return [found.x, found.y];
        }""",
        map_object(page),
    )
    page.mouse.click(*at)
    popup = page.locator(".leaflet-popup-content")
    popup.wait_for()
    assert "Fence line of pack 1" in popup.text_content()
    assert "\u00a0ha" in popup.text_content()
    assert "Radius of the small end" in popup.text_content()


def test_layers_can_be_switched_by_keyboard(watched, run):
    page = watched.open(run / PLOT)
    page.evaluate("document.getElementById('panel').open = true")
    page.locator("#panel input[name=picture]").first.focus()
    page.keyboard.press("ArrowDown")
    assert page.locator("img.picture").count() == 1
    while page.evaluate("document.activeElement.type") != "checkbox":
        page.keyboard.press("Tab")
    before = page.locator(".map path").count()
    page.keyboard.press("Space")
    assert page.locator(".map path").count() != before


def test_scale_bar_is_as_long_as_it_says(watched, run):
    """Against the haversine formula on the map's own sphere (R = 6,371 km in Leaflet's distance)."""
    page = watched.open(run / PLOT)
    shown, measured = page.evaluate(
        """name => {
            const map = window[name];
            const bar = document.querySelector('.leaflet-control-scale-line');
            const y = map.getSize().y / 2;
            const a = map.containerPointToLatLng([0, y]), b = map.containerPointToLatLng([bar.offsetWidth, y]);
            const rad = Math.PI / 180, s = x => Math.sin(x * rad / 2) ** 2;
            const h = s(b.lat - a.lat) + Math.cos(a.lat * rad) * Math.cos(b.lat * rad) * s(b.lng - a.lng);
            return [parseFloat(bar.textContent), 2 * 6371000 * Math.asin(Math.sqrt(h))];
        }""",
        map_object(page),
    )
    assert measured == pytest.approx(shown, rel=0.03)


def test_fence_line_lies_over_its_ground(watched, run):
    """The overlay's own placing on the screen against the projected corner of the grid."""
    from pyproj import Transformer

    site = factory.site()
    page = watched.open(run / PLOT)
    west, south, east, north = site.grid.bounds
    to_degrees = Transformer.from_crs(site.crs, "EPSG:4326", always_xy=True)
    corners = [to_degrees.transform(x, y) for x, y in ((west, north), (east, north), (east, south), (west, south))]
    points, box = page.evaluate(
        """([name, corners]) => {
            const map = window[name];
            const b = document.querySelector('img.ground').getBoundingClientRect();
            return [corners.map(c => map.latLngToContainerPoint([c[1], c[0]])), [b.left, b.top, b.right, b.bottom]];
        }""",
        [map_object(page), corners],
    )
    xs, ys = [p["x"] for p in points], [p["y"] for p in points]
    # The picture is the box round the turned grid from its north-west corner, in whole cells; a pixel of the screen
    # for rounding.
    cell = (max(xs) - min(xs)) / site.grid.cols
    assert box[:2] == pytest.approx([min(xs), min(ys)], abs=1.5)
    assert max(xs) - 1.5 <= box[2] <= max(xs) + cell + 1.5
    assert max(ys) - 1.5 <= box[3] <= max(ys) + cell + 1.5


OPEN_POPUP = """([name, start]) => {
    const map = window[name];
    const titled = Object.values(map._layers).filter(
        layer => layer.feature && layer.feature.properties.title.startsWith(start)
    );
    packpale.ask(map, map.getCenter(), titled[0].feature.properties);
}"""


def test_popup_of_a_touch_names_the_limit_as_text(watched, run):
    page = watched.open(run / PLOT)
    page.evaluate(OPEN_POPUP, [map_object(page), "Touches: steeper"])
    popup = page.locator(".leaflet-popup-content")
    popup.wait_for()
    assert f"Touches: steeper than 20 degrees and {factory.HOSTILE}" in popup.text_content()
    assert popup.locator("img, script").count() == 0


def test_arcs_are_drawn_in_their_own_styles_under_the_points(watched, run):
    page = watched.open(run / PLOT)
    open_panel(page)
    page.check("text=Axis, arcs and centres")
    strokes = page.evaluate("Array.from(document.querySelectorAll('.map path'), p => p.getAttribute('stroke'))")
    from packpale.review.map_styles import TOUCH
    from packpale.review.maps.construction import ENDS

    drawn = [strokes.index(style.colour) for style in ENDS.values()]
    # Switched on last, yet under the points that were there before: the order of drawing is that of the paths.
    assert max(drawn) < min(k for k, stroke in enumerate(strokes) if stroke == TOUCH.colour)
    # The disc of a point is an arc in its path, a line has none.
    assert strokes.count(TOUCH.colour) == 6


def test_names_that_would_lie_over_one_another_wait_for_room(watched, tmp_path):
    from packpale.review.map_styles import Style
    from packpale.review.maps.leaflet import write_map
    from packpale.review.maps.map_page import MapPage, Shape, VectorLayer

    def square(k):
        west, south = 9 + 0.004 * (k % 8), 49 + 0.002 * (k // 8)
        corners = [(0, 0), (0.002, 0), (0.002, 0.001), (0, 0.001), (0, 0)]
        ring = [[west + u, south + v] for u, v in corners]
        return Shape({"type": "Polygon", "coordinates": [ring]}, f"Plot {k}", label=f"{k + 1}. a plot with a long name")

    layer = VectorLayer("Ground", "Plots", [square(k) for k in range(64)], Style("#1d2a2a", "#3f7f9a"))
    write_map(MapPage("Many", "", [[48.9, 8.9], [49.1, 9.2]], vectors=[layer]), tmp_path / "map.html")
    page = watched.open(tmp_path / "map.html")
    shown = """() => [...document.querySelectorAll('.label')]
        .map(l => [l.textContent, ...(b => [b.left, b.top, b.right, b.bottom])(l.getBoundingClientRect())])"""
    page.wait_for_timeout(100)
    far = page.evaluate(shown)
    page.evaluate("name => window[name].fitBounds([[49, 9], [49.004, 9.01]], {animate: false})", map_object(page))
    # Names are placed before the next frame is drawn.
    page.evaluate("() => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))")
    near = page.evaluate(shown)
    assert 1 <= len(far) < len(near) <= 64
    # The first, the best plot's, is never the one that waits.
    assert far[0][0] == near[0][0] == "1. a plot with a long name"
    for boxes in (far, near):
        for i, (_, a, b, c, d) in enumerate(boxes):
            for _, e, f, g, h in boxes[i + 1 :]:
                assert c < e or a > g or d < f or b > h


def test_thousands_of_plots_are_painted_into_one_picture_and_tell_of_themselves(watched, tmp_path):
    from packpale.review.map_styles import Style
    from packpale.review.maps.leaflet import MANY_SHAPES, write_map
    from packpale.review.maps.map_page import MapPage, Shape, VectorLayer

    def square(k):
        west, south = 9 + 0.004 * (k % 50), 49 + 0.002 * (k // 50)
        corners = [(0, 0), (0.003, 0), (0.003, 0.0015), (0, 0.0015), (0, 0)]
        ring = [[west + u, south + v] for u, v in corners]
        return Shape({"type": "Polygon", "coordinates": [ring]}, f"Plot {k}", [("Score", f"{k} of 100")], label=f"{k}")

    layer = VectorLayer("Ground", "Plots", [square(k) for k in range(2 * MANY_SHAPES)], Style("#1d2a2a", "#3f7f9a"))
    view = [[49.0, 9.0], [49.0 + 0.002 * 20, 9.0 + 0.004 * 50]]
    write_map(MapPage("Many", "", view, vectors=[layer]), tmp_path / "map.html")
    page = watched.open(tmp_path / "map.html")
    assert page.locator(".leaflet-overlay-pane path").count() == 0
    assert page.evaluate("() => document.querySelectorAll('*').length") < 600
    page.evaluate("document.getElementById('panel').open = false")
    at = page.evaluate(
        """name => {
            const map = window[name], point = map.latLngToContainerPoint([49.0008, 9.0045]);
            const box = map.getContainer().getBoundingClientRect();
            return [box.x + point.x, box.y + point.y];
        }""",
        map_object(page),
    )
    page.mouse.click(*at)
    popup = page.locator(".leaflet-popup-content")
    popup.wait_for()
    assert "Plot 1" in popup.text_content()
    assert "1 of 100" in popup.text_content()


@pytest.mark.parametrize("watched", [(390, 844)], ids=["phone"], indirect=True)
def test_what_the_keys_do_is_not_told_to_those_who_point(watched, run):
    page = watched.open(run / PLOT)
    page.mouse.click(195, 600)
    page.locator(".leaflet-popup-content").wait_for()
    page.keyboard.press("Escape")
    page.mouse.click(195, 650)
    assert page.locator("#keys").is_hidden()
    assert page.locator("#cross").is_hidden()


def test_every_value_of_a_popup_is_text(watched, run):
    page = watched.open(run / PLOT)
    page.evaluate(
        "([map, text]) => packpale.ask(window[map], window[map].getCenter(), {title: text, rows: [[text, text]]})",
        [map_object(page), factory.HOSTILE],
    )
    popup = page.locator(".leaflet-popup-content")
    popup.wait_for()
    assert popup.text_content().count(factory.HOSTILE) == 3
    assert popup.locator("img, script").count() == 0
    # Also where it is read out.
    assert page.locator("#said").text_content().count(factory.HOSTILE) == 3
    assert page.locator("#said *").count() == 0
