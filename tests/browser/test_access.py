"""Pages for everybody: the rules of axe-core, enlarged text, a phone, and the keyboard alone."""

import pytest

pytestmark = pytest.mark.browser

PLOT = "plots/plot-0/map.html"
NO_FINDING_OF = {"serious", "critical"}


def findings(page, *rules):
    """What axe-core finds wrong, by all its rules or some: impact, rule, and the first elements."""
    from axe_playwright_python.sync_playwright import Axe

    options = {"resultTypes": ["violations"]} | ({"runOnly": list(rules)} if rules else {})
    found = Axe().run(page, options=options).response["violations"]
    return [(v["impact"], v["id"], [n["html"][:120] for n in v["nodes"][:3]]) for v in found]


def everything_shown(page):
    """Every layer on, two pictures side by side, a popup, the measuring box."""
    page.evaluate(
        """async () => {
            document.getElementById('panel').open = true;
            document.querySelectorAll('.layer input[type=checkbox]:not(:checked)').forEach(b => b.click());
            const pictures = document.querySelectorAll('#panel input[name=picture]');
            if (pictures.length) {
                pictures[2].click();
                const beside = document.getElementById('beside');
                beside.selectedIndex = 5;
                beside.dispatchEvent(new Event('change', {bubbles: true}));
            }
            const map = window[document.querySelector('.map').id];
            document.getElementById('to-measure').click();
            packpale.measureAt(map.getCenter());
            packpale.ask(map, map.getCenter(), {title: 'A title', rows: [['name', 'value']], link: 'map.html'});
            await new Promise(done => setTimeout(done, 400));
        }"""
    )


@pytest.mark.parametrize("watched", [(1280, 800), (390, 844)], ids=["desktop", "phone"], indirect=True)
def test_no_serious_finding(watched, run):
    for name in ("index.html", "basis.html", "plots/plot-0/index.html", "map.html", PLOT):
        page = watched.open(run / name)
        if name.endswith("map.html"):
            everything_shown(page)
        else:
            page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
        assert [f for f in findings(page) if f[0] in NO_FINDING_OF] == [], name


TOLD = ("index.html", "basis.html", "plots/plot-1/index.html", "plots/plot-0/index.html")
"""Pages made from the report's blocks."""
STOPS = """() => [...document.querySelectorAll('[tabindex="0"]')].map(box => box.scrollWidth > box.clientWidth)"""


@pytest.mark.parametrize("watched", [(390, 844)], ids=["phone"], indirect=True)
def test_every_region_has_a_name_of_its_own(watched, run):
    page = watched.open(run / "plots/plot-0/index.html")
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    page.wait_for_timeout(100)
    # Of less than serious impact for axe, but five regions called alike leave nobody knowing where they are.
    assert findings(page, "landmark-unique", "region") == []
    page.evaluate(
        """() => {
            const regions = document.querySelectorAll('[role=region]');
            regions[1].setAttribute('aria-label', regions[0].getAttribute('aria-label'));
        }"""
    )
    assert [rule for _, rule, _ in findings(page, "landmark-unique")] == ["landmark-unique"]


@pytest.mark.parametrize("watched", [(1280, 800)], ids=["desktop"], indirect=True)
def test_nothing_is_a_stop_that_does_not_scroll(watched, run):
    for name in TOLD:
        page = watched.open(run / name)
        assert all(page.evaluate(STOPS)), name
    # On a narrow screen tables are wider than it: then the keyboard has to reach them.
    page.set_viewport_size({"width": 390, "height": 844})
    page.wait_for_timeout(100)
    stops = page.evaluate(STOPS)
    assert stops
    assert all(stops)


@pytest.mark.parametrize("watched", [(390, 844)], ids=["phone"], indirect=True)
def test_on_a_phone_nothing_lies_off_the_side(watched, run):
    for name in TOLD:
        page = watched.open(run / name)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, name
    page = watched.open(run / "index.html")
    ranking = page.locator("table.cards")
    box = ranking.bounding_box()
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= 390
    assert ranking.evaluate("table => table.parentElement.scrollWidth <= table.parentElement.clientWidth")
    # Each figure stands beside what it is.
    shown = ranking.locator("td").first.evaluate("cell => getComputedStyle(cell, '::before').content")
    assert "Rank" in shown


@pytest.mark.parametrize("watched", [(1280, 800)], ids=["desktop"], indirect=True)
def test_the_keyboard_gets_past_the_links_and_into_what_is_folded(watched, run):
    page = watched.open(run / "basis.html")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"
    page = watched.open(run / "index.html")
    folded = page.locator("details").first
    assert not folded.evaluate("one => one.open")
    folded.locator("summary").focus()
    page.keyboard.press("Enter")
    assert folded.evaluate("one => one.open")
    # A link to a section inside opens it too.
    page.evaluate("() => { document.querySelector('details').open = false; location.hash = '#figures'; }")
    page.wait_for_timeout(100)
    assert folded.evaluate("one => one.open")


def test_a_serious_finding_is_found(watched, run):
    page = watched.open(run / PLOT)
    page.evaluate("document.getElementById('divide').removeAttribute('aria-label')")
    page.evaluate("document.getElementById('divider').hidden = false")
    assert [(impact, rule) for impact, rule, _ in findings(page, "label")] == [("critical", "label")]
    page.evaluate("document.querySelector('.panel-body p').style.color = '#c8c8c8'")
    assert [(impact, rule) for impact, rule, _ in findings(page, "color-contrast")] == [("serious", "color-contrast")]


@pytest.mark.parametrize("watched", [(640, 400)], ids=["200 %"], indirect=True)
def test_enlarged_twice_everything_is_still_there(watched, run):
    """1280 x 800 pixels enlarged to 200 % are 640 x 400 of the page's own."""
    page = watched.open(run / PLOT)
    page.click("#panel summary")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    for one in ("#whole", "#to-measure", "#to-print", "#beside", "#panel input[type=checkbox] >> nth=-1"):
        page.locator(one).scroll_into_view_if_needed()
        box = page.locator(one).bounding_box()
        assert 0 <= box["x"] < box["x"] + box["width"] <= 640
        assert 0 <= box["y"] < box["y"] + box["height"] <= 400
    page.click("#panel summary")
    page.mouse.click(320, 250)
    page.locator(".leaflet-popup-content").wait_for()
    page.wait_for_timeout(350)
    popup = page.locator(".leaflet-popup-content-wrapper").bounding_box()
    assert popup["y"] >= 0
    assert popup["y"] + popup["height"] <= 400


@pytest.mark.parametrize("watched", [(390, 844)], ids=["phone"], indirect=True)
def test_targets_are_large_enough_for_a_finger(watched, run):
    """24 px both ways: WCAG 2.2, 2.5.8."""
    page = watched.open(run / PLOT)
    page.click("#panel summary")
    sizes = page.evaluate(
        """[...document.querySelectorAll('#panel label, #panel button, #panel select, .leaflet-control-zoom a')]
            .map(e => e.getBoundingClientRect()).filter(b => b.width).map(b => Math.min(b.width, b.height))"""
    )
    assert len(sizes) > 20
    assert min(sizes) >= 24
