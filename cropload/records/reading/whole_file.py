"""What is wrong with many cells of a table for one reason, told once with its count."""

import re

import pandas as pd

from cropload.records.reading.cells import COMMA, NUMBER, THOUSANDS, dated_number, number_alone
from cropload.records.reading.faults import Fault, some_faults
from cropload.records.reading.files import SPILT, spilt_faults, tidy
from cropload.records.reading.headers import columns_of

#: So many cells with one reason are told as one fault.
_MANY = 5
_WHOLE, _DECIMALS = re.compile(r"[+-]?[0-9]+"), re.compile(r"[0-9]+(?:[eE][+-]?[0-9]+)?")
_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_IN_COMMAS = "decimal commas in a comma-separated file"


def _values(number):
    return f"{number:,} value{'' if number == 1 else 's'}"


def alike(bad, decimal, separator):
    """Return the faults of number cells that cannot be read, those of one reason as one.

    Parameters
    ----------
    bad : list of (Fault, Column)
        The fault of each cell.
    decimal, separator : str
        The decimal sign of the file, or ``""``; and its separator, ``None`` for a sheet.
    """
    kinds, faults = {}, []
    for fault, column in bad:
        kinds.setdefault(_kind(fault.value, column, decimal), []).append(fault)
    unsure = kinds.pop("unsure", [])
    if unsure:
        # A comma before three digits is a decimal sign where others surely are.
        sure = next((kind for kind in ("comma", "thousands") if kind in kinds), "unsure")
        kinds.setdefault(sure, []).extend(unsure)
    for kind, members in kinds.items():
        if kind is None or len(members) < _MANY:
            faults += _some(members)
            continue
        first = min(members, key=lambda fault: fault.row)
        rule, mend = _told(kind, first, separator)
        columns = list(dict.fromkeys(fault.column for fault in members))
        column = columns[0] if len(columns) == 1 else None
        if len(columns) > 1:
            mend += f" Columns: {', '.join(columns)}."
        rule = f"{rule}: {_values(len(members))}"
        faults.append(Fault(first.file, first.row, column, first.value, rule, mend))
    return faults


def _some(members):
    """Return faults, long lists of one column and rule shortened."""
    groups = {}
    for fault in members:
        groups.setdefault((fault.column, fault.rule), {})[fault.row] = fault
    return [fault for rows in groups.values() for fault in some_faults(rows, rows.get)]


def _kind(text, column, decimal):
    """Return the one reason why a cell is no number, or None."""
    if decimal == "," and NUMBER.fullmatch(text):
        return "point" if "." in text else None
    if THOUSANDS.fullmatch(text) or _GROUPED.fullmatch(text):
        if _GROUPED.fullmatch(text) and column.kind == "number" and decimal != ",":
            return "unsure"
        return "thousands"
    if COMMA.fullmatch(text):
        return "comma"
    if dated_number(text):
        return "date"
    return "unit" if number_alone(text) else None


def _told(kind, first, separator):
    """Return the rule and the mend of all cells of one kind."""
    text = first.value
    point = text.replace(",", ".")
    if kind == "comma" and separator == ",":
        mend = f"Write decimal points ({point}), or save it with semicolons between the cells."
        return _IN_COMMAS, mend
    return {
        "comma": ("decimal commas where decimal points are read", f"Write decimal points: {point}"),
        "point": (first.rule, first.mend),
        "thousands": (
            "signs or spaces stand between thousands",
            "Give the cells a plain number format, without signs between thousands.",
        ),
        "unsure": (
            "the comma may be a decimal sign or stand between thousands",
            f"Write {point} or {text.replace(',', '')}, and all others alike.",
        ),
        "date": ("a spreadsheet program made dates of numbers", first.mend),
        "unit": ("something stands behind the number", first.mend),
    }[kind]


def rejoin(raw):
    """Join again what the decimal commas of a comma-separated file split; tell it once.

    Parameters
    ----------
    raw : RawTable
        The table; its rows and faults are changed.
    """
    found = columns_of(raw.table, raw.header)
    kinds = ["" if column is None else column.kind for column in found]
    joined = {}
    if raw.separator == "," and "number" in kinds:
        for row, cells in zip(raw.spilt.index, raw.spilt.to_numpy().tolist(), strict=True):
            cells = [tidy(cell) for cell in cells]
            while not cells[-1]:
                cells.pop()
            whole = _fitted(cells, kinds)
            if whole is not None:
                joined[row] = whole
    if not joined:
        return
    raw.faults = [fault for fault in raw.faults if not fault.rule.startswith(SPILT)]
    raw.faults += spilt_faults(raw.file, len(raw.header), raw.spilt.drop(index=list(joined)))
    whole = pd.DataFrame(
        [[_pointed(cell) for cell in cells] for cells in joined.values()],
        index=list(joined),
        columns=raw.frame.columns,
        dtype=str,
    )
    raw.frame = pd.concat([raw.frame.drop(index=whole.index), whole]).sort_index()
    pairs = [cell for cells in joined.values() for cell in cells if COMMA.fullmatch(cell)]
    mend = (
        "Save it again from where it comes, with semicolons between the cells, or write decimal "
        f"points: {pairs[0].replace(',', '.')}"
    )
    rule = f"{_IN_COMMAS}: {_values(len(pairs))}"
    raw.faults.append(Fault(raw.file, int(next(iter(joined))), None, pairs[0], rule, mend))


def _pointed(cell):
    return cell.replace(",", ".") if COMMA.fullmatch(cell) else cell


def _fitted(cells, kinds, at=0, column=0):
    """Return cells joined by decimal commas so that they fit the columns, or None.

    Only a column of numbers that need not be whole takes two cells.
    """
    if at == len(cells):
        return [""] * (len(kinds) - column)
    if column == len(kinds) or len(cells) - at > 2 * (len(kinds) - column):
        return None
    kind, cell = kinds[column], cells[at]
    after = cells[at + 1] if at + 1 < len(cells) else ""
    if kind == "number" and _WHOLE.fullmatch(cell) and _DECIMALS.fullmatch(after):
        rest = _fitted(cells, kinds, at + 2, column + 1)
        if rest is not None:
            return [f"{cell},{after}", *rest]
    numeric = kind in ("number", "whole", "season")
    if numeric and cell and not NUMBER.fullmatch(cell):
        return None
    rest = _fitted(cells, kinds, at + 1, column + 1)
    return None if rest is None else [cell, *rest]


def cut_short(raw, cells):
    """Return a doubt where the last line, which has no line end, looks cut; else none.

    Parameters
    ----------
    raw : RawTable
        The table.
    cells : int
        Cells of its last line [1].
    """
    if len(raw.frame) < 2 or not raw.header:
        return []
    last, width = raw.frame.iloc[-1], len(raw.header)
    filled = [tidy(cell) for cell in last]
    mend = "Hold its last cells against where the file comes from; a whole file ends with a line "
    mend += "break."
    text, others = filled[-1], [tidy(each) for each in raw.frame.iloc[:-1, -1]]
    if not text and all(others):
        told = min(cells, width - 1)
        rule = f"the last line ends without a line break after {told} of {width} cells, as if cut"
        return [Fault(raw.file, int(last.name), None, filled[told - 1], rule, mend)]
    others = list(filter(None, others))
    if not text or len(others) < 3 or not all(map(_plain_number, [text, *others])):
        return []
    if _places(text) < min(map(_places, others)):
        rule = "the last line ends without a line break and with fewer digits than all others, as "
        rule += "if its last number were cut"
        return [Fault(raw.file, int(last.name), raw.header[-1], text, rule, mend)]
    return []


def _plain_number(text):
    return NUMBER.fullmatch(text) or COMMA.fullmatch(text)


def _places(text):
    """Return the decimals and the digits of a number."""
    whole, _, decimals = text.replace(",", ".").lstrip("+-").partition(".")
    return (len(decimals), 0) if decimals or "." in text else (0, len(whole))
