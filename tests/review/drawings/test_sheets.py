"""Drawings measured back on paper by readers of their own: the SVG as XML, the PDF by pdfminer."""

import itertools
import math
import re
from collections import namedtuple

import numpy as np
import pytest
import shapely
from defusedxml.ElementTree import fromstring, parse
from pdfminer.high_level import extract_pages, extract_text
from pdfminer.layout import LTChar, LTCurve, LTFigure, LTTextContainer
from pdfminer.pdfpage import PDFPage

from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.egg import Egg
from packpale.enclosure.over_limits import Stretch as OverLimit
from packpale.review.drawings import pens
from packpale.review.drawings.drawing_set import _sheets, write_drawings
from packpale.review.drawings.paper import svg
from packpale.review.drawings.peg_sheets import ROWS
from packpale.review.drawings.sheet import FIELD, FRAME, Line, Text, fitting_scale, in_rows
from packpale.review.lettering import face, printable, text_width
from packpale.review.subjects.setting_out import peg_rows, point_rows, stakes
from packpale.review.words import Wording
from packpale.values.cautions import cautions_for
from review import factory
from review.measured import SVG, Paper

MM = 72 / 25.4
Drawn = namedtuple("Drawn", "result settings folder")


@pytest.fixture(scope="module")
def one(fitting, tmp_path_factory):
    """The plot of one pack, in metres."""
    return drawn(fitting, factory.project(), tmp_path_factory.mktemp("one"))


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    """Two packs, bottoms level, apron inside, in feet, under names that want to be more than names."""
    trench = {"formation": "level", "side": "inside", "side_slope": 0.75}
    settings = factory.project(title=factory.FORMULA, units="imperial", trench=trench)
    west, north = 500_000.0, 5_500_000.0
    eggs = (
        Egg(west + 110.0, north - 90.0, 95.0, 40.0, 26.0, 60.0),
        Egg(west + 200.0, north - 200.0, 300.0, 40.0, 25.0, 70.0),
    )
    plot = factory.result(factory.HOSTILE, settings=settings, lines=eggs)
    return drawn(plot, settings, tmp_path_factory.mktemp("two"))


def drawn(plot, settings, folder):
    write_drawings(plot, settings, wording(settings), folder)
    return Drawn(plot, settings, folder)


def wording(settings):
    return Wording(imperial=settings.units == "imperial", currency=settings.currency)


def test_sheets_are_a4(one):
    for name in ("section", "profile", "plan", "holds", "sections"):
        assert Paper(one.folder / f"{name}.svg").size == (297, 210)
    with (one.folder / "drawings.pdf").open("rb") as file:
        boxes = [page.mediabox for page in PDFPage.get_pages(file)]
    pegs = len(list(peg_rows(one.result, one.settings)))
    assert len(boxes) == 5 + one.settings.fence.gates + math.ceil(pegs / ROWS)
    for box in boxes:
        assert np.array(box) / MM == pytest.approx([0, 0, 297, 210], abs=0.001)


@pytest.mark.parametrize("case", ["one", "two"])
def test_section_measured_back(case, request):
    case = request.getfixturevalue(case)
    trench, fence = case.settings.trench, case.settings.fence
    paper = Paper(case.folder / "section.svg")
    (scale,) = paper.scales()
    metres = {name: paper.length(name) * scale / 1000 for name in paper.lines}
    assert metres["skirt"] == pytest.approx(trench.depth_m, abs=1e-4)
    assert metres["apron"] == pytest.approx(trench.apron_reach_m, abs=1e-4)
    assert metres["fence"] == pytest.approx(fence.height_m + fence.overhang_m, abs=1e-4)
    # Dimension lines are as long as what they say.
    assert metres["fence-height"] == pytest.approx(fence.height_m, abs=1e-4)
    assert metres["trench-depth"] == pytest.approx(trench.depth_m, abs=1e-4)
    assert metres["bottom-width"] == pytest.approx(trench.bottom_width_m, abs=1e-4)
    assert metres["apron-reach"] == pytest.approx(trench.apron_reach_m, abs=1e-4)
    # Half the bottom and a wall on one side, reach and a wall from the apron's floor on the other.
    run = trench.side_slope
    top = trench.bottom_width_m / 2 + run * trench.depth_m + trench.apron_reach_m + run * trench.apron_cover_m
    assert metres["top-width"] == pytest.approx(top, abs=1e-4)
    # 29 CFR 1926.651(j)(2): 2 ft.
    assert metres["spoil-setback"] == pytest.approx(0.6096, abs=1e-4)
    outline = paper.points("trench") * scale / 1000
    assert np.ptp(outline[:, 1]) == pytest.approx(trench.depth_m, abs=1e-4)
    # The area inside the outline is the area the volumes are made of.
    from packpale.earthworks.section import TrenchSection

    area = TrenchSection(
        trench.depth_m, trench.bottom_width_m, trench.apron_reach_m, trench.apron_cover_m, trench.side_slope
    ).area
    assert shapely.Polygon(outline).area == pytest.approx(area, abs=1e-3)


def test_overhang_leans_inward_and_the_apron_lies_on_its_side(one, two):
    for case, outside in ((one, True), (two, False)):
        paper = Paper(case.folder / "section.svg")
        fence, apron = paper.points("fence"), paper.points("apron")
        tip, reach = fence[2, 0] - fence[1, 0], apron[1, 0] - apron[0, 0]
        assert fence[2, 1] > fence[1, 1]
        assert (tip * reach < 0) == outside


FOOTINGS = {
    "standing on the bottom": ({"depth_m": 1.2}, {"hole_diameter_m": 0.4, "hole_depth_m": 0.8}, (0.4, 1.2)),
    "drilled deeper": ({"depth_m": 0.9, "side": "inside"}, {"hole_diameter_m": 0.5, "hole_depth_m": 1.3}, (0.0, 1.3)),
}


@pytest.mark.parametrize(("trench", "fence", "ends"), FOOTINGS.values(), ids=FOOTINGS)
def test_footings_measured_back(trench, fence, ends, tmp_path):
    """Where concrete and skirt stand in the dig, on the section, at a post and on sections along the line."""
    settings = factory.project(trench=trench, fence=fence)
    made = drawn(factory.result(settings=settings), settings, tmp_path)
    paper = Paper(made.folder / "section.svg")
    (scale,) = paper.scales()
    (large,) = (float(t.split("1:")[1]) for t in paper.texts if t.startswith("Section at a post"))
    ground = paper.points("ground-left")[0, 1]
    top, bottom = ends
    wide, deep = fence["hole_diameter_m"], fence["hole_depth_m"]
    behind = (paper.points("footing") - (paper.points("skirt")[0, 0], ground)) * scale / 1000
    assert shapely.Polygon(behind).bounds == pytest.approx((-wide / 2, -bottom, wide / 2, -top), abs=1e-4)
    # At a post the skirt starts at the ground on the line, passes the concrete inside and ends on the trench's bottom.
    skirt = paper.points("skirt-at-post")
    concrete = shapely.Polygon((paper.points("footing-at-post") - skirt[0]) * large / 1000)
    assert concrete.bounds == pytest.approx((-wide / 2, -bottom, wide / 2, -top), abs=1e-4)
    skirt = (skirt - skirt[0]) * large / 1000
    inward = 1 if trench.get("side") == "inside" else -1
    assert skirt[-1] == pytest.approx((inward * wide / 2, -trench["depth_m"]), abs=1e-4)
    assert not concrete.buffer(-1e-3).intersects(shapely.LineString(skirt))
    for name, length in (("height", deep), ("diameter", wide), ("top", top), ("below", bottom - trench["depth_m"])):
        if length > 1e-9:
            assert paper.length(f"footing-{name}") * large / 1000 == pytest.approx(length, abs=1e-4)
            assert printable(wording(settings).dimension(length)) in paper.texts
    assert any("made" in t for t in paper.texts)
    paper = Paper(made.folder / "sections.svg")
    (scale,) = paper.scales()
    feet = [name for name in paper.lines if name.startswith("footing-")]
    assert feet
    for name in feet:
        skirt = paper.points(name.replace("footing", "skirt"))
        at = skirt[skirt[:, 1].argmax()]
        box = shapely.Polygon((paper.points(name) - at) * scale / 1000).bounds
        assert box == pytest.approx((-wide / 2, -bottom, wide / 2, -top), abs=2e-3)
    assert any("made ground" in t for t in paper.texts)


def test_heap_is_as_large_as_the_spoil_of_the_largest_section(one):
    paper = Paper(one.folder / "section.svg")
    (scale,) = paper.scales()
    heap = shapely.Polygon(paper.points("spoil") * scale / 1000)
    (volumes,) = one.result.earthworks.volumes
    loose = volumes.cut_at_station.max() * (1 + one.settings.bulking.soil_swell)
    assert heap.area == pytest.approx(loose, rel=1e-3)
    setback = paper.points("spoil-setback") * scale / 1000
    assert paper.points("spoil")[0, 0] * scale / 1000 == pytest.approx(setback[:, 0].max(), abs=1e-4)


@pytest.mark.parametrize("case", ["one", "two"])
def test_plan_measured_back(case, request):
    case = request.getfixturevalue(case)
    paper = Paper(case.folder / "plan.svg")
    (scale,) = paper.scales()
    packs = case.result.enclosure.packs
    middles = []
    for pack in packs:
        egg, line = pack.fit.egg, paper.points(f"fence-line-{pack.number}") * scale / 1000
        # Chords, at most 0.02 mm from the arc on paper.
        assert paper.length(f"fence-line-{pack.number}") * scale / 1000 == pytest.approx(egg.perimeter, rel=5e-4)
        assert shapely.Polygon(line).area == pytest.approx(egg.area, rel=2e-3)
        middles.append((shapely.Polygon(line).centroid, egg.polygon().centroid))
    for (a, real_a), (b, real_b) in itertools.pairwise(middles):
        # North is up, and distances between the packs are those on the ground.
        assert (b.x - a.x, b.y - a.y) == pytest.approx((real_b.x - real_a.x, real_b.y - real_a.y), abs=0.05)


@pytest.mark.parametrize("case", ["one", "two"])
def test_airlocks_on_the_plan_measured_back(case, request):
    """Each is as deep as set, its inner gate as wide as the outer one, and it lies inside the fence line."""
    case = request.getfixturevalue(case)
    paper = Paper(case.folder / "plan.svg")
    (scale,) = paper.scales()
    fence = case.settings.fence
    for pack in case.result.enclosure.packs:
        line = shapely.Polygon(paper.points(f"fence-line-{pack.number}"))
        for gate in range(1, fence.gates + 1):
            name = f"airlock-{pack.number}-{gate}"
            assert paper.length(f"{name}-gate") * scale / 1000 == pytest.approx(pack.gates.width, abs=1e-3)
            for side in ("left", "right"):
                wall = paper.points(f"{name}-{side}")
                deep = float(np.hypot(*(wall[1] - wall[0]))) * scale / 1000
                assert deep == pytest.approx(fence.airlock_length_m, abs=1e-3)
                assert line.buffer(0.05).contains(shapely.LineString(wall))


def test_plan_has_the_tables_to_peg_out_from(two):
    texts = Paper(two.folder / "plan.svg").texts
    for pack in two.result.enclosure.packs:
        for arc in pack.fit.egg.arcs()[1:]:
            for value in (arc.centre_x, arc.centre_y, arc.radius, arc.start_x, arc.start_y, arc.chainage):
                assert f"{value:.3f}" in texts
    assert sum(t.startswith("gate ") for t in texts) == 4


def test_points_of_several_packs_are_called_as_in_points_csv(one, two):
    """A centre that lies in another pack's ground, or an arrow to one off the sheet, says whose it is."""
    texts = Paper(two.folder / "plan.svg").texts
    named = {row["name"] for row in point_rows(two.result, two.settings) if row["code"] == "stake"}
    for pack in two.result.enclosure.packs:
        for letter in "ABEF":
            name = f"{pack.number}-{letter}"
            assert name in named
            assert (name in texts) != (f"to {name}" in texts)
    assert not [t for t in texts if re.fullmatch(r"(to )?[ABEF]", t)]
    # One pack has letters alone.
    texts = Paper(one.folder / "plan.svg").texts
    assert {letter for letter in "ABEF" if letter in texts or f"to {letter}" in texts} == set("ABEF")


def test_plan_and_pegging_call_a_point_the_same(two):
    """Each row of the plan's tables has the coordinates of the stake of that name, as pegging.txt lists it."""
    texts = Paper(two.folder / "plan.svg").texts
    for pack in two.result.enclosure.packs:
        names = {"A big end": "A", "E flank 1": "E", "B small end": "B", "F flank 2": "F", "P, start": "P"}
        names |= {name: name for name in "CGHD"}
        for shown, stake in names.items():
            (place,) = [(s.x, s.y) for s in stakes(pack) if s.name == stake]
            # A row is written from left to right.
            rows = [texts[k : k + 3] for k, text in enumerate(texts) if text == shown]
            assert [shown, *(f"{v:.3f}" for v in place)] in rows


@pytest.mark.parametrize("case", ["one", "two"])
def test_profile_measured_back(case, request):
    """One strip for each pack, or a single line in two pieces: heights and lengths, each at its scale."""
    case = request.getfixturevalue(case)
    root = parse(case.folder / "profile.svg").getroot()
    scale, scale_up = Paper(case.folder / "profile.svg").scales()
    strips = {
        name: [
            np.array(re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", p.get("d")), float) * (1, -1)
            for p in root.iter(f"{SVG}path")
            if (p.get("id") or "").startswith(f"{name}-")
        ]
        for name in ("ground", "bottom", "rock", "water")
    }
    packs, profiles = case.result.enclosure.packs, case.result.earthworks.profiles
    lengths = [np.ptp(s[:, 0]) * scale / 1000 for s in strips["ground"]]
    assert sum(lengths) == pytest.approx(sum(p.fit.egg.perimeter for p in packs), abs=0.02)
    for ground, bottom in zip(strips["ground"], strips["bottom"], strict=True):
        depth = (ground - bottom)[:, 1] * scale_up / 1000
        assert depth.min() == pytest.approx(case.settings.trench.depth_m, abs=2e-3)
    if len(packs) == len(strips["ground"]):
        for k, (pack, profile) in enumerate(zip(packs, profiles, strict=True)):
            rise = (strips["ground"][k][:-1, 1] - strips["ground"][k][0, 1]) * scale_up / 1000
            assert rise == pytest.approx(pack.alignment.ground - pack.alignment.ground[0], abs=2e-3)
            for name, below in (("rock", profile.rock_depth), ("water", profile.water_depth)):
                drop = (strips["ground"][k] - strips[name][k])[:-1, 1] * scale_up / 1000
                assert drop == pytest.approx(below, abs=2e-3)


@pytest.mark.parametrize("case", ["one", "two"])
def test_profile_marks_the_line_over_limits(case, request):
    case = request.getfixturevalue(case)
    scale, _ = Paper(case.folder / "profile.svg").scales()
    bars = {
        p.get("id"): np.array(re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", p.get("d")), float)
        for p in parse(case.folder / "profile.svg").getroot().iter(f"{SVG}path")
        if (p.get("id") or "").startswith("over-")
    }
    stretches = [s for pack in case.result.enclosure.packs for s in pack.over_limits]
    assert stretches
    drawn = sum(np.ptp(bar[:, 0]) for bar in bars.values()) * scale / 1000
    assert drawn == pytest.approx(sum(s.length_m for s in stretches), abs=0.02 * len(bars) * scale / 1000)


def test_a_stretch_over_the_start_of_the_line_has_a_part_at_both_ends():
    stretch = OverLimit("rock", 95.0, 107.0)
    assert stretch.within(0.0, 100.0, 100.0) == ((95.0, 100.0), (0.0, 7.0))
    assert stretch.within(50.0, 98.0, 100.0) == ((95.0, 98.0),)
    assert stretch.within(3.0, 50.0, 100.0) == ((3.0, 7.0),)
    assert OverLimit("rock", 10.0, 20.0).within(50.0, 100.0, 100.0) == ()


def curves(layout):
    for item in layout:
        if isinstance(item, LTFigure):
            yield from curves(item)
        elif isinstance(item, LTCurve):
            yield item


def signs(layout):
    for item in layout:
        if isinstance(item, LTChar):
            yield item
        elif isinstance(item, LTTextContainer):
            yield from signs(item)


@pytest.mark.parametrize("case", ["one", "two"])
def test_fence_line_measured_back_in_the_pdf(case, request):
    """By the width and colour of its line: the fence line on the third page, its length on paper times the scale."""
    case = request.getfixturevalue(case)
    (scale,) = Paper(case.folder / "plan.svg").scales()
    (page,) = extract_pages(case.folder / "drawings.pdf", page_numbers=[2], laparams=None)
    red = tuple(int("a3123a"[k : k + 2], 16) / 255 for k in (0, 2, 4))
    found = [
        c for c in curves(page) if c.stroke and c.stroking_color and np.allclose(c.stroking_color, red, atol=0.004)
    ]
    lines = [np.array(c.pts) / MM for c in found if len(c.pts) > 50]
    lengths = sorted(float(np.hypot(*np.diff(line, axis=0).T).sum()) * scale / 1000 for line in lines)
    perimeters = sorted(p.fit.egg.perimeter for p in case.result.enclosure.packs)
    assert lengths == pytest.approx(perimeters, rel=5e-4)


def test_texts_stand_in_the_pdf_where_their_sheets_have_them(one):
    """Each begins within a hundredth of a millimetre of its place, on the profile and in the table of pegs."""
    sheets = [sheet for _, sheet in _sheets(one.result, one.settings, wording(one.settings))]
    for number in (1, len(sheets) - 1):
        (page,) = extract_pages(one.folder / "drawings.pdf", page_numbers=[number], laparams=None)
        places = np.array([sign.matrix[4:] for sign in signs(page)]) / MM
        for text in sheets[number].texts:
            away = np.hypot(*(places - (text.x, text.y)).T)
            assert away.min() < 0.01, text.text


def test_names_are_only_ever_text(two):
    text = " ".join(extract_text(two.folder / "drawings.pdf", page_numbers=[0]).split())
    assert factory.FORMULA in text
    for name in ("section", "profile", "plan"):
        raw = (two.folder / f"{name}.svg").read_text(encoding="utf-8")
        root = fromstring(raw)
        assert {e.tag.removeprefix(SVG) for e in root.iter()} <= {
            "svg", "title", "desc", "defs", "path", "g", "use", "rect", "clipPath",
        }  # fmt: skip
        assert not [k for e in root.iter() for k in e.attrib if k.startswith("on")]
        assert "<img" not in raw
        assert "<script" not in raw
        assert factory.HOSTILE in root.find(f"{SVG}title").text
        assert factory.FORMULA in Paper(two.folder / f"{name}.svg").texts


@pytest.mark.parametrize("case", ["one", "two"])
def test_no_text_covers_another_and_all_stay_in_the_frame(case, request):
    case = request.getfixturevalue(case)
    left, bottom, right, top = FRAME
    frame = shapely.box(left, bottom, right, top)
    count = 0
    for name, sheet in _sheets(case.result, case.settings, wording(case.settings)):
        texts = [m for m in sheet.marks if isinstance(m, Text) and m.text.strip()]
        boxes = [shapely.Polygon(t.corners).buffer(-0.15) for t in texts]
        for text, box in zip(texts, boxes, strict=True):
            assert frame.contains(box), (name, text.text)
            assert text.size >= 4.5
        for (a, box_a), (b, box_b) in itertools.combinations(zip(texts, boxes, strict=True), 2):
            assert not box_a.intersects(box_b), (name, a.text, b.text)
        count += len(texts)
    assert count > 150


def test_three_packs_find_room_for_their_tables():
    west, north = 500_000.0, 5_500_000.0
    eggs = tuple(
        Egg(west + x, north - y, 90.0, 26.0, 20.0, 30.0) for x, y in ((90.0, 90.0), (90.0, 200.0), (190.0, 150.0))
    )
    settings = factory.project()
    plot = factory.result(settings=settings, lines=eggs)
    (sheet,) = (s for name, s in _sheets(plot, settings, wording(settings)) if name == "plan")
    texts = [m for m in sheet.marks if isinstance(m, Text) and m.x > 207]
    rows = sorted((t.y for t in texts if re.fullmatch(r"[A-H]|[A-H] .* (end|\d)|P, start", t.text)), reverse=True)
    assert len(rows) == 3 * 9
    key = max(t.y for t in texts if t.text == "fence line")
    assert rows[-1] > key + 10
    for a, b in itertools.combinations([shapely.Polygon(t.corners).buffer(-0.15) for t in texts], 2):
        assert not a.intersects(b)


def test_same_plot_same_bytes(one, tmp_path):
    again = drawn(one.result, one.settings, tmp_path)
    names = sorted(p.name for p in one.folder.iterdir())
    a4 = ["drawings.pdf", "holds.svg", "plan.svg", "profile.svg", "section.svg", "sections.svg"]
    assert names == sorted([*a4, *(f"{name}_small.svg" for name in ("holds", "profile", "section"))])
    for name in names:
        assert (again.folder / name).read_bytes() == (one.folder / name).read_bytes(), name


def test_where_nothing_fits_there_is_the_section_alone(barren, tmp_path):
    drawn(barren, factory.project(), tmp_path)
    assert {p.name for p in tmp_path.iterdir()} == {"section.svg"}
    assert "1 of 1" in Paper(tmp_path / "section.svg").texts


def test_letters_are_as_wide_as_the_font_says_and_signs_it_lacks_are_shown(one):
    """Against outlines by matplotlib, which lack only the air before the first sign and after the last."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    for text, bold in (("overhang 1.00 m at 45°", False), ("grey-slabs", True)):
        font = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")
        box = TextPath((0, 0), text, size=100, prop=font).get_extents()
        assert text_width(text, 100, bold=bold) * MM == pytest.approx(box.width, rel=0.02)
    assert printable("a\tb\u4e2d\u202e") == "a b??"
    (sheet, *_) = (s for _, s in _sheets(one.result, one.settings, wording(one.settings)))
    ids = set(re.findall(r'<path id="([rb][0-9a-f]+)"', svg(sheet)))
    used = set(re.findall(r'href="#([rb][0-9a-f]+)"', svg(sheet)))
    assert used <= ids


@pytest.mark.parametrize("bold", [False, True])
def test_letters_have_the_outlines_of_the_font(bold):
    """Against those by matplotlib; each twice, since they are kept."""
    from fontTools.pens.boundsPen import BoundsPen
    from fontTools.svgLib.path import parse_path
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    font = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")
    for sign in "agW1.°Ö" * 2:
        pen = BoundsPen(None)
        parse_path(face(bold=bold).outline(sign), pen)
        drawn_in = [end / face(bold=bold).units * 100 for end in pen.bounds]
        assert drawn_in == pytest.approx(TextPath((0, 0), sign, size=100, prop=font).get_extents().extents, abs=0.5)


def test_scales_are_the_largest_round_ones():
    # 12 m in 250 mm: at 1:40 too long, at 1:50 240 mm.
    assert fitting_scale(12.0, 250.0, (1.0, 2.0, 5.0)) == 50
    assert fitting_scale(1.0, 100.0) == 10
    assert fitting_scale(250.0, 200.0) == 1250
    with pytest.raises(ValueError, match="do not fit"):
        fitting_scale(10.0, 0.0)
    assert FIELD[1] > FRAME[1]


def test_a_drawn_line_has_a_plan_without_centres():
    """An invented line with five corners, one of them turning inward."""
    corners = [(60, 60), (60, 190), (120, 150), (200, 190), (200, 60)]
    polygon = shapely.Polygon([(500_000 + x, 5_499_720 + y) for x, y in corners])
    line = DrawnLine.from_polygon(polygon, corner_deg=10.0)
    settings = factory.project()
    plot = factory.result(settings=settings, lines=(line,))
    sheets = dict(_sheets(plot, settings, wording(settings)))
    texts = {m.text for m in sheets["plan"].marks if isinstance(m, Text)}
    # Numbered as pegging.txt lists them; where one of its stakes A to D stands, with its letter.
    at = {(s.x, s.y): s.name for s in stakes(plot.enclosure.packs[0])}
    names = [f"{k} {at.get(tuple(p), '')}".strip() for k, p in enumerate(line.points, 1)]
    assert {f"{names[0]}, start", *names[1:], "corner"} <= texts
    assert "".join(sorted(at.values())) == "ABCD"
    assert "centre of an arc" not in texts
    assert {f"{500_000 + x:.3f}" for x, _ in corners} <= texts
    assert not [t for t in texts if re.fullmatch(r"(to )?[A-H]|R .*", t)]
    (drawn,) = (m for m in sheets["plan"].marks if isinstance(m, Line) and m.name == "fence-line-1")
    scale = float(sheets["plan"].title.scale.removeprefix("1:").replace(",", ""))
    assert shapely.Polygon(drawn.points * scale / 1000).area == pytest.approx(polygon.area, rel=1e-9)
    assert "Corners" in {m.text for m in sheets["profile"].marks if isinstance(m, Text)}


@pytest.mark.parametrize("bold", [False, True])
def test_rows_are_as_full_as_their_letters_allow(bold):
    """No row is wider than asked for, and no next word would have had room; bold letters are wider."""
    text, most = " ".join(cautions_for("judges")), 60.0
    rows = in_rows([(text, {"bold": bold, "colour": pens.RED})], pens.SMALL, most)
    assert " ".join(row for row, _ in rows) == printable(text)
    assert all(style == {"bold": bold, "colour": pens.RED} for _, style in rows)
    assert all(text_width(row, pens.SMALL, bold=bold) <= most for row, _ in rows)
    for (row, _), (following, _) in itertools.pairwise(rows):
        assert text_width(f"{row} {following.split()[0]}", pens.SMALL, bold=bold) > most
