"""Slips that once went straight into the tonnes: each is refused, doubted aloud, or kept apart."""

import numpy as np
import pytest
from helpers import sample_copy

import cropload
from cropload.clock import day
from cropload.errors import CroploadError
from cropload.pages.cli import main
from cropload.records.reading.faults import RecordsError
from cropload.records.writing.append import save_plan
from cropload.records.writing.results import write_frame
from cropload.vine.plan import PlanError, PruningPlan


@pytest.fixture
def estate(tmp_path):
    return sample_copy(tmp_path / "mine", "blocks", "pruning", "counts", "harvest", "contracts")


def rewrite_harvest(estate, season, *rows, block="Home Terrace"):
    """Put other loads of a block in a season into the table, keeping all others."""
    file = estate / "harvest.csv"
    kept = [
        line
        for line in file.read_text(encoding="utf-8").splitlines()
        if not line.startswith(f"{season},{block},")
    ]
    columns = kept[0].split(",")
    for row in rows:
        cells = {"season": season, "block": block, **row}
        kept.append(",".join(str(cells.get(column, "")) for column in columns))
    file.write_text("\n".join(kept) + "\n", encoding="utf-8")


def tonnes(records, season=2027):
    table = cropload.forecast(records, season).frame
    return table.set_index("block")["tonnes_p50"]


@pytest.mark.parametrize("shares", [(60, 40), ("", 40)])
def test_a_share_given_for_each_pick_is_refused(estate, shares):
    rewrite_harvest(
        estate,
        2026,
        {"date": "2026-09-10", "tonnes": 4.0, "picked_pct": shares[0]},
        {"date": "2026-09-15", "tonnes": 2.7, "picked_pct": shares[1]},
    )
    with pytest.raises(RecordsError, match=r"falls below the .* of the pick before"):
        cropload.read_records(estate)


@pytest.mark.parametrize("last", [100, ""])
def test_a_share_so_far_sums_to_what_the_scale_said(estate, last):
    rewrite_harvest(
        estate,
        2026,
        {"date": "2026-09-10", "tonnes": 4.0, "picked_pct": 60},
        {"date": "2026-09-15", "tonnes": 2.7, "picked_pct": last},
    )
    assert tonnes(cropload.read_records(estate), 2026)["Home Terrace"] == pytest.approx(6.7)


@pytest.mark.parametrize("share", [0.6, 0.0001])
def test_a_share_that_is_a_fraction_is_refused(estate, share):
    rewrite_harvest(estate, 2026, {"date": "2026-09-10", "tonnes": 4.0, "picked_pct": share})
    with pytest.raises(RecordsError, match="picked_pct"):
        cropload.read_records(estate)


@pytest.mark.parametrize("weight", [4140, 1e12])
def test_a_harvest_in_kg_is_refused(estate, weight):
    rewrite_harvest(estate, 2025, {"date": "2025-10-01", "tonnes": weight})
    with pytest.raises(RecordsError, match="above 200 t/ha"):
        cropload.read_records(estate)


def test_a_trace_of_fruit_is_doubted_and_moves_no_other_block(estate):
    whole = tonnes(cropload.read_records(estate))
    rewrite_harvest(estate, 2025, {"date": "2025-10-01", "tonnes": 0.0001})
    records = cropload.read_records(estate)
    assert any(fault.column == "tonnes" for fault in records.warnings)
    others = [block for block in whole.index if block != "Home Terrace"]
    np.testing.assert_allclose(tonnes(records)[others], whole[others], rtol=0.05)


@pytest.mark.parametrize("clusters", ["1e300", "50000"])
def test_a_count_no_vine_can_carry_is_refused(estate, clusters):
    file = estate / "counts.csv"
    columns = file.read_text(encoding="utf-8").splitlines()[0].split(",")
    row = {"season": 2026, "date": "2026-07-10", "block": "Home Terrace", "row": 2, "vine": 230}
    cells = {**row, "clusters": clusters}
    with open(file, "a", encoding="utf-8") as end:
        end.write(",".join(str(cells.get(column, "")) for column in columns) + "\n")
    with pytest.raises(RecordsError, match="clusters"):
        cropload.read_records(estate)


def test_doubts_are_told_beside_every_result(estate, capsys):
    rewrite_harvest(estate, 2025, {"date": "2025-10-01", "tonnes": 40})
    asked = ["--block", "Long Acre", "--plans", "3x8+3x2", "--draws", "200"]
    assert main(["compare", str(estate), *asked]) == 0
    told = capsys.readouterr()
    assert "doubtful" in told.err
    assert "harvest.csv" in told.err
    assert "doubtful" not in told.out


def test_no_doubt_no_word(estate, capsys):
    asked = ["--block", "Long Acre", "--plans", "3x8+3x2", "--draws", "200"]
    assert main(["compare", str(estate), *asked]) == 0
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("text", ["04/05/2026", "2026", "today", "20260715", "2026-7-5", ""])
def test_a_day_is_written_one_way(text):
    with pytest.raises(CroploadError, match="2026-07-15"):
        day(text)


def test_the_mend_of_a_thousands_comma_keeps_the_thousands(tmp_path):
    head = "block,variety,row_spacing_m,vine_spacing_m,vines\n"
    (tmp_path / "blocks.csv").write_text(head + 'A,Riesling,2,1.2,"4,200"\n', encoding="utf-8")
    with pytest.raises(RecordsError) as fault:
        cropload.read_records(tmp_path)
    assert "4200" in str(fault.value)
    assert "4.200" not in str(fault.value)


@pytest.mark.parametrize("name", ["blocks.csv", "harvest.csv", "contracts.csv", "Counts.CSV"])
def test_a_result_never_takes_the_place_of_records(estate, name):
    records = cropload.example_records()
    frame = cropload.compare_plans(records, "Long Acre", "3x8+3x2", draws=200).frame
    before = {file.name: file.read_bytes() for file in estate.iterdir()}
    with pytest.raises(CroploadError, match="table of records"):
        write_frame(estate / name, frame, replace=True)
    assert {file.name: file.read_bytes() for file in estate.iterdir()} == before


def test_a_result_never_takes_the_place_of_a_workbook_of_records(tmp_path):
    book = tmp_path / "season.xlsx"
    cropload.write_template(book, xlsx=True)
    records = cropload.example_records()
    frame = cropload.compare_plans(records, "Long Acre", "3x8+3x2", draws=200).frame
    before = book.read_bytes()
    with pytest.raises(CroploadError, match="table of records"):
        write_frame(book, frame, replace=True)
    assert book.read_bytes() == before
    result = write_frame(tmp_path / "result.xlsx", frame)
    assert write_frame(result, frame, replace=True) == result


@pytest.mark.parametrize("season", [2028.7, float("nan"), None, "x", True])
def test_a_plan_is_saved_for_a_whole_year_only(estate, season):
    before = (estate / "pruning.csv").read_bytes()
    with pytest.raises(CroploadError, match="year of a harvest"):
        save_plan(estate, season, "Long Acre", "3x8+3x2")
    assert (estate / "pruning.csv").read_bytes() == before


@pytest.mark.parametrize("season", ["x", 2026.5, 1500])
def test_a_forecast_is_of_a_whole_year(season):
    with pytest.raises(CroploadError, match="year of a harvest"):
        cropload.forecast(cropload.example_records(), season)


def test_a_plan_is_written_in_plain_digits():
    with pytest.raises(PlanError):
        PruningPlan.parse("٣x٨")


def test_a_pipe_in_place_of_a_table_is_refused_and_does_not_hang(estate):
    import os

    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes on this system")
    (estate / "harvest.csv").unlink()
    os.mkfifo(estate / "harvest.csv")
    with pytest.raises(RecordsError, match="no plain file"):
        cropload.read_records(estate)


def test_a_change_is_told_since_an_earlier_day_only(capsys):
    asked = ["--season", "2026", "--as-of", "2026-05-01", "--since", "2026-09-01"]
    assert main(["forecast", "--example", *asked, "--draws", "200"]) == 2
    assert "earlier day" in " ".join(capsys.readouterr().err.split())


def test_a_level_keeps_its_name_only_with_its_plan():
    from cropload.pages.pruning_levels import PruningLevels

    page = PruningLevels(draws=200)
    levels = [dict(level) for level in page.levels.table.levels]
    assert levels[0]["name"] == "as last winter"
    levels[0]["buds_per_cane"] += 1
    page.levels.table.set_by_hand(levels)
    assert page.levels.table.levels[0]["name"] == ""
