"""What ground a fence encloses, in the GeoPackage and on the page, against what the room found."""

import dataclasses
import re

import fiona
import pytest
from shapely.geometry import shape

from packpale.review.report.inside import inside
from packpale.review.report.sheet import animals, plot_sheet
from packpale.review.words import Wording
from review import factory, html_pages

SHARES = ("wood", "mapped_water", "hollows", "water_edge", "steep", "rocky", "wet")
METRIC, IMPERIAL = (
    factory.Plainly(Wording(imperial=False, currency="EUR")),
    factory.Plainly(Wording(imperial=True, currency="EUR")),
)


def section_of(plot, show=METRIC, **changes):
    (found,) = plot.care.insides
    new = dataclasses.replace(plot.care, insides=(dataclasses.replace(found, **changes),))
    units = "imperial" if show.imperial else "metric"
    return inside(factory.source(dataclasses.replace(plot, care=new), factory.project(units=units)))


def told(plot, show=METRIC, **changes):
    (listed,) = [block for block in section_of(plot, show, **changes).blocks if block.kind == "figures"]
    return {factory.words_of(name): factory.words_of(value) for name, value in listed.rows}


def test_layer_has_a_polygon_for_each_pack_with_its_areas(run, fitting):
    with fiona.open(run.folder / "packpale.gpkg", layer="inside") as layer:
        (row,) = [f for f in layer if f.properties["plot_id"] == fitting.site.plot_id]
    (found,) = fitting.care.insides
    assert shape(row.geometry).area == pytest.approx(found.area, rel=1e-4)
    assert row.properties["area_m2"] == found.area
    for name in SHARES:
        share = getattr(found, name)
        assert row.properties[f"{name}_m2"] == (None if share is None else pytest.approx(share * found.area))
    # The factory's project knows of woods and watercourses, and of no soil.
    assert row.properties["wood_m2"] is not None
    assert row.properties["rocky_m2"] is None
    assert row.properties["streams_m"] == found.streams
    assert row.properties["highest_m"] - row.properties["lowest_m"] == pytest.approx(row.properties["relief_m"])


def test_page_has_a_line_for_each_kind_of_ground(run, fitting):
    assert "What the enclosure holds" in html_pages.read(run.folder / "plots/plot-0/index.html").text
    some = {"mapped_water": 0.1, "steep": 0.1, "wood": 0.25, "hollows": 0.004}
    lines = told(fitting, **some, area=20_000.0, streams=31.6, lowest=300.0, highest=312.4)
    assert lines["Woodland"] == "0.50 ha, 25 %"
    assert lines["Hollows that can stand in water"] == "0.01 ha, under 1 %"
    assert lines["Mapped streams"] == "32 m"
    assert lines["From the lowest to the highest ground"] == "12 m"
    assert len(lines) == len(SHARES) + 2


def test_page_in_acres_and_feet(fitting):
    lines = told(fitting, IMPERIAL, area=4046.8564224, steep=0.5, streams=304.8, lowest=0.0, highest=3.048)
    assert lines["Ground past the limit of slope"] == "0.50 acres, 50 %"
    assert lines["Mapped streams"] == "1,000 ft"
    assert lines["From the lowest to the highest ground"] == "10 ft"
    assert "the dry ground 33 ft wide" in factory.words_of(section_of(fitting, IMPERIAL))


def test_what_is_not_known_says_why_and_is_not_none_of_it(fitting):
    nothing = dict.fromkeys([*SHARES, "streams", "lowest", "highest"])
    lines = told(fitting, **nothing)
    assert all(line.startswith("not known: ") for line in lines.values())
    assert lines["Woodland"] == "not known: no woodland is given"


def test_kinds_of_which_there_is_nothing_share_a_sentence(fitting):
    zero = {"wood": 0.0, "wet": 0.0, "rocky": None}
    assert not {"Woodland", "Wet ground"} & set(told(fitting, **zero))
    said = factory.words_of(section_of(fitting, **zero))
    assert re.search(r"Nothing of: woodland, [a-z, ]*wet ground[a-z, ]*\.", said)
    assert "rock near the surface" not in re.search(r"Nothing of: [^.]*", said)[0]


def test_two_packs_have_a_list_each(fitting):
    (found,) = fitting.care.insides
    two = dataclasses.replace(fitting.care, insides=(found, dataclasses.replace(found, pack=2, area=12_345.0)))
    packs = (*fitting.enclosure.packs, *fitting.enclosure.packs)
    plot = dataclasses.replace(fitting, care=two, enclosure=dataclasses.replace(fitting.enclosure, packs=packs))
    section = inside(factory.source(plot))
    assert len([block for block in section.blocks if block.kind == "figures"]) == 2
    assert "Pack 2, 1.23 ha:" in factory.words_of(section)


def test_sheet_says_in_a_line_what_the_ground_is_for_the_animals(run, fitting):
    (found,) = fitting.care.insides
    known = dataclasses.replace(
        found, wood=0.25, mapped_water=0.0, wet=None, hollows=0.06, streams=31.6, lowest=300.0, highest=312.4
    )
    plot = dataclasses.replace(fitting, care=dataclasses.replace(fitting.care, insides=(known,)))
    said = animals(factory.source(plot)).replace("\N{NO-BREAK SPACE}", " ").split(", ")
    assert said[:2] == ["25 % woodland", "no water"]
    assert said[2:4] == ["6 % hollows that can stand in water", "32 m of streams"]
    assert said[4] == "12 m from the lowest to the highest ground"
    assert said[5].startswith(f"{len(fitting.care.dens)} place")
    # What is not known is not told as none of it.
    assert not any("wet" in part for part in said)
    text = html_pages.read(run.folder / "index.html").text
    assert text.count("For the animals") == sum(bool(plot.enclosure.packs) for plot in run.plots)


def test_sheet_tells_places_from_the_start_of_the_line(fitting):
    """Chainage is a word of who sets out, not of who decides."""
    said = factory.words_of(plot_sheet(factory.source(fitting)))
    assert said.count("from the start of the line") == 2
    assert "chainage" not in said
