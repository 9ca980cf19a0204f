"""Bad input: one clear message each, with file, row, column, value and mend; never a traceback."""

import pytest

from cropload.records.reading.faults import RecordsError
from cropload.records.records import read_records

HEAD = "block,variety,row_spacing_m,vine_spacing_m,vines,missing_pct\n"
COUNTS = "season,date,block,row,vine,clusters\n"


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("N,Riesling,wide,1,100,", "row_spacing_m", "must be a number"),
        ("N,Riesling,0,1,100,", "row_spacing_m", "above 0"),
        ("N,Riesling,2,-1,100,", "vine_spacing_m", "above 0"),
        ("N,Riesling,2,1,100,101", "missing_pct", "below 100"),
        ("N,Riesling,2,1,100,-1", "missing_pct", "not below 0"),
        ("N,Riesling,2,1,100.5,", "vines", "whole number"),
        ("N,Riesling,2,1,0,", "vines", "above 0"),
        ("N,Riesling,inf,1,100,", "row_spacing_m", "must be a number"),
        ("N,Riesling,1e999,1,100,", "row_spacing_m", "larger than anything"),
        (f"N,Riesling,{'9' * 400},1,100,", "row_spacing_m", "larger than anything"),
        ("N,Riesling,NaN,1,100,", "row_spacing_m", "must be filled in"),
        ("N,Riesling,n/a,1,100,", "row_spacing_m", "must be filled in"),
        ("N,Riesling,#DIV/0!,1,100,", "row_spacing_m", "must be filled in"),
        ("N,Riesling,wide,1,100,", "row_spacing_m", "must be filled in"),
        ("N,Riesling,2,1,100,wide", "missing_pct", "leave the cell blank"),
        ("N,Riesling,2 m,1,100,", "row_spacing_m", "the number alone: 2"),
        ("N,Riesling,٢,1,100,", "row_spacing_m", "must be a number"),
        ('N,Riesling,"2,4",1,100,', "row_spacing_m", "decimal point: 2.4"),
        ('N,Riesling,2,1,"1,000,000",', "vines", "between thousands"),
        ("N,Riesling,,1,100,", "row_spacing_m", "must be filled in"),
        ("N,,2,1,100,", "variety", "must be filled in"),
        (",Riesling,2,1,100,", "block", "must be filled in"),
        ('"No\nrth",Riesling,2,1,100,', "block", "line break"),
    ],
)
def test_bad_cells(write, faults, row, column, words):
    (fault,) = faults(write(blocks=HEAD + row + "\n"))
    assert (fault.file, fault.row, fault.column) == ("blocks.csv", 2, column)
    assert words in f"{fault.rule}. {fault.mend}"


@pytest.mark.parametrize(
    "plan",
    [
        "3x",
        "0x0",
        "-1x8",
        "3x8+",
        "3x8+3x2+1x1",
        "x8",
        "a",
        "3x8x2",
        "1.5x8",
        "3x3+2x2",
        "3x8+3x9",
        "900x9",
        "+",
    ],
)
def test_bad_plans_are_refused_here_and_by_the_vine_model_alike(write, faults, plan):
    from cropload.vine.plan import PlanError, PruningPlan

    (fault,) = faults(write(pruning=f"season,block,plan\n2026,North,{plan}\n"))
    assert (fault.row, fault.column, fault.value) == (2, "plan", plan)
    with pytest.raises(PlanError):
        PruningPlan.parse(plan)


@pytest.mark.parametrize(
    ("date", "words"),
    [
        ("2026-02-30", "not a day of the calendar"),
        ("31/04/2026", "not a day of the calendar"),
        ("13/13/2026", "not a day of the calendar"),
        ("03/04/2026", "Write 2026-04-03 or 2026-03-04"),
        ("14/03/26", "YYYY-MM-DD"),
        ("1066-10-14", "1900 to 2100"),
        ("9999-01-01", "1900 to 2100"),
        ("46000", "Format the cell as a date"),
        ("spring", "YYYY-MM-DD"),
    ],
)
def test_bad_dates(write, faults, date, words):
    (fault,) = faults(write(pruning=f"season,block,date\n2026,North,{date}\n"))
    assert (fault.row, fault.column, fault.value) == (2, "date", date)
    assert words in f"{fault.rule}. {fault.mend}"


def test_dates_in_both_orders(write, faults):
    pruning = "season,block,date\n2026,North,14/03/2026\n2026,South,03/14/2026\n"
    (fault,) = faults(write(pruning=pruning))
    assert fault.row == 2
    assert "14/03/2026" in fault.rule
    assert "03/14/2026" in fault.rule


@pytest.mark.parametrize("season", ["1899", "2101", "2026.5", "26", "9" * 30, "this"])
def test_bad_seasons(write, faults, season):
    (fault,) = faults(write(pruning=f"season,block,plan\n{season},North,3x8\n"))
    assert fault.column == "season"


def test_a_misspelt_column_is_named_with_the_right_one(write, faults):
    blocks = "block,variety,row_spacin_m,vine_spacing_m,vines\nN,Riesling,2,1,100\n"
    (fault,) = faults(write(blocks=blocks))
    assert "row_spacing_m or row_spacing_ft is missing" in fault.rule
    assert "'row_spacin_m'" in fault.mend


def test_a_column_without_its_unit(write, faults):
    blocks = "block,variety,row_spacing,vine_spacing_m,vines\nN,Riesling,2,1,100\n"
    (fault,) = faults(write(blocks=blocks))
    assert "row_spacing_m or row_spacing_ft" in fault.rule
    assert "'row_spacing'" in fault.mend


@pytest.mark.parametrize(
    ("header", "column", "words"),
    [
        ("tonnes_lb", "tons", ["divide its values by 2,000", "short tons of 2,000 lb"]),
        ("harvest_lb", "tons", ["divide its values by 2,000"]),
        ("Yield (pounds)", "tons", ["divide its values by 2,000"]),
        ("tonnes_kg", "tonnes", ["divide its values by 1,000", "metric tonnes of 1,000 kg"]),
        ("harvest_kg", "tonnes", ["divide its values by 1,000"]),
        ("short_tons", "tons", ["short tons of 2,000 lb", "rename the column to tons"]),
        ("long tons", "tons", ["multiply its values by 1.12"]),
    ],
)
def test_a_crop_in_another_unit_is_never_only_renamed(write, faults, header, column, words):
    """2,000 lb make a short ton, 2,240 lb a long one, 1,000 kg a tonne.

    Source: NIST Handbook 44, appendix C (from memory).
    """
    table = f"season,block,date,{header}\n2024,North,2024-09-20,5000\n"
    (fault,) = faults(write(harvest=table))
    assert fault.mend.startswith(f"'{header}' is in ")
    assert column in fault.mend.split()
    for text in words:
        assert text in fault.mend


def test_a_misspelt_crop_is_renamed_and_a_crop_per_area_is_not(write, faults):
    (fault,) = faults(write(harvest="season,block,tonnnes\n2024,North,5\n"))
    assert "Did you mean it by 'tonnnes'" in fault.mend
    (fault,) = faults(write(harvest="season,block,kg_per_vine\n2024,North,5\n"))
    assert "divide" not in fault.mend
    assert "tons are short tons (2,000 lb)" in fault.mend


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("block,variety,row_spacing_m,vine_spacing_ft,vines", "metric and in US units"),
        ("block,variety,row_spacing_m,row_spacing_ft,vines", "the same quantity"),
        ("block,variety,row_spacing_m,vine_spacing_m,vines,vines", "twice"),
        ("block,variety,row_spacing_m,,vine_spacing_m,vines", "has no name"),
    ],
)
def test_bad_headers(write, faults, header, words):
    found = faults(write(blocks=f"{header}\nN,Riesling,2,1,100,100\n"))
    assert any(words in fault.rule for fault in found)


@pytest.mark.parametrize(
    "rows",
    [
        {"blocks": HEAD + "N,Riesling,2,1,100,\nN,Riesling,2,1,100,\n"},
        {"pruning": "season,block,plan\n2026,North,3x8\n2026,North,3x8\n"},
        {"pruning": "season,block,plan\n2026,North,3x8\n2026,North,\n"},
        {"counts": COUNTS + "2026,2026-06-01,North,1,1,30\n2026,2026-06-01,North,1,1,31\n"},
        {
            "dates": "season,block,stage,date\n"
            "2026,North,budburst,2026-04-01\n2026,North,Budburst,2026-04-02\n"
        },
        {"harvest": "season,block,date,tonnes\n2026,North,2026-09-01,1\n2026,North,2026-09-01,1\n"},
        {"prices": "variety,price_per_t\nRiesling,1\nRiesling,2\n"},
    ],
)
def test_rows_that_may_not_repeat(write, faults, rows):
    (fault,) = faults(write(**rows))
    assert fault.row == 3
    assert "may not repeat" in fault.rule
    assert "see row 2" in fault.value


def test_unknown_block_with_near_name(write, faults):
    (fault,) = faults(write(pruning="season,block,plan\n2026,Nroth,3x8\n"))
    assert (fault.file, fault.row, fault.value) == ("pruning.csv", 2, "Nroth")
    assert "'North'" in fault.mend


def test_a_price_for_a_block_and_a_variety_at_once(write, faults):
    found = faults(write(prices="block,variety,price_per_t\nNorth,Riesling,1\n,,1\n"))
    assert [fault.row for fault in found] == [2, 3]


@pytest.mark.parametrize(
    ("table", "text"),
    [
        ("weather", "station,date,tmin_c,tmax_c\nV,2026-05-01,5,2\n"),
        ("capacity", "period_start,period_end,limit_t\n2026-09-10,2026-09-01,5\n"),
        (
            "dates",
            "season,block,stage,date\n2026,North,flowering,2026-04-01\n2026,North,budburst,2026-05-01\n",
        ),
        ("weights", "season,date,block,stage,clusters,weight_g\n2026,2026-07-01,North,bloom,3,5\n"),
        ("weights", "season,date,block,stage,clusters,weight_g\n2026,2026-07-01,North,lag,0,5\n"),
        ("fertility", "season,block,wood,node,buds,shoots,clusters\n2026,North,cane,0,1,1,1\n"),
        ("counts", COUNTS + "2026,2026-06-01,North,1,1,-3\n"),
        ("harvest", "season,block,tonnes,picked_pct\n2026,North,2,120\n"),
    ],
)
def test_rows_against_the_rules(write, faults, table, text):
    (fault,) = faults(write(**{table: text}))
    assert (fault.file, fault.row) == (f"{table}.csv", 2)


def test_all_faults_of_all_tables_come_together(write, faults):
    found = faults(
        write(
            blocks=HEAD + "N,Riesling,wide,0,100,\n",
            pruning="season,block\n2026,Q\n",
            harvest="season,tonnes\n",
            weights=b"",
        )
    )
    assert {fault.file for fault in found} == {
        "blocks.csv",
        "pruning.csv",
        "harvest.csv",
        "weights.csv",
    }


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b" \n\n", "empty"),
        (HEAD.encode(), "no block"),
        (b"block,variety\n\x00\x01", "NUL"),
        (HEAD.encode() + b'"N,Riesling,2,1,100\n', "quotation mark"),
        (b"\xff\xfe\x00", "decoded"),
        (HEAD.encode() + b"N,Riesling,2,1,100,0,extra\n", "more cells"),
        (",".join(f"c{n}" for n in range(100_000)).encode(), "100,000 columns"),
        (HEAD.encode() + b",".join([b"1"] * 100_000), "100,000 columns"),
        (b"%PDF-1.4 not a table", "missing"),
    ],
)
def test_bad_files(write, faults, data, words):
    found = faults(write(blocks=data))
    assert any(words in f"{fault.rule}. {fault.mend}" for fault in found)


def test_blocks_missing(write, faults):
    folder = write(block="block\n", pruning="season,block\n")
    (folder / "blocks.csv").unlink()
    (fault,) = faults(folder)
    assert "blocks is missing" in fault.rule
    assert "block.csv" in fault.mend


def test_two_files_of_one_table(write, faults):
    folder = write()
    (folder / "Blocks.CSV").write_text(HEAD)
    if len(list(folder.iterdir())) == 1:
        pytest.skip("this file system does not tell capitals apart")
    assert any("same table" in fault.rule for fault in faults(folder))


@pytest.mark.parametrize("path", ["", "nowhere", "\0", 3, None])
def test_paths_that_lead_nowhere(tmp_path, monkeypatch, path):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(RecordsError):
        read_records(path)


def test_a_path_is_suggested(write, faults):
    folder = write()
    (fault,) = faults(folder.parent / "vinyard")
    assert "'vineyard'" in fault.mend


def test_a_single_table_is_not_a_folder(write, faults):
    (fault,) = faults(write() / "blocks.csv")
    assert "folder that holds it" in fault.mend


def test_a_folder_that_holds_only_a_workbook(tmp_path, faults):
    (tmp_path / "season.xlsx").write_bytes(b"x")
    (fault,) = faults(tmp_path)
    assert (fault.file, "damaged" in fault.rule) == ("season.xlsx", True)


def test_a_file_that_may_not_be_read(write, faults, monkeypatch):
    from pathlib import Path

    def refuse(self):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    (fault,) = faults(write())
    assert "Permission denied" in fault.rule


@pytest.mark.parametrize("number", ["1e308", "1e16", "-1e200"])
def test_a_number_larger_than_anything_in_a_vineyard(write, faults, number):
    (fault,) = faults(write(pruning=f"season,block,pruning_weight_kg\n2024,North,{number}\n"))
    assert (fault.row, fault.column, fault.value) == (2, "pruning_weight_kg", number)
    assert "larger than anything" in fault.rule


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("900 to 1300", "Write a range with a hyphen and no spaces: 900-1300"),
        ("900 - 1300", "Write a range with a hyphen and no spaces: 900-1300"),
        ("900–1300", "Write a range with a hyphen and no spaces: 900-1300"),
        ("1300-900", "Write the lower number first, above 0, like 900-1300."),
        ("0-900", "Write the lower number first, above 0, like 900-1300."),
    ],
)
def test_a_range_has_one_way_of_being_written(write, faults, cell, words):
    (fault,) = faults(write(prices=f"variety,price_per_t\nRiesling,{cell}\n"))
    assert (fault.row, fault.column, fault.value) == (2, "price_per_t", cell)
    assert fault.mend == words


def test_a_range_stands_only_where_an_amount_may_be_unsure(write, faults):
    (fault,) = faults(write(prices="variety,price_per_t,cap_t\nRiesling,900,8-9\n"))
    assert fault.column == "cap_t"
