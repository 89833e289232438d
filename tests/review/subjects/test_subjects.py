"""Fields of a subject make its columns, its popup and its table; the columns that others rely on keep their names."""

import math
import re
from pathlib import Path
from types import SimpleNamespace

import pytest

from packpale.care.aids import ClimbingAid
from packpale.review.subjects import LAYERS, TABLES
from packpale.review.subjects.__main__ import columns_page
from packpale.review.subjects.climbing import CLIMBING_AIDS
from packpale.review.subjects.crossings import CROSSINGS, crossings
from packpale.review.subjects.dens import DENS
from packpale.review.subjects.field import BOTH, PAGE, POPUP, SUFFIXES, Field, at_path
from packpale.review.subjects.line import EGG, FENCE_LINES
from packpale.review.subjects.patrol import PATROL, PATROL_CHECKS, OnRound
from packpale.review.words import Wording, plain
from packpale.units import FOOT_M, HECTARE_M2
from packpale.values.quantity import Quantity

METRIC, IMPERIAL = Wording(imperial=False, currency="EUR"), Wording(imperial=True, currency="USD")
PROMISED = {
    "ranking.csv": """rank, plot_id, feasible, reason, score, first_place_share, plot_area_m2, usable_area_m2,
        enclosed_area_m2, smallest_enclosure_m2, fence_length_m, fence_length_3d_m, mean_slope_deg, mean_suitability,
        cut_bank_m3, rock_bank_m3, wet_bank_m3, surplus_loose_m3, cost_p10, cost_p50, cost_p90, escape_dig_rate_m_per_h,
        over_limits_m, price_per_ha""",
    "earthworks.csv": """plot_id, pack, fence_length_m, section_area_m2, cut_bank_m3, rock_bank_m3, wet_bank_m3,
        average_end_area_m3, backfill_compacted_m3, cut_loose_m3, surplus_loose_m3""",
    "setting_out.csv": "pack, chainage_m, x, y, ground_m, invert_m, bearing_deg, arc, radius_m",
    "limits": "plot_id, kind, name, may_lie_inside",
    "over_limits": "plot_id, pack, kind, from_m, to_m",
    "fence_lines": """plot_id, pack, big_x, big_y, axis_bearing_deg, big_radius_m, small_radius_m, flank_radius_m,
        centre_spacing_m, area_m2, perimeter_m, area_bound_m2, fit_s""",
    "alternatives": """plot_id, aim, value, feasible, area_m2, fence_length_m, over_limits_m, price_likely,
        price_per_ha, area_bound_m2, big_x, big_y, axis_bearing_deg, big_radius_m, small_radius_m, flank_radius_m,
        centre_spacing_m""",
}
"""Columns of the public interface, in their order; others may stand behind or between them."""


@pytest.mark.parametrize("name", PROMISED)
def test_promised_columns_are_there_in_their_order(name):
    (subject,) = [s for s in (*LAYERS, *TABLES) if s.name == name]
    promised = re.split(r",\s+", PROMISED[name])
    assert [column for column in subject.columns if column in promised] == promised


@pytest.mark.parametrize("subject", [*LAYERS, *TABLES], ids=lambda s: s.name)
def test_each_column_stands_once_and_has_a_title(subject):
    assert len(subject.columns) == len(subject.fields)
    assert all(field.title for field in subject.fields)
    # A column of a quantity that has a unit says it in its name.
    unitless = {"share", "score", "count", "number", "money"}
    for field in subject.fields:
        if field.column == "float64" and field.kind not in unitless and field.kind != "coordinate":
            assert field.unit, field.key


def test_the_page_of_columns_is_the_one_in_the_project():
    page = Path(__file__).parents[3] / "outputs/README.md"
    assert page.read_text(encoding="utf-8") == columns_page(), (
        "run python -m packpale.review.subjects > outputs/README.md"
    )


@pytest.mark.parametrize(
    ("key", "kind", "value", "si"),
    [
        ("concentration_min", "duration", 2.0, 120.0),
        ("dig_rate_m_per_h", "speed", 0.36, 1e-4),
        ("intensity_mm_per_h", "rain", 36.0, 1e-5),
        ("contributing_area_m2", "area", 5.0, 5.0),
        ("area_ha", "area", 2.0, 2 * HECTARE_M2),
        ("slope_deg", "slope", 12.0, 12.0),
        ("seen_share", "share", 0.5, 0.5),
    ],
)
def test_a_column_s_unit_is_known_from_its_name(key, kind, value, si):
    said = Field(key, "", kind, of=lambda item: item).say(value)
    assert said.kind == kind
    assert said.value == pytest.approx(si)


def test_a_value_is_found_by_its_attributes_and_is_none_where_one_of_them_is():
    area = Field("area_m2", "Drained", "area", "path.area")
    assert area.value(SimpleNamespace(path=SimpleNamespace(area=5.0))) == 5.0
    assert area.value(SimpleNamespace(path=None)) is None
    assert area.say(SimpleNamespace(path=None)) is None


@pytest.mark.parametrize(
    ("shown", "popup", "page"), [("", False, False), (POPUP, True, False), (PAGE, False, True), (BOTH, True, True)]
)
def test_a_field_is_told_where_it_says(shown, popup, page):
    field = Field("x", "X", "text", shown=shown)
    assert (field.popup, field.page) == (popup, page)


@pytest.mark.parametrize(("height", "told"), [(1.7, "1.70 m"), (math.nan, "not given"), (None, "not given")])
def test_a_field_tells_why_its_value_is_not_known(height, told):
    field = Field("height_m", "Height", "dimension", "aid.height", unknown="not given")
    assert plain(METRIC.say(field.say(SimpleNamespace(aid=SimpleNamespace(height=height))))) == told


def test_a_path_leads_through_attributes_and_keys_as_far_as_there_is_something():
    den = SimpleNamespace(distances={"other pack": 3.5}, passage=None)
    assert at_path(den, "distances.other pack") == 3.5
    assert at_path(den, "distances.fence") is None
    assert at_path(den, "passage.length") is None
    with pytest.raises(AttributeError, match="distance"):
        at_path(den, "distance.fence")


def test_the_popup_of_a_fence_line_begins_with_what_it_encloses(fitting):
    (line,) = FENCE_LINES.items(fitting, None)
    titles = [title for title, _ in FENCE_LINES.popup(line, METRIC)]
    assert titles[0] == "Area enclosed"
    assert titles[-4:] == [field.head for field in EGG if field.popup]


def test_longer_endings_are_found_before_those_they_end_in():
    endings = [suffix for suffix, _, _ in SUFFIXES]
    for n, ending in enumerate(endings):
        assert not [later for later in endings[n + 1 :] if later.endswith(ending)], ending


def items(plot):
    care = plot.care
    return [
        *((CROSSINGS, found) for found in crossings(plot)),
        *((DENS, den) for den in care.dens),
        (CLIMBING_AIDS, ClimbingAid(1, 1, 42.4, 1.25, True, 0.8, 1.7, 0.0, 0.0)),
        (CLIMBING_AIDS, ClimbingAid(1, 2, 50.0, 0.0, False, math.nan, math.nan, 0.0, 0.0)),
        *((PATROL, walk) for walk in care.rounds),
        *((PATROL_CHECKS, OnRound(walk, check)) for walk in care.rounds for check in walk.checks),
    ]


def test_row_popup_and_table_tell_the_same(fitting):
    looked_at = set()
    for subject, item in items(fitting):
        looked_at.add(subject.name)
        row, popup = subject.row(item), dict(subject.popup(item, METRIC))
        assert list(row) == list(subject.columns)[1:]
        for field in subject.fields:
            said = field.say(item) if field.popup else None
            if isinstance(said, Quantity) and field.told is None:
                # The figure of the popup is that of the column by rounding.
                (number,) = re.findall(r"[\d.,]+", popup[field.title])[:1]
                if field.kind in ("length", "dimension"):
                    decimals = len(number.partition(".")[2])
                    assert float(number.replace(",", "")) == pytest.approx(row[field.key], abs=0.5001 * 10**-decimals)
    assert looked_at == {"crossings", "dens", "climbing_aids", "patrol", "patrol_checks"}


def test_popups_are_in_the_readers_units(fitting):
    (walk,) = fitting.care.rounds
    metric, feet = (dict(PATROL.popup(walk, show)) for show in (METRIC, IMPERIAL))
    assert plain(metric["Length"]) == f"{walk.length:,.0f} m"
    assert plain(feet["Length"]) == f"{walk.length / FOOT_M:,.0f} ft"


def test_what_is_not_known_is_no_figure(fitting):
    unknown = [row for subject, item in items(fitting) for row in subject.popup(item, METRIC)]
    assert unknown
    assert not [title for title, text in unknown if re.search(r"\bnan\b|None", text) or not text]
