"""pegging.txt: how a crew pegs the fence line with stakes, tapes and a line, step by step."""

import math
import textwrap
from collections.abc import Iterator, Sequence
from pathlib import Path

from pyproj import CRS

from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Pack
from packpale.enclosure.setting_out import Pegging, Stake, Swing, baselines, distances, pegging
from packpale.review.model import PlotResult
from packpale.settings import Project
from packpale.site.crs import grid_scale

WIDTH = 100
"""Longest line of the text. [characters]"""
LONGEST_LINE_M = 60.0
"""Radius up to which a line swung from the centre is worth trying. [m] Common practice, no source."""

BEFORE = (
    "Before the first stake: have buried services located and marked, walk the line, and look at what the ground does. "
    "No stake goes in where a cable, pipe or drain may lie.",
    "All lengths are horizontal and on the grid of the coordinates. On slopes hold the tape level, or step it down "
    "with "
    "a plumb line; a tape laid along ground that falls 1 in 10 reads 5 mm too much in every metre.",
    "Pull tapes evenly, read twice, and write down what was read. A check that is off by more than twice the error "
    "allowed for a tape is not shared out: find the mistake.",
    "Pegs show where the fence goes. Heights and depths come from the levels in pegs.csv and are set with an "
    "instrument.",
)


def write_pegging(result: PlotResult, project: Project, path: Path) -> None:
    """Write pegging.txt; lengths in metres, whatever unit the pages show."""
    crs = CRS.from_user_input(result.site.crs)
    lines = [f"Pegging the fence line of plot {result.site.plot_id}", ""]
    middle = result.site.outline.centroid
    scale = grid_scale(crs, middle.x, middle.y)
    lines += [
        *_wrapped(f"Coordinates: {result.site.crs} ({crs.name}), east (x) and north (y) in metres."),
        *_wrapped(
            f"100 m on the grid are {100 / scale:.3f} m on the ground here (ellipsoid; heights above it left out). "
            "Where "
            "that matters, multiply every length below by it before taping."
        ),
        "",
        *(line for text in BEFORE for line in _bullet(text)),
        "",
    ]
    for pack in result.enclosure.packs:
        lines += [f"PACK {pack.number}", ""]
        lines += _egg(pack, pack.line, project) if isinstance(pack.line, Egg) else _drawn(pack)
        lines += [*_pegs(project, arcs=isinstance(pack.line, Egg)), ""]
    path.write_bytes(("\n".join(lines).rstrip() + "\n").encode("utf-8"))


def _egg(pack: Pack, egg: Egg, project: Project) -> Iterator[str]:
    found = pegging(egg)
    yield from _table(found.stakes)
    yield ""
    yield "Steps"
    for number, text in enumerate(_steps(egg, found, project), start=1):
        yield from _step(number, text)
    yield ""
    yield "Check distances between stakes (m)"
    yield from _checks(found.checks)
    for swing in found.swings:
        yield ""
        yield from _offsets(swing)


def _steps(egg: Egg, found: Pegging, project: Project) -> Iterator[str]:
    apart = {(a, b): d for a, b, d in found.checks}
    frame = baselines(egg)
    bearing = frame.bearing_deg
    big, flank_1, small, flank_2 = found.swings
    tape = project.setting_out.tape_error_m
    yield (
        f"Drive stake A at its coordinates and stake B {apart['A', 'B']:.3f} m from it on the grid bearing "
        f"{bearing:.4f} degrees (or at its own coordinates). A to B and beyond is baseline 1."
    )
    yield (
        f"Set off a right angle at A, with an instrument or a 3-4-5 triangle of at least 9, 12 and 15 m, and drive C "
        f"{apart['A', 'C']:.3f} m to the left of A to B and D as far to the right. C, A and D in one line are "
        "baseline 2. "
        f"Check: B to C and B to D are both {apart['B', 'C']:.3f} m."
    )
    yield (
        f"Big end: hook a line of {big.arc.radius:.3f} m over A and walk the half circle from D by P to C, away from "
        "B. "
        f"Peg it as you go. P lies {apart['A', 'P']:.3f} m behind A on baseline 1."
    )
    for flank, side in ((flank_1, "D"), (flank_2, "C")):
        arc = flank.arc
        way = f"Hook a line of {arc.radius:.3f} m over it and walk from {flank.start} to {flank.end}."
        if arc.radius > LONGEST_LINE_M:
            way = (
                f"A line of {arc.radius:.3f} m from there sags and stretches: set "
                f"{flank.end if flank.end != 'D' else flank.start} "
                f"out by its coordinates or check distances and peg the arc with the offsets from the chord "
                f"{flank.start} to {flank.end} below."
            )
        yield (
            f"{arc.name.capitalize()}: its centre {flank.centre} lies on baseline 2, "
            f"{arc.radius - egg.big_radius:.3f} m from A on the side of {side}. {way}"
        )
    yield (
        f"Small end: hook a line of {small.arc.radius:.3f} m over B and walk from G by Q to H. Q lies "
        f"{apart['B', 'Q']:.3f} m beyond B on baseline 1. Where the lines change at C, G, H and D the direction does "
        "not: "
        "neighbouring pegs make one smooth curve, without a corner."
    )
    yield (
        f"Check P to Q, {apart['P', 'Q']:.3f} m along baseline 1, and G to H, {apart['G', 'H']:.3f} m. Round the "
        "line it "
        f"is {egg.perimeter:.3f} m."
    )
    yield (
        f"With {tape:g} m of error in each taped distance, a peg tied from two stakes is out by up to "
        f"{tape / math.sin(math.radians(45)):.3f} m where the tapes cross at right angles and by up to "
        f"{tape / math.sin(math.radians(15)):.3f} m where they cross at 30 degrees; pegs.csv gives the angle for "
        "each peg."
    )


def _drawn(pack: Pack) -> Iterator[str]:
    frame = baselines(pack.line)
    yield from _table(frame.stakes)
    yield ""
    yield "Check distances between stakes (m)"
    yield from _checks(distances(frame.stakes))
    yield ""
    yield "Steps"
    steps = (
        f"Drive A and B at their coordinates; A to B, on the grid bearing {frame.bearing_deg:.4f} degrees, is "
        "baseline 1. "
        "Drive C and D and check all distances above.",
        "Peg every point of the line in the order of the table below, by its tie distances or offsets in pegs.csv or "
        "from "
        "the point before by bearing and length.",
        "The last length leads back to the first point: how far it misses it is the error of the whole round.",
    )
    for number, text in enumerate(steps, start=1):
        yield from _step(number, text)
    yield ""
    yield "Points of the line, clockwise: east, north, then grid bearing and length to the next"
    for i, arc in enumerate(pack.line.arcs(), start=1):
        yield (
            f"  {i:>5}  {arc.start_x:>13.3f}  {arc.start_y:>13.3f}"
            f"  {arc.start_bearing_deg:>9.4f} deg  {arc.length:>9.3f} m"
        )


def _pegs(project: Project, *, arcs: bool) -> Iterator[str]:
    """What pegs.csv holds; a drawn line has no arcs to explain."""
    yield ""
    what = "change of arc" if arcs else "corner"
    text = (
        f"pegs.csv has a row for every post, gate, {what} and every {project.setting_out.step_m:g} m of chainage: "
        "distance from A along baseline 1 and to its right (negative: left), which are at the same time the offset "
        "from baseline 2 and the distance along it; and two tie distances. The last column names the limits that the "
        "line is over at the peg: the strip there has to be dug by hand or made good."
    )
    if arcs:
        text += (
            " On each arc it gives the length of ARC from its start, the deflection from the tangent there for that "
            "length of arc, and the length of the CHORD to tape. Posts stand on chords: the distance to the peg before "
            "is straight. On a radius of 30 m an arc of 20 m deflects by 19.099 degrees and a chord of 20 m by 19.471."
        )
    else:
        text += " The plan numbers the corners as the table above does."
    yield from _wrapped(text)


def _table(stakes: Sequence[Stake]) -> Iterator[str]:
    yield "Stakes: east, north"
    for s in stakes:
        yield f"  {s.name}  {s.x:>13.3f}  {s.y:>13.3f}  {s.what}"


def _checks(checks: Sequence[tuple[str, str, float]]) -> Iterator[str]:
    texts = [f"{a} to {b} {d:>9.3f}" for a, b, d in checks]
    for i in range(0, len(texts), 4):
        yield "  " + "    ".join(texts[i : i + 4])


def _offsets(swing: Swing) -> Iterator[str]:
    arc, elements = swing.arc, swing.elements
    yield f"{arc.name.capitalize()}, {swing.start} to {swing.end}, centre {swing.centre} (m)"
    tangent = "" if math.isinf(elements.tangent) else f", tangents {elements.tangent:.3f}"
    yield (
        f"  radius {arc.radius:.3f}, length of arc {arc.length:.3f}, turning {arc.turn_deg:.4f} degrees, "
        f"long chord {elements.long_chord:.3f},"
    )
    yield f"  middle of the chord to the arc {elements.mid_ordinate:.3f}{tangent}"
    yield f"  along the chord from {swing.start}, and out from it to the arc:"
    pairs = [f"{t:>8.3f} {h:>7.3f}" for t, h in swing.offsets]
    yield from ("  " + "   ".join(pairs[i : i + 4]) for i in range(0, len(pairs), 4))


def _step(number: int, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=f"{number:>2}. ", subsequent_indent="    ")


def _bullet(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent="- ", subsequent_indent="  ")


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH)
