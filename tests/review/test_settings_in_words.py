"""Pages speak of settings in words; their keys stand in the section of assumptions alone."""

import ast
import re
from pathlib import Path

import pytest
from pdfminer.high_level import extract_text

import packpale
from packpale.review.page_tree import parse
from packpale.review.words.settings import NAMES, all_keys, called, named_settings
from review import factory

ROOMS = ("land", "enclosure", "earthworks", "care")
KEY = re.compile(r"\b[a-z_]+\.[a-z]+(?:_[a-z0-9]+)*\b")
BARE = {key.rpartition(".")[2] for key in all_keys() if re.search(r"_(m|m2|m3|ha|deg|h|s|db)$", key)}
HEADS = ("What was assumed, and what the settings are called", "What others have published or do")


def keys_in(text):
    """Keys of the settings that a text names, and names of keys without their section."""
    dotted = [found for found in KEY.findall(text) if found in all_keys()]
    return sorted({*dotted, *(BARE & set(re.findall(r"(?<!\.)\b[a-z_0-9]+\b", text)))})


def words_of(element):
    """All its text, what stands in one element apart from the next."""
    return " ".join(c if isinstance(c, str) else words_of(c) for c in element.children)


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


def test_the_named_settings_have_their_values():
    settings = factory.project(trench={"working_strip_m": 2.5})
    named = {one.key: one for one in named_settings(["trench.working_strip_m", "crossings.rain_mm_per_h"], settings)}
    assert named.keys() == {"trench.working_strip_m", "crossings.rain_mm_per_h"}
    assert named["trench.working_strip_m"].value == "2.5"
    assert named["crossings.rain_mm_per_h"].value == "not set"


def test_index_names_keys_in_one_section_alone(run):
    (body,) = parse((run.folder / "index.html").read_text(encoding="utf-8")).all("body")
    (section,) = [s for s in body.all("section") if s.attributes.get("aria-labelledby") == "assumptions"]
    named = keys_in(words_of(section))
    assert {"trench.working_strip_m", "crossings.rain_mm_per_h", "checks.dig_rate_m_per_h"} <= set(named)
    section.children.clear()
    assert keys_in(words_of(body)) == []
    assert "the working strip" in words_of(body)


def test_report_names_keys_in_one_section_alone(run):
    text = " ".join(extract_text(run.folder / "report.pdf").split())
    start, end = (text.rindex(head) for head in HEADS)
    assert 0 < start < end
    assert keys_in(text[start:end])
    assert keys_in(text[:start] + " " + text[end:]) == []


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
