"""Soil maps, pits and trees whose columns have names, units and words of their own."""

import math

import pytest
from shapely.geometry import Point, box

from made_inputs import NORTH, WEST, Made, write_vector
from packpale.faults import Faults
from packpale.settings import Project
from packpale.site.inputs import open_inputs
from packpale.values.soil_words import soil_word, soil_words

EVERYWHERE = box(WEST - 50, NORTH - 250, WEST + 250, NORTH + 50)
SURVEY = {
    "DRAINAGE": "Moderately well drained",
    "BEDROCK": 152.4,
    "WATER": 36.0,
    "TEXTURE": "Silty Clay Loam",
    "STON": 0.2,
}
THEIRS = {
    "drainage_class": "DRAINAGE",
    "depth_to_rock_m": {"column": "BEDROCK", "unit": "cm"},
    "water_table_m": {"column": "water", "unit": "in"},
    "clay_percent": {"column": "TEXTURE", "unit": "texture class"},
    "stones_percent": {"column": "STON", "unit": "fraction"},
}


@pytest.fixture
def made(tmp_path):
    return Made(tmp_path)


def soil(made, properties=SURVEY, theirs=THEIRS, name="survey.shp", driver="ESRI Shapefile"):
    made.inputs["soil"] = write_vector(made.folder / name, [(properties, EVERYWHERE)], driver=driver)
    made.inputs["soil_columns"] = theirs


@pytest.mark.parametrize(("name", "driver"), [("survey.shp", "ESRI Shapefile"), ("survey.gpkg", "GPKG")])
def test_a_survey_s_own_columns_units_and_words(made, name, driver):
    soil(made, name=name, driver=driver)
    (area,) = open_inputs(made.project()).soil
    assert area.values == {
        "drainage_class": "moderately well",
        "depth_to_rock_m": pytest.approx(1.524),  # 60 in
        "water_table_m": pytest.approx(0.9144),  # a yard
        "clay_percent": 34.0,
        "stones_percent": 20.0,
    }


@pytest.mark.parametrize(
    ("unit", "metres"),
    [("m", 10.0), ("cm", 0.1), ("mm", 0.01), ("ft", 3.048), ("us-ft", 10 * 1200 / 3937), ("in", 0.254)],
)
def test_depths_in_each_unit(made, unit, metres):
    soil(made, {"D": 10.0}, {"depth_to_rock_m": {"column": "D", "unit": unit}})
    (area,) = open_inputs(made.project()).soil
    assert area.values == {"depth_to_rock_m": pytest.approx(metres, rel=1e-12)}


def test_a_column_that_is_not_there_and_a_word_nobody_knows_are_one_line_each(made):
    soil(made, {"DRAIN": "wel drained"}, {"drainage_class": "DRAIN", "clay_percent": "CLAY"})
    with pytest.raises(Faults) as caught:
        open_inputs(made.project())
    assert caught.value.lines == ("survey.shp: has no column 'CLAY'; columns are DRAIN; name one of them",)
    soil(made, {"DRAIN": "wel drained"}, {"drainage_class": "DRAIN"}, name="other.shp")
    with pytest.raises(Faults) as caught:
        open_inputs(made.project())
    (line,) = caught.value.lines
    assert line.startswith('other.shp, feature 1: DRAIN (drainage_class) is "wel drained", which is none of')
    assert line.endswith('did you mean "well"?')


def test_a_depth_in_another_unit_than_said_is_told_with_the_user_s_words(made):
    soil(made, {"ROCK": 152.4}, {"depth_to_rock_m": "ROCK"})
    with pytest.raises(
        Faults, match=r"feature 1: ROCK \(depth_to_rock_m\) is 152\.4; .+ name its unit in the settings"
    ):
        open_inputs(made.project())


def test_pits_and_trees_and_corners(made):
    made.inputs["columns"] = {
        "pits": {"x": "E", "y": "N", "depth_to_rock_m": {"column": "ROCK_FT", "unit": "ft"}},
        "trees_and_boulders": {"height_m": {"column": "HT", "unit": "ft"}},
        "plots": {"x": "to the east", "y": "to the north"},
    }
    made.pits(f"E,N,x,y,ROCK_FT\n{WEST + 50},{NORTH - 50},1,2,5\n")
    made.inputs["trees_and_boulders"] = write_vector(
        made.folder / "trees.gpkg",
        [({"HT": 30.0}, Point(WEST + 50, NORTH - 50)), ({"HT": None}, Point(WEST, NORTH))],
        columns={"HT": "float"},
    )
    corners = [(WEST + 20, NORTH - 80), (WEST + 90, NORTH - 80), (WEST + 90, NORTH - 20)]
    rows = "".join(f"north,{x},{y}\n" for x, y in corners)
    made.plots_text(f"name,to the east,to the north\n{rows}", "corners.csv")
    inputs = open_inputs(made.project())
    assert (inputs.pits[0].x, inputs.pits[0].y) == (WEST + 50, NORTH - 50)
    assert inputs.pits[0].values == {"depth_to_rock_m": pytest.approx(1.524)}
    assert inputs.standing[0].height == pytest.approx(9.144)
    assert math.isnan(inputs.standing[1].height)
    assert inputs.plots[0].outline.area == pytest.approx(70 * 60 / 2)


@pytest.mark.parametrize(
    ("inputs", "text"),
    [
        ({"soil_columns": {"clay_percent": "C"}}, "inputs.soil_columns has no effect without inputs.soil"),
        ({"columns": {"pits": {"x": "E"}}}, "inputs.columns.pits has no effect without inputs.pits"),
        (
            {"soil": "s", "soil_columns": {"clay_percent": {"column": "C", "unit": "cm"}}},
            "found the unit 'cm'; allowed",
        ),
        ({"soil": "s", "soil_columns": {"drainage_class": {"column": "C", "unit": "m"}}}, "it has none: drop it"),
        ({"pits": "p", "columns": {"pits": {"depht_to_rock_m": "C"}}}, "did you mean 'depth_to_rock_m'"),
    ],
)
def test_settings_that_cannot_be_meant(inputs, text):
    with pytest.raises(ValueError, match=text):
        Project.model_validate({"inputs": {"elevation": "e", "plots": "p", "plot_id": "n", **inputs}})


def test_settings_take_published_words_too():
    base = {"inputs": {"elevation": "e", "plots": "p", "plot_id": "n"}}
    soil = {"drainage_class": "Somewhat Poorly Drained", "rock_hardness": "Paralithic bedrock"}
    project = Project.model_validate({**base, "soil": soil})
    assert (project.soil.drainage_class, project.soil.rock_hardness) == ("somewhat poorly", "soft")
    with pytest.raises(ValueError, match="drainage_class"):
        Project.model_validate({**base, "soil": {"drainage_class": "damp"}})


USDA = {  # sand, silt and clay in percent within the class: USDA Soil Survey Manual, texture triangle (from memory)
    "sand": lambda clay: clay < 10,
    "loamy sand": lambda clay: clay < 15,
    "sandy loam": lambda clay: clay < 20,
    "loam": lambda clay: 7 <= clay < 27,
    "silt loam": lambda clay: clay < 27,
    "silt": lambda clay: clay < 12,
    "sandy clay loam": lambda clay: 20 <= clay < 35,
    "clay loam": lambda clay: 27 <= clay < 40,
    "silty clay loam": lambda clay: 27 <= clay < 40,
    "sandy clay": lambda clay: 35 <= clay < 55,
    "silty clay": lambda clay: 40 <= clay < 60,
    "clay": lambda clay: clay >= 40,
}


def test_clay_of_a_texture_lies_within_the_published_class():
    for texture, holds in USDA.items():
        assert holds(float(soil_word("clay_percent", texture.upper()))), texture
    assert soil_words()["clay_percent"].keys() - USDA.keys() == {"silty loam"}


def test_every_drainage_class_is_known_with_and_without_drained():
    for word, means in soil_words()["drainage_class"].items():
        assert soil_word("drainage_class", f" {word.capitalize()}  drained") == means
    assert soil_word("drainage_class", "imperfectly drained") == "somewhat poorly"
    assert soil_word("drainage_class", "damp") is None
