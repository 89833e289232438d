"""points.csv: every stake and peg as name, E, N, Z and code, for instruments that take nothing else."""

from collections.abc import Iterator
from typing import Any

from packpale.review.model import PlotResult
from packpale.review.setting_out import peg_rows, stakes
from packpale.settings import Project


def peg_name(pack: int, peg: int) -> str:
    """A peg's name in points.csv; on drawings its number stands alone."""
    return f"{pack}-peg-{peg}"


def point_rows(result: PlotResult, project: Project) -> Iterator[dict[str, Any]]:
    """Rows of points.csv: the stakes of each pack, then the pegs. Z is the ground, empty where it is not known."""
    site = result.site
    for pack in result.enclosure.packs:
        for stake in stakes(pack):
            yield {
                "name": f"{pack.number}-{stake.name}",
                "E": stake.x,
                "N": stake.y,
                "Z": float(site.grid.bilinear(site.elevation, stake.x, stake.y)),
                "code": "stake",
            }
    for row in peg_rows(result, project):
        yield {
            "name": peg_name(row["pack"], row["peg"]),
            "E": row["x"],
            "N": row["y"],
            "Z": row["ground_m"],
            # One word: some instruments end a code at a blank.
            "code": row["kind"].replace(" ", "_"),
        }
