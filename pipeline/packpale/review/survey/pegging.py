"""pegging.txt: how a crew pegs the fence line, main pegs by instrument and the others by tape, step by step."""

import math
import textwrap
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import shapely
from pyproj import CRS

from packpale.enclosure.egg import Egg
from packpale.enclosure.main_pegs import MainPegs, check_errors, main_pegs, peg_errors
from packpale.enclosure.model import Pack
from packpale.enclosure.setting_out import Pegs, Stake, Swing, baselines, distances, pegging
from packpale.enclosure.survey_errors import LONGEST_TAPE_M, SQUARE_DEG, instrument_error, tape_error
from packpale.review.model import PlotResult
from packpale.review.subjects.setting_out import pegs_of, stakes
from packpale.settings import Project
from packpale.site.crs import grid_scale

WIDTH = 100
"""Longest line of the text. [characters]"""
WADED_M = 0.1
"""Depth of standing water from which nobody sets up an instrument. [m] Assumption."""

BEFORE = (
    "Before the first stake: have buried services located and marked, walk the line, and look at what the ground does. "
    "No stake goes in where a cable, pipe or drain may lie.",
    "All lengths are horizontal and on the grid of the coordinates. On slopes hold the tape level, or step it down "
    "with a plumb line; a tape laid along ground that falls 1 in 10 reads 5 mm too much in every metre.",
    "Pull tapes evenly, read twice, and write down what was read. A check that is off by more than it may is not "
    "shared out: find the mistake.",
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
            "Where that matters, multiply every length below by it before taping."
        ),
        "",
        *(line for text in BEFORE for line in _wrapped(text, "- ")),
        "",
    ]
    for pack in result.enclosure.packs:
        lines += [f"PACK {pack.number}", ""]
        lines += _pack(pack, result, project)
        lines += [*_pegs(project, arcs=isinstance(pack.line, Egg)), ""]
    path.write_bytes(("\n".join(lines).rstrip() + "\n").encode("utf-8"))


def _pack(pack: Pack, result: PlotResult, project: Project) -> Iterator[str]:
    line, frame = pack.line, baselines(pack.line)
    found = pegs_of(pack, result, project)
    main = main_pegs(found, pack.line)
    yield from _table(stakes(pack))
    yield ""
    yield "Steps"
    for number, text in enumerate(_steps(pack, found, main, result, project), start=1):
        yield from _wrapped(text, f"{number:>2}. ")
    yield ""
    yield from _main_pegs(pack, found, main, project)
    yield ""
    checks = pegging(line).checks if isinstance(line, Egg) else distances(frame.stakes)
    for how, some in (
        ("by tape", [c for c in checks if c[2] <= LONGEST_TAPE_M]),
        ("by instrument", [c for c in checks if c[2] > LONGEST_TAPE_M]),
    ):
        if some:
            yield f"Check distances between stakes, {how} (m)"
            yield from _checks(some)
    for swing in pegging(line).swings if isinstance(line, Egg) else ():
        yield ""
        yield from _arc(swing)
    if not isinstance(line, Egg):
        yield ""
        yield "Points of the line, clockwise: east, north, then grid bearing and length to the next"
        for i, arc in enumerate(line.arcs(), start=1):
            yield (
                f"  {i:>5}  {arc.start_x:>13.3f}  {arc.start_y:>13.3f}"
                f"  {arc.start_bearing_deg:>9.4f} deg  {arc.length:>9.3f} m"
            )


def _steps(pack: Pack, found: Pegs, main: MainPegs, result: PlotResult, project: Project) -> Iterator[str]:
    a, b = baselines(pack.line).stakes[:2]
    bearing, errors, fence = baselines(pack.line).bearing_deg, project.setting_out, project.fence
    apart = math.dist((a.x, a.y), (b.x, b.y))
    off = float(instrument_error(apart, errors))
    yield (
        "Bring in stakes A and B by their coordinates, from control points or with a satellite receiver that finds a "
        "place to 0.02 m: all else is set from these two, and the line lies as well as they do. A to B is "
        f"{apart:.3f} m; if the instrument finds more than {2 * off:.3f} m more or less, bring both in again. The "
        "other stakes are named for the drawings and need not be driven."
    )
    hindered = [f"{stake.name} lies in {what}" for stake in (a, b) if (what := _in_the_way(stake, result))]
    yield (
        (f"{' and '.join(hindered)}, as far as the inputs tell. " if hindered else "")
        + "Where nobody can stand over A, or B cannot be seen from it, bring in two main pegs by their coordinates "
        "instead and set all others from these by coordinates (points.csv); the checks below stay the same."
    )
    yield f"Set the instrument up over A, sight B and set the circle to the grid bearing {bearing:.4f} degrees."
    yield (
        "Set the main pegs of the table below in their order, each by its bearing and horizontal distance. Where one "
        "is hidden from A, set up over a main peg that stands, sight A, and set it by its coordinates in points.csv."
    )
    yield (
        f"Sight B once more before the instrument leaves A: a bearing off by more than "
        f"{2 * errors.instrument_angle_error_deg:g} degrees means that it moved, and all main pegs are set again."
    )
    if main.diagonal.max() <= LONGEST_TAPE_M:
        measure, how = "Tape", f"; none is longer than a tape of {LONGEST_TAPE_M:g} m"
    else:
        measure, how = "Measure", f", by tape up to {LONGEST_TAPE_M:g} m and by instrument beyond"
    yield (
        f"{measure} the chord from each main peg to the next and the diagonal to the next but one{how}. The table says "
        "by how much each may differ: what both pegs and the tape may be out by. All chords of the round together are "
        f"{main.chord.sum():.3f} m."
    )
    yield (
        "Pegs between two main pegs: tape along_chord_m of pegs.csv along the chord from main peg from_main_peg to the "
        "next, and out_from_chord_m squarely out from it (negative: inward), at most "
        f"{np.abs(main.offset).max():.2f} m. Check each by chord_from_previous_peg_m: posts stand on chords, and the "
        "distance to the peg before is straight."
    )
    if fence.airlock_length_m > 0 and pack.gates.chainage.size:
        diagonal = math.hypot(fence.airlock_length_m, fence.airlock_width_m)
        yield (
            "Posts of the airlocks: by bearing and distance from A in pegs.csv. Check both diagonals of each room, "
            f"{diagonal:.2f} m for one of {fence.airlock_length_m:g} by {fence.airlock_width_m:g} m (chords of the "
            "curve make it a little shorter), and the width of both gates."
        )
    if isinstance(pack.line, Egg) and pack.line.small_radius <= LONGEST_TAPE_M:
        yield (
            f"A second check where the ground is level: a tape of {pack.line.small_radius:.3f} m from B meets every "
            "peg of the small end."
        )
    yield _errors(found, main, pack, project)


def _in_the_way(stake: Stake, result: PlotResult) -> str:
    """What keeps an instrument from standing at a stake; empty where nothing is known of."""
    site, at = result.site, shapely.Point(stake.x, stake.y)
    for kind, words in (("watercourses", "mapped water"), ("woodland", "mapped wood")):
        if any(shape.covers(at) for shape in site.features.get(kind, ())):
            return words
    depth = float(site.grid.nearest(result.land.ponding, stake.x, stake.y))
    return f"a hollow where water can stand {depth:.1f} m deep" if depth >= WADED_M else ""


def _errors(found: Pegs, main: MainPegs, pack: Pack, project: Project) -> str:
    s = project.setting_out
    error = peg_errors(pack.line, found, main, project.setting_out)
    return (
        "What to reckon with. Tape of L metres: "
        f"{s.tape_error_m:g} x (0.2 + 0.8 L / 50) m, so {float(tape_error(25.0, full=s.tape_error_m)):.3f} m at 25 m. "
        f"Instrument at D metres: the root of {s.instrument_distance_error_m:g} squared + (D x tan "
        f"{s.instrument_angle_error_deg:g} deg) squared, so {float(instrument_error(50.0, s)):.3f} m at 50 m and "
        f"{float(instrument_error(200.0, s)):.3f} m at 200 m. Right angle: {SQUARE_DEG:g} degree. Main pegs of "
        f"this line are out by up to {error[main.at].max():.3f} m, pegs between them by up to {error.max():.3f} m, and "
        "all of them by what A and B are out by. The figures are assumptions of [setting_out]; put in those of your "
        "crew."
    )


def _main_pegs(pack: Pack, found: Pegs, main: MainPegs, project: Project) -> Iterator[str]:
    """Bearing and distance of every main peg, and its checks with what they may differ by."""
    bearing, distance = baselines(pack.line).bearing_and_distance(found.x[main.at], found.y[main.at])
    bearing = np.nan_to_num(bearing)  # of a main peg that is stake A itself
    error = peg_errors(pack.line, found, main, project.setting_out)
    off, off_2 = check_errors(main, error, project.setting_out)
    yield "Main pegs: grid bearing and distance from A; chord to the next and diagonal to the next but one,"
    yield "with how much each may differ"
    yield f"  {'peg':>5} {'bearing':>9} {'distance':>9}  {'chord':>8} {'+-':>5}  {'diagonal':>8} {'+-':>5}  what"
    for k, peg in enumerate(main.at.tolist()):
        yield (
            f"  {peg + 1:>5} {bearing[k]:>9.4f} {distance[k]:>9.3f}  {main.chord[k]:>8.3f} {off[k]:>5.3f}"
            f"  {main.diagonal[k]:>8.3f} {off_2[k]:>5.3f}  {found.kind[peg]}"
        )


def _pegs(project: Project, *, arcs: bool) -> Iterator[str]:
    """What pegs.csv holds; a drawn line has no arcs to explain."""
    yield ""
    what = "change of arc" if arcs else "corner"
    text = (
        f"pegs.csv has a row for every post, gate, {what} and every {project.setting_out.step_m:g} m of chainage, with "
        "coordinates and levels of ground and bottom; the table is printed in drawings.pdf too. Distances from A along "
        "baseline 1, which runs from A to B, and to its right (negative: left) are for an instrument that works in "
        "these axes. What each peg may be out by stands beside it. The last column names the limits that the line is "
        "over at the peg: the strip there has to be dug by hand or made good."
    )
    if arcs:
        text += (
            " On each arc it gives the length of ARC from its start, the deflection from the tangent there for that "
            "length of arc, and the length of the CHORD. On a radius of 30 m an arc of 20 m deflects by 19.099 degrees "
            "and a chord of 20 m by 19.471."
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


def _arc(swing: Swing) -> Iterator[str]:
    """Elements of an arc; with offsets from its long chord where that can be taped."""
    arc, elements = swing.arc, swing.elements
    yield f"{arc.name.capitalize()}, {swing.start} to {swing.end}, centre {swing.centre} (m)"
    tangent = "" if math.isinf(elements.tangent) else f", tangents {elements.tangent:.3f}"
    yield (
        f"  radius {arc.radius:.3f}, length of arc {arc.length:.3f}, turning {arc.turn_deg:.4f} degrees, "
        f"long chord {elements.long_chord:.3f},"
    )
    yield f"  middle of the chord to the arc {elements.mid_ordinate:.3f}{tangent}"
    if elements.long_chord > LONGEST_TAPE_M:
        return
    yield f"  along the chord from {swing.start}, and out from it to the arc:"
    pairs = [f"{t:>8.3f} {h:>7.3f}" for t, h in swing.offsets]
    yield from ("  " + "   ".join(pairs[i : i + 4]) for i in range(0, len(pairs), 4))


def _wrapped(text: str, mark: str = "") -> list[str]:
    """Lines of a text; those after the first begin under its first word, behind the mark."""
    return textwrap.wrap(text, WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))
