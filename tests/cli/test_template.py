"""The settings file that people start from: complete, valid, and in step with the models."""

import re
import tomllib
from pathlib import Path

from packpale.cli.template import settings_file, settings_table
from packpale.settings import Project, Settings, read_settings
from packpale.values import register

GIVEN = {"inputs.elevation": ["dem.tif"], "inputs.plots": "plots.gpkg", "inputs.plot_id": "name"}
SETTINGS = Path(__file__).parents[2] / "config" / "SETTINGS.md"


def test_the_file_is_valid_as_it_is(tmp_path):
    file = tmp_path / "packpale.toml"
    file.write_text(settings_file(GIVEN), encoding="utf-8")
    project = read_settings(file)
    assert project.inputs.plot_id == "name"


def test_taking_every_comment_sign_away_gives_the_defaults():
    active = re.sub(r"(?m)^# ([a-z_]+ = )(?!none$)", r"\1", settings_file(GIVEN))
    raw = tomllib.loads(active)
    # Distances and weights apply only to inputs that are given, so that the file shows them without naming any.
    keep_away = raw["land"].pop("keep_away_m")
    weights = raw["land"].pop("weights")
    assert Project.model_validate(raw) == Project.model_validate(tomllib.loads(settings_file(GIVEN)))
    for table, name in ((keep_away, "keep_away_m"), (weights, "weights")):
        assert table == {k.rsplit(".", 1)[1]: v.number for k, v in register().items() if f"land.{name}." in k}


def every_key(model: type[Settings], prefix: str = "") -> list[str]:
    keys: list[str] = []
    for name, field in model.model_fields.items():
        nested = isinstance(field.annotation, type) and issubclass(field.annotation, Settings)
        keys += every_key(field.annotation, f"{prefix}{name}.") if nested else [prefix + name]
    return keys


def test_every_key_stands_in_the_file_once_with_its_source():
    text = settings_file(GIVEN)
    keys = [k.rsplit(".", 1)[-1] for k in every_key(Project)]
    for key in set(keys):
        assert len(re.findall(rf"(?m)^(# )?{key} = ", text)) == keys.count(key), key
    joined = re.sub(r"\n# ", " ", text)
    for value in register().values():
        assert value.source in joined, value.key


def test_the_page_of_settings_holds_the_tables_of_the_models():
    assert settings_table() in SETTINGS.read_text(encoding="utf-8")
