"""All files of a whole run but the plots' own."""

import json
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor, Future
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from functools import partial
from itertools import zip_longest
from pathlib import Path
from typing import Any

from packpale.ranking import Ranking
from packpale.result import FinishedPlots
from packpale.review.geopackage import write_geopackage
from packpale.review.lettering import load_font
from packpale.review.overview_map import write_overview
from packpale.review.page import write_page
from packpale.review.tables import EARTHWORKS_COLUMNS, RANKING_COLUMNS, write_table
from packpale.review.templating import load
from packpale.review.wording import Wording
from packpale.review.workbook import write_workbook
from packpale.settings import Project


def load_pages() -> None:
    """Load what the run's pages are made with: to be called where there is nothing else to do."""
    load("index.html")
    load_font()


def write_run(
    finished: FinishedPlots,
    ranking: Ranking,
    project: Project,
    record: Mapping[str, Any],
    folder: Path,
    *,
    plots: Path | None = None,
    executor: Executor | None = None,
    page_last: bool = False,
) -> None:
    """Write the run's tables, GeoPackage, workbook, pages and record into ``folder``.

    Of no more than some plots at once is more than the least in memory, however many there are.
    ``plots`` holds the finished folders of the plots, whose pictures go into index.html; by default ``plots`` inside
    ``folder``. A picture that is not there is linked to instead. With ``page_last`` the pages, which take most memory,
    are begun when the processes of the executor have ended.
    """
    wording = Wording(imperial=project.units == "imperial", currency=project.currency)
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
    works = [row for place in ranking.rows for row in finished.briefs[place.plot_id].earthworks]
    write_table(folder / "earthworks.csv", EARTHWORKS_COLUMNS, works)
    page = partial(
        write_page,
        finished,
        ranking,
        project,
        wording,
        record=record,
        path=folder / "index.html",
        plots=plots or folder / "plots",
    )
    # The longest first: of two processes each takes one of them.
    others = [
        partial(write_workbook, finished, ranking, project, record, folder / "quantities.xlsx"),
        partial(write_geopackage, finished, ranking, record["crs"], folder / "packpale.gpkg"),
        partial(write_overview, finished, ranking, project, wording, folder / "map.html"),
    ]
    _write_all(page, others, executor, page_last=page_last)
    text = json.dumps(record, sort_keys=True, ensure_ascii=False, allow_nan=False, indent=2)
    (folder / "run.json").write_bytes((text + "\n").encode("utf-8"))


def _write_all(
    page: Callable[[], None],
    others: Sequence[Callable[[], None]],
    executor: Executor | None,
    *,
    page_last: bool = False,
) -> None:
    """The page in this process, the others in those of the executor, if there is one: at the same time, or before."""
    handed_on: list[Future[None]] = []
    with suppress(BrokenProcessPool):
        if executor:
            # One by one: those that were taken before the processes were lost are known.
            handed_on.extend(executor.submit(write) for write in others)
    if page_last and executor:
        executor.shutdown()
    page()
    for write, elsewhere in zip_longest(others, handed_on):
        try:
            if elsewhere:
                elsewhere.result()
            else:
                write()
        except BrokenProcessPool:
            # Its process was ended from outside.
            write()
