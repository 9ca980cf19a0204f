"""A folder to work in: records beside the notebooks, nothing of the user's ever overwritten."""

from pathlib import Path

from cropload.errors import CroploadError
from cropload.pages.notebooks import bring_notebooks
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
        return write_template(folder, xlsx=xlsx, units=units), bring_notebooks(folder).copied
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
    return records, bring_notebooks(folder).copied


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
