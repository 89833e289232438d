"""What a click tells of the ground, against the plot's own rasters and limits."""

import dataclasses

import numpy as np
import pytest
import rasterio
import shapely
from pyproj import Transformer

from packpale.review.words import Wording
from review import factory

pytestmark = pytest.mark.browser

PLOT = "plots/plot-0/map.html"
RASTERS = {
    "Slope": ("slope_deg.tif", 1, "°", 1),
    "Wetness index": ("wetness.tif", 1, "", 1),
    "Hollow holds water": ("ponding_m.tif", 2, " m", 1),
    "Diggability": ("diggability.tif", 0, " of 100", 100),
    "Suitability": ("suitability.tif", 0, " of 100", 100),
}
WORDS = Wording(imperial=False, currency="EUR")


@pytest.fixture(scope="module")
def places():
    """Points all over the plot and its surroundings, off the edges of cells, in the run's plan and in degrees."""
    site = factory.site()
    west, south, east, north = site.grid.bounds
    rng = np.random.default_rng(11)
    x, y = rng.uniform(west, east, 400), rng.uniform(south, north, 400)
    for edge in (west, north):
        off = np.abs((np.stack([x, y])[int(edge == north)] - edge) / site.grid.cell % 1 - 0.5) < 0.49
        x, y = x[off], y[off]
    lon, lat = Transformer.from_crs(site.crs, "EPSG:4326", always_xy=True).transform(x, y)
    return x, y, np.column_stack([lat, lon]).tolist()


def test_a_click_tells_what_the_rasters_hold(watched, run, fitting, places):
    x, y, at = places
    page = watched.open(run / PLOT)
    told = page.evaluate(
        "async at => Promise.all(at.map(async p => Object.fromEntries(await packpale.ground(L.latLng(p)))))", at
    )
    grid = fitting.site.grid
    for title, (name, digits, unit, factor) in RASTERS.items():
        with rasterio.open(run / "plots/plot-0" / name) as file:
            held = np.array([v[0] for v in file.sample(np.column_stack([x, y]))], float)
            known = held != file.nodata
        for rows, value, is_known in zip(told, held, known, strict=True):
            if not is_known:
                assert rows[title] == "not known"
                continue
            assert rows[title].endswith(unit)
            assert len(rows[title].removesuffix(unit).partition(".")[2]) == digits
            # Half a unit of the digit shown, and what float32 takes off.
            assert float(rows[title].removesuffix(unit)) == pytest.approx(
                factor * value, abs=0.5 * 10.0**-digits + 1e-5, rel=0
            )
    rock = grid.nearest(fitting.site.soil.depth_to_rock, x, y)
    assert [rows["Rock at"] for rows in told] == [f"{v:.2f} m" for v in rock]
    assert [float(rows["y"]) for rows in told] == pytest.approx(y.tolist(), abs=0.06)


def test_a_click_says_why_a_place_is_not_usable(watched, run, fitting, places):
    from packpale.land.diggability import FEATURES

    x, y, at = places
    page = watched.open(run / PLOT)
    told = page.evaluate(
        "async at => Promise.all(at.map(async p => Object.fromEntries(await packpale.ground(L.latLng(p)))))", at
    )
    site, land = fitting.site, fitting.land
    centre_x, centre_y = np.meshgrid(*site.grid.centres())
    u, v = site.grid.nearest(centre_x, x, y), site.grid.nearest(centre_y, x, y)
    inside = shapely.contains_xy(site.outline, u, v)
    for k, rows in enumerate(told):
        held = [WORDS.say(limit.name) for limit in land.limits if shapely.contains_xy(limit.area, u[k], v[k])]
        if not inside[k]:
            assert rows["Usable"] == "no: outside the plot"
        elif shapely.contains_xy(land.usable, u[k], v[k]):
            assert rows["Usable"] == "yes"
        else:
            assert rows["Usable"] == f"no: {'; '.join(held) or 'part of a patch smaller than one cell'}"
    limiting, limitation = site.grid.nearest(land.limiting_feature, x, y), site.grid.nearest(land.limitation, x, y)
    for rows, feature, much in zip(told, limiting, limitation, strict=True):
        if np.isnan(much):
            assert rows["Limits digging most"] == "not known"
        else:
            assert rows["Limits digging most"] == (FEATURES[feature] if much > 0 else "nothing")


@pytest.mark.parametrize("by", ["mouse", "keyboard"])
def test_a_place_is_asked_by_hand_and_by_key(watched, run, by):
    page = watched.open(run / PLOT)
    at = {"x": 640, "y": 400}
    if by == "mouse":
        page.evaluate("document.getElementById('panel').open = false")
        page.mouse.click(**at)
    else:
        page.locator(".map").focus()
        page.keyboard.press("ArrowRight")
        page.keyboard.press("Enter")
    popup = page.locator(".leaflet-popup-content")
    popup.wait_for()
    rows = dict(
        page.evaluate(
            "[...document.querySelectorAll('.leaflet-popup tr')].map(r => [...r.cells].map(c => c.textContent))"
        )
    )
    meant = dict(page.evaluate("packpale.ground(window[document.querySelector('.map').id]._popup.getLatLng())"))
    assert rows.items() >= meant.items()
    assert len(meant) >= 12
    assert "Suitability" in page.locator("#said").text_content()
    page.keyboard.press("Escape")
    popup.wait_for(state="detached")


def test_a_place_is_found_on_a_wide_map_too(watched, run):
    """The page's polynomial of a window of 40 km, where the bend of the projection counts, against the projection."""
    from packpale.review.maps.placing import placing

    box = (8.3, 49.4, 8.85, 49.75)
    found = placing(factory.CRS, box, tolerance=0.01)
    assert found.degree >= 3
    rng = np.random.default_rng(8)
    lon, lat = rng.uniform(box[0], box[2], 60), rng.uniform(box[1], box[3], 60)
    x, y = Transformer.from_crs("EPSG:4326", factory.CRS, always_xy=True).transform(lon, lat)
    page = watched.open(run / PLOT)
    told = page.evaluate(
        """([plan, at]) => {
            Object.assign(packpale.data, {plan: plan});
            return at.map(p => packpale.toPlan(L.latLng(p))).map(p => [p.x, p.y]);
        }""",
        [dataclasses.asdict(found), np.column_stack([lat, lon]).tolist()],
    )
    assert np.abs(np.array(told) - np.column_stack([x, y])).max() < 0.015
    assert page.evaluate("packpale.toPlan(L.latLng(49.9, 8.5))") is None
