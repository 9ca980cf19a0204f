"""Write an empty season: every table with its header, and what each column means."""

from pathlib import Path

from cropload import arguments
from cropload.errors import CroploadError
from cropload.records.reading.files import holds_records
from cropload.records.tables import TABLES
from cropload.records.writing.explain import explain_tables, heading, unit_shown
from cropload.records.writing.gate import make_folder, workbook_bytes, write_new
from cropload.units import unit_system


@arguments.check_arguments(
    path=arguments.path,
    xlsx=arguments.flag,
    units=arguments.any_of(arguments.kind("UnitSystem"), arguments.label),
)
def write_template(path, xlsx=False, units="metric"):
    """Write an empty season: every table with its header, and an explanation of every column.

    Parameters
    ----------
    path : str or path
        The folder to make; with ``xlsx``, the workbook (or the folder to put ``records.xlsx`` in).
    xlsx : bool
        One workbook instead of a folder of CSV files.
    units : str or UnitSystem
        ``"metric"`` or ``"us"``: the units in the names of the columns.

    Returns
    -------
    pathlib.Path
        The folder or the workbook.

    Raises
    ------
    CroploadError
        When something is there already, or cannot be written; nothing is overwritten.
    """
    us = unit_system(units).name == "us"
    path = Path(path).expanduser()
    if xlsx:
        if path.suffix.lower() != ".xlsx":
            path = path / "records.xlsx"
            if not path.exists():
                _stop_at_records(path.parent)
        make_folder(path.parent)
        write_new({path: _template_workbook(us)})
        return path
    files = {f"{name}.csv": _header_line(table, us) for name, table in empty_tables().items()}
    files["README.txt"] = explain_tables(us)
    make_folder(path)
    there = [name for name in files if (path / name).exists()]
    if there:
        raise CroploadError(
            f"{path} holds {', '.join(there)} already, and nothing is overwritten. "
            "Choose an empty folder."
        )
    _stop_at_records(path)
    write_new({path / name: text.encode("utf-8-sig") for name, text in files.items()})
    return path


def empty_tables():
    """Return the tables that a new season begins with, by name."""
    return {name: table for name, table in TABLES.items() if not table.made}


def _stop_at_records(folder):
    """Stop where empty tables would be read in the place of records that are there."""
    if holds_records(folder):
        raise CroploadError(
            f"{folder} holds records already, and empty tables beside them would be read in their "
            "place. Choose an empty folder."
        )


def _header_line(table, us):
    return ",".join(heading(column, us) for column in table.columns) + "\n"


def _template_workbook(us):
    import openpyxl
    from openpyxl.styles import Alignment, Font

    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, table in empty_tables().items():
        sheet = book.create_sheet(name)
        sheet.append([heading(column, us) for column in table.columns])
        sheet.freeze_panes = "A2"
        for cell, column in zip(sheet[1], table.columns, strict=True):
            cell.font = Font(bold=column.required)
            sheet.column_dimensions[cell.column_letter].width = max(10, len(cell.value) + 2)
            if column.kind == "date":
                sheet.column_dimensions[cell.column_letter].number_format = "yyyy-mm-dd"
    notes = book.create_sheet("notes")
    notes.append(["table", "column", "unit", "required", "rule", "explanation"])
    for name, table in empty_tables().items():
        for column in table.columns:
            required = "yes" if column.required else "no"
            unit = unit_shown(column, us)
            notes.append(
                [name, heading(column, us), unit, required, column.rule, column.explanation]
            )
    for cell in notes[1]:
        cell.font = Font(bold=True)
    notes.freeze_panes = "A2"
    for letter, width in zip("ABCDEF", (12, 24, 14, 10, 40, 80), strict=True):
        notes.column_dimensions[letter].width = width
    for row in notes.iter_rows(min_row=2, min_col=5):
        for cell in row:
            cell.alignment = Alignment(wrap_text=True, vertical="top")
    return workbook_bytes(book)
