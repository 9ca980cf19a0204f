"""A folder to work in: records beside the notebooks, nothing of the user's ever overwritten."""

import json
from pathlib import Path

from cropload.errors import CroploadError
from cropload.records.example import shipped
from cropload.records.writing.gate import make_folder, workbook_bytes, write_new

#: What a sample estate in a folder of one's own is called.
EXAMPLE_WORKBOOK = "quillfoot.xlsx"


def new_folder(folder, example=False, xlsx=False, units="metric"):
    """Make a folder with records and the notebooks.

    Parameters
    ----------
    folder : str or path
        A folder that is empty or not there yet.
    example : bool
        A copy of the invented sample estate instead of empty tables.
    xlsx : bool
        One workbook instead of a CSV file for each table.
    units : str or UnitSystem
        ``"metric"`` or ``"us"``: the column names of empty tables.

    Returns
    -------
    (pathlib.Path, list of pathlib.Path)
        What to give to ``read_records``, and the notebooks copied.

    Raises
    ------
    CroploadError
        When the folder holds something already, or cannot be written.
    """
    from cropload.records.writing.template import write_template
    from cropload.units import unit_system

    if example and unit_system(units).name != "metric":
        raise CroploadError(
            "The sample estate is in metric columns. Leave the units out; "
            "`compare --units us` shows its results in US units."
        )
    folder = _empty_folder(folder)
    if not example:
        return write_template(folder, xlsx=xlsx, units=units), copy_notebooks(folder)
    sample = shipped("sample_data")
    if xlsx:
        records = folder / EXAMPLE_WORKBOOK
        files = {records: _example_workbook()}
    else:
        records = folder
        files = {folder / file.name: file.read_bytes() for file in _sample_tables()}
    explained = sample / "README.md"
    if explained.is_file():
        files[folder / explained.name] = explained.read_bytes()
    write_new(files)
    return records, copy_notebooks(folder)


def _empty_folder(folder):
    """Return the folder, made when it was not there; stop when it holds something."""
    if not str(folder).strip():
        raise CroploadError("The name of the folder is blank. Give the name of a new folder.")
    folder = Path(folder).expanduser()
    if folder.suffix.lower() in (".xlsx", ".xlsm", ".csv"):
        raise CroploadError(
            f"{folder} looks like a file. Give the name of a folder; --xlsx puts a workbook in it."
        )
    try:
        if folder.exists() and not folder.is_dir():
            raise CroploadError(f"{folder} is a file. Give the name of a new folder.")
        make_folder(folder)
        held = sorted(entry.name for entry in folder.iterdir() if not entry.name.startswith("."))
    except (OSError, ValueError) as fault:
        if isinstance(fault, CroploadError):
            raise
        reason = getattr(fault, "strerror", None) or fault
        raise CroploadError(
            f"The folder {folder} cannot be used ({reason}). Choose another place."
        ) from None
    if held:
        shown = ", ".join(held[:4]) + (", ..." if len(held) > 4 else "")
        raise CroploadError(
            f"The folder {folder} holds {shown} already, and nothing is overwritten. "
            "Give the name of a new folder."
        )
    return folder


def _sample_tables():
    return sorted((shipped("sample_data") / "quillfoot").glob("*.csv"))


def _example_workbook():
    """Return the sample estate as one workbook, a sheet for each table."""
    import csv

    import openpyxl

    book = openpyxl.Workbook(write_only=True)
    for source in _sample_tables():
        sheet = book.create_sheet(source.stem)
        with source.open(encoding="utf-8-sig", newline="") as file:
            for row in csv.reader(file):
                sheet.append([_cell(text) for text in row])
    return workbook_bytes(book)


def _cell(text):
    """Return a number as a number and everything else as text; the file is our own."""
    try:
        value = float(text)
    except ValueError:
        return text or None
    return int(value) if value.is_integer() and "." not in text else value


def notebooks():
    """Return the shipped notebooks, in the order of the season."""
    return sorted(shipped("notebooks").glob("*.ipynb"))


def records_in(folder):
    """Return what in a folder holds the records: ``"."``, the name of a workbook, or None.

    Notes
    -----
    A table of blocks as a CSV file comes first, then ``records.xlsx``, then a workbook that is
    alone; of several others none is guessed at.
    """
    try:
        names = sorted(entry.name for entry in Path(folder).iterdir())
    except OSError:
        return None
    if "blocks.csv" in (name.lower() for name in names):
        return "."
    books = [name for name in names if name.lower().endswith(".xlsx") and name[0] not in "~."]
    if "records.xlsx" in books:
        return "records.xlsx"
    return books[0] if len(books) == 1 else None


#: The line of a notebook that says which records it shows: those of the sample estate.
SAMPLE_LINE = '"FOLDER = None'


def _beside(notebook, records):
    """Return the bytes of a notebook that shows the records it lies beside, if there are any."""
    if records is None:
        return notebook
    own_line = f'"FOLDER = {json.dumps(json.dumps(records))[1:-1]}'
    return notebook.replace(SAMPLE_LINE.encode(), own_line.encode(), 1)


def copy_notebooks(folder):
    """Copy the shipped notebooks into a folder, set to the records in it.

    Parameters
    ----------
    folder : str or path
        The folder; notebooks that are there already stay as they are.

    Returns
    -------
    list of pathlib.Path
        The notebooks that were copied.
    """
    records, files = records_in(folder), {}
    for source in notebooks():
        target = Path(folder) / source.name
        if not target.exists() and not target.is_symlink():
            files[target] = _beside(source.read_bytes(), records)
    if files:
        write_new(files)
    return list(files)
