"""What a workbook shows is what is read; what hides a value is named once, with its mend."""

import datetime
import zipfile

import openpyxl
import pytest
from openpyxl.chart import BarChart, Reference

from cropload.records.reading.workbook_looks import is_percent
from cropload.records.records import read_records
from cropload.records.writing.append import append_rows

BLOCKS = [
    ["block", "variety", "row_spacing_m", "vine_spacing_m", "vines", "missing_pct"],
    ["North", "Riesling", 2.5, 1, 1000, 3],
    ["South", "Riesling", 2.0, 1.2, 900, 5],
]
HARVEST = [
    ["season", "block", "date", "tonnes", "picked_pct"],
    [2024, "North", datetime.date(2024, 9, 20), 2.0, 100],
    [2025, "North", datetime.date(2025, 9, 20), 2.2, 100],
    [2026, "North", datetime.date(2026, 9, 20), 2.1, 100],
]


@pytest.fixture
def book(tmp_path):
    """Return a function that saves both tables after a change, and returns the path."""

    def saved(change=None, harvest=HARVEST):
        workbook = openpyxl.Workbook()
        workbook.remove(workbook.active)
        for title, rows in {"blocks": BLOCKS, "harvest": harvest}.items():
            sheet = workbook.create_sheet(title)
            for row in rows:
                sheet.append(row)
        if change:
            change(workbook)
        path = tmp_path / "season.xlsx"
        workbook.save(path)
        return path

    return saved


def patched(path, old, new):
    """Replace text of the first sheet, as another program would have stored it."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    sheet = parts["xl/worksheets/sheet1.xml"].decode()
    assert old in sheet
    parts["xl/worksheets/sheet1.xml"] = sheet.replace(old, new).encode()
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return path


def put(sheet, cell, value, number_format=None):
    def change(workbook):
        workbook[sheet][cell] = value
        if number_format:
            workbook[sheet][cell].number_format = number_format

    return change


@pytest.mark.parametrize("shown", ["0%", "0.00%", "0.0 %;[Red]-0.0 %"])
def test_a_cell_shown_as_a_percentage_is_read_as_shown(book, shown):
    blocks = read_records(book(put("blocks", "F2", 0.35, shown))).blocks
    assert blocks["missing_pct"].tolist() == [35, 5]


def test_a_fraction_among_percentages_is_asked_about(book):
    def change(workbook):
        put("blocks", "F2", 0.35, "0%")(workbook)
        put("blocks", "F3", 0.05)(workbook)

    (doubt,) = read_records(book(change)).warnings
    assert (doubt.row, doubt.column, doubt.value) == (3, "missing_pct", "0.05")


def test_a_percentage_is_read_without_the_noise_of_a_hundredfold(book):
    blocks = read_records(book(put("blocks", "F2", 0.07, "0%"))).blocks
    assert blocks["missing_pct"][0] == 7


def test_a_percentage_in_a_column_that_is_none_is_refused(book, faults):
    (fault,) = faults(book(put("blocks", "E2", 9, "0%")))
    assert (fault.column, fault.value) == ("vines", "900%")
    assert "no percentage" in fault.mend


@pytest.mark.parametrize(
    ("shown", "percent"),
    [("0%", True), ('0" %"', False), (r"0\%", False), ("General", False), ("[%]0", False)],
)
def test_only_the_bare_sign_makes_a_percentage(shown, percent):
    assert is_percent(shown) is percent


@pytest.mark.parametrize("text", ["35%", "35 %"])
def test_a_percent_sign_is_read_in_a_csv_file_too(write, text):
    head = "block,variety,row_spacing_m,vine_spacing_m,vines,missing_pct\n"
    folder = write(blocks=head + f"A,Riesling,2,1,100,{text}\nB,Riesling,2,1,100,4\n")
    assert read_records(folder).blocks["missing_pct"].tolist() == [35, 4]


def test_a_row_added_below_a_percentage_is_read_as_it_was_given(book):
    path = book(put("harvest", "E4", 1, "0%"))
    append_rows(
        path, "harvest", [{"season": 2026, "block": "South", "tonnes": 1.0, "picked_pct": 40}]
    )
    assert read_records(path).harvest["picked_pct"].tolist() == [100, 100, 100, 40]
    assert openpyxl.load_workbook(path)["harvest"]["E5"].number_format == "0%"


def test_a_formula_without_a_result_gives_one_fault(book, faults):
    def change(workbook):
        workbook["blocks"]["A2"] = '="No"&"rth"'
        workbook["blocks"]["E3"] = "=SUM(E2:E2)"

    found = faults(book(change))
    assert [(fault.row, fault.column) for fault in found] == [(2, "block"), (3, "vines")]
    assert all("formula" in fault.rule for fault in found)


@pytest.mark.parametrize("cell", ["D1", "F1"])
def test_a_header_by_formula_without_a_result_gives_one_fault(book, faults, cell):
    (fault,) = faults(book(put("blocks", cell, '="x"&"y"')))
    assert (fault.row, fault.value) == (1, '="x"&"y"')


def test_merged_cells_are_named_once(book, faults):
    def change(workbook):
        workbook["harvest"].merge_cells("B2:B4")

    (fault,) = faults(book(change))
    assert (fault.file, fault.row, fault.value) == ("season.xlsx [harvest]", 2, "B2:B4")
    assert "Unmerge" in fault.mend


def test_a_merged_header_is_named_once(book, faults):
    (fault,) = faults(book(lambda workbook: workbook["blocks"].merge_cells("C1:D1")))
    assert fault.value == "C1:D1"


def test_merged_cells_beside_the_table_do_no_harm(book):
    def change(workbook):
        workbook["harvest"]["H2"] = "a note"
        workbook["harvest"].merge_cells("A8:E8")

    path = book(change, harvest=[[*row, None, None, None] for row in HARVEST])
    with pytest.raises(Exception, match="more cells") as caught:
        read_records(path)
    assert len(caught.value.faults) == 1
    assert len(read_records(book(lambda b: b["harvest"].merge_cells("A8:E8"))).harvest) == 3


def test_a_title_above_the_header_is_named_once(book, faults):
    (fault,) = faults(book(harvest=[["Harvest of the estate"], [], *HARVEST]))
    assert (fault.row, fault.value) == (1, "Harvest of the estate")
    assert "row 3" in fault.rule


@pytest.mark.parametrize("separator", [",", ";"])
def test_a_title_in_a_csv_file_is_named_once(write, faults, separator):
    rows = ["Harvest of the estate", "", "season,block,tonnes", "2026,North,2.4"]
    (fault,) = faults(write(harvest="\n".join(rows).replace(",", separator)))
    assert (fault.row, fault.value) == (1, "Harvest of the estate")


def test_a_hidden_sheet_is_read_and_doubted(book):
    def change(workbook):
        workbook["harvest"].sheet_state = "hidden"

    records = read_records(book(change))
    (doubt,) = records.warnings
    assert "hidden" in doubt.rule
    assert len(records.harvest) == 3


def test_a_chart_in_place_of_a_table_is_named(book, faults):
    def change(workbook):
        chart = BarChart()
        chart.add_data(Reference(workbook["blocks"], min_col=5, min_row=1, max_row=3))
        workbook.create_chartsheet("pruning").add_chart(chart)

    (fault,) = faults(book(change))
    assert fault.file == "season.xlsx [pruning]"
    assert "chart" in fault.rule
    assert "pruning" in fault.mend


@pytest.mark.parametrize("number", ["NaN", "-Infinity", "1.#IND"])
def test_a_stored_number_that_is_none_is_named_with_its_cell(book, faults, number):
    cell = '<c r="C2"><f>0/0</f><v>{}</v></c>'
    path = patched(book(), '<c r="C2" t="n"><v>2.5</v></c>', cell.format(number))
    (fault,) = faults(path)
    assert "cell C2" in fault.file
    assert fault.value == number


@pytest.mark.parametrize("error", ["#N/A", "#REF!", "#DIV/0!"])
@pytest.mark.parametrize(("cell", "column"), [("C2", "row_spacing_m"), ("B2", "variety")])
def test_an_error_of_a_formula_is_named_and_never_taken_for_a_name(
    book, faults, error, cell, column
):
    path = book(put("blocks", cell, 7))
    path = patched(
        path,
        f'<c r="{cell}" t="n"><v>7</v></c>',
        f'<c r="{cell}" t="e"><f>A1</f><v>{error}</v></c>',
    )
    (fault,) = faults(path)
    assert (fault.row, fault.column, fault.value) == (2, column, error)
    assert "Correct its formula" in fault.mend
