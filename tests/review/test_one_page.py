"""Each plot's decision stands on one page of the report, and on one sheet of the page of the decision."""

import dataclasses
import io

from pdfminer.high_level import extract_pages
from pdfminer.layout import LTChar, LTTextContainer

from packpale.review import headlines
from packpale.review.headlines import LONGEST, headline, in_short
from packpale.review.pdf.report import write_report
from packpale.review.report.blocks import Section, paragraph
from packpale.review.report.plot import plot_report
from packpale.review.report.sheet import NOTES
from packpale.review.words import Wording, plain
from review import factory
from review.pdf_pages import HEADS, off_their_page

NAME = "The long meadow above the old quarry, between the mill leat and the county road, second half "
MANY = [f"Pack {k % 3 + 1}: matter {k} of many that has to be looked at soon; and a tail of words." for k in range(40)]
FILLING = "Words that fill most of the page before. " * 90


def squeezed(text):
    return "".join(text.split())


def below(item, kind):
    for part in item if hasattr(item, "__iter__") else ():
        if isinstance(part, kind):
            yield part
        else:
            yield from below(part, kind)


def test_a_plots_sheet_stays_whole(run):
    fitting = [p.site.plot_id for p in run.plots[:2]]
    assert off_their_page((run.folder / "report.pdf").read_bytes(), fitting) == []


def test_a_crowded_sheet_stays_whole_and_can_be_read(run, tmp_path):
    plot = factory.renamed(run.plots[0], NAME)
    crowded = dataclasses.replace(plot, care=dataclasses.replace(plot.care, notes=tuple(MANY)))
    settings = factory.project(units="imperial", currency="CAD")
    sheet = plot_report(factory.source(crowded, settings)).sheet
    before = Section("Before", (paragraph(FILLING),), "index.html#before")
    path = tmp_path / "report.pdf"
    write_report([before, sheet], path, title="T", plots=run.folder / "plots")
    first, own, *rest = list(extract_pages(io.BytesIO(path.read_bytes())))
    lines = list(below(own, LTTextContainer))
    said = squeezed("".join(line.get_text() for line in lines))
    assert squeezed(NAME) in said
    assert squeezed(NAME) not in squeezed("".join(line.get_text() for line in below(first, LTTextContainer)))
    assert [head for head in HEADS if squeezed(head) not in said] == []
    assert squeezed("in full") in said
    assert rest == []
    assert min(c.size for line in lines for c in below(line, LTChar) if c.get_text().strip()) > 7.5


def test_a_sheet_has_the_three_gravest_notes_and_says_how_many_more(fitting):
    crowded = dataclasses.replace(fitting, care=dataclasses.replace(fitting.care, notes=tuple(MANY)))
    sheet = plot_report(factory.source(crowded)).sheet
    gravest = sheet.blocks[-1]
    assert (gravest.title, len(gravest.blocks[0].items)) == ("The gravest notes", NOTES)
    total = len(factory.source(crowded).result.site.notes) + len(MANY)
    assert factory.words_of(gravest).endswith("in full")
    assert int(factory.words_of(gravest.blocks[1]).split()[1]) >= total


def test_the_weightiest_notes_come_first_and_nothing_is_cut_in_silence():
    notes = ["Colours of the model.", "Pack 2: the trench stands in water over 9 m: all the way round; pump.", "Third."]
    found = in_short(notes, 2)
    assert found.lines == ("Pack 2: the trench stands in water over 9 m", "Colours of the model")
    assert found.more == 1
    assert in_short(["Of all.", "High ground inside leaves 1 m."], 1).lines == ("High ground inside leaves 1 m",)
    feet = Wording(imperial=True, currency="").told
    deep = "Pack 1: the trench is 1.52 m deep or more over 9 m: all the way round."
    (line,) = in_short([*notes, deep], 1, feet).lines
    assert plain(line) == "Pack 1: the trench is 4.99 ft deep or more over 30 ft"
    assert headline("Pack 1: a (b; c. d) e; f.") == "Pack 1: a (b; c. d) e"
    assert headline("Packs 1 and 2: near, 1.5 m; more.") == "Packs 1 and 2: near, 1.5 m"
    assert headline("Den site 2: in view over bare ground. A sheet.") == "Den site 2: in view over bare ground"
    long = headline("word " * 60)
    assert long.endswith(" …")
    assert LONGEST - 8 < len(long) <= LONGEST


def test_what_comes_first_is_said_by_the_rooms():
    import ast
    from pathlib import Path

    import packpale

    said = []
    for room in ("enclosure", "earthworks", "care"):
        for module in Path(packpale.__file__).parent.joinpath(room).glob("*.py"):
            for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
                if isinstance(node, ast.JoinedStr):
                    said.append("".join(v.value if isinstance(v, ast.Constant) else "§" for v in node.values))
                elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                    said.append(node.value)
    assert [words for words in headlines.FIRST if not any(words in text.lower() for text in said)] == []
