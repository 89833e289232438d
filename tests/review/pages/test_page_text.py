"""The pages say what the tree of blocks says: every piece of text as often as the tree has it, no more and no less."""

import re
from collections import Counter

import pytest

from packpale.review.pages.plot import write_plot_page
from packpale.review.pages.run import write_basis, write_index
from packpale.review.report.blocks import Run, Section, Table, walk
from packpale.review.report.front import RunSource
from packpale.review.report.plot import page_blocks, plot_report
from packpale.review.report.run import run_report
from packpale.review.summary import summarise
from packpale.review.words import Wording
from review import factory, html_pages

SHORT = 25
"""Letters up to which a piece may stand in other words by chance."""


def pieces(tree):
    """Whatever a reader takes in as one: paragraphs, points, heads, cells, titles of sections."""
    if isinstance(tree, tuple) and tree and all(isinstance(part, Run) for part in tree):
        yield "".join(part.text for part in tree)
    elif isinstance(tree, tuple):
        for part in tree:
            yield from pieces(part)
    elif hasattr(tree, "kind"):
        if isinstance(tree, Section | Table):
            yield tree.title
        for name in tree.__dataclass_fields__:
            yield from pieces(getattr(tree, name))


def squeezed(text):
    return "".join(text.split())


def miscounted(tree, path, *beside):
    """Pieces that stand on the page another number of times than in the tree, with both numbers.

    ``beside`` is what the page has over the tree: names in its title and in its links to other pages.
    """
    # Letters of a drawing are no text of the tree.
    page = html_pages.Page(re.sub(r"<svg\b.*?</svg>", "", path.read_text(encoding="utf-8"), flags=re.DOTALL))
    shown = squeezed("".join(page.texts))
    said = [squeezed(piece) for piece in (*pieces(tree), *beside)]
    # The list of contents says the titles of the page's own sections once more.
    said += [squeezed(block.title) for block in tree if isinstance(block, Section) and block.id]
    whole = "\n".join(said)
    return [
        (piece, whole.count(piece), shown.count(piece))
        for piece in dict.fromkeys(said)
        if len(piece) > SHORT and whole.count(piece) != shown.count(piece)
    ]


@pytest.fixture(scope="module")
def decision(run):
    """The source of the run's pages, and its report without the picture of all plots."""
    summaries = [summarise(p, run.settings, f"plot-{k}", None) for k, p in enumerate(run.plots)]
    record = {
        "version": "0.0",
        "settings_hash": "0" * 64,
        "crs": factory.CRS,
        "input_hashes": {},
        "seed": 1,
        "plots": {},
    }
    source = RunSource(factory.finished(summaries), run.ranking, run.settings, Wording.of(run.settings), record)
    told = {plot.site.plot_id: run.report(k) for k, plot in enumerate(run.plots)}
    return source, run_report(source, told, None)


def test_the_page_of_the_decision(decision, run, tmp_path):
    source, report = decision
    write_index(source, report.head, report.index, tmp_path / "index.html", plots=run.folder / "plots")
    tree = (*report.head, *report.index)
    assert len(list(pieces(tree))) > 100
    names = [plot.site.plot_id for plot in run.plots]
    assert miscounted(tree, tmp_path / "index.html", *2 * [run.settings.title], *names) == []


def test_the_page_of_what_it_rests_on(decision, tmp_path):
    source, report = decision
    write_basis(source, report.basis, tmp_path / "basis.html")
    assert len(list(pieces(report.basis))) > 300
    assert miscounted(report.basis, tmp_path / "basis.html", source.project.title) == []


@pytest.mark.parametrize("k", range(3))
def test_the_page_of_a_plot(run, tmp_path, k):
    source = factory.source(run.plots[k], run.settings)
    report = plot_report(source)
    write_plot_page(source, report, tmp_path)
    tree = page_blocks(source, report)
    assert miscounted(tree, tmp_path / "index.html") == []


def test_a_plots_page_says_no_sentence_twice(run):
    source = factory.source(run.plots[0], run.settings)
    tree = page_blocks(source, plot_report(source))
    told = Counter(
        sentence
        for block in walk(tree)
        if block.kind in ("paragraph", "points")
        for piece in pieces(block)
        for sentence in re.split(r"(?<=\.) ", piece)
        if len(sentence) > SHORT
    )
    assert len(told) > 80
    assert [sentence for sentence, times in told.items() if times > 1] == []
