import datetime
import zipfile

import openpyxl
import pytest

from cropload.records.records import read_records

BLOCKS = [
    ["block", "variety", "row_spacing_m", "vine_spacing_m", "vines"],
    ["North", "Riesling", 2.5, 1, 1000],
    [7, "Riesling", 2.0, 1.2, 900],
]


@pytest.fixture
def book(tmp_path):
    """Return a function that saves sheets given as rows and returns the path."""

    def saved(name="season.xlsx", **sheets):
        workbook = openpyxl.Workbook()
        workbook.remove(workbook.active)
        for title, rows in ({"blocks": BLOCKS} | sheets).items():
            sheet = workbook.create_sheet(title.replace("__", " "))
            for row in rows:
                sheet.append(row)
        path = tmp_path / name
        workbook.save(path)
        return path

    return saved


def test_numbers_dates_and_numeric_names(book):
    pruning = [
        ["season", "block", "pruning_weight_kg", "date"],
        [2026, 7, 0.85, datetime.datetime(2026, 1, 20)],
        [2026.0, "North", 1, datetime.date(2026, 1, 21)],
        [2027, "North", None, "2027-01-05"],
    ]
    records = read_records(book(pruning=pruning))
    assert records.blocks["block"].tolist() == ["North", "7"]
    assert records.pruning["block"].tolist() == ["7", "North", "North"]
    assert records.pruning["date"].dt.day.tolist() == [20, 21, 5]
    assert records.pruning["pruning_weight_kg"].tolist()[:2] == [0.85, 1]


def test_rows_are_numbered_as_the_sheet_numbers_them(book, faults):
    blocks = [[], BLOCKS[0], [None] * 5, ["North", "Riesling", True, 1, 100]]
    (fault,) = faults(book(blocks=blocks))
    assert (fault.file, fault.row, fault.value) == ("season.xlsx [blocks]", 4, "TRUE")


def test_formulas_without_stored_results_are_named(book, faults):
    blocks = [*BLOCKS, ["South", "Riesling", "=1+1", 1, "=SUM(E2:E3)"]]
    found = [fault for fault in faults(book(blocks=blocks)) if "formula" in fault.rule]
    assert [(fault.row, fault.column, fault.value) for fault in found] == [
        (4, "row_spacing_m", "=1+1"),
        (4, "vines", "=SUM(E2:E3)"),
    ]
    assert "save it" in found[0].mend


def test_formulas_with_stored_results_are_read_like_values(book):
    path = book(blocks=[*BLOCKS, ["South", "Riesling", 2, 1, 100]])
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    sheet = parts["xl/worksheets/sheet1.xml"].decode()
    # As spreadsheet programs store them: a number, and a formula that gives a blank text.
    stored = sheet.replace('<c r="C2" t="n"><v>2.5</v></c>', '<c r="C2"><f>1+1.5</f><v>2.5</v></c>')
    blank = '<c r="F4" t="str"><f>IF(1,"","")</f><v></v></c></row></sheetData>'
    head = '<c r="F1" t="inlineStr"><is><t>region</t></is></c></row>'
    stored = stored.replace("</row></sheetData>", blank).replace("</row>", head, 1)
    assert stored.count("<f>") == 2
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in (parts | {"xl/worksheets/sheet1.xml": stored.encode()}).items():
            archive.writestr(name, data)
    blocks = read_records(path).blocks
    assert blocks["row_spacing_m"].tolist() == [2.5, 2.0, 2.0]
    assert blocks["region"].tolist() == ["", "", ""]


def test_sheets_that_are_no_tables(book):
    records = read_records(book(My__notes=[["pruned late"]], prunning=[["season"]]))
    (doubt,) = records.warnings
    assert doubt.file == "season.xlsx [prunning]"
    assert "'pruning'" in doubt.mend


def test_wrong_sheet_names(tmp_path, faults):
    workbook = openpyxl.Workbook()
    workbook.active.title = "block"
    workbook.save(tmp_path / "season.xlsx")
    (fault,) = faults(tmp_path / "season.xlsx")
    assert "no sheet that is a table" in fault.rule
    assert "'blocks'" in fault.mend


def test_empty_sheet_and_far_too_wide_sheet(book, faults):
    found = faults(book(pruning=[], harvest=[[f"c{number}" for number in range(1000)]]))
    rules = {fault.file: fault.rule for fault in found}
    assert "empty" in rules["season.xlsx [pruning]"]
    assert "1,000 columns" in rules["season.xlsx [harvest]"]


def test_two_sheets_of_one_table(book, faults):
    found = faults(book(**{"blocks__": BLOCKS}))
    assert any("same table" in fault.rule for fault in found)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "password"),
        (b"garbage", "damaged"),
        (b"PK\x03\x04 not really", "damaged"),
    ],
)
def test_workbooks_that_are_none(tmp_path, faults, data, words):
    path = tmp_path / "season.xlsx"
    path.write_bytes(data)
    (fault,) = faults(path)
    assert words in fault.rule


def test_a_workbook_cut_short(book, faults):
    path = book()
    path.write_bytes(path.read_bytes()[:-400])
    assert "damaged" in faults(path)[0].rule


@pytest.mark.parametrize("name", ["season.xls", "season.ods"])
@pytest.mark.parametrize("given", ["file", "folder"])
def test_workbooks_of_other_kinds_are_sent_to_the_import(tmp_path, faults, name, given):
    path = tmp_path / name
    path.write_bytes(b"\xd0\xcf\x11\xe0")
    (fault,) = faults(path if given == "file" else tmp_path)
    assert f"`cropload import {name} --into FOLDER`" in fault.mend


def test_a_sheet_that_the_workbook_does_not_hold_is_a_fault(book, faults):
    path = book(harvest=[["season", "block", "tonnes"], [2024, "North", 5]])
    rewritten(path, **{"xl/worksheets/sheet2.xml": None})
    (fault,) = faults(path)
    assert fault.file == "season.xlsx [harvest]"
    assert "does not hold it" in fault.rule


@pytest.mark.parametrize("cell", ["AAA2", "C500002"])
def test_a_value_far_beside_a_table_is_told_before_it_is_read(book, faults, cell):
    path = book()
    with zipfile.ZipFile(path) as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml").decode()
    far = f'<row r="{cell.lstrip("AC")}"><c r="{cell}"><v>1</v></c></row></sheetData>'
    rewritten(path, **{"xl/worksheets/sheet1.xml": sheet.replace("</sheetData>", far).encode()})
    (fault,) = faults(path)
    assert any(words in fault.rule for words in ("703 columns", "row 500,002"))


def test_truth_values_and_numbers_of_one_column_are_told_apart(book):
    counts = [["season", "date", "block", "row", "vine", "clusters"]]
    counts += [[2026, "2026-06-20", "North", label, 1, 30] for label in (1, True, 1.5, "1a")]
    assert read_records(book(counts=counts)).counts["row"].tolist() == ["1", "TRUE", "1.5", "1a"]


def rewritten(path, **parts):
    """Replace parts of a workbook, or take out those that are None."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()} | parts
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in parts.items():
            if data is not None:
                archive.writestr(name, data)


def test_a_wholly_different_archive(tmp_path, faults):
    path = tmp_path / "season.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("hello.txt", "hello")
    assert "damaged" in faults(path)[0].rule


def test_rows_that_a_filter_hides_are_read_and_told(book):
    """They are read like the others, as sheets that are hidden are."""
    harvest = [["season", "block", "tonnes"], *([year, "North", 9] for year in range(2019, 2024))]
    path = book(harvest=harvest)
    workbook = openpyxl.load_workbook(path)
    for row in (3, 5):
        workbook["harvest"].row_dimensions[row].hidden = True
    workbook["harvest"].row_dimensions[40].hidden = True
    workbook.save(path)
    records = read_records(path)
    assert len(records.harvest) == 5
    (doubt,) = records.warnings
    assert (doubt.file, doubt.row, doubt.more) == ("season.xlsx [harvest]", 3, 1)
    assert "hidden" in doubt.rule
    assert "filter" in doubt.mend
