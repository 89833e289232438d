"""Each plot's decision stands on one page of the report, and on one sheet of the page of the decision."""

import dataclasses
import io

from pdfminer.high_level import extract_pages
from pdfminer.layout import LTChar, LTTextContainer

from packpale.review.pdf.report import write_report
from packpale.review.report.blocks import Section, paragraph
from packpale.review.report.notes import ON_A_SHEET
from packpale.review.report.plot import plot_report
from packpale.values.notes import Note
from review import factory
from review.pdf_pages import HEADS, off_their_page

NAME = "The long meadow above the old quarry, between the mill leat and the county road, second half "
MANY = tuple(
    Note("corners", f"matter {k} of many that has to be looked at soon", "And a tail of words.", packs=(k % 3 + 1,))
    for k in range(40)
)
FILLING = "Words that fill most of the page before. " * 105


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


def run_of(plot, settings, folder):
    """The report of a run of one plot alone, told in full."""
    from packpale.review.report.front import RunSource
    from packpale.review.report.run import run_report
    from packpale.review.summary import summarise
    from packpale.run.ranking import rank

    source = factory.source(plot, settings)
    summary = summarise(plot, settings, "plot-0", None)
    ranking = rank([summary], settings.ranking.weights, draws=50, seed=1)
    record = {"version": "0", "seed": 1, "crs": factory.CRS}
    told = RunSource(factory.finished([summary]), ranking, settings, source.show, record)
    return run_report(told, {summary.plot_id: plot_report(source)}, None)


def with_notes(plot, notes):
    bare = {room: dataclasses.replace(getattr(plot, room), notes=()) for room in ("site", "land", "earthworks")}
    return dataclasses.replace(plot, **bare, care=dataclasses.replace(plot.care, notes=notes))


def test_a_crowded_sheet_stays_whole_and_can_be_read(run, tmp_path):
    settings = factory.project(units="imperial", currency="CAD")
    report = run_of(with_notes(factory.renamed(run.plots[0], NAME), MANY), settings, tmp_path)
    (sheet,) = [s for s in report.index if s.look == "sheet"]
    before = Section("Before", (paragraph(FILLING),), "index.html#before")
    path = tmp_path / "report.pdf"
    write_report([before, sheet], path, title="T", plots=run.folder / "plots")
    first, own, *rest = list(extract_pages(io.BytesIO(path.read_bytes())))
    lines = list(below(own, LTTextContainer))
    said = squeezed("".join(line.get_text() for line in lines))
    assert squeezed(NAME) in said
    assert squeezed(NAME) not in squeezed("".join(line.get_text() for line in below(first, LTTextContainer)))
    assert [head for head in HEADS if squeezed(head) not in said] == []
    assert rest == []
    assert min(c.size for line in lines for c in below(line, LTChar) if c.get_text().strip()) > 7.5
    assert squeezed("All 40 in full") in said
    shown = [k for k in range(40) if squeezed(f"Matter {k} of many") in said]
    assert shown == list(range(ON_A_SHEET))


def test_all_notes_stand_in_full_under_what_may_come_of_them(fitting, tmp_path):
    grave = Note("single gates", "gates have no second one", "Mend that.")
    report = run_of(with_notes(fitting, (*MANY, grave)), factory.project(), tmp_path)
    (details,) = [s for s in report.printed if getattr(s, "title", "").endswith("in detail")]
    known = details.blocks[0]
    assert known.title == "What has to be known"
    assert [part.title for part in known.blocks] == ["An animal gets out"]
    said = factory.words_of(known)
    assert said.count("And a tail of words.") == 40
    # Within a severity by what they speak of: a gate that lets out comes before a corner.
    assert said.index("Gates have no second one. Mend that.") < said.index("Matter 0 of many")
