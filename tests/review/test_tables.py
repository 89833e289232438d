"""CSV tables: the columns of the contract, fixed decimals, nothing a spreadsheet would run."""

import csv
import io

import pytest

from packpale.review.tables import cell, write_table
from review import factory

RANKING = (
    "rank,plot_id,feasible,reason,score,first_place_share,plot_area_m2,usable_area_m2,enclosed_area_m2,"
    "smallest_enclosure_m2,fence_length_m,fence_length_3d_m,mean_slope_deg,mean_suitability,cut_bank_m3,rock_bank_m3,"
    "wet_bank_m3,surplus_loose_m3,cost_p10,cost_p50,cost_p90,escape_dig_rate_m_per_h,"
    "over_limits_m,price_per_ha,"
    "first_place_share_any_weights,usual_rank_best,usual_rank_worst,screened"
)
EARTHWORKS = (
    "plot_id,pack,fence_length_m,section_area_m2,cut_bank_m3,rock_bank_m3,wet_bank_m3,average_end_area_m3,"
    "backfill_compacted_m3,cut_loose_m3,surplus_loose_m3,import_compacted_m3,"
    "soft_rock_bank_m3,hard_rock_bank_m3,deepest_m,wall_protection_m,way_out_m,in_water_m"
)
SETTING_OUT = "pack,chainage_m,x,y,ground_m,invert_m,bearing_deg,arc,radius_m"


def rows(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


@pytest.mark.parametrize(
    ("column", "value", "text"),
    [
        ("plot_area_m2", 12345.678, "12345.7"),
        ("section_area_m2", 1.5849, "1.585"),
        ("x", 500000.12345, "500000.123"),
        ("cost_p50", 1e6 / 3, "333333.33"),
        ("mean_slope_deg", 4.00049, "4.000"),
        ("cut_bank_m3", -0.0001, "0.000"),
        ("cut_bank_m3", float("nan"), ""),
        ("cut_bank_m3", float("inf"), ""),
        ("rank", None, ""),
        ("rank", 3, "3"),
        ("feasible", True, "true"),
        ("feasible", False, "false"),
        ("plot_id", "=1+1", "'=1+1"),
        ("plot_id", "+49", "'+49"),
        ("plot_id", "-a", "'-a"),
        ("plot_id", "@SUM(A1)", "'@SUM(A1)"),
        ("plot_id", "\t=1", "'\t=1"),
        ("plot_id", "a=1", "a=1"),
    ],
)
def test_cell(column, value, text):
    assert cell(column, value) == text


def test_a_negative_number_is_a_number():
    # Only texts are escaped: a ground level below the datum must stay a number.
    assert cell("ground_m", -3.5) == "-3.500"


def test_table_reads_back_whatever_the_text(tmp_path):
    ids = [factory.HOSTILE, 'with "quotes", commas', "two\nlines", "Ö 木"]
    write_table(tmp_path / "t.csv", ("plot_id", "area_m2"), [{"plot_id": i, "area_m2": 1.0} for i in ids])
    assert b"\r" not in (tmp_path / "t.csv").read_bytes()
    assert [r["plot_id"] for r in rows(tmp_path / "t.csv")] == ids


def test_a_missing_column_is_no_empty_cell(tmp_path):
    with pytest.raises(KeyError):
        write_table(tmp_path / "t.csv", ("plot_id", "area_m2"), [{"plot_id": "a"}])


def test_columns_are_those_of_the_contract(run):
    def head(path):
        return path.read_text(encoding="utf-8").splitlines()[0]

    assert head(run.folder / "ranking.csv") == RANKING
    assert head(run.folder / "earthworks.csv") == EARTHWORKS
    assert head(run.folder / "plots/plot-0/setting_out.csv") == SETTING_OUT


def test_ranking_holds_what_the_rooms_found(run):
    table = rows(run.folder / "ranking.csv")
    plot = run.plots[0]
    pack, works = plot.enclosure.packs[0], plot.earthworks
    assert [r["rank"] for r in table] == ["1", "2", ""]
    assert [r["feasible"] for r in table] == ["true", "true", "false"]
    assert {r["plot_id"] for r in table} == {"north field", factory.HOSTILE, "'" + factory.FORMULA}
    first = table[0]
    assert float(first["enclosed_area_m2"]) == pytest.approx(pack.fit.egg.area, abs=0.05)
    assert float(first["fence_length_m"]) == pytest.approx(pack.fit.egg.perimeter, abs=5e-4)
    assert float(first["plot_area_m2"]) == pytest.approx(220.0**2, abs=0.05)
    assert float(first["cut_bank_m3"]) == pytest.approx(works.volumes[0].cut, abs=5e-4)
    assert float(first["cost_p50"]) == pytest.approx(works.cost["p50"], abs=5e-3)
    assert float(first["score"]) == pytest.approx(run.ranking.rows[0].score, abs=5e-3)
    assert float(first["first_place_share_any_weights"]) == pytest.approx(run.ranking.rows[0].first_place_share_any)
    assert (int(first["usual_rank_best"]), int(first["usual_rank_worst"])) == run.ranking.rows[0].usual_places
    last = table[-1]
    assert last["usual_rank_best"] == last["usual_rank_worst"] == ""
    assert last["reason"].startswith("no fence line")
    assert last["enclosed_area_m2"] == last["cost_p50"] == last["score"] == ""


def test_earthworks_hold_one_row_a_pack(run):
    table = rows(run.folder / "earthworks.csv")
    volumes = run.plots[0].earthworks.volumes[0]
    assert len(table) == 2
    assert float(table[0]["average_end_area_m3"]) == pytest.approx(volumes.average_end_area, abs=5e-4)
    assert float(table[0]["section_area_m2"]) == pytest.approx(volumes.section_area, abs=5e-4)


def test_setting_out_lies_on_the_fence_line(run):
    pack = run.plots[0].enclosure.packs[0]
    table = rows(run.folder / "plots/plot-0/setting_out.csv")
    assert len(table) == pack.alignment.x.size
    for row in table[:: len(table) // 40]:
        # The egg's own distance is exact; coordinates are rounded to a millimetre.
        assert abs(pack.fit.egg.distance(float(row["x"]), float(row["y"]))) < 1e-3
        assert float(row["ground_m"]) - float(row["invert_m"]) == pytest.approx(1.2, abs=1.1e-3)


def test_arcs_close_and_turn_through_one_circle(run):
    table = rows(run.folder / "plots/plot-0/arcs.csv")
    assert [r["arc"] for r in table] == ["big end", "flank 1", "small end", "flank 2", "big end"]
    assert sum(float(r["turn_deg"]) for r in table) == pytest.approx(360, abs=5e-3)
    for here, there in zip(table, table[1:] + table[:1], strict=True):
        assert (here["end_x"], here["end_y"]) == (there["start_x"], there["start_y"])
        # A point of the arc is one radius from its centre.
        dx = float(here["start_x"]) - float(here["centre_x"])
        dy = float(here["start_y"]) - float(here["centre_y"])
        assert (dx**2 + dy**2) ** 0.5 == pytest.approx(float(here["radius_m"]), abs=2e-3)
