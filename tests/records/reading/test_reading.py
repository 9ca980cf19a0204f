import numpy as np
import pandas as pd
import pytest

from cropload.records.facts import block_facts
from cropload.records.reading.faults import RecordsError
from cropload.records.records import read_records
from cropload.records.tables import TABLES

PRUNING = "season,block,plan,pruning_weight_kg\n2026,North,3x8,0.9\n"


def test_tables_that_are_not_given_are_empty_with_all_columns(write):
    records = read_records(write())
    assert records.given == {"blocks"}
    for name, table in TABLES.items():
        widths = [column.width for column in table.columns if column.ranged]
        assert sorted(getattr(records, name).columns) == sorted([*table.names, *widths])
        assert name == "blocks" or getattr(records, name).empty


def test_dtypes_are_the_same_whether_rows_are_there_or_not(write):
    full = read_records(write(pruning=PRUNING)).pruning
    empty = read_records(write(pruning=PRUNING.split("\n")[0])).pruning
    assert full.dtypes.to_dict() == empty.dtypes.to_dict()
    assert full["season"].dtype == "int64"
    assert full["date"].dtype == "datetime64[ns]"
    assert full["vines_weighed"].dtype == "float64"
    assert full["plan"].tolist() == ["3x8"]


def test_blank_optional_columns_take_their_defaults(write):
    blocks = read_records(write()).blocks.set_index("block")
    # 1,000 vines of 2.0 m x 1.2 m stand on 2,400 m2.
    assert blocks.loc["North", "area_ha"] == pytest.approx(0.24)
    assert blocks["missing_pct"].tolist() == [0, 0]
    assert blocks["canopies"].tolist() == [1, 1]
    assert blocks["headlands"].tolist() == [0, 0]
    assert blocks["region"].tolist() == ["", ""]
    assert np.isnan(blocks["year_planted"]).all()


TRAINED = "block,variety,row_spacing_m,vine_spacing_m,vines,training\nN,Syrah,2,1,100,{}\n"


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("", ""),
        (" Cane ", "cane"),
        ("CORDON", "cordon"),
        ("Minimal-Hedge", "minimal hedge"),
        ("minimal  hedge", "minimal hedge"),
        ("minimalhedge", "minimal hedge"),
    ],
)
def test_training_is_read_whatever_its_capitals_and_spaces(write, written, read):
    records = read_records(write(blocks=TRAINED.format(written)))
    assert records.blocks["training"].tolist() == [read]
    assert block_facts(records).training == (read,)


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("Guyot", "'cane'"),
        ("spur pruned", "'cordon'"),
        ("gobelet", "'head'"),
        ("minimal", "'minimal hedge'"),
        ("cordn", "'cordon'"),
    ],
)
def test_another_word_for_a_training_is_suggested_and_never_taken(write, written, meant):
    with pytest.raises(RecordsError) as told:
        read_records(write(blocks=TRAINED.format(written)))
    (fault,) = told.value.faults
    assert (fault.row, fault.column, fault.value) == (2, "training", written)
    assert f"Did you mean {meant}?" in fault.mend


def test_a_word_like_no_training_gets_the_list_alone(write):
    with pytest.raises(RecordsError, match="must be one of cane, cordon, head, minimal hedge"):
        read_records(write(blocks=TRAINED.format("xyz")))


def test_headers_in_any_case_order_and_spelling_of_blanks(write):
    blocks = " Vines , Row Spacing (m),vine-spacing m,VARIETY,Block\n1000,2,1.2,Riesling,North\n"
    records = read_records(write(blocks=blocks))
    assert records.blocks.loc[0, ["block", "vines", "row_spacing_m"]].tolist() == ["North", 1000, 2]


def test_us_units_become_metric_with_exact_factors(write):
    folder = write(
        blocks="block,variety,row_spacing_ft,vine_spacing_ft,vines,area_ac\nNorth,Riesling,9,8,605,1\n",
        pruning="season,block,pruning_weight_lb\n2026,North,3\n",
        harvest="season,block,tons\n2026,North,4\n",
        weights="season,date,block,stage,clusters,weight_lb\n2026,2026-07-01,North,lag,10,2\n",
        weather="station,date,tmin_f,tmax_f\nValley,2026-05-01,28.4,50\n",
        prices="variety,price_per_ton,cap_ton_ac,price_above_cap\nRiesling,907.18474,2,90.718474\n",
    )
    records = read_records(folder)
    assert records.blocks.loc[0, "row_spacing_m"] == pytest.approx(9 * 0.3048)
    assert records.blocks.loc[0, "area_ha"] == pytest.approx(0.40468564224)
    assert records.pruning.loc[0, "pruning_weight_kg"] == pytest.approx(3 * 0.45359237)
    assert records.harvest.loc[0, "tonnes"] == pytest.approx(4 * 0.90718474)
    assert records.weights.loc[0, "weight_g"] == pytest.approx(2 * 453.59237)
    assert records.weather.loc[0, "tmin_c"] == pytest.approx(-2)
    assert records.prices.loc[0, "price_per_t"] == pytest.approx(1000)
    assert records.prices.loc[0, "price_above_cap"] == pytest.approx(100)
    assert records.prices.loc[0, "cap_t_ha"] == pytest.approx(4.48340, abs=5e-6)


def test_metric_and_us_units_may_meet_in_different_tables(write):
    folder = write(pruning="season,block,pruning_weight_lb\n2026,North,2\n")
    assert read_records(folder).pruning.loc[0, "pruning_weight_kg"] == pytest.approx(0.90718474)


def test_frost_offset_is_a_difference(write):
    blocks = (
        "block,variety,row_spacing_m,vine_spacing_m,vines,frost_offset_f\nN,Riesling,2,1,100,-3.6\n"
    )
    assert read_records(write(blocks=blocks)).blocks.loc[0, "frost_offset_c"] == pytest.approx(-2)


@pytest.mark.parametrize(
    ("written", "canonical"),
    [
        (" 3 X 8 + 3x2 ", "3x8+3x2"),
        ("24x2", "24x2"),
        ("0x0+24x2", "24x2"),
        ("2×10", "2x10"),
        ("3x8+0x0", "3x8"),
    ],
)
def test_plans_are_kept_in_canonical_text_that_the_vine_model_reads(write, written, canonical):
    from cropload.vine.plan import PruningPlan

    records = read_records(write(pruning=f"season,block,plan\n2026,North,{written}\n"))
    plan = records.pruning.loc[0, "plan"]
    assert plan == canonical == str(PruningPlan.parse(written))


@pytest.mark.parametrize(
    ("written", "day"),
    [
        ("2026-03-14", "2026-03-14"),
        ("2026-3-4", "2026-03-04"),
        ("2026/03/14", "2026-03-14"),
        ("2026-03-14 10:30", "2026-03-14"),
        ("14/03/2026", "2026-03-14"),
        ("14.3.2026", "2026-03-14"),
        ("03/14/2026", "2026-03-14"),
        ("04/04/2026", "2026-04-04"),
    ],
)
def test_dates(write, written, day):
    records = read_records(write(pruning=f"season,block,date\n2026,North,{written}\n"))
    assert records.pruning.loc[0, "date"] == pd.Timestamp(day)


def test_a_late_day_settles_the_order_of_the_whole_column(write):
    pruning = "season,block,date\n2026,North,03/02/2026\n2026,South,14/02/2026\n"
    days = read_records(write(pruning=pruning)).pruning["date"]
    assert days.tolist() == [pd.Timestamp("2026-02-03"), pd.Timestamp("2026-02-14")]


@pytest.mark.parametrize(
    "name",
    [
        "O'Hara's \"Old\" block",
        "<b>bold</b>",
        "=SUM(A1)",
        "Süd Höhe",
        "北の畑",
        "+1",
        "@home",
        "007",
    ],
)
def test_any_name_is_kept_as_it_is(write, name):
    quoted = '"' + name.replace('"', '""') + '"'
    blocks = f"block,variety,row_spacing_m,vine_spacing_m,vines\n {quoted},Riesling,2,1,100\n"
    blocks = blocks.replace(f" {quoted}", quoted)
    records = read_records(write(blocks=blocks, pruning=f"season,block,plan\n2026,{quoted},3x8\n"))
    assert records.blocks["block"].tolist() == [name]
    assert records.pruning["block"].tolist() == [name]


def test_blank_lines_are_skipped_and_rows_numbered_as_in_a_spreadsheet(write, faults):
    blocks = "\nblock,variety,row_spacing_m,vine_spacing_m,vines\n\n,,,,\nN,Riesling,-2,1,100\n"
    (fault,) = faults(write(blocks=blocks))
    assert (fault.file, fault.row, fault.column) == ("blocks.csv", 5, "row_spacing_m")
    assert fault.value == "-2"


def test_a_first_line_that_names_the_separator_is_honoured(write):
    blocks = "sep=;\nblock;variety;row_spacing_m;vine_spacing_m;vines\nN;Riesling;2,5;1;100\n"
    assert read_records(write(blocks=blocks)).blocks.loc[0, "row_spacing_m"] == 2.5


def test_utf16_is_read_and_latin1_is_read_with_a_warning(write):
    text = "block,variety,row_spacing_m,vine_spacing_m,vines\nHöhe,Riesling,2,1,100\n"
    assert read_records(write(blocks=text.encode("utf-16"))).blocks.loc[0, "block"] == "Höhe"
    records = read_records(write(blocks=text.replace("Höhe", "O’Höhe").encode("cp1252")))
    assert records.blocks.loc[0, "block"] == "O’Höhe"
    assert "UTF-8" in records.warnings[0].rule


def test_several_picks_of_a_block_are_several_rows(write):
    harvest = (
        "season,block,date,tonnes,picked_pct\n"
        "2026,North,2026-09-01,2,40\n2026,North,2026-09-09,3,\n"
    )
    assert read_records(write(harvest=harvest)).harvest["tonnes"].tolist() == [2, 3]


def test_a_later_pruning_row_completes_an_earlier_one(write):
    pruning = (
        "season,block,plan,pruning_weight_kg,date\n"
        "2027,North,,0.9,2027-01-05\n2027,South,2x8,,\n2027,North,3x8,,2027-01-20\n"
    )
    read = read_records(write(pruning=pruning)).pruning
    assert read["block"].tolist() == ["North", "South"]
    assert read["plan"].tolist() == ["3x8", "2x8"]
    assert read.loc[0, "pruning_weight_kg"] == 0.9
    assert read.loc[0, "date"] == pd.Timestamp("2027-01-05")


def test_row_and_vine_are_labels(write):
    counts = "season,date,block,row,vine,clusters\n2026,2026-06-01,North,3A,12,30\n"
    read = read_records(write(counts=counts)).counts
    assert read.loc[0, ["row", "vine"]].tolist() == ["3A", "12"]


def test_files_that_are_no_tables_are_left_alone(write):
    folder = write(results="a,b\n1,2\n")
    (folder / "photo.jpg").write_bytes(b"\xff\xd8")
    (folder / "notes.txt").write_text("pruned late")
    assert read_records(folder).warnings == ()


def test_a_file_named_almost_like_a_table_is_pointed_out(write):
    records = read_records(write(prunings="season,block\n"))
    assert "pruning" in records.warnings[0].mend
    assert records.warnings[0].file == "prunings.csv"


def test_unknown_columns_are_pointed_out_with_a_near_name(write):
    records = read_records(write(pruning="season,block,plann,weather\n2026,North,3x8,dry\n"))
    hints = {doubt.column: doubt.mend for doubt in records.warnings}
    assert "plan" in hints["plann"]
    assert hints["weather"] == ""


def test_the_sample_estate_reads_clean():
    from cropload.records.example import example_records

    records = example_records()
    unused = {"scenarios", "parts", "events", "corrections", "answered"}
    unused |= {"prices", "tanks", "presses", "picking", "pickers"}
    assert records.given == TABLES.keys() - unused
    assert len(records.blocks) == 8


def test_a_range_of_prices_is_its_middle_and_its_width(write):
    """Between 400 and 900 the middle in shares is 600; a short ton is 0.90718474 t."""
    rows = "variety,price_per_ton,price_above_cap\nRiesling,400-900,100\nMerlot,500,\n"
    prices = read_records(write(prices=rows)).prices
    assert prices["price_per_t"].tolist() == pytest.approx([600 / 0.90718474, 500 / 0.90718474])
    assert prices["price_per_t_range"].tolist() == pytest.approx([np.log(9 / 4), 0.0])
    assert prices["price_above_cap_range"].tolist() == pytest.approx([0.0, np.nan], nan_ok=True)
    commas = read_records(write(prices="variety;price_per_t\nRiesling;400,5-900,5\nMerlot;1,5\n"))
    assert commas.prices["price_per_t_range"].iloc[0] == pytest.approx(np.log(900.5 / 400.5))
