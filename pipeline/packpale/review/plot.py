"""All files of one plot."""

import base64
import json
from pathlib import Path

from packpale.review.drawings.drawing_set import write_drawings
from packpale.review.drawings.still_picture import write_still_picture
from packpale.review.layers.geopackage import write_plot_layers, write_screened_layers
from packpale.review.layers.rasters import write_rasters
from packpale.review.maps.as_shown import as_shown
from packpale.review.maps.plot_map import ground_picture, write_plot_map
from packpale.review.model import PlotResult, PlotSummary
from packpale.review.pages.plot import write_plot_page
from packpale.review.plot_layers import PLOT_LAYERS, SCREENED_LAYERS
from packpale.review.report.holds import holds_rows
from packpale.review.report.plot import PlotReport, plot_report, report_from_plain
from packpale.review.report.source import PlotSource
from packpale.review.subjects.holds import HOLDS
from packpale.review.subjects.programme import PROGRAMME
from packpale.review.subjects.setting_out import ARCS, PEGS, POINTS, SETTING_OUT
from packpale.review.summary import DRAWS, layer_rows, summarise, write_draws, write_summary
from packpale.review.survey.gpx import write_gpx
from packpale.review.survey.landxml import write_landxml
from packpale.review.survey.patrol import write_patrol
from packpale.review.survey.pegging import write_pegging
from packpale.review.survey.plan_dxf import write_plan_dxf
from packpale.review.tables import write_table
from packpale.review.words import Wording
from packpale.settings import Project

OVERVIEW_SIDE = 260
"""Longer side of the picture of the ground that the map of all plots shows. [px]"""
REPORT = "report.json"
"""A plot's part of the report, as the run reads it back."""


def write_plot(result: PlotResult, project: Project, folder: Path) -> PlotSummary:
    """Write one plot's files into ``folder``, and return what the run needs of them.

    The folder exists, is empty and has the name that it will have under plots/, as pages of the run link to it.
    Where nothing fits there is no setting-out, profile or plan; the map, the rasters and the section are there.
    """
    wording = Wording.of(project)
    source = PlotSource(result, project, wording, folder.name)
    write_rasters(result, folder)
    if result.enclosure.packs:
        for table in (SETTING_OUT, ARCS, PEGS, POINTS, PROGRAMME):
            write_table(folder / table.name, table.columns, table.rows(result, project))
        write_table(folder / HOLDS.name, HOLDS.columns, holds_rows(result, project))
        write_pegging(result, project, folder / "pegging.txt")
        write_gpx(result, project, folder / "fence_line.gpx")
        write_patrol(result, folder / "patrol.gpx")
        write_landxml(result, project, folder / "alignment.xml")
        write_plan_dxf(result, project, folder / "plan.dxf")
    write_drawings(result, project, wording, folder)
    shown = as_shown(result)
    write_still_picture(shown, project, wording, folder / "picture.png")
    write_plot_map(result, project, wording, folder / "map.html", shown)
    png, bounds = ground_picture(shown, largest_side=OVERVIEW_SIDE)
    del shown
    ground = {"png": base64.b64encode(png).decode("ascii"), "bounds": bounds}
    report = plot_report(source)
    write_plot_page(source, report, folder)
    text = json.dumps(report.to_plain(), sort_keys=True, ensure_ascii=False, allow_nan=False)
    (folder / REPORT).write_bytes((text + "\n").encode("utf-8"))
    write_plot_layers(layer_rows(result, project), result.site.crs, folder / PLOT_LAYERS)
    if result.earthworks:
        write_draws(result, folder / DRAWS)
    summary = summarise(result, project, folder.name, ground)
    write_summary(summary, folder / "result.json")
    return summary


def write_screened_plot(result: PlotResult, project: Project, folder: Path) -> PlotSummary:
    """Write what a plot has that was only screened: its figures, its outline and its fence lines."""
    write_screened_layers(layer_rows(result, project, SCREENED_LAYERS), result.site.crs, folder / PLOT_LAYERS)
    summary = summarise(result, project, folder.name, None, screened=True)
    write_summary(summary, folder / "result.json")
    return summary


def read_report(folder: Path) -> PlotReport:
    """Read back a plot's part of the report.

    Raises OSError, ValueError, KeyError or TypeError if it is not there or damaged.
    """
    return report_from_plain(json.loads((folder / REPORT).read_text(encoding="utf-8")))
