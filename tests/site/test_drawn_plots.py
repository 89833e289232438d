"""Plots from drawings and from well-known text, and plots that are numbered."""

import re

import fiona
import pytest
from shapely.geometry import box

from made_drawings import drawing, old_polyline, polyline, text
from made_inputs import CRS, NORTH, NORTH_PLOT, SOUTH_PLOT, WEST, Made, in_crs, write_vector
from packpale.faults import Faults
from packpale.site.inputs import open_inputs


@pytest.fixture
def made(tmp_path):
    return Made(tmp_path)


def corners(plot):
    return list(plot.exterior.coords)[:-1]


NAMES = [text(WEST + 50, NORTH - 50, "Upper field"), text(WEST + 140, NORTH - 150, "Lower field")]
HEDGE = polyline("HEDGE", [(WEST, NORTH), (WEST + 5, NORTH - 5), (WEST + 9, NORTH)], closed=False)


def draw(made, *entities, plot_id="Text", layer=None):
    made.inputs |= {"plots": made.text(drawing(*entities), "fields.dxf"), "plot_id": plot_id}
    if layer:
        made.inputs["plots_layer"] = layer


@pytest.mark.parametrize("kind", [polyline, old_polyline])
def test_closed_lines_of_a_drawing_are_plots_with_the_text_inside_as_name(made, kind):
    ends_where_it_begins = polyline("PLOTS", SOUTH_PLOT.exterior.coords, closed=False)
    draw(made, kind("PLOTS", corners(NORTH_PLOT)), ends_where_it_begins, HEDGE, *NAMES)
    plots = open_inputs(made.project()).plots
    assert [p.plot_id for p in plots] == ["Upper field", "Lower field"]
    assert plots[0].outline.equals(NORTH_PLOT)
    assert plots[1].outline.equals(SOUTH_PLOT)


def test_one_layer_of_several_is_named(made):
    both = polyline("PLOTS", corners(NORTH_PLOT)), polyline("HOUSES", corners(SOUTH_PLOT))
    draw(made, *both, *NAMES)
    with pytest.raises(Faults, match=r"closed lines on the layers 'HOUSES', 'PLOTS'; name one of them as inputs.plots"):
        open_inputs(made.project())
    draw(made, *both, *NAMES, layer="PLOTS")
    assert [p.plot_id for p in open_inputs(made.project()).plots] == ["Upper field"]
    draw(made, *both, layer="PLOT")
    with pytest.raises(Faults, match=r"no closed line on the layer 'PLOT'; layers with closed lines are 'HOUSES', 'PL"):
        open_inputs(made.project())


def test_a_drawing_needs_closed_lines_a_crs_and_one_text_inside(made):
    draw(made, HEDGE)
    with pytest.raises(Faults, match="has no closed line; layers with closed lines are none: draw each plot as a"):
        open_inputs(made.project())
    draw(made, polyline("PLOTS", corners(NORTH_PLOT)), *NAMES, text(WEST + 51, NORTH - 50, "0.42 ha"))
    with pytest.raises(Faults, match="Text is empty; every plot needs a name"):
        open_inputs(made.project())
    del made.settings["crs"]
    with pytest.raises(Faults, match=r"is a drawing, which does not say where on Earth it lies; set crs"):
        open_inputs(made.project())


def test_plots_without_names_are_numbered_in_any_kind_of_file(made):
    draw(made, polyline("P", corners(NORTH_PLOT)), polyline("P", corners(SOUTH_PLOT)), plot_id="number")
    assert [p.plot_id for p in open_inputs(made.project()).plots] == ["1", "2"]
    write_vector(made.folder / "n.gpkg", [({"size": 1.5}, NORTH_PLOT), ({"size": 1.5}, SOUTH_PLOT)])
    made.inputs["plots"] = made.folder / "n.gpkg"
    assert [p.plot_id for p in open_inputs(made.project()).plots] == ["1", "2"]
    # A column of that name is what is meant where there is one.
    write_vector(made.folder / "m.gpkg", [({"Number": 7}, NORTH_PLOT), ({"Number": 3}, SOUTH_PLOT)])
    made.inputs["plots"] = made.folder / "m.gpkg"
    assert [p.plot_id for p in open_inputs(made.project()).plots] == ["7", "3"]


def test_outlines_as_text_in_a_table(made):
    degrees = in_crs(SOUTH_PLOT, "EPSG:4326")
    rows = [f'north,"{NORTH_PLOT.wkt}",', f'south,"SRID=4326;{degrees.wkt}",', f'third,"{NORTH_PLOT.wkt}",{CRS}']
    made.plots_text("name,WKT,crs\n" + "\n".join(rows) + "\n", "p.csv")
    plots = open_inputs(made.project()).plots
    assert [p.plot_id for p in plots] == ["north", "south", "third"]
    assert plots[0].outline.equals(NORTH_PLOT)
    assert plots[1].outline.symmetric_difference(SOUTH_PLOT).area < 0.01
    made.plots_text(f'name,shape\nnorth,"{NORTH_PLOT.wkt}"\n', "q.csv")
    made.inputs["columns"] = {"plots": {"wkt": "shape"}}
    assert open_inputs(made.project()).plots[0].outline.equals(NORTH_PLOT)


def test_an_outline_of_thousands_of_corners_is_one_cell(made):
    # A circle of 8,000 corners: some 250,000 characters.
    circle = box(WEST + 40, NORTH - 80, WEST + 80, NORTH - 40).centroid.buffer(30, quad_segs=2000)
    made.plots_text(f'name,wkt\nround,"{circle.wkt}"\n', "p.csv")
    (plot,) = open_inputs(made.project()).plots
    assert plot.outline.area == pytest.approx(circle.area)


def test_outlines_as_text_alone_are_numbered(made):
    made.inputs |= {"plots": made.text(f"{NORTH_PLOT.wkt}\n\n{SOUTH_PLOT.wkt}\n", "p.wkt"), "plot_id": "number"}
    assert [p.plot_id for p in open_inputs(made.project()).plots] == ["1", "2"]
    made.inputs["plot_id"] = "name"
    with pytest.raises(Faults, match=r'is well-known text without names; set inputs.plot_id = "number"'):
        open_inputs(made.project())


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        ("POLYGON ((1 2, 3", r'p\.wkt, line 1: "POLYGON \(\(1 2, 3" is no outline as well-known text \(.+\); write .+'),
        ("POINT (1 2)", r"p\.wkt, line 1: is a Point, plots are polygons; draw its outline"),
        ("POLYGON EMPTY", r"p\.wkt, line 1: has no outline; write POLYGON \(\(\.\.\.\)\) or drop it"),
        ("SRID=1;POLYGON ((0 0, 1 0, 1 1, 0 0))", r'p\.wkt, line 1: "EPSG:1" is no CRS; .+'),
        ("\n", r"p\.wkt: is empty; write an outline a line, .+"),
    ],
)
def test_text_that_is_no_outline_is_one_line(made, said, fault):
    made.inputs |= {"plots": made.text(said, "p.wkt"), "plot_id": "number"}
    with pytest.raises(Faults) as caught:
        open_inputs(made.project())
    assert len(caught.value.lines) == 1
    assert re.fullmatch(fault, caught.value.lines[0]), caught.value.lines[0]


@pytest.mark.parametrize("head", ["plot,Easting,Northing", "plot,Longitude,Latitude", "plot,lng,lat"])
def test_corners_under_the_usual_heads(made, head):
    degrees = "E" not in head
    shape = in_crs(NORTH_PLOT, "EPSG:4326") if degrees else NORTH_PLOT
    rows = "".join(f"north,{x:.9f},{y:.9f}\n" for x, y in corners(shape))
    made.plots_text(f"{head}\n{rows}", "c.csv")
    made.inputs["plot_id"] = "plot"
    (plot,) = open_inputs(made.project()).plots
    assert plot.outline.symmetric_difference(NORTH_PLOT).area < 0.01


def test_the_library_reads_drawings():
    assert "DXF" in fiona.supported_drivers
