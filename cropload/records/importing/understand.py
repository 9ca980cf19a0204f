"""Understand a user's own files: what is a table, which column of which, and what is left open."""

from collections import Counter
from dataclasses import dataclass, field
from itertools import islice

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.records.importing.find import TOTAL, letters, regions
from cropload.records.importing.join import Joiner
from cropload.records.importing.meaning import meaning_of
from cropload.records.importing.names import BlockNames
from cropload.records.importing.notation import Notation
from cropload.records.importing.part import Part
from cropload.records.importing.questions import Questions
from cropload.records.importing.rows import Rows
from cropload.records.importing.values import is_nothing, tidy_name
from cropload.records.reading.cells import escape_text
from cropload.records.reading.grids import shown_value
from cropload.records.tables import TABLES
from cropload.units import from_metric, us_name


@dataclass
class Understood:
    """What a set of files holds.

    Attributes
    ----------
    parts : list of Part
        The tables found.
    tables : dict
        Name of a table -> :class:`~cropload.records.importing.join.Joined`.
    us : set
        Tables whose units are US ones.
    questions : Questions
        What was asked, and what is open.
    left_out : list of (str, str, str)
        Place, text, and why it is not read.
    notes : list of str
        What was done to many cells alike.
    units : dict
        (id of a part, table, column of the sheet) -> Unit, where one was found out.
    """

    parts: list
    tables: dict
    us: set
    questions: Questions
    left_out: list = field(default_factory=list)
    notes: list = field(default_factory=list)
    units: dict = field(default_factory=dict)


def understand(grids, answers=(), blocks=(), step=lambda: None):
    """Return what grids of cells hold.

    Parameters
    ----------
    grids : list of Grid
        Sheets and text tables.
    answers : dict, optional
        Name of a question -> answer.
    blocks : iterable of str, optional
        Blocks that are on record already.
    step : callable, optional
        Called after each sheet that was looked through, and after each table that was read.

    Returns
    -------
    Understood
    """
    questions = Questions(dict(answers))
    parts, left_out, hidden = [], [], []
    for grid in grids:
        found, outside = regions(grid)
        left_out += _rows_outside(grid, outside)
        for region in found:
            part = Part(region, meaning_of(region))
            if part.meaning.main:
                parts.append(part)
                hidden += [grid.shown] if grid.hidden else []
            else:
                left_out += _unread(part)
        step()
    names = BlockNames()
    for name in blocks:
        names.add(name)
    names.defined = bool(names.known) or any(map(Rows.defining, parts))
    notation = Notation(parts, questions)
    rows = Rows(notation, names, questions)
    rows.cells.varieties = _varieties(parts)
    # Blocks are defined before anything is said of them.
    frames = {}
    ordered = sorted(parts, key=lambda part: not rows.defining(part))
    for part in ordered:
        if not rows.defining(part):
            _take_back(part, names)
        left_out += _unread(part)
        for table, frame in rows.frames(part):
            frames.setdefault(table, []).append(frame)
        step()
    by_id = {id(part): part for part in parts}
    joiner = Joiner(by_id, questions, left_out)
    tables = joiner.join(frames)
    left_out += rows.cells.left_out
    notes = [f"{place} is hidden, and is read like the others." for place in dict.fromkeys(hidden)]
    notes += [f"{what} ({_cells(times)})." for what, times in rows.told.items()]
    notes += joiner.notes
    for written, name in names.read_as.items():
        if name and tidy_name(written) != name:
            notes.append(f"'{written}' is read as {name}.")
    for table, joined in tables.items():
        if joined.repeats:
            notes.append(f"{table}: {joined.repeats:,} rows said again what another table says.")
    return Understood(
        parts, tables, _us_tables(parts, notation.units), questions, left_out, notes, notation.units
    )


def _cells(number):
    return f"{number:,} cell{'' if number == 1 else 's'}"


def _take_back(part, names):
    """Read rows that looked like totals where their name is that of a known block."""
    region, back = part.region, set()
    for target in part.meaning.targets:
        if target.column == "block":
            for row, _, why in region.left_out:
                name = region.cell(row, target.source)
                if why == TOTAL and name is not None and names.holds(name):
                    back.add(row)
    region.rows = sorted({*region.rows, *back})
    region.left_out = [each for each in region.left_out if each[0] not in back]


def _rows_outside(grid, outside):
    """Return what stands outside tables, rows that follow each other together."""
    runs = []
    for row, text, why in outside:
        if runs and row == runs[-1][1] + 1:
            runs[-1][1] = row
        else:
            runs.append([row, row, text, why])
    found = []
    for first, last, text, why in runs:
        rows = f"row {first + 1}" if first == last else f"rows {first + 1} to {last + 1}"
        found.append((f"{grid.shown}, {rows}", text, why))
    return found


def _unread(part):
    """Return what a region does not give: columns of no name that is known, totals, remarks."""
    region, found = part.region, []
    for column, why in part.meaning.unread.items():
        header = region.headers[column].text or f"column {letters(column)}"
        shown = (shown_value(value) for value in part.values(column))
        shown = list(islice(filter(None, shown), 4))
        if shown or region.headers[column].text:
            text = f"{header}: {', '.join(shown[:3])}{', ...' if len(shown) > 3 else ''}"
            place = f"{region.grid.shown} {letters(column)}{region.bottom + 1}"
            found.append((place, text, why))
    if part.meaning.main is None:
        heads = " | ".join(header.text for header in region.headers.values())
        found = [(region.shown, heads[:120], part.meaning.why)]
    found += [(region.shown, title, "a title or a remark") for title in region.titles]
    found += [
        (f"{region.grid.shown}, row {row + 1}", text, why) for row, text, why in region.left_out
    ]
    return found


def _varieties(parts):
    """Return the varieties that the files write in full."""
    found = []
    for part in parts:
        for target in part.meaning.targets:
            if target.column == "variety":
                for value in part.values(target.source):
                    if not is_nothing(value) and isinstance(value, str) and len(value) > 4:
                        name = tidy_name(value)
                        if handbook.variety(name) or "." not in name:
                            found.append(name)
    return tuple(dict.fromkeys(found))


def _us_tables(parts, units):
    """Return the tables of which all units told are US ones."""
    told = {}
    for part in parts:
        for target in part.meaning.targets:
            unit = units.get((id(part), target.table, target.source)) or target.unit
            if unit is not None and unit.system:
                told.setdefault(target.table, Counter())[unit.system] += 1
    return {table for table, systems in told.items() if set(systems) == {"us"}}


def csv_frame(name, joined, us):
    """Return the rows of a table as texts under the columns of its CSV file.

    Parameters
    ----------
    name : str
        Name of the table.
    joined : Joined
        Its rows.
    us : bool
        Whether they are written in US units.
    """
    spec, found = TABLES[name], {}
    required = [column.name for column in spec.columns if column.required]
    for column in spec.columns:
        if column.name not in joined.frame:
            if column.name in required:
                found[column.name] = [""] * len(joined.frame)
            continue
        values, head = joined.frame[column.name], column.name
        if column.numeric:
            numbers = pd.to_numeric(values).to_numpy(float)
            if us and column.suffix:
                numbers = from_metric(numbers, column.suffix, column.difference)
                head = us_name(column.name)
            found[head] = _each(numbers, _number)
        elif column.kind == "date":
            found[head] = _each(pd.to_datetime(values), lambda day: f"{day:%Y-%m-%d}")
        else:
            # What begins like a formula is not to become one in a spreadsheet program.
            found[head] = _each(values, lambda value: escape_text(tidy_name(value)))
    frame = pd.DataFrame(found, dtype=str)
    kept = [c for c in frame if c in required or us or (frame[c] != "").any()]
    return frame[[c for c in kept if c in required or (frame[c] != "").any()]]


def _each(values, text_of):
    """Return values as texts, blank ones as blanks; each value that comes again is turned once."""
    codes, unique = pd.factorize(pd.Series(values))
    texts = np.array([*map(text_of, unique), ""], dtype=object)
    return texts[codes]


def _number(value):
    rounded = float(f"{value:.10g}")
    return repr(int(rounded)) if rounded.is_integer() and abs(rounded) < 1e15 else repr(rounded)
