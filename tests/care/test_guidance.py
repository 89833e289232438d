"""The settings beside published figures: both sides of each figure, alternatives, what no setting covers."""

import pytest

from packpale.care.guidance import compare, speaks_of_climbing, unspoken, verdicts_at_height
from packpale.settings import Project
from packpale.values import guidance as table
from packpale.values.guidance import Part, Rule, guidance
from trench_cases import project_of


def verdicts(**sections):
    return {one.rule.name: one.verdict for one in compare(project_of(**sections), guidance())}


def changed(name, **sections):
    return verdicts(**sections)[name]


@pytest.mark.parametrize(
    ("name", "key", "figure_m"),
    [
        # As the sources print them, turned into metres here by 1 ft = 0.3048 m and 1 in = 25.4 mm.
        ("ohio cantilever", "fence.overhang_m", 3 * 0.3048),
        ("ohio hyena height", "fence.height_m", 8 * 0.3048),
        ("wisconsin training height", "fence.height_m", 6 * 0.3048),
        ("lower saxony height", "fence.height_m", 1.80),
        ("bavaria height", "fence.height_m", 2.01),
        ("usda fox overhang", "fence.overhang_m", 18 * 0.0254),
        ("canada fox height", "fence.height_m", 9 * 0.3048),
        ("canada fox overhang", "fence.overhang_m", 24 * 0.0254),
        ("canada fox depth", "trench.depth_m", 4 * 0.3048 + 0.01),
    ],
)
def test_a_setting_below_a_figure_falls_short_and_one_at_it_meets(name, key, figure_m):
    section, field = key.split(".")
    assert changed(name, **{section: {field: figure_m}}) == "meets"
    assert changed(name, **{section: {field: figure_m - 0.02}}) == "falls short"


def test_a_setting_rounded_to_the_centimetre_meets_the_figure_in_feet():
    assert changed("ohio cantilever", fence={"overhang_m": 0.91}) == "meets"
    assert changed("ohio cantilever", fence={"overhang_m": 0.90}) == "falls short"


def test_the_default_skirt_is_two_centimetres_short_of_four_feet():
    assert changed("canada fox depth") == "falls short"


def test_an_angle_is_part_of_the_rule():
    assert changed("ohio cantilever", fence={"overhang_deg": 40.0}) == "falls short"
    assert changed("wisconsin training top", fence={"overhang_deg": 0.0}) == "meets"


@pytest.mark.parametrize(
    ("height", "overhang", "verdict"),
    [
        (3.0, 0.0, "meets"),
        (2.0, 1.0, "meets"),
        (2.0, 0.9, "falls short"),
        (2.9, 0.0, "falls short"),
        (1.9, 1.2, "falls short"),
    ],
)
def test_either_way_of_a_rule_will_do(height, overhang, verdict):
    # Victoria: 3.0 m, or 2.0 m with 1.0 m of overhang at 45 degrees.
    assert changed("victoria dingo fence", fence={"height_m": height, "overhang_m": overhang}) == verdict


def test_an_apron_counts_only_on_the_side_that_is_asked():
    for side, inward, outward in (("inside", "meets", "falls short"), ("outside", "falls short", "meets")):
        found = verdicts(trench={"side": side, "apron_reach_m": 1.8, "depth_m": 0.15, "apron_cover_m": 0.1})
        assert (found["victoria dingo apron"], found["canada fox carpet"]) == (inward, inward)
        assert (found["bavaria foot"], found["lower saxony foot"]) == (outward, outward)
        assert found["usda fox foot"] == inward


def test_mesh_in_soft_soil_is_deep_and_turned_in_or_a_mat():
    deep = {"depth_m": 1.22, "side": "inside"}
    assert changed("usda fox foot", trench={**deep, "apron_reach_m": 0.31}) == "meets"
    assert changed("usda fox foot", trench={**deep, "apron_reach_m": 0.25}) == "falls short"
    assert changed("usda fox foot", trench={"depth_m": 0.5, "side": "inside", "apron_reach_m": 0.92}) == "meets"
    assert changed("usda fox foot", trench={"depth_m": 0.5, "side": "inside", "apron_reach_m": 0.8}) == "falls short"


def test_an_area_that_the_land_decides_is_not_covered():
    assert changed("victoria dingo space") == "not covered"
    assert changed("victoria dingo space", enclosure={"area_ha": 0.004}) == "meets"
    assert changed("victoria dingo space", enclosure={"area_ha": 0.002}) == "falls short"
    # 400 square feet are 37.16 m2.
    assert changed("ohio hyena space", enclosure={"area_ha": 0.0037}) == "falls short"


@pytest.mark.parametrize(
    ("name", "inch"),
    [
        # Diameters of the wire gauges 11 1/2 and 9: 0.113 and 0.148 in (ASTM A817, from memory).
        ("florida wire", 0.113),
        ("ohio heavy wire", 0.148),
    ],
)
def test_wire_is_compared_to_the_hundredth_of_a_millimetre(name, inch):
    mm = round(25.4 * inch, 2)
    assert changed(name, mesh={"wire_mm": mm}) == "meets"
    assert changed(name, mesh={"wire_mm": mm - 0.02}) == "falls short"
    assert changed(name) == "not covered"


def test_wire_that_was_bitten_through_is_not_enough():
    assert changed("escape 2019 wire", mesh={"wire_mm": 3.8}) == "falls short"
    assert changed("escape 2019 wire", mesh={"wire_mm": 3.9}) == "meets"


def test_without_an_airlock_there_is_no_double_door():
    assert changed("canada fox door", fence={"airlock_length_m": 0.0}) == "falls short"
    assert changed("ohio safety entrance") == "meets"


def test_what_no_setting_covers_is_said_to_be_so():
    found = verdicts()
    assert {name for name, verdict in found.items() if verdict == "not covered"} >= {
        "ohio second fence", "indiana perimeter", "cfr perimeter", "bavaria wire", "escape 2019"
    }  # fmt: skip


def test_nothing_is_changed():
    project = project_of(fence={"height_m": 1.0})
    before = project.model_dump_json()
    compare(project, guidance())
    assert project.model_dump_json() == before


def test_every_figure_speaks_of_a_setting_in_its_own_unit():
    kinds = {"_m": {"m", "cm", "ft", "in"}, "_mm": {"mm"}, "_deg": {"deg"}, "_ha": {"m2", "ft2"}}
    for rule in guidance():
        for part in (part for way in rule.ways for part in way):
            section, name = part.key.split(".")
            field = Project.model_fields[section].annotation.model_fields[name]
            if isinstance(part.number, str):
                assert part.number in str(field.annotation)
            else:
                assert part.unit in kinds[name[name.rindex("_") :]], part


def test_no_figure_from_memory_is_in_the_table():
    assert {rule.reading for rule in guidance()} == {"read", "second-hand"}
    assert not [rule for rule in guidance() if "memory" in f"{rule.source} {rule.edition}".lower()]


def test_settings_that_nobody_speaks_of():
    rules = [Rule("r", ((Part("fence.height_m", "at least", 1.0, "m"),),), "t", "a", "", "s", "e", "read", "wolves")]
    found = unspoken(rules)
    assert "fence.post_spacing_m" in found
    assert "fence.height_m" not in found
    assert "trench.depth_m" in found
    assert "trench.depth_m" not in unspoken(guidance())


def test_at_most_and_is():
    rule = Rule("r", ((Part("fence.height_m", "at most", 2.0, "m"),),), "t", "a", "", "s", "e", "read", "wolves")
    for height, verdict in ((2.0, "meets"), (2.1, "falls short")):
        (one,) = compare(project_of(fence={"height_m": height}), [rule])
        assert one.verdict == verdict


@pytest.mark.parametrize("column", ["source", "edition", "animals", "text"])
def test_a_row_without_its_source_is_refused(column):
    row = {"way": "1", "key": "", "sense": "", "number": "", "unit": "", "text": "t", "animals": "a", "condition": "",
           "source": "s", "edition": "e", "reading": "read", column: ""}  # fmt: skip
    with pytest.raises(ValueError, match="is missing"):
        table._rule("r", [row])


def test_a_fence_that_a_bank_lowers_falls_short_of_the_figures_in_between():
    project = project_of(fence={"height_m": 2.5, "overhang_m": 1.0})
    rules = [rule for rule in guidance() if speaks_of_climbing(rule)]
    names = [rule.name for rule in rules]
    as_set = {one.rule.name: one.verdict for one in compare(project, rules)}
    # 8 ft = 2.4384 m lies between 2.5 m and 2.4 m, and so does no other figure printed for a height.
    lowered = dict(zip(names, verdicts_at_height(project, rules, 2.4), strict=True))
    assert {name for name in names if as_set[name] != lowered[name]} == {"ohio hyena height"}
    assert (as_set["ohio hyena height"], lowered["ohio hyena height"]) == ("meets", "falls short")
    # At 1.7 m nothing that asks for a height is met; an overhang is as long on a low fence.
    low = dict(zip(names, verdicts_at_height(project, rules, 1.7), strict=True))
    assert {name for name in names if low[name] == "meets"} == {
        "ohio cantilever",
        "usda fox overhang",
        "canada fox overhang",
    }
    assert set(verdicts_at_height(project, rules, float("nan"))) == {"not covered"}
