"""What a run rests on: how figures are computed, settings, published rules, versions."""

from collections.abc import Mapping
from typing import Any

from packpale.review.report.blocks import Block, Run, Section, code, figures, link, small
from packpale.review.report.guidance import guidance_section
from packpale.review.report.method import method_section
from packpale.review.report.settings import settings_section
from packpale.review.words.wording import Wording
from packpale.settings import Project

PAGE = "basis.html"
SHOWN = 16
"""Letters of a check sum that are shown."""


def basis(project: Project, show: Wording, record: Mapping[str, Any]) -> tuple[Section, ...]:
    """The sections of that page."""
    return (method_section(), settings_section(project, show), guidance_section(project, show), versions(record))


def versions(record: Mapping[str, Any]) -> Section:
    """Check sums and versions, so that the run can be made again."""
    rows: list[tuple[str, str | Run]] = [("Packpale", str(record["version"]))]
    if record.get("settings_hash"):
        rows.append(("Settings", _short(record["settings_hash"])))
    rows += [(file, _short(check)) for file, check in sorted(record.get("input_hashes", {}).items())]
    rows += [("Start of random draws", str(record["seed"])), ("Coordinate system", str(record["crs"]))]
    blocks: tuple[Block, ...] = (
        figures(rows),
        small(
            "The same settings, inputs and version give the same tables again. Of check sums the beginning is shown. "
            "All figures, and check sums in full: ",
            link("ranking.csv", "ranking.csv"),
            ", ",
            link("earthworks.csv", "earthworks.csv"),
            ", ",
            link("run.json", "run.json"),
            ". The layers of all plots together: ",
            link("packpale.gpkg", "packpale.gpkg"),
            ".",
        ),
    )
    return Section("How this was made", blocks, f"{PAGE}#versions")


def _short(check_sum: object) -> Run:
    return code(str(check_sum)[:SHOWN])
