"""Faults: what is wrong in the user's records, where it stands, and how to mend it."""

import textwrap
from dataclasses import dataclass, replace

from cropload.errors import CroploadError

WIDTH = 80
#: How many rows of one kind of fault are written out before "and 37 more like it".
SHOWN = 5
#: How many kinds of fault are written out; all of them stay in ``.faults``.
KINDS = 40
#: How many faults of one kind are made; beyond them the rest are only counted.
MOST_OF_A_KIND = 1000
_LONGEST_VALUE = 40


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong (or doubtful) in the records.

    Attributes
    ----------
    file : str
        The file, or the workbook and sheet, as the user knows it.
    row : int or None
        The row as the spreadsheet numbers it: the header is row 1.
    column : str or None
        The column as the user's header writes it.
    value : str or None
        What stands there.
    rule : str
        What should be so.
    mend : str
        What to do about it.
    more : int
        Further rows like this one, which are counted but not listed [1].
    matter : Matter or None
        What a doubt that can be answered speaks of: its rule, block, season and rows.
    """

    file: str
    row: int | None
    column: str | None
    value: str | None
    rule: str
    mend: str = ""
    more: int = 0
    matter: object = None

    def __str__(self):
        place = _place(self.file, self.column)
        if self.row is not None:
            place += f", row {self.row}"
        found = "" if self.value is None else f" {shown_value(self.value)}:"
        return f"{place}:{found} {self.rule}. {self.mend}".strip()


class RecordsError(CroploadError):
    """The records cannot be used as they are; ``faults`` holds every fault that was found."""

    def __init__(self, faults, opening="The records cannot be read"):
        self.faults = tuple(faults)
        number = how_many(self.faults)
        head = f"{opening}: {number:,} fault{'' if number == 1 else 's'} found."
        super().__init__(head + "\n\n" + fault_list(self.faults))

    def __reduce__(self):
        return (_rebuild, (self.faults, self.args))


def _rebuild(faults, args):
    error = RecordsError(faults)
    error.args = args
    return error


def some_faults(rows, make):
    """Return the faults of many rows: the first ones and the last, which counts the others.

    Parameters
    ----------
    rows : sequence of int
        The rows at fault, from the top.
    make : callable
        Returns the Fault of a row.

    Notes
    -----
    The last one is among them, so that whether the rows added to a table are at fault shows.
    """
    rows = list(rows)
    left = len(rows) - MOST_OF_A_KIND
    if left <= 0:
        return [make(row) for row in rows]
    last = make(rows[-1])
    return [*map(make, rows[: MOST_OF_A_KIND - 1]), replace(last, more=last.more + left)]


def how_many(faults):
    """Return how many rows faults speak of, those counted only included [1]."""
    return sum(1 + fault.more for fault in faults)


def fault_list(faults, width=WIDTH, named=False):
    """Return faults as text, the same kind together, long lists shortened.

    Parameters
    ----------
    faults : iterable of Fault
        Faults or warnings.
    width : int
        The longest line [1].
    named : bool
        Whether the name by which a doubt is answered stands in brackets.
    """
    groups = {}
    for fault in faults:
        key = (fault.file, fault.column, fault.rule, fault.mend)
        groups.setdefault(key, []).append(fault)
    blocks = []
    for (file, column, rule, mend), members in list(groups.items())[:KINDS]:
        matter = members[0].matter if named else None
        name = f" [{matter.rule}]" if matter else ""
        lines = _wrap(f"{_place(file, column)}{name}: {rule}.", width)
        rows = [member for member in members if member.row is not None or member.value is not None]
        for member in rows[:SHOWN]:
            place = "" if member.row is None else f"row {member.row}"
            if named and member.matter and member.matter.place():
                place = f"{place} ({member.matter.place()})".lstrip()
            value = "" if member.value is None else shown_value(member.value)
            lines += _wrap(": ".join(part for part in (place, value) if part), width, "  ")
        left = how_many(rows) - min(len(rows), SHOWN)
        if left:
            lines.append(f"  and {left:,} more like it")
        if mend:
            lines += _wrap(mend, width, "  -> ", "     ")
        blocks.append("\n".join(lines))
    if len(groups) > KINDS:
        rest = sum(how_many(members) for members in list(groups.values())[KINDS:])
        blocks.append(f"and {rest:,} more faults of other kinds")
    return "\n".join(blocks)


def shown_value(value):
    """Return a value in quotes, shortened, with control characters made visible."""
    text = str(value)
    if len(text) > _LONGEST_VALUE:
        text = text[: _LONGEST_VALUE - 3] + "..."
    visible = "".join(sign if sign.isprintable() else repr(sign)[1:-1] for sign in text)
    return f"'{visible}'"


def _place(file, column):
    return file if column is None else f"{file}, column {column}"


def _wrap(text, width, first="", further=None):
    further = " " * max(len(first), 2) if further is None else further
    return textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=further, break_on_hyphens=False
    ) or [first]
