"""All files of a whole run but the plots' own."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from packpale.review.alternatives import COLUMNS as ALTERNATIVES
from packpale.review.geopackage import write_geopackage
from packpale.review.model import FinishedPlots, Ranking
from packpale.review.overview_map import write_overview
from packpale.review.page import write_page
from packpale.review.tables import EARTHWORKS_COLUMNS, RANKING_COLUMNS, write_table
from packpale.review.words import Wording
from packpale.review.workbook import write_workbook
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
    ``plots`` holds the finished folders of the plots, whose pictures go into index.html; by default ``plots`` inside
    ``folder``. A picture that is not there is linked to instead.
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
            "usual_rank_best": row.usual_places[0] if row.usual_places else None,
            "usual_rank_worst": row.usual_places[1] if row.usual_places else None,
        }
        for row in ranking.rows
    ]
    write_table(folder / "ranking.csv", RANKING_COLUMNS, ranked)
    menus = [row for place in ranking.rows for row in finished.briefs[place.plot_id].alternatives]
    write_table(folder / "alternatives.csv", tuple(ALTERNATIVES), menus)
    works = [row for place in ranking.rows for row in finished.briefs[place.plot_id].earthworks]
    write_table(folder / "earthworks.csv", EARTHWORKS_COLUMNS, works)
    write_workbook(finished, ranking, project, record, folder / "quantities.xlsx")
    write_geopackage(finished, ranking, record["crs"], folder / "packpale.gpkg")
    write_overview(finished, ranking, project, wording, folder / "map.html")
    page = folder / "index.html"
    write_page(finished, ranking, project, wording, record=record, path=page, plots=plots or folder / "plots")
    text = json.dumps(record, sort_keys=True, ensure_ascii=False, allow_nan=False, indent=2)
    (folder / "run.json").write_bytes((text + "\n").encode("utf-8"))
