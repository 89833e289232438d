"""What the sheets tell a crew beside the line itself: measured back from the marks on paper, in millimetres."""

import dataclasses
import itertools
import math
import re
from collections import Counter, namedtuple

import numpy as np
import pytest
import shapely

from packpale.earthworks.station_section import station_section
from packpale.enclosure.main_pegs import main_pegs
from packpale.review.drawings.below_ground import ROCK, WATER
from packpale.review.drawings.drawing_set import _sheets
from packpale.review.drawings.line_kinds import BOUNDARY, KINDS, SERVICE, WATERCOURSE
from packpale.review.drawings.marks import WORDS, marks
from packpale.review.drawings.sections_sheet import places
from packpale.review.drawings.sheet import FIELD, FRAME, Areas, Line, Text
from packpale.review.subjects.setting_out import peg_rows, pegs_of
from packpale.review.words import Wording
from packpale.site.model import Standing
from packpale.values.cautions import cautions_for
from review import factory

Drawn = namedtuple("Drawn", "result settings sheets")


def sheets_of(plot, settings):
    return Drawn(plot, settings, dict(_sheets(plot, settings, Wording.of(settings))))


@pytest.fixture(scope="module")
def one(fitting):
    """The plot of one pack, with a cable that runs through under the fence, and a tree and a boulder beside it."""
    egg = fitting.enclosure.packs[0].fit.egg
    cable = shapely.LineString([(499_990, 5_499_850), (500_150, 5_499_880), (500_310, 5_499_840)])
    outside = egg.points_at(60.0)
    standing = [Standing(shapely.Point(float(outside.x) + 1.5, float(outside.y) + 1.5), 6.0)]
    settings = factory.project()
    plot = factory.result(settings=settings, lines=(egg,), more={"services": (cable,)}, standing=standing)
    return sheets_of(plot, settings)


@pytest.fixture(scope="module")
def dated(fitting):
    drawings = {"date": "3 March 2026", "revision": "B", "height_datum": "DHHN2016"}
    return sheets_of(fitting, factory.project(maps={"data_date": "spring 2021"}, drawings=drawings, trench=LEVEL))


KEY_MM = FIELD[2] - 79
LEVEL = {"formation": "level", "side": "inside"}


def texts(sheet):
    return [m.text for m in sheet.marks if isinstance(m, Text)]


def lines(sheet, **wanted):
    return [m for m in sheet.marks if isinstance(m, Line) and all(getattr(m, k) == v for k, v in wanted.items())]


def scale_of(sheet):
    return float(re.match(r"1:([\d,]+)", sheet.title.scale)[1].replace(",", ""))


def test_every_sheet_carries_the_six_cautions(one):
    assert len(one.sheets) > 5
    assert len(cautions_for("judges")) == 6
    for sheet in one.sheets.values():
        written = [m for m in sheet.marks if isinstance(m, Text) and FIELD[1] - 14 < m.y < FIELD[1]]
        for side in (False, True):
            column = [m for m in written if (m.x > 150) == side and not m.bold]
            said = " ".join(m.text for m in sorted(column, key=lambda m: -m.y))
            mine = [text for text in cautions_for("judges") if text in said]
            assert len(mine) >= 2
        all_of_it = " ".join(m.text for m in written if not m.bold)
        for text in cautions_for("judges"):
            assert text in all_of_it


def test_the_title_block_says_data_dates_and_heights(one, dated):
    for sheet in dated.sheets.values():
        assert {"spring 2021", "3 March 2026, revision B", "DHHN2016"} <= set(texts(sheet))
    for k, sheet in enumerate(one.sheets.values(), 1):
        assert texts(sheet).count("not stated") == 3
        assert f"north field-{k}" in texts(sheet)
        assert f"{k} of {len(one.sheets)}" in texts(sheet)


def test_kinds_of_lines_differ_by_dash_and_letter():
    assert len({kind.dash for kind in KINDS}) == len({kind.letter for kind in KINDS}) == len(KINDS)
    assert all(kind.letter.islower() for kind in KINDS)


def test_the_plan_shows_the_whole_boundary(one):
    sheet = one.sheets["plan"]
    metre = scale_of(sheet) / 1000
    # Right of the field stands the key.
    field = [m for m in lines(sheet, colour=BOUNDARY.colour, width=BOUNDARY.width) if m.points[:, 0].max() < KEY_MM]
    drawn = sum(shapely.LineString(m.points).length for m in field if len(m.dash) == 4)
    assert drawn * metre == pytest.approx(one.result.site.outline.length, rel=1e-6)


def test_services_and_watercourses_lie_on_the_plan_where_they_lie(one):
    """Against the fence line on the same paper, whose place is known; each with its letter."""
    sheet = one.sheets["plan"]
    metre = scale_of(sheet) / 1000
    (fence,) = (m for m in sheet.marks if isinstance(m, Line) and m.name == "fence-line-1")
    egg = one.result.enclosure.packs[0].fit.egg
    middle, on_paper = egg.polygon().centroid, shapely.Polygon(fence.points).centroid
    for kind, name in ((SERVICE, "services"), (WATERCOURSE, "watercourses")):
        features = shapely.union_all(one.result.site.features[name])
        drawn = lines(sheet, colour=kind.colour, width=kind.width)
        drawn = [m for m in drawn if m.dash and m.points[:, 0].max() < KEY_MM]
        assert drawn, name
        for line in drawn:
            x = middle.x + (line.points[:, 0] - on_paper.x) * metre
            y = middle.y + (line.points[:, 1] - on_paper.y) * metre
            assert shapely.distance(features, shapely.points(x, y)).max() < 0.5
        assert kind.letter in texts(sheet)


def crossings_by_walking(pack, features):
    """How often a walk along the line passes through features, point by point."""
    points = pack.line.points_at(np.arange(0, pack.line.perimeter, 0.25))
    at = np.column_stack([points.x, points.y])
    steps = shapely.linestrings(np.stack([at, np.roll(at, -1, axis=0)], axis=1))
    return sum(int(shapely.intersects(steps, feature).sum()) for feature in features)


def test_marks_are_where_services_water_and_gates_cross(one):
    (pack,) = one.result.enclosure.packs
    found = marks(one.result, one.settings, pack)
    assert {m.letter for m in found} <= set(WORDS)
    count = {letter: sum(m.letter == letter for m in found) for letter in WORDS}
    assert count["X"] == crossings_by_walking(pack, one.result.site.features["services"]) > 0
    assert count["G"] == pack.gates.chainage.size
    assert count["U"] >= 1
    assert count["O"] >= 1
    assert count["T"] == 1
    cable = shapely.union_all(one.result.site.features["services"])
    by_name = {mark.label: mark for mark in found}
    for mark in found:
        on_line = pack.line.points_at(mark.chainage)
        if mark.letter == "X":
            assert shapely.Point(on_line.x, on_line.y).distance(cable) < 0.1
    # Gates have the numbers that pegs and files give them; the weakest places are those of the dig-out and the climb.
    for k, chainage in enumerate(pack.gates.chainage.tolist(), 1):
        assert by_name[f"G{k}"].chainage == chainage
    assert by_name["U1"].chainage == one.result.care.dig_out[0].weakest_chainage
    assert by_name["O1"].chainage == one.result.care.climbs[0].weakest_chainage


def test_the_profile_has_a_stroke_for_every_mark_at_its_chainage(one):
    sheet = one.sheets["profile"]
    metre = scale_of(sheet) / 1000
    (pack,) = one.result.enclosure.packs
    starts = {m.name.removeprefix("ground-"): m.points[0, 0] for m in lines(sheet) if m.name.startswith("ground-")}
    found = {m.label: m.chainage for m in marks(one.result, one.settings, pack)}
    strokes = {}
    for m in lines(sheet):
        if m.name.startswith("mark-"):
            _, label, strip = m.name.split("-", 2)
            strokes[label] = float(strip.split("-")[1]) + (m.points[0, 0] - starts[strip]) * metre
    assert strokes == pytest.approx(found, abs=0.51)
    assert set(found) <= set(texts(sheet)) | {"none has room"}


def test_rock_and_water_are_told_apart_where_they_coincide(fitting):
    """The same line twice: strokes below it say rock, triangles above it say water."""
    works = fitting.earthworks
    same = tuple(dataclasses.replace(p, water_depth=p.rock_depth) for p in works.profiles)
    plot = dataclasses.replace(fitting, earthworks=dataclasses.replace(works, profiles=same))
    sheet = sheets_of(plot, factory.project()).sheets["profile"]
    named = {m.name: m.points for m in lines(sheet) if m.name.startswith(("rock-", "water-"))}
    checked = Counter()
    for name, rock in named.items():
        if name.startswith("rock-"):
            assert named["water-" + name.removeprefix("rock-")].tolist() == rock.tolist()
            left, right = rock[0, 0], rock[-1, 0]
            strokes = [(m.colour, m.points) for m in lines(sheet) if m.clip and not m.name and len(m.points) == 2]
            fills = [(m.colour, m.rings[0]) for m in sheet.marks if isinstance(m, Areas) and m.clip]
            for colour, points in strokes + [(colour, ring) for colour, ring in fills if len(ring) == 3]:
                # The end that is on the line, or nearest above it, and the one away from it.
                tip, other = points[0], points[1]
                level = np.interp(tip[0], *rock.T)
                if left < tip[0] < right and abs(tip[1] - level) < 0.3:
                    assert colour == (ROCK.colour if other[1] < tip[1] else WATER.colour)
                    assert tip[1] >= level - 1e-9
                    checked[colour] += 1
    assert checked[ROCK.colour] > 40
    assert checked[WATER.colour] > 5


def test_figures_of_the_profile_stay_within_its_table(one):
    sheet = one.sheets["profile"]
    ends = {}
    for m in lines(sheet):
        (x0, y0), (x1, y1) = m.points[0], m.points[-1]
        if len(m.points) == 2 and y0 == y1 and x0 < FRAME[0] + 5 and x1 < FRAME[2] - 5:
            ends[round(y1, 1)] = x1
    rows = [m for m in sheet.marks if isinstance(m, Text) and re.fullmatch(r"[\d,]+\.\d\d", m.text)]
    assert rows
    for text in rows:
        under = [x for y, x in ends.items() if abs(y - text.y) < 1.5]
        assert under
        assert text.x + text.width <= max(under) + 0.01


def of_station(place):
    return place.pack, place.profile, place.station


def test_sections_stand_at_the_worst_places(one):
    (pack,), (profile,) = one.result.enclosure.packs, one.result.earthworks.profiles
    chosen = places(one.result)
    depth = profile.rock_depth
    assert any(depth[p.station] == depth.min() and "shallowest rock" in p.why for p in chosen)
    assert any(
        profile.water_depth[p.station] == profile.water_depth.min() and "shallowest water" in p.why for p in chosen
    )
    kinds = {s.kind for s in pack.over_limits}
    assert kinds
    for kind in kinds:
        (place,) = (p for p in chosen if f"over a limit: {kind}" in p.why)
        s = pack.alignment.chainage[place.station]
        assert any((s - o.from_m) % pack.line.perimeter <= o.length_m for o in pack.over_limits if o.kind == kind)


@pytest.mark.parametrize("reach", [20.0, 1.0], ids=["the whole section", "one side of it"])
def test_a_section_without_ground_says_so(one, reach):
    place = places(one.result)[0]
    site, line = one.result.site, place.pack.alignment
    x, y = np.meshgrid(*site.grid.centres())
    # Round the fence itself, or round a place past the apron.
    aside = 0.0 if reach > 2 else 4.0
    at_x, at_y = (getattr(line, a)[place.station] + aside * line.outward[place.station, i] for i, a in enumerate("xy"))
    ground = np.where(np.hypot(x - at_x, y - at_y) < reach, np.nan, site.elevation)
    plot = dataclasses.replace(one.result, site=dataclasses.replace(site, elevation=ground))
    cut, whole = (station_section(r.site, *of_station(place), one.settings.trench) for r in (plot, one.result))
    assert cut.known == (aside > 0)
    assert not whole.cut_short
    sheet = dict(_sheets(plot, one.settings, Wording.of(one.settings)))["sections"]
    said = "No section: elevation is missing here." if aside == 0 else "Elevation is missing beyond"
    assert any(said in text for text in texts(sheet))
    name = f"ground-{place.pack.number}-{place.station}"
    drawn = [m for m in sheet.marks if isinstance(m, Line) and m.name == name]
    assert len(drawn) == (aside > 0)
    assert all(np.isfinite(m.points).all() for m in lines(sheet))
    assert all(np.isfinite(ring).all() for m in sheet.marks if isinstance(m, Areas) for ring in m.rings)
    if aside:
        assert cut.cut_short
        assert np.isfinite(cut.ground).all()
        assert cut.offset[-1] < whole.offset[-1]
        assert cut.offset[0] == whole.offset[0]


def test_sections_measured_back_on_paper(one):
    sheet = one.sheets["sections"]
    metre = scale_of(sheet) / 1000
    for place in places(one.result):
        name = f"{place.pack.number}-{place.station}"
        found = {m.name: m.points * metre for m in lines(sheet) if m.name.endswith(f"-{name}")}
        assert np.ptp(found[f"skirt-{name}"][:, 1]) == pytest.approx(one.settings.trench.depth_m, abs=0.01)
        dug = shapely.Polygon(np.vstack([found[f"dig-{name}"], found[f"ground-{name}"][::-1]]))
        cut = station_section(one.result.site, *of_station(place), one.settings.trench)
        inner = (cut.ground - cut.cut) > 1e-6
        assert shapely.make_valid(dug).area == pytest.approx(cut.area, rel=0.03)
        # Outside on the left: the dig reaches farther out than in, for the apron.
        middle = found[f"skirt-{name}"][0, 0]
        west, east = middle - found[f"dig-{name}"][0, 0], found[f"dig-{name}"][-1, 0] - middle
        assert west == pytest.approx(cut.offset[inner].max(), abs=0.03)
        assert east == pytest.approx(-cut.offset[inner].min(), abs=0.03)


def test_the_table_of_pegs_is_that_of_the_file(one):
    """Every row on paper, read from left to right, as pegs.csv has it; main pegs in bold."""
    table = list(peg_rows(one.result, one.settings))
    written = []
    for name, sheet in one.sheets.items():
        if name.startswith("pegs-"):
            cells = [m for m in sheet.marks if isinstance(m, Text) and FIELD[1] < m.y < FIELD[3] - 12]
            by_row = itertools.groupby(sorted(cells, key=lambda m: (-round(m.y, 2), m.x)), key=lambda m: round(m.y, 2))
            written += [list(row) for _, row in by_row]
    assert len(written) == len(table)
    for cells, row in zip(written, table, strict=True):
        said = [m.text for m in cells]
        assert said[:2] == [str(row["peg"]), row["kind"]]
        wanted = [
            f"{row[k]:.3f}" for k in ("x", "y", "ground_m", "invert_m") if row[k] is not None and math.isfinite(row[k])
        ]
        assert set(wanted) <= set(said)
        assert f"{row['error_m']:.3f}" == said[-1]
        assert {m.bold for m in cells} == {row["from_main_peg"] == row["peg"]}


def test_main_pegs_are_numbered_on_the_plan(one):
    sheet = one.sheets["plan"]
    (pack,) = one.result.enclosure.packs
    found = pegs_of(pack, one.result, one.settings)
    numbers = {str(peg + 1) for peg in main_pegs(found, pack.line).at.tolist()}
    shown = numbers & set(texts(sheet))
    assert len(shown) > 0.95 * len(numbers)
