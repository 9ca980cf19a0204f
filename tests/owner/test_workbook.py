"""The owner's tables as a workbook, opened again."""

import io

import numpy as np
import openpyxl
import pytest
from owner_cases import EMOJI, FORMULA, SCRIPT, compared, odd_estate, reported, scenarios

from cropload.units import US


@pytest.fixture(scope="module")
def report():
    return reported()


@pytest.fixture(scope="module")
def book(report):
    return openpyxl.load_workbook(io.BytesIO(report.workbook()))


def column(sheet, head):
    """Return the cells under a head."""
    at = [cell.value for cell in sheet[1]].index(head) + 1
    return [row[0].value for row in sheet.iter_rows(min_row=2, min_col=at, max_col=at)]


def test_numbers_are_those_of_the_comparison(book, report):
    blocks = report.found.blocks
    for end, words in (
        ("p10", "low end (p10)"),
        ("p50", "middle (p50)"),
        ("p90", "high end (p90)"),
    ):
        shown = column(book["crop by block"], f"first season, {words} [t/ha]")
        np.testing.assert_allclose(shown, blocks[f"t_ha_{end}"])
        left = column(book["money"], f"left, settled, {words} [EUR]")
        np.testing.assert_allclose(left, report.found.money_settled[f"margin_{end}"])
    assert (
        column(book["balance"], "balance once settled") == blocks["balance_settled_word"].tolist()
    )


def test_us_numbers_are_converted_once():
    report = reported(units="us")
    book = openpyxl.load_workbook(io.BytesIO(report.workbook()))
    shown = column(book["crop by block"], "settled, middle (p50) [ton/ac]")
    # 1 short ton/ac = 2.24170 t/ha.
    np.testing.assert_allclose(
        shown, report.found.blocks["t_ha_settled_p50"] / 2.2417023, rtol=1e-6
    )
    assert US.label("tonnes") in " ".join(str(c.value) for c in book["crop in total"][1])


def test_a_share_is_stored_as_a_fraction_and_shown_in_per_cent(book, report):
    sheet = book["beside the first"]
    head = "chance of less"
    worse = report.found.decision.estate["chance_worse"].tolist()
    assert column(sheet, head) == [None, *worse[1:]]
    at = [cell.value for cell in sheet[1]].index(head) + 1
    assert sheet.cell(3, at).number_format == "0%"


def test_numbers_have_formats_and_panes_are_frozen(book):
    for sheet in book.worksheets:
        assert sheet.freeze_panes
    crop = book["crop by block"]
    assert crop.freeze_panes == "C2"
    formats = {cell.number_format for cell in crop[2] if isinstance(cell.value, float)}
    assert formats == {"#,##0.0"}


def test_notes_tell_version_seed_as_of_and_range(book):
    notes = {row[0].value: row[1].value for row in book["notes"].iter_rows() if row[0].value}
    assert notes["made with"].startswith("cropload ")
    assert notes["seed"] == "0"
    assert "season 2026" in notes["as of"]
    assert "80 % range, equal tails" in notes["range"]


def test_text_never_becomes_a_formula():
    report = reported(odd_estate(), scenarios((SCRIPT, FORMULA, EMOJI)))
    book = openpyxl.load_workbook(io.BytesIO(report.workbook()))
    names = set()
    for sheet in book.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type != "f"
                names.add(cell.value)
    assert {SCRIPT, FORMULA, EMOJI} <= names


def test_scenario_named_like_a_formula_stays_text():
    records = odd_estate()
    given = {"=SUM(A1)": {"Fir": "2x8"}, "+b": {"Fir": "2x9"}}
    report = reported(records, given)
    book = openpyxl.load_workbook(io.BytesIO(report.workbook()))
    cell = book["money"]["A2"]
    assert (cell.value, cell.data_type, cell.quotePrefix) == ("=SUM(A1)", "s", True)


def test_every_component_tells_where_it_came_from(book):
    origins = set(column(book["components"], "came from"))
    assert origins <= {
        "this block's own records",
        "the same variety on this estate",
        "the handbook",
    }
    assert len(column(book["components"], "block")) == sum(
        len(parts) for parts in compared().components.values()
    )
