"""The messy workbooks open, and what should come of each is a sound season folder."""

import pytest
from python_calamine import CalamineWorkbook

from cropload import read_records
from tests.records.importing.messy_books import CASES, MUST_ASK

BOOKS = [pytest.param(case, id=case.name) for case in [*CASES, *MUST_ASK]]


@pytest.mark.parametrize("case", BOOKS)
def test_what_should_come_of_it_is_a_sound_folder(case, tmp_path):
    for name, text in case.clean.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    records = read_records(tmp_path)
    assert records.given == set(case.clean)
    assert {name: len(getattr(records, name)) for name in case.clean} == {
        name: text.count("\n") - 1 for name, text in case.clean.items()
    }
    assert not records.warnings


def _cells(path):
    """Return every cell of a file as text, with the names of the sheets of a workbook."""
    if path.suffix in (".csv", ".txt"):
        lines = path.read_bytes().decode("cp1252").splitlines()
        return {cell.strip() for line in lines for cell in line.replace("\t", ";").split(";")}
    book = CalamineWorkbook.from_path(path)
    sheets = [book.get_sheet_by_name(name).to_python() for name in book.sheet_names]
    return {*book.sheet_names, *(str(cell) for rows in sheets for row in rows for cell in row)}


@pytest.mark.parametrize("case", BOOKS)
def test_its_files_open_and_hold_what_is_to_be_left_out(case, tmp_path):
    cells = set().union(*map(_cells, case.write(tmp_path)))
    assert set(case.left_out) <= cells
    blocks = [line.split(",")[0] for line in case.clean["blocks"].splitlines()[1:]]
    assert set(blocks) <= cells


def test_there_are_books_of_every_kind(tmp_path):
    kinds = set()
    for case in CASES:
        folder = tmp_path / case.name
        folder.mkdir()
        paths = case.write(folder)
        kinds.add((len(paths), paths[0].suffix))
        assert len(case.asked) <= 5
    assert kinds == {(1, ".xlsx"), (1, ".xls"), (1, ".ods"), (2, ".csv")}
    assert all(len(case.asked) == 1 for case in MUST_ASK)
    names = [case.name for case in [*CASES, *MUST_ASK]]
    assert len(set(names)) == len(names)
