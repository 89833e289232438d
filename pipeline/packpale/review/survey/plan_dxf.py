"""plan.dxf: the fence lines and what lies round them, for design software; arcs are true arcs."""

import math
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from packpale.earthworks.work_out import trench_section
from packpale.enclosure.egg import Egg
from packpale.enclosure.line import Line
from packpale.enclosure.model import Pack
from packpale.enclosure.setting_out import pegging
from packpale.review.contours import contours
from packpale.review.model import PlotResult
from packpale.review.subjects.setting_out import airlocks_of, ground_at, peg_rows, stake_name, stakes
from packpale.settings import Project
from packpale.site.crs import shown

LAYERS: dict[str, tuple[int, str]] = {
    "fence line": (1, "CONTINUOUS"),
    "skirt": (12, "DASHED"),
    "trench edges": (34, "DASHED2"),
    "apron edge": (30, "DASHDOT"),
    "gates": (7, "CONTINUOUS"),
    "airlocks": (1, "CONTINUOUS"),
    "pegs": (7, "CONTINUOUS"),
    "peg numbers": (8, "CONTINUOUS"),
    "stakes": (7, "CONTINUOUS"),
    "plot boundary": (8, "DASHED"),
    "no-go ground": (11, "DOT"),
    "ground past a limit": (41, "DOT"),
    "services": (6, "DIVIDE"),
    "watercourses": (5, "CONTINUOUS"),
    "woodland": (3, "CONTINUOUS"),
    "trees and boulders": (3, "CONTINUOUS"),
    "contours": (9, "CONTINUOUS"),
    "notes": (7, "CONTINUOUS"),
}
"""Colour by the format's numbers (1 red, 5 blue, 7 black or white, 8 grey) and dash pattern of each layer."""
CHORD_ERROR_M = 0.001
"""Largest distance between what is no arc and its chords: the parallels of a drawn line's corners. [m]"""
LETTERS_M, LARGE_M, SMALL_M = 1.5, 3.0, 0.4
"""Heights of letters: names, notes, numbers of pegs. [m]"""
AROUND_M = 20.0
"""Ground shown round the plot. [m]"""
DASH_SCALE = 2.0
"""Dashes are as long as the patterns say, times this, in metres."""


POINT_SHAPE, POINT_M = 2, 0.6
"""Points are drawn as upright crosses (2, by the format) of this size. [m]"""


def write_plan_dxf(result: PlotResult, project: Project, path: Path) -> None:
    """Write the plan of a plot as DXF (AutoCAD 2010's published format), in metres of the run's CRS.

    Its stamps of time and identity are the fixed ones that the library has for comparing files, so that the same run
    gives the same bytes.
    """
    import ezdxf
    from ezdxf import units

    with _fixed_stamps():
        drawing = ezdxf.new("R2010", setup=["linetypes"])
        drawing.units = units.M
        drawing.header["$MEASUREMENT"] = 1
        drawing.header["$LTSCALE"] = DASH_SCALE
        drawing.header["$PDMODE"], drawing.header["$PDSIZE"] = POINT_SHAPE, POINT_M
        for name, (colour, dash) in LAYERS.items():
            drawing.layers.add(name, color=colour, linetype=dash)
        _Plan(drawing.modelspace(), result, project).draw()
        # Saving adds these in an order that differs from one process to the next; what is there already stays.
        for name in sorted(drawing.entitydb.dxf_types_in_use()):
            drawing.classes.add_class(name)
        drawing.saveas(path)


@contextmanager
def _fixed_stamps() -> Iterator[None]:
    import ezdxf

    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


class _Plan:
    def __init__(self, space: Any, result: PlotResult, project: Project) -> None:
        self.space, self.result, self.project = space, result, project

    def draw(self) -> None:
        result = self.result
        self._contours()
        self._shapes([result.site.outline.boundary], "plot boundary")
        for limit in result.land.limits:
            layer = "ground past a limit" if limit.may_lie_inside else "no-go ground"
            self._shapes([limit.area.boundary], layer)
        for kind in ("services", "watercourses", "woodland"):
            self._shapes(result.site.features.get(kind, ()), kind)
        for thing in result.site.standing:
            self._shapes([thing.geometry], "trees and boulders")
        for pack in result.enclosure.packs:
            self._pack(pack)
        self._pegs()
        self._notes()

    def _pack(self, pack: Pack) -> None:
        trench = self.project.trench
        out = 1 if trench.side == "outside" else -1
        self._line(pack.line, "fence line")
        self._line(pack.line, "skirt")
        for edge in trench_section(trench).edges:
            self._parallel(pack.line, out * edge, "trench edges")
        if trench.apron_reach_m > 0:
            self._parallel(pack.line, out * trench.apron_reach_m, "apron edge")
        half = pack.gates.width / 2
        for k, chainage in enumerate(pack.gates.chainage.tolist(), 1):
            ends = pack.line.points_at([chainage - half, chainage + half])
            self._polyline(np.column_stack([ends.x, ends.y]), "gates")
            self._text(f"gate {k}", ends.x.mean(), ends.y.mean(), "gates", LETTERS_M)
        for airlock in airlocks_of(pack, self.project):
            self._polyline(airlock.corners, "airlocks", closed=True)
            self._polyline(airlock.inner_gate, "gates")
        found = stakes(pack)
        self._points([(stake.x, stake.y) for stake in found], "stakes")
        for stake in found:
            name = stake_name(pack.number, stake.name) if len(self.result.enclosure.packs) > 1 else stake.name
            self._text(f"{name}: {stake.what}", stake.x, stake.y, "stakes", LETTERS_M)

    def _line(self, line: Line, layer: str) -> None:
        if isinstance(line, Egg):
            for swing in pegging(line).swings:
                arc = swing.arc
                # Walked clockwise; the format's arcs run the other way, angles from east.
                begin, end = 180 - arc.end_bearing_deg, 180 - arc.start_bearing_deg
                attributes = {"layer": layer}
                self.space.add_arc((arc.centre_x, arc.centre_y), arc.radius, begin, end, dxfattribs=attributes)
        else:
            self._shapes([line.polygon(CHORD_ERROR_M).exterior], layer)

    def _parallel(self, line: Line, offset: float, layer: str) -> None:
        if isinstance(line, Egg):
            self._line(line.parallel(offset), layer)
        else:
            self._shapes([line.outline_at(offset, CHORD_ERROR_M).boundary], layer)

    def _pegs(self) -> None:
        rows = list(peg_rows(self.result, self.project))
        self._points([(row["x"], row["y"]) for row in rows], "pegs")
        for row in rows:
            self._text(f"{row['peg']}", row["x"], row["y"], "peg numbers", SMALL_M)

    def _contours(self) -> None:
        box = self.result.site.outline.buffer(AROUND_M).bounds
        for level, points in contours(self.result.site, box):
            attributes = {"layer": "contours", "elevation": level}
            self.space.add_lwpolyline(points.tolist(), dxfattribs=attributes)

    def _notes(self) -> None:
        west, south, *_ = self.result.site.outline.bounds
        crs = CRS.from_user_input(self.result.site.crs)
        lines = (
            f"Plot {self.result.site.plot_id}. For review, not for construction.",
            f"Coordinates: {shown(crs)}, {crs.name}; metres, x east, y north; points: z is the ground, 0 if not known.",
            "Trench edges as on level ground at the depth set; where the ground falls they part from these lines.",
            "Have buried services located before digging: what is drawn may be incomplete or out of place.",
        )
        for k, text in enumerate(lines, 1):
            self._text(text, west, south - AROUND_M - 2 * k * LARGE_M, "notes", LARGE_M)

    def _shapes(self, shapes: Iterable[BaseGeometry], layer: str) -> None:
        for shape in shapes:
            for part in shapely.get_parts(shape):
                match part.geom_type:
                    case "Point":
                        self._points([(part.x, part.y)], layer)
                    case "Polygon":
                        self._shapes([part.boundary], layer)
                    case "LineString" | "LinearRing":
                        points = np.asarray(part.coords)[:, :2]
                        closed = bool(len(points) > 3 and part.is_closed)
                        self._polyline(points[:-1] if closed else points, layer, closed=closed)

    def _polyline(self, points: npt.NDArray[np.float64], layer: str, *, closed: bool = False) -> None:
        """A line in plan; the format's light polylines have no level but one."""
        self.space.add_lwpolyline(points.tolist(), close=closed, dxfattribs={"layer": layer})

    def _points(self, places: Sequence[tuple[float, float]], layer: str) -> None:
        """Points on the ground; at 0 where that is not known, as the notes say."""
        for (x, y), ground in zip(places, ground_at(self.result, places), strict=True):
            self.space.add_point((x, y, 0.0 if math.isnan(ground) else ground), dxfattribs={"layer": layer})

    def _text(self, text: str, x: float, y: float, layer: str, height: float) -> None:
        shown = "".join(sign if sign.isprintable() else " " for sign in text)
        self.space.add_text(shown, height=height, dxfattribs={"layer": layer, "insert": (x, y)})
