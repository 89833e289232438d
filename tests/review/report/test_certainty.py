"""How sure the ranking is, on the first page."""

from defusedxml.ElementTree import fromstring
from markupsafe import escape

from packpale.review.model import Overtaking, RankedPlot, Ranking
from packpale.review.report.certainty import overtaking_sentences, place_sketch, places_text
from review import factory

NUMBERS = ("x", "width", "x1", "x2", "cx")


def ranked(name, place, usual, usual_any):
    return RankedPlot(name, place, 90.0 - place, 0.5, feasible=True, usual_places=usual, usual_places_any=usual_any)


ROWS = (
    ranked("a", 1, (1, 2), (1, 3)),
    ranked("b", 2, (1, 2), (1, 3)),
    ranked("c", 3, (3, 3), (1, 3)),
    RankedPlot("d", None, None, 0.0, feasible=False),
)


def sketched(place, last):
    """Where the sketch of a plot's places has its box, its line and its dot."""
    parts = {part.tag.partition("}")[2]: part.attrib for part in fromstring(place_sketch(place, last))}
    box, line, dot = (
        {k: float(v) for k, v in parts[tag].items() if k in NUMBERS} for tag in ("rect", "line", "circle")
    )
    return {"box": (box["x"], box["x"] + box["width"]), "line": (line["x1"], line["x2"]), "dot": dot["cx"]}


def test_bars_go_from_the_first_place_at_the_left_to_the_last_at_the_right():
    sketches = [sketched(row, 3) for row in ROWS[:3]]
    # Even steps between 12 px from either edge of 240.
    assert [one["dot"] for one in sketches] == [12, 120, 228]
    assert sketches[0]["box"] == (12 - 5, 120 + 5)
    assert sketches[2]["box"] == (228 - 5, 228 + 5)
    assert sketches[2]["line"] == (12 - 5, 228 + 5)


def test_one_plot_alone_has_its_dot_at_the_left():
    assert sketched(ranked("a", 1, (1, 1), (1, 1)), 1)["dot"] == 12


def test_places_in_words():
    assert (places_text((1, 1)), places_text((2, 4)), places_text(None)) == ("1", "2 to 4", "")


def test_what_would_turn_the_first_two_round():
    ways = (Overtaking("land", 3.0, 1.234), Overtaking("space", 2.0, 7.0), Overtaking("price", 2.0, None))
    lines = list(overtaking_sentences(Ranking(ROWS, ways)))
    assert lines == [
        "For b to overtake a, one weight would have to change, the others as they are:",
        "that of suitability of the land would have to fall below 1.23 (it is 3).",
        "that of size would have to rise above 7 (it is 2).",
        "No weight of price for each unit of area alone brings it about.",
    ]
    none = tuple(Overtaking(o.criterion, o.weight, None) for o in ways)
    assert list(overtaking_sentences(Ranking(ROWS, none))) == ["No other weight of any one criterion puts b before a."]
    assert list(overtaking_sentences(Ranking(ROWS))) == []


def test_page_tells_usual_places_and_shares(run):
    page = (run.folder / "index.html").read_text(encoding="utf-8")
    table = page.split("Usual places of each plot</caption>")[1].split("</table>")[0]
    first = run.ranking.rows[0]
    assert [r.plot_id for r in run.ranking.rows if r.rank is not None and str(escape(r.plot_id)) in table] == [
        r.plot_id for r in run.ranking.rows if r.rank is not None
    ]
    assert factory.HOSTILE not in table
    assert f">{100 * first.first_place_share_any:.0f}\u00a0%</td>" in table
    assert table.count("<svg") == 2
