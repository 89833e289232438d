"""The programme of work as it is told: table, bars and CSV against one another, the take-off and the settings."""

import csv
import io
import re

import pytest
from defusedxml.ElementTree import fromstring

from packpale.review.report.blocks import Chart, Section, walk
from packpale.review.report.charts import day_bars
from packpale.review.report.programme import programme_section
from packpale.review.subjects.programme import IN_DIG, WORKS, planned_days
from packpale.review.words import plain
from packpale.values.notes import HURT
from review import factory

OVERNIGHT = {"programme": {"close_each_day": False}}


def read(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


@pytest.fixture(scope="module")
def table(run):
    return read(run.folder / "plots/plot-0/programme.csv")


@pytest.fixture(scope="module")
def overnight():
    settings = factory.project(**OVERNIGHT)
    return factory.result(settings=settings), settings


def total(table, column):
    return sum(float(r[column] or 0) for r in table)


def test_the_table_adds_up_to_earthworks_pegs_and_bill(run, table):
    (ground, _) = read(run.folder / "earthworks.csv")
    for here, there in (
        ("dug_loose_m3", "cut_loose_m3"),
        ("backfill_compacted_m3", "backfill_compacted_m3"),
        ("import_compacted_m3", "import_compacted_m3"),
        ("surplus_loose_m3", "surplus_loose_m3"),
    ):
        assert total(table, here) == pytest.approx(float(ground[there]), abs=0.02), here
    trench = [r for r in table if r["work"] == IN_DIG]
    assert total(trench, "length_m") == pytest.approx(float(ground["fence_length_m"]), abs=0.02)
    assert total(trench, "in_water_m") == pytest.approx(float(ground["in_water_m"]), abs=0.02)
    posts = [r for r in read(run.folder / "plots/plot-0/pegs.csv") if r["post"]]
    assert total(table, "posts") == len(posts)
    hours = run.plots[0].earthworks.plant.machine_hours
    assert total(trench, "machine_h") == pytest.approx(hours, abs=0.03)
    items = {item.key: item.quantity for item in run.plots[0].earthworks.items}
    assert total(table, "gates") == items["gate_each"]
    assert total(table, "concrete_m3") == pytest.approx(items["concrete_per_m3"], abs=0.02)


def test_no_day_is_longer_than_set_and_places_lie_on_the_line(run, table):
    plant, line = run.settings.plant, run.plots[0].enclosure.packs[0].line
    assert max(float(r["machine_h"]) for r in table) <= plant.hours_per_day + 1e-6
    assert [int(r["day"]) for r in table] == list(range(1, len(table) + 1))
    for one in table:
        assert 0 <= float(one["start_chainage_m"]) < float(one["end_chainage_m"]) <= line.perimeter + 1e-3


def test_page_tells_all_days_and_that_it_is_no_method_statement(run, fitting, table):
    section = programme_section(factory.source(fitting))
    said = factory.words_of(section)
    assert f"A planning aid of {table[-1]['day']} working days, no method statement" in said
    assert "the contractor, a competent person on the day and local rules" in said
    assert "No trench is left open overnight" in said
    assert "the rounds at 20:00 and 07:00 look at it" in said
    html = (run.folder / "plots/plot-0/index.html").read_text(encoding="utf-8")
    assert html.index('id="machine"') < html.index('id="programme"')
    (folded,) = [s for s in walk(section) if isinstance(s, Section) and s.look == "folded"]
    (days,) = folded.blocks
    assert len(days.rows) == len(table)


def test_bars_are_as_long_as_their_days(fitting):
    section = programme_section(factory.source(fitting))
    (chart,) = [b for b in walk(section) if isinstance(b, Chart)]
    days = fitting.earthworks.programme.days
    bars = [e for e in fromstring(chart.svg).iter() if e.tag.endswith("rect")]
    spans = []
    for work, name in WORKS.items():
        of_it = [d.day for d in days if d.work == work]
        # Posts are set in the trench.
        assert bool(of_it) == (work != "posts")
        if of_it:
            spans.append((of_it[0], of_it[-1]))
            assert f"{IN_DIG if work == 'trench' else name}: day {of_it[0]}" in chart.alt
    assert len(bars) == len(spans)
    scale = (float(bars[-1].get("x")) + float(bars[-1].get("width")) - float(bars[0].get("x"))) / days[-1].day
    for bar, (first, last) in zip(bars, spans, strict=True):
        assert float(bar.get("width")) == pytest.approx((last - first + 1) * scale, abs=0.15)
        assert float(bar.get("x")) - float(bars[0].get("x")) == pytest.approx((first - 1) * scale, abs=0.15)


def test_days_beside_the_last_bar_stay_in_the_drawing():
    made = fromstring(day_bars([("dig", 1, 997), ("check", 998, 1000)], alt="Bars", caption="c").svg)
    wide = float(made.get("viewBox").split()[2])
    figures = [e for e in made.iter() if e.tag.endswith("text") and e.get("font-weight") == "bold"]
    # Figures and letters of the font are 0.7 of their size wide at the most, in bold.
    assert all(float(e.get("x")) + 0.7 * 13 * len(e.text) <= wide for e in figures)


def test_one_day_of_one_work_is_a_bar(fitting):
    made = day_bars([("dig", 1, 1)], alt="Bars", caption="c")
    assert made.alt == "Bars. dig: day 1."


def test_open_trench_is_told_with_its_danger(overnight):
    plot, settings = overnight
    days = [d.of for d in planned_days(plot, settings) if d.of.work == "trench"]
    worst = max(d.open_overnight for d in days)
    assert worst > max(d.end - d.start for d in days)
    said = factory.words_of(programme_section(factory.source(plot, settings)))
    assert f"Up to {worst:,.0f} m of trench stand open overnight" in said
    assert "No trench is left open" not in said
    (note,) = [n for n in plot.earthworks.notes if n.kind == "trench open overnight"]
    assert note.severity == HURT


def test_open_ends_are_looked_at_between_first_trench_and_last_gate(fitting):
    days = planned_days(fitting, factory.project())
    assert {d.of.work for d in days if d.rounds} == {"trench", "hang", "gates"}
    assert {d.rounds for d in days if d.rounds} == {"20:00 and 07:00"}


def test_in_feet_no_metre_is_told(fitting):
    settings = factory.project(units="imperial")
    said = plain(factory.words_of(programme_section(factory.source(fitting, settings))))
    assert not re.findall(r"\d (?:m|m2|m²|m³)\b", said)
    assert "ft²" in said


def test_where_nothing_fits_there_is_none(run):
    assert not (run.folder / "plots/plot-2/programme.csv").exists()
    assert 'id="programme"' not in (run.folder / "plots/plot-2/index.html").read_text(encoding="utf-8")
