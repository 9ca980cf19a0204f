"""Columns in other words of the trade, or in other units: suggested, and never read unasked."""

import pytest

from cropload.records.reading.trade_words import MADE_FROM, columns_named, trade_words
from cropload.records.records import read_records
from cropload.records.tables import TABLES

COUNTS = "season,date,block,row,vine,"


@pytest.mark.parametrize(
    ("table", "text", "wanted"),
    [
        ("counts", COUNTS + "bunches\n2026,2026-07-01,North,1,1,30\n", "'clusters'"),
        ("counts", COUNTS + "nodes\n2026,2026-02-01,North,1,1,30\n", "'buds'"),
        ("counts", COUNTS + "suckers\n2026,2026-06-01,North,1,1,3\n", "'noncount_shoots'"),
        ("harvest", "season,block,tonnes,docket\n2025,North,4,A1\n", "'ticket'"),
        ("blocks", None, "'year_planted'"),
    ],
)
def test_a_word_of_the_trade_is_suggested_and_not_read(write, table, text, wanted):
    """Bunch, node, sucker, docket: common practice, no source."""
    if text is None:
        text = (
            "block,variety,row_spacing_m,vine_spacing_m,vines,planted\nNorth,Riesling,2,1,9,2001\n"
        )
    records = read_records(write(**{table: text}))
    (doubt,) = records.warnings
    assert "is not read" in doubt.rule
    assert f"Did you mean {wanted}?" in doubt.mend
    column = wanted.strip("'")
    assert getattr(records, table)[column].replace("", None).isna().all()


@pytest.mark.parametrize("header", ["harvest_t", "yield", "crop_t"])
def test_a_crop_in_other_words_is_asked_for_with_its_unit(write, faults, header):
    (fault,) = faults(write(harvest=f"season,block,{header}\n2025,North,4\n"))
    assert f"Did you mean it by '{header}'?" in fault.mend
    assert "tonnes are metric (1,000 kg)" in fault.mend


def test_kilograms_beside_no_tonnes_are_told_what_to_divide_by(write, faults):
    (fault,) = faults(write(harvest="season,block,kg\n2025,North,4000\n"))
    assert "divide its values by 1,000 and name the column tonnes" in fault.mend


@pytest.mark.parametrize(
    ("header", "words"),
    [("yield_t_ha", "times the hectares"), ("kg_per_vine", "times the bearing vines")],
)
def test_a_crop_of_a_hectare_or_a_vine_is_never_only_renamed(write, faults, header, words):
    (fault,) = faults(write(harvest=f"season,block,{header}\n2025,North,4\n"))
    assert words in fault.mend
    assert "Rename" not in fault.mend


def test_kilograms_in_the_place_of_grams_are_never_only_renamed(write, faults):
    head = "season,date,block,stage,clusters,weight_kg\n2026,2026-08-01,North,lag,20,1.4\n"
    (fault,) = faults(write(weights=head))
    assert "multiply its values by 1,000, and name it weight_g" in fault.mend


def test_grams_of_prunings_are_told_what_to_divide_by(write):
    text = "season,block,plan,pruning_weight_g\n2026,North,2x10+2x2,640\n"
    (doubt,) = read_records(write(pruning=text)).warnings
    assert "divide its values by 1,000, and name it pruning_weight_kg" in doubt.mend


def test_a_column_of_ones_own_is_only_named(write):
    (doubt,) = read_records(write(counts=COUNTS + "zzq\n2026,2026-07-01,North,1,1,9\n")).warnings
    assert doubt.mend == ""


@pytest.mark.parametrize("name", TABLES)
def test_a_columns_own_name_is_no_word_for_another(name):
    table = TABLES[name]
    for column in table.columns:
        for alias in column.aliases:
            assert columns_named(name, alias.replace("_", " "))[:1] in ((column.name,), ())
    own = trade_words().get(name, {})
    assert set(own) <= {*table.names, *MADE_FROM.get(name, ())}
