"""The sheets of a workbook of any kind as cells, and what its text tells beside them."""

import io
import zipfile

import python_calamine

from cropload.errors import CroploadError
from cropload.records.reading.faults import Fault, RecordsError, some_faults
from cropload.records.reading.files import (
    MOST_ROWS,
    WORKBOOKS,
    import_it,
    read_bytes,
    stop,
    too_wide,
)
from cropload.records.reading.workbook_looks import SheetText, percent_styles, sheet_part

#: A workbook that unpacks to more than this is not a season's records [bytes].
_MOST_BYTES = 500_000_000
#: More cells than these are not one table; so many are made room for, filled or not.
_MOST_CELLS = 20_000_000
#: A filled cell further to the right is beside any table [columns].
_MOST_RIGHT = 702
#: Numbers that are none, as some programs store them.
_NO_NUMBERS = (b"1.#", b"NaN<", b"nfinity<")
_OLD_OFFICE = b"\xd0\xcf\x11\xe0"


class Book:
    """A workbook whose sheets are read when they are asked for.

    Parameters
    ----------
    path : pathlib.Path
        The workbook.

    Raises
    ------
    RecordsError
        When the file is no workbook, is protected by a password, or is too large.
    """

    def __init__(self, path):
        self.path, self.data, self._texts = path, read_bytes(path), {}
        if not self.data:
            stop(path.name, "is empty", "Give a workbook with a sheet for each table.")
        self.archive, self.percents = None, frozenset()
        try:
            if zipfile.is_zipfile(io.BytesIO(self.data)):
                self.archive = zipfile.ZipFile(io.BytesIO(self.data))
                if sum(each.file_size for each in self.archive.infolist()) > _MOST_BYTES:
                    stop(path.name, "is far too large", "Keep only the tables of records in it.")
                self.percents = percent_styles(self.archive)
            self._book = _opened(self.data)
        except RecordsError:
            raise
        except python_calamine.PasswordError:
            stop(path.name, "is protected by a password", "Save a copy without a password.")
        except BaseException as error:  # a damaged workbook fails in many ways
            _no_stop(error)
            raise RecordsError([damaged(path.name)]) from None
        self.sheets = {about.name: about for about in self._book.sheets_metadata}

    def holds_cells(self, sheet):
        """Whether a sheet holds cells, and is no chart."""
        return self.sheets[sheet].typ == python_calamine.SheetTypeEnum.WorkSheet

    def hidden(self, sheet):
        """Whether a sheet is hidden."""
        return self.sheets[sheet].visible != python_calamine.SheetVisibleEnum.Visible

    def text(self, sheet):
        """Return the :class:`SheetText` of a sheet."""
        if sheet not in self._texts:
            text = b""
            if self.archive and self.path.suffix.lower() in WORKBOOKS:
                text = self.archive.read(self._part(sheet))
            self._texts[sheet] = SheetText(text, self.percents)
        return self._texts[sheet]

    def _part(self, sheet):
        return sheet_part(self.archive, sheet.strip().lower(), self.path.name)

    def rows(self, sheet):
        """Return the cells of a sheet and its merged cells.

        Returns
        -------
        (list of list, list of tuple)
            Rows of cells, ``""`` where blank, numbers shown as percentages as texts like ``35%``;
            and first row, first column, last row and last column of merged cells, from 0.

        Raises
        ------
        RecordsError
            When the sheet is damaged or missing, or too large.
        """
        place = f"{self.path.name} [{sheet}]"
        try:
            return self._read(sheet, place)
        except RecordsError:
            raise
        except CroploadError:
            mend = "Open it in your spreadsheet program and save it again as .xlsx."
            stop(place, "the workbook names this sheet, and does not hold it", mend)
        except BaseException as error:  # a damaged sheet fails in many ways
            _no_stop(error)
            broken = self._not_numbers(sheet, place) or [damaged(place)]
            raise RecordsError(broken) from None

    def _read(self, sheet, place):
        text, book = self.text(sheet), self._book
        last, right = text.extent
        if right > _MOST_RIGHT:
            too_wide(place, right)
        if last > MOST_ROWS or last * right > _MOST_CELLS:
            rule = f"has filled cells down to row {last:,}; a table has at most {MOST_ROWS:,} rows"
            stop(place, rule, "Clear what stands far below or beside the table.")
        errors = text.errors_as_text
        if errors is not None:
            # The reader passes over errors, and a name or a number would be lost unseen.
            book = _opened(self._with(self._part(sheet), errors))
        found = book.get_sheet_by_name(sheet)
        rows = found.to_python(skip_empty_area=False)
        for row, at in text.percent_cells:
            if row < len(rows) and at < len(rows[row]):
                value = rows[row][at]
                if isinstance(value, (int, float)) and not isinstance(value, bool):
                    rows[row][at] = f"{value * 100:.12g}%"
        if any(sign in text.text for sign in _NO_NUMBERS):
            raise ValueError("a number that is none")
        merged = [(*first, *end) for first, end in found.merged_cell_ranges or ()]
        return rows, merged

    def _with(self, part, text):
        """Return the workbook with another text of one part."""
        stream = io.BytesIO()
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as copy:
            for member in self.archive.infolist():
                own = member.filename == part
                copy.writestr(member.filename, text if own else self.archive.read(member))
        return stream.getvalue()

    def _not_numbers(self, sheet, place):
        """Return a fault for each cell stored as a number that is none, such as NaN."""
        try:
            cells = {row: (cell, text) for cell, row, text in self.text(sheet).broken_numbers}
        except Exception:  # a missing or damaged part fails in many ways
            return []
        what = "is stored as a number, and is none"
        mend = "Correct its formula, or clear the cell where nothing was measured."

        def fault(row):
            cell, text = cells[row]
            return Fault(f"{place}, cell {cell}", None, None, text, what, mend)

        return some_faults(cells, fault)


def _opened(data):
    return python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))


def _no_stop(error):
    """Raise again what does not come of a file, such as a stop by the user."""
    # What goes wrong deep inside the library is no Exception of Python's.
    if not isinstance(error, Exception) and type(error).__name__ != "PanicException":
        raise error


def check_workbook(path):
    """Check that a file is a workbook of the kind that records are read from.

    Raises
    ------
    RecordsError
        When it is of the old binary format, or protected by a password.
    """
    if read_bytes(path)[:4] == _OLD_OFFICE:
        mend = f"Save it as .xlsx without a password. {import_it(path.name)}"
        stop(path.name, "is protected by a password, or is an old .xls workbook", mend)


def damaged(place):
    """Return the fault of a workbook or sheet that cannot be read."""
    what = "is damaged or is not an .xlsx workbook"
    mend = "Open it in your spreadsheet program and save it again as .xlsx."
    return Fault(place, None, None, None, what, mend)
