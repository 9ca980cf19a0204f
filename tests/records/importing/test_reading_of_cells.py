"""What single cells, headers, names and sheets are read as, beside what whole books show.

Short forms, marks and words are common practice, no source.
"""

from datetime import date

import pandas as pd
import pytest

from cropload.errors import CroploadError
from cropload.records.importing.find import regions
from cropload.records.importing.join import Joiner
from cropload.records.importing.meaning import meaning_of
from cropload.records.importing.names import BlockNames, likely_blocks, variety_named
from cropload.records.importing.notation import own_unit
from cropload.records.importing.questions import (
    Question,
    Questions,
    questions_toml,
    read_answers,
)
from cropload.records.importing.understand import understand
from cropload.records.importing.values import day_of, number_of, plan_of, sign_shown
from cropload.records.reading.grids import Grid
from cropload.records.reading.trade_words import (
    columns_named,
    is_total,
    only_total,
    seasons_in,
    split_unit,
    unit_named,
)


@pytest.mark.parametrize(
    ("text", "decimal", "number"),
    [
        ("1,250", ",", 1.25),
        ("1,250", ".", 1250),
        ("1 250,5", ",", 1250.5),
        ("1'250.5", ".", 1250.5),
        ("1\u202f250", ".", 1250),
        ("ca. 12", ".", 12),
        ("\N{MINUS SIGN}2.5", ".", -2.5),
        ("2.2 m", ".", 2.2),
        ("12 bottles", ".", None),
        ("1.2.3.4", ",", 1234),
        ("", ".", None),
        (True, ".", None),
    ],
)
def test_a_number_is_read_in_its_notation(text, decimal, number):
    found = number_of(text, decimal)
    assert (found and found.value) == number


def test_a_number_alone_does_not_tell_a_thousand_from_a_decimal():
    assert sign_shown("1,250") == sign_shown("1.250") == "?"


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("3/4/2024", date(2024, 4, 3)),
        ("25/4/2024", date(2024, 4, 25)),
        ("3.4.24", date(2024, 4, 3)),
        ("2024-04-03", date(2024, 4, 3)),
        ("3-sept.-24", date(2024, 9, 3)),
        ("3 de abril de 2024", date(2024, 4, 3)),
        ("Tue 3 April 2024", date(2024, 4, 3)),
        ("45385", date(2024, 4, 3)),
        (45385.0, date(2024, 4, 3)),
        ("31/2/2024", None),
        ("soon", None),
        ("3/4", None),
    ],
)
def test_a_day_is_read_however_it_is_written(text, day):
    assert day_of(text, "day/month") == day


def test_the_order_of_a_day_is_that_of_the_file():
    assert day_of("3/4/2024", "month/day") == date(2024, 3, 4)
    assert day_of("25/4/2024", "month/day") == date(2024, 4, 25)


@pytest.mark.parametrize(
    ("text", "plan"),
    [
        ("2 baguettes à 8 yeux", "2x8"),
        ("12 Zapfen je 2 Augen", "12x2"),
        ("2x10 + 2x2", "2x10+2x2"),
        ("hard", None),
    ],
)
def test_a_plan_is_read_from_words(text, plan):
    assert plan_of(text) == plan


@pytest.mark.parametrize(
    ("table", "header", "column"),
    [
        ("blocks", "Row sp.", "row_spacing_m"),
        ("blocks", "N° de pieds", "vines"),
        ("counts", "Anz. Trauben", "clusters"),
        ("harvest", "Docket no.", "ticket"),
        ("pruning", "Madera de poda", "pruning_weight_kg"),
        ("blocks", "Parcela / Block", "block"),
    ],
)
def test_a_header_names_its_column(table, header, column):
    assert columns_named(table, header)[0] == column


def test_a_strange_header_names_none():
    assert columns_named("blocks", "Rootstock") == ()


@pytest.mark.parametrize(
    ("header", "name", "unit"),
    [
        ("Row (ft)", "Row", "ft"),
        ("Net kg", "Net", "kg"),
        ("kg/ha", "", "kg/ha"),
        ("Loss %", "Loss", "%"),
        ("Planted in", "Planted in", None),
    ],
)
def test_a_unit_is_taken_off_its_header(header, name, unit):
    text, found = split_unit(header)
    assert found is None if unit is None else found.name == unit
    assert text == name or found == unit_named(header)


def test_pounds_and_short_tons_are_what_the_law_says():
    # 1 lb = 0.45359237 kg and 1 short ton = 2,000 lb (NIST Handbook 44, appendix C).
    assert own_unit(1, unit_named("lb"), "kg") == pytest.approx(0.45359237, rel=1e-12)
    assert own_unit(1, unit_named("short tons"), "t") == pytest.approx(0.90718474, rel=1e-12)
    assert unit_named("tons").unsure


def test_years_are_found_in_titles():
    assert seasons_in("Vintage 2025/26") == [(2026, True)]
    assert seasons_in("Crop 2024 and 2025") == [(2024, False), (2025, False)]


def test_a_total_is_told_from_a_block_of_such_a_name():
    assert is_total("Total Loss Corner")
    assert not only_total("Total Loss Corner")
    assert only_total("Summe 2024")


def _grid(*rows, merged=()):
    return Grid("book.xlsx", "Sheet", [list(row) for row in rows], list(merged))


_HEADS = ("Block", "Variety", "Row (m)", "Vine (m)", "Vines")


def test_a_total_row_is_left_out_and_the_block_of_such_a_name_is_not():
    rows = [("Total Loss Corner", "Merlot", 2, 1, 900), ("Mill", "Merlot", 2, 1, 600)]
    rows += [("Estate total", None, None, None, 1500)]
    crop = [("Block", 2024, 2025), ("Total Loss Corner", 3, 4), ("Mill", 2, 3), ("Total", 5, 7)]
    found = understand(
        [_grid(_HEADS, *rows), Grid("crop.xlsx", "Crop t", [list(row) for row in crop])],
        {"unit of the crop": "t"},
    )
    assert list(found.tables["blocks"].frame["block"]) == ["Total Loss Corner", "Mill"]
    assert len(found.tables["harvest"].frame) == 4
    assert [text for _, text, why in found.left_out if why.startswith("a total")] == [
        "Estate total | 1500",
        "Total | 5 | 7",
    ]


def test_tables_beside_each_other_may_begin_in_other_rows():
    left = [_HEADS, ("Mill", "Merlot", 2, 1, 600), ("Hill", "Merlot", 2, 1, 500)]
    right = [("Crop (t)",), ("Block", 2024, 2025), ("Mill", 2.5, 3.5)]
    rows = [[*one, None, *other] for one, other in zip(left, right, strict=True)]
    found, _ = regions(_grid(*rows))
    assert [(region.top, meaning_of(region).main) for region in found] == [
        (0, "blocks"),
        (1, "harvest"),
    ]


def test_rows_of_numbers_and_days_are_no_headers():
    rows = [("Datum", "Lage", "Zeile", "Stock", "Triebe", "Trauben")]
    rows += [("07.06.2025", "B2", str(3 * n), "4", str(20 + n), "31") for n in range(4)]
    found, outside = regions(Grid("counts.csv", "", [list(row) for row in rows], text=True))
    assert [(len(region.rows), meaning_of(region).main) for region in found] == [(4, "counts")]
    assert outside == []


def test_a_word_for_crop_and_day_of_picking_is_read_by_what_stands_below():
    def columns(value):
        region = regions(_grid(("Année", "Parcelle", "Récolte"), (2024, "Mill", value)))[0][0]
        return [target.column for target in meaning_of(region).targets]

    assert columns(3.5) == ["season", "block", "tonnes"]
    both = _grid(("Parcelle", "kg", "Récolte"), ("Mill", 3500, date(2024, 9, 3)))
    targets = meaning_of(regions(both)[0][0]).targets
    assert [target.column for target in targets] == ["block", "tonnes", "date"]


def test_short_names_of_blocks_are_read_only_where_one_fits():
    known = {"hill top": "Hill Top", "hill foot": "Hill Foot", "long acre": "Long Acre"}
    assert likely_blocks("la", known) == [("Long Acre", True)]
    assert [sure for _, sure in likely_blocks("hill", known)] == [False, False]
    assert likely_blocks("long akre", known) == [("Long Acre", True)]
    assert likely_blocks("quarry", known) == []


def test_a_block_nobody_knows_is_asked_and_likely_left_out():
    questions, names = Questions(), BlockNames(defined=True)
    names.add("Mill")
    assert names.read("Quarry", "A5", questions) is None
    assert [question.id for question in questions.open] == ["block Quarry"]


@pytest.mark.parametrize(
    ("text", "variety"),
    [("SB", "Sauvignon blanc"), ("Spätburgunder", "Spätburgunder"), ("Ries.", "Riesling")],
)
def test_a_short_form_of_a_variety_is_written_out(text, variety):
    questions = Questions()
    assert variety_named(text, (), "B2", questions) == variety
    assert questions.open == []


_CHOICE = Question("order of dates", "Which first?", "A4", {"day/month": "", "month/day": ""})


def test_an_answer_is_its_text_its_number_or_blank_for_the_likely_one():
    assert [_CHOICE.answer_of(text) for text in ("", "2", "Month/Day")] == [
        "day/month",
        "month/day",
        "month/day",
    ]
    with pytest.raises(CroploadError, match="is no answer to 'order of dates'"):
        _CHOICE.answer_of("3")


def test_questions_come_back_as_answers():
    data = questions_toml([_CHOICE], ["One."], [(Question("a", "b?", "", {"x": "y"}), "x")])
    assert read_answers("q.toml", data.encode()) == {"a": "x", "order of dates": "day/month"}
    with pytest.raises(CroploadError, match="is no file of answers"):
        read_answers("q.toml", b"answer =")


def test_an_answer_that_is_impossible_elsewhere_is_asked_there_by_itself():
    questions = Questions({"unit": "kg"})
    assert questions.ask("unit", "Which?", "A1", {"kg": "", "lb": ""}) == "kg"
    assert questions.ask("unit", "Which?", "D1", {"t": "", "tons": ""}) == "t"
    assert [question.id for question in questions.open] == ["unit, D1"]


def test_the_later_of_two_tables_of_blocks_fills_what_the_first_leaves_out():
    class Shown:
        shown = "book.xlsx"

    class Part:
        region = type("Region", (), {"grid": Shown, "shown": "book.xlsx"})

    def frame(part, **columns):
        rows = {"block": ["Mill"], **{name: [value] for name, value in columns.items()}}
        return pd.DataFrame(rows | {"_part": part, "_row": 3, "_cells": "block A"})

    joiner = Joiner({1: Part, 2: Part}, Questions(), [])
    joined = joiner.join({"blocks": [frame(1, vines=600), frame(2, vines=650, rows=12)]})
    row = joined["blocks"].frame.iloc[0]
    assert (row["vines"], row["rows"]) == (600, 12)
    assert [text for _, text, _ in joiner.left_out] == ["vines 650"]
