"""Pages speak of settings in words; their keys stand in the section of assumptions alone."""

import ast
import re
from pathlib import Path

import pytest
from pdfminer.high_level import extract_text

import packpale
from packpale.review.assumed import SET, settings_used
from packpale.review.report.blocks import Table, text_of, walk
from packpale.review.report.settings import settings_section
from packpale.review.words import Wording, plain
from packpale.review.words.settings import NAMES, all_keys, called
from review import factory, html_pages

ROOMS = ("land", "enclosure", "earthworks", "care")
KEY = re.compile(r"\b[a-z_]+\.[a-z]+(?:_[a-z0-9]+)*\b")
BARE = {key.rpartition(".")[2] for key in all_keys() if re.search(r"_(m|m2|m3|ha|deg|h|s|db)$", key)}
HEADS = ("What the run rests on", "The settings beside published rules")
METRIC = Wording(imperial=False, currency="EUR")
FEET = Wording(imperial=True, currency="USD")


def keys_in(text):
    """Keys of the settings that a text names, and names of keys without their section."""
    dotted = [found for found in KEY.findall(text) if found in all_keys()]
    return sorted({*dotted, *(BARE & set(re.findall(r"(?<!\.)\b[a-z_0-9]+\b", text)))})


@pytest.mark.parametrize("key", all_keys())
def test_every_setting_can_be_spoken_of(key):
    words = called(key)
    assert words.startswith("the ")
    assert "_" not in words
    assert keys_in(words) == []


def test_what_the_rooms_speak_of_has_words_of_its_own():
    spoken_of, named = set(), set()
    for room in ROOMS:
        for module in Path(packpale.__file__).parent.joinpath(room).glob("*.py"):
            tree = ast.parse(module.read_text(encoding="utf-8"))
            documents = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr)}
            for node in ast.walk(tree):
                if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in documents:
                    # A key alone is a name in a table, not part of a sentence.
                    spoken_of |= set(keys_in(node.value)) - {node.value.strip()}
                    named |= set(re.findall(r"\{setting:([^}]*)\}", node.value))
    assert len(spoken_of) > 8
    assert named <= set(all_keys())
    assert {key for key in spoken_of if "." in key} - NAMES.keys() == set()
    assert {key for key in spoken_of if "." not in key} - {key.rpartition(".")[2] for key in spoken_of} == set()


def in_force(project, wording=METRIC):
    """Words, value and key of each setting on the page of what a run rests on."""
    rows = {}
    for one in walk(settings_section(project, wording)):
        if isinstance(one, Table):
            for name, *values, key in one.rows:
                rows[text_of(key)] = (text_of(name), *(plain(text_of(v)) for v in values))
    return rows


def test_settings_are_told_with_words_value_and_unit():
    rows = in_force(factory.project(trench={"working_strip_m": 2.5}))
    assert rows["trench.working_strip_m"][0].startswith("The working strip. ")
    assert rows["trench.working_strip_m"][1] == "2.5 m"
    assert rows["crossings.rain_mm_per_h"] == ("The design rain",)
    assert rows["rates.excavate_soil_per_m3"][1] == "EUR 5.00 to 14.00, likely 8.00, for each m³ in the ground"
    assert rows["rates.gate_each"][1].endswith(" each")
    assert rows["enclosure.taper"][1] == "0.5 to 0.9"
    assert rows["run.draws"][1] == "10,000"
    assert rows["trench.end_on_rock"][1] == "no"
    feet = in_force(factory.project(units="imperial", currency="USD"), FEET)
    assert feet["rates.excavate_soil_per_m3"][1].endswith("for each yd³ in the ground")
    assert feet["enclosure.min_radius_m"][1].endswith(" ft")
    # By hand: 3 m3 are 3.92 yd3.
    assert (rows["plant.breaker_m3_per_h"][1], feet["plant.breaker_m3_per_h"][1]) == (
        "3 m³ an hour",
        "3.9 yd³ an hour",
    )
    assert rows["plant.rock_cycle_s"][1] == "30 s"
    assert rows["patrol.stop_s"][1] == "30 s"


def test_no_value_is_told_as_the_register_has_it():
    for key, (_, *values) in in_force(factory.project()).items():
        for value in values:
            assert not re.search(r"\bFalse\b|\bTrue\b|currency/|currency each|^none\b|/m[23]?\b| / ", value), (
                key,
                value,
            )


def test_pages_name_keys_in_one_section_alone(run):
    for page in ("index.html", "plots/plot-0/index.html", "plots/plot-1/index.html", "plots/plot-2/index.html"):
        assert keys_in(html_pages.read(run.folder / page).text) == [], page
    text = html_pages.read(run.folder / "basis.html").text
    start, end = (text.rindex(head) for head in HEADS)
    before, settings, after = text[:start], text[start:end], text[end:]
    assert {"trench.working_strip_m", "crossings.rain_mm_per_h", "checks.dig_rate_m_per_h"} <= set(keys_in(settings))
    assert keys_in(before) == keys_in(after) == []


def test_report_names_no_keys_and_every_setting_in_words(run):
    text = " ".join(extract_text(run.folder / "report.pdf").split())
    assert keys_in(text) == []
    start, end = (text.rindex(head) for head in HEADS)
    assert 0 < start < end
    # On paper stand those that were set and those that are guesses; the page of the basis has all.
    basis = "".join(html_pages.read(run.folder / "basis.html").text.split())
    named = in_force(run.settings)
    for setting in settings_used(run.settings):
        name = "".join(named[setting.key][0].split())[:40]
        assert name in basis, setting.key
        if setting.status in {SET, "assumption"}:
            assert name in "".join(text[start:end].split()), setting.key


def test_maps_name_no_keys(run):
    pages = [run.folder / "map.html", *run.folder.glob("plots/*/map.html")]
    assert len(pages) == 4
    for page in pages:
        text = page.read_text(encoding="utf-8")
        # Everything but the program of the page: names of layers and values reach it as data.
        said = re.sub(r"<style.*?</style>", " ", text, flags=re.DOTALL)
        assert [
            key for key in all_keys() if key in said and re.search(rf"(?<![\w./-]){re.escape(key)}\b(?![(=])", said)
        ] == [], page
