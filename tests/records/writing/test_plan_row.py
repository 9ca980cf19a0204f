"""Where a plan stands in the user's own file, as their spreadsheet numbers its rows."""

import openpyxl

from cropload import write_template
from cropload.records.example import example_records
from cropload.records.writing.plan_row import plan_row

BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines\nA,Riesling,2,1,1000\n"


def test_row_is_that_of_the_spreadsheet_and_blank_plans_do_not_count(tmp_path):
    (tmp_path / "blocks.csv").write_text(BLOCKS)
    (tmp_path / "pruning.csv").write_text(
        "season;block;plan;pruning_weight_kg\n2026;A;1x10+1x2;\n2027;A;;0,5\n2027;A; 1x12+1x2 ;\n"
    )
    assert plan_row(tmp_path, 2027, "A").words() == "1x12+1x2 (pruning.csv, row 4)"
    assert plan_row(tmp_path, 2026, "A").row == 2
    assert plan_row(tmp_path, 2025, "A") is None
    assert plan_row(tmp_path, 2027, "B") is None


def test_a_folder_without_the_table_has_no_plan(tmp_path):
    (tmp_path / "blocks.csv").write_text(BLOCKS)
    assert plan_row(tmp_path, 2027, "A") is None


def test_a_sheet_of_a_workbook_is_named(tmp_path):
    write_template(tmp_path, xlsx=True)
    file = tmp_path / "records.xlsx"
    book = openpyxl.load_workbook(file)
    book["blocks"].append(["A", "Riesling", 2, 1, 1000])
    head = [cell.value for cell in book["pruning"][1]]
    row = {"season": 2027, "block": "A", "plan": "2x8+2x2"}
    book["pruning"].append([row.get(name) for name in head])
    book.save(file)
    found = plan_row(file, 2027, "A")
    assert found.plan == "2x8+2x2"
    assert "pruning" in found.file
    assert book["pruning"].cell(found.row, head.index("plan") + 1).value == "2x8+2x2"


def test_every_plan_of_the_sample_is_found():
    records = example_records()
    planned = records.pruning[records.pruning["plan"] != ""]
    for season, block, plan in planned[["season", "block", "plan"]].tail(5).itertuples(index=False):
        assert plan_row(records.path, season, block).plan == plan
