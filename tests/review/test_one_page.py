"""Each plot's decision stands on one page of the report, and in one piece of the first page, in one order."""

import dataclasses
import io
import re

import pytest
from pdfminer.high_level import extract_pages
from pdfminer.layout import LTChar, LTFigure, LTRect, LTTextContainer

from packpale.review import page
from packpale.review.model import FinishedPlots, Phrases, RankedPlot
from packpale.review.page_tree import parse
from packpale.review.small_drawings import SIZE
from packpale.review.summary import read_summary
from packpale.review.words import Wording
from packpale.values.notes import Note, phrase
from review import factory
from review.pdf_pages import HEADS, off_their_page, outline

MM = 72 / 25.4
NAME = "The long meadow above the old quarry, between the mill leat and the county road, second half "
NOTES = [
    Note("corners", f"matter {k} of many that has to be looked at soon", "And a tail of words.", packs=(k % 3 + 1,))
    for k in range(40)
]
IN_WORDS = [Wording(imperial=True, currency="CAD").note(note) for note in NOTES]


@dataclasses.dataclass
class Printed:
    """A page of the report as it is read back."""

    text: str
    smallest: float
    """Size of its smallest letters. [points]"""
    pictures: list
    drawings: list
    """Grounds of the drawings, as large as these."""

    def has(self, words):
        return "".join(words.split()) in "".join(self.text.split())

    def starts_with(self, words):
        """Whatever the rank is that stands before a plot's name."""
        return re.match(rf"(\d+\.)?{re.escape(''.join(words.split()))}", "".join(self.text.split())) is not None


def below(item, kind):
    for part in item if hasattr(item, "__iter__") else ():
        if isinstance(part, kind):
            yield part
        else:
            yield from below(part, kind)


def squeezed(text):
    return "".join(text.split())


def printed(path, name):
    """Number of the page to which the outline leads for a plot, that page and the next; the rest takes long to read."""
    raw = path.read_bytes()
    (at,) = [
        page for level, title, page in outline(raw) if level == 2 and "".join(title.split()).endswith(squeezed(name))
    ]
    return at + 1, *map(_read, extract_pages(io.BytesIO(raw), page_numbers=[at, at + 1]))


def _read(one):
    lines = list(below(one, LTTextContainer))
    letters = [c.size for line in lines for c in below(line, LTChar) if c.get_text().strip()]
    drawn = [r for r in below(one, LTRect) if r.height and abs(r.width / r.height - SIZE[0] / SIZE[1]) < 0.01]
    return Printed("".join(line.get_text() for line in lines), min(letters), list(below(one, LTFigure)), drawn)


@pytest.fixture(scope="module")
def crowded(run, tmp_path_factory):
    """A plot in feet with three packs, a long name, forty notes, twelve limits and many kinds of them at the line."""
    folder = tmp_path_factory.mktemp("crowded")
    one = read_summary(run.folder / "plots/plot-0/result.json")
    packs, layers, details = (1, 2, 3), dict(one.layers), dict(one.details)
    layers["fence_lines"] = tuple({**line, "pack": k} for k in packs for line in one.layers["fence_lines"])
    phrases = Phrases(
        limits=tuple((phrase(f"within {k} m of one kind of thing or another"), 0.3 / k) for k in range(1, 13)),
        touched=tuple((k, phrase(f"within {n} m of some thing with a name")) for k in packs for n in range(9)),
    )
    for key in ("dig_out", "holding", "climb", "fences"):
        details[key] = [{**row, "pack": k} for k in packs for row in one.details[key]]
    details["crossings"] = dict(details["crossings"], all=37)
    plot = dataclasses.replace(one, plot_id=NAME, layers=layers, details=details, notes=tuple(NOTES), phrases=phrases)
    place = RankedPlot(NAME, 1, True, 88.0, 1.0, 1.0, (1, 1), (1, 1))
    settings = factory.project(units="imperial")
    record = {"version": "0", "seed": 1, "crs": one.crs, "warnings": [], "plots": {}}
    page.write_page(
        FinishedPlots({NAME: plot.brief}, {NAME: plot}.__getitem__),
        dataclasses.replace(run.ranking, rows=(place,), overtaking=()),
        settings,
        Wording(imperial=True, currency="CAD"),
        record=record,
        path=folder / "index.html",
        plots=run.folder / "plots",
    )
    return folder


def test_all_of_a_plot_stands_on_its_page(run):
    name = run.plots[0].site.plot_id
    _, own, after = printed(run.folder / "report.pdf", name)
    assert own.starts_with(name)
    assert [head for head in HEADS if not own.has(head)] == []
    assert after.starts_with(f"Plot {name}: what is to be known")
    assert own.smallest > 7.9
    assert (len(own.pictures), len(own.drawings)) == (1, 2)
    fitting = [p.site.plot_id for p in run.plots[:2]]
    assert off_their_page((run.folder / "report.pdf").read_bytes(), fitting) == []


def test_a_plot_on_which_nothing_fits_has_one_page_too(run):
    _, own, _ = printed(run.folder / "report.pdf", factory.FORMULA)
    assert own.has("No enclosure fits here")
    assert own.has("What limits this plot")


def test_a_crowded_plot_keeps_to_its_page_and_says_where_the_rest_is(crowded):
    number, own, after = printed(crowded / "report.pdf", NAME)
    assert own.starts_with(NAME)
    assert [head for head in HEADS if not own.has(head)] == []
    assert after.starts_with(f"Plot {NAME}: what is to be known")
    assert after.has("Warnings in full")
    assert own.smallest > 7.9
    # The drawings are no smaller than they are made, so that their letters stay what they are.
    assert [d.width for d in own.drawings] == pytest.approx([SIZE[0] * MM] * 2, rel=0.02)
    assert own.has(f"These {page.SHORT_NOTES} in full, and {40 - page.SHORT_NOTES} more, on page {number + 1}.")
    assert sum(own.has(note.lead) for note in IN_WORDS) >= page.SHORT_NOTES
    assert sum(after.has(note.text) for note in IN_WORDS) == 40
    assert own.has(f"8 more on page {number + 1}.")
    assert after.has("All that limits this plot")
    assert own.has("7 other limits that its map shows")
    assert own.has("37 places")


def test_the_first_page_has_the_same_order(run):
    (body,) = parse((run.folder / "index.html").read_text(encoding="utf-8")).all("body")
    article = body.all("article")[0]
    heads = [head.text for head in article.all("h2", "h3")]
    assert heads[1 : 1 + len(HEADS)] == list(HEADS)
    assert heads[1 + len(HEADS)] == "Warnings in full"
    assert [figure.all("img")[0].attributes["alt"][:3] for figure in article.all("figure")[:3]] == ["Map", "Sec", "Pro"]
