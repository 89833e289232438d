"""All files of a whole run but the plots' own."""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from packpale.faults import Faults, damaged
from packpale.review.layers.geopackage import write_geopackage
from packpale.review.maps.overview_map import write_overview
from packpale.review.model import FinishedPlots, Ranking
from packpale.review.pages.run import write_basis, write_index
from packpale.review.pdf.report import write_report
from packpale.review.plot import REPORT, read_report
from packpale.review.plot_layers import PLOT_LAYERS, read_layer
from packpale.review.report.front import RunSource
from packpale.review.report.overview import PlotShape, overview
from packpale.review.report.plot import PlotReport
from packpale.review.report.run import run_report
from packpale.review.subjects.line import ALTERNATIVES
from packpale.review.subjects.tables import EARTHWORKS, RANKING
from packpale.review.tables import write_table
from packpale.review.words import Wording
from packpale.review.workbook.workbook import write_workbook
from packpale.settings import Project


def write_run(
    finished: FinishedPlots,
    ranking: Ranking,
    project: Project,
    record: Mapping[str, Any],
    folder: Path,
    *,
    plots: Path | None = None,
) -> None:
    """Write the run's tables, GeoPackage, workbook, pages and record into ``folder``.

    Of no more than some plots at once is more than the least in memory, however many there are.
    ``plots`` holds the finished folders of the plots, whose reports and pictures go into index.html; by default
    ``plots`` inside ``folder``. A picture that is not there is linked to instead.

    Raises Faults if the report of a plot that is told in full cannot be read back.
    """
    wording = Wording.of(project)
    ranked = [
        {
            **finished.briefs[row.plot_id].figures,
            "rank": row.rank,
            "plot_id": row.plot_id,
            "feasible": row.feasible,
            "score": row.score,
            "first_place_share": row.first_place_share,
            "first_place_share_any_weights": row.first_place_share_any,
            "screened": finished.briefs[row.plot_id].screened,
            "usual_rank_best": row.usual_places[0] if row.usual_places else None,
            "usual_rank_worst": row.usual_places[1] if row.usual_places else None,
        }
        for row in ranking.rows
    ]
    write_table(folder / "ranking.csv", RANKING.columns, ranked)
    menus = [row for place in ranking.rows for row in finished.briefs[place.plot_id].alternatives]
    write_table(folder / "alternatives.csv", ALTERNATIVES.columns, menus)
    works = [row for place in ranking.rows for row in finished.briefs[place.plot_id].earthworks]
    write_table(folder / "earthworks.csv", EARTHWORKS.columns, works)
    of_plots = plots or folder / "plots"
    write_geopackage(finished, ranking, record["crs"], folder / "packpale.gpkg", plots=of_plots)
    write_workbook(finished, ranking, project, record, folder / "quantities.xlsx", plots=of_plots)
    write_overview(finished, ranking, project, wording, folder / "map.html", plots=of_plots)
    _write_report(RunSource(finished, ranking, project, wording, record), folder, of_plots)
    text = json.dumps(record, sort_keys=True, ensure_ascii=False, allow_nan=False, indent=2)
    (folder / "run.json").write_bytes((text + "\n").encode("utf-8"))


def _write_report(source: RunSource, folder: Path, plots: Path) -> None:
    told = {place.plot_id: _read_back(plots / source.brief(place).folder) for place in source.told}
    report = run_report(source, told, overview(list(_shapes(source, plots)), source.show))
    write_index(source, report.head, report.index, folder / "index.html", plots=plots)
    write_basis(source, report.basis, folder / "basis.html")
    write_report(report.printed, folder / "report.pdf", title=source.project.title, plots=plots)


def _read_back(folder: Path) -> PlotReport:
    try:
        return read_report(folder)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise Faults(damaged(folder / REPORT, error)) from error


def _shapes(source: RunSource, plots: Path) -> Iterator[PlotShape]:
    """Outlines and fence lines of all plots, the last in the ranking first, so that the best are drawn on top."""
    for place in reversed(source.ranking.rows):
        file = plots / source.brief(place).folder / PLOT_LAYERS
        outlines, lines = (read_layer(file, layer).geometry for layer in ("plots", "fence_lines"))
        if outlines:
            yield PlotShape(place.plot_id, place.rank, outlines[0], lines)
