"""CSV tables: fixed columns, fixed number of decimals, the same bytes every time."""

import csv
import functools
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

RANKING_FIGURES = (
    "feasible",
    "reason",
    "plot_area_m2",
    "usable_area_m2",
    "enclosed_area_m2",
    "smallest_enclosure_m2",
    "fence_length_m",
    "fence_length_3d_m",
    "mean_slope_deg",
    "mean_suitability",
    "cut_bank_m3",
    "rock_bank_m3",
    "wet_bank_m3",
    "surplus_loose_m3",
    "cost_p10",
    "cost_p50",
    "cost_p90",
    "escape_dig_rate_m_per_h",
    "over_limits_m",
    "price_per_ha",
)
"""Columns of ranking.csv that one plot knows by itself."""
RANKING_COLUMNS = (
    "rank",
    "plot_id",
    *RANKING_FIGURES[:2],
    "score",
    "first_place_share",
    *RANKING_FIGURES[2:],
    "first_place_share_any_weights",
    "usual_rank_best",
    "usual_rank_worst",
)
EARTHWORKS_COLUMNS = (
    "plot_id",
    "pack",
    "fence_length_m",
    "section_area_m2",
    "cut_bank_m3",
    "rock_bank_m3",
    "wet_bank_m3",
    "average_end_area_m3",
    "backfill_compacted_m3",
    "cut_loose_m3",
    "surplus_loose_m3",
    "import_compacted_m3",
    "soft_rock_bank_m3",
    "hard_rock_bank_m3",
    "deepest_m",
    "wall_protection_m",
    "way_out_m",
    "in_water_m",
)
SETTING_OUT_COLUMNS = (
    "pack",
    "chainage_m",
    "x",
    "y",
    "ground_m",
    "invert_m",
    "bearing_deg",
    "arc",
    "radius_m",
)
ARC_COLUMNS = (
    "pack",
    "arc",
    "centre_x",
    "centre_y",
    "radius_m",
    "turn_deg",
    "start_chainage_m",
    "length_m",
    "start_x",
    "start_y",
    "start_bearing_deg",
    "end_x",
    "end_y",
    "end_bearing_deg",
    "deflection_deg",
    "long_chord_m",
    "mid_ordinate_m",
    "tangent_m",
    "external_m",
)
PEG_COLUMNS = (
    "pack",
    "peg",
    "kind",
    "post",
    "chainage_m",
    "x",
    "y",
    "ground_m",
    "invert_m",
    "arc",
    "radius_m",
    "arc_from_start_of_arc_m",
    "deflection_deg",
    "chord_from_start_of_arc_m",
    "chord_from_previous_peg_m",
    "along_baseline_1_m",
    "right_of_baseline_1_m",
    "first_tie_from",
    "first_tie_m",
    "second_tie_from",
    "second_tie_m",
    "tie_angle_deg",
    "over_limit",
)
"""Offsets from baseline 2, which runs from stake A to the right of baseline 1, are along_baseline_1_m."""
DECIMALS = {
    "value": 4,
    "price_likely": 2,
    "price_per_ha": 2,
    "score": 2,
    "first_place_share": 4,
    "first_place_share_any_weights": 4,
    "mean_suitability": 4,
    "section_area_m2": 3,
    "x": 3,
    "y": 3,
    "deflection_deg": 5,
    "tie_angle_deg": 1,
}
"""Decimals of columns whose name ends in no unit, or that are smaller than their unit suggests."""
DECIMALS_BY_UNIT = (
    ("_m_per_h", 3),
    ("_m3", 3),
    ("_m2", 1),
    ("_m", 3),
    ("_deg", 3),
    ("_x", 4),
    ("_y", 4),
    ("_p10", 2),
    ("_p50", 2),
    ("_p90", 2),
)
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes a cell that starts like this for a formula."""


def write_table(path: Path, columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> None:
    """Write a CSV table: UTF-8, LF line ends, a header, an empty cell where a row has no figure.

    Raises KeyError if a row lacks a column.
    """
    write_cells(path, columns, ([cell(name, row[name]) for name in columns] for row in rows))


def write_cells(path: Path, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write a CSV table whose cells are made already."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    path.write_bytes(text.getvalue().encode("utf-8"))


def cell(column: str, value: Any) -> str:
    """One value as it stands in the table; empty for None and for what is not a finite number."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        # Adding zero turns the minus zero that rounding leaves into a plain one.
        return f"{round(value, decimals(column)) + 0.0:.{decimals(column)}f}" if math.isfinite(value) else ""
    return plain_text(str(value))


def plain_text(text: str) -> str:
    """Text that no spreadsheet takes for a formula: an apostrophe goes before the sign that would start one."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


@functools.cache
def decimals(column: str) -> int:
    """Number of decimals in a column, from its name."""
    if column in DECIMALS:
        return DECIMALS[column]
    return next((n for suffix, n in DECIMALS_BY_UNIT if column.endswith(suffix)), 6)
