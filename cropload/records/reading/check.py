"""Checks of one table against its columns, and of all tables together."""

from cropload.records.doubts import (
    blocks,
    contracts,
    counts,
    crops,
    days,
    events,
    limits,
    picking,
    places,
    trials,
    weights,
)
from cropload.records.doubts.facts import Facts
from cropload.records.doubts.rules import run
from cropload.records.reading.cells import meant_choice
from cropload.records.reading.faults import Fault, some_faults

_MEND = "Correct the value, or leave the cell blank where nothing was measured."
_MEND_FAHRENHEIT = " Degrees Fahrenheit go into a column whose name ends in _f, such as tmax_f."

#: Rules that no records may break, told together with the rules of single tables.
REFUSED = [
    *blocks.UNKNOWN,
    blocks.PARTS,
    places.MISSING,
    crops.FALLING,
    limits.CROP,
    days.STAGES,
    *limits.IMPOSSIBLE,
    *contracts.REFUSED,
    *picking.REFUSED,
]
#: Doubts that need no blocks.
DOUBTS = [*days.SEASONS, *days.NOT_YET, *blocks.NAMES]
#: Doubts about tables whose blocks are there.
BESIDE_BLOCKS = [
    *blocks.PLAUSIBLE,
    *counts.PLAUSIBLE,
    *weights.PLAUSIBLE,
    *crops.PLAUSIBLE,
    *events.PLAUSIBLE,
    *blocks.TEMPERATURES,
    blocks.HEADLANDS,
    *counts.MISFITS,
    places.DEAD,
    places.MISSING_SHARE,
    *crops.SHARES,
    blocks.STILL_AIR,
    blocks.SPACING,
    *limits.MONEY,
    *contracts.DOUBTS,
    *days.LONE,
    *trials.STRIPS,
    *trials.ESTIMATES,
]
#: Doubts where records contradict each other, for records without faults: one for a block, or for
#: a block and season, and not one for each row.
CONTRADICTIONS = [
    *blocks.TWICE,
    *crops.CONTRADICTIONS,
    *days.CONTRADICTIONS,
    *weights.CONTRADICTIONS,
    *counts.CONTRADICTIONS,
]


def cross_checks(parsed):
    """Check tables against each other and against what is plausible.

    Parameters
    ----------
    parsed : dict
        Table name -> ParsedTable.

    Returns
    -------
    (list of Fault, callable)
        Faults; and what finds the warnings, for which faults must be mended first, and puts those
        that were answered into a list that it is given.
    """
    facts = Facts(parsed)

    def doubts(settled=None):
        beside = "blocks" in facts and not facts["blocks"].empty
        return run([*DOUBTS, *(BESIDE_BLOCKS + CONTRADICTIONS if beside else ())], facts, settled)

    return run(REFUSED, facts), doubts


def check_frame(table, frame, place, known_bad=frozenset()):
    """Check a typed frame against the rules of its table.

    Parameters
    ----------
    table : Table
        Description of the table.
    frame : pandas.DataFrame
        Canonical metric columns; the index numbers rows as the spreadsheet does.
    place : object
        With ``file``, ``written(column)`` and ``text(row, column)`` of the table as given.
    known_bad : set of (row, column)
        Cells already reported, which are blank in the frame.

    Returns
    -------
    list of Fault
        One for each rule that a row breaks, from the top.
    """
    faults = []
    for column in table.columns:
        values, name = frame[column.name], column.name
        seen = {row for row, part in known_bad if part == name}
        mend = "Correct the value." if column.required else _MEND
        mend += _MEND_FAHRENHEIT if column.unit == "°C" else ""
        mend = "Use one of these words." if column.kind == "choice" else mend
        for rule, broken in _broken(column, values):
            if not broken.any():
                continue
            rows = [row for row in frame.index[broken].tolist() if row not in seen]
            seen.update(rows)

            def fault(row, column=column, name=name, rule=rule, mend=mend):
                if rule == _BLANK:
                    mend = "Fill in the cell, or take the row out."
                elif column.choices:
                    mend = f"{meant_choice(column, place.text(row, name))} {mend}".strip()
                value = None if rule == _BLANK else place.text(row, name)
                return Fault(place.file, row, place.written(name), value, rule, mend)

            faults += some_faults(rows, fault)
    for keyed, columns, rule, mend, broken in _rows_broken(table, frame):
        if not broken.any():
            continue
        bad = {row for row, part in known_bad if part in columns}
        rows = [row for row in frame.index[broken].tolist() if row not in bad]
        first = _first_rows(table, frame) if rows and keyed else None

        def clash(row, columns=columns, rule=rule, mend=mend, first=first):
            value = " / ".join(filter(None, (place.text(row, part) for part in columns))) or None
            value = value if first is None else f"{value} (see row {first[row]})"
            return Fault(place.file, row, None, value, rule, mend)

        faults += some_faults(rows, clash)
    return sorted(faults, key=lambda fault: fault.row)


_BLANK = "must be filled in"


def _filled(values):
    """Return which cells of a column are filled."""
    return values.notna() if values.dtype.kind in "fM" else values != ""


def _broken(column, values):
    """Yield each rule of a column with the cells that break it; blanks are within every limit."""
    if column.required:
        yield _BLANK, ~_filled(values)
    numbers = values.to_numpy()
    if column.above is not None:
        yield column.rule, numbers <= column.above
    if column.low is not None:
        yield column.rule, numbers < column.low
    if column.high is not None:
        yield column.rule, numbers > column.high
    if column.below is not None:
        yield column.rule, numbers >= column.below
    if column.kind == "choice":
        yield column.rule, ~values.isin(["", *column.choices])


def _rows_broken(table, frame):
    """Yield each rule on whole rows: is it the key, columns, rule, mend, rows that break it."""
    if table.key:
        both = " with both filled in" if table.completes else ""
        repeated = key_clashes(table, frame)
        rule = f"{' + '.join(table.key)} may not repeat{both}"
        mend = "Keep one of the rows, or correct what tells them apart."
        yield True, table.key, rule, mend, repeated
    if table.one_of:
        one, other = table.one_of
        rule = f"each row must fill either {one} or {other}, not both"
        mend = "Fill one of the two and leave the other blank."
        yield False, table.one_of, rule, mend, (frame[one] != "") == (frame[other] != "")
    for (low, high), rule, mend in table.ordered:
        yield False, (low, high), rule, mend, frame[low] > frame[high]


def key_clashes(table, frame):
    """Return which rows of a table with a key repeat it."""
    repeated = _clashes(table, frame) if table.completes else frame.duplicated(list(table.key))
    # A cell that must be filled is told of by itself.
    for name in table.key if repeated.any() else ():
        if table[name].required:
            repeated &= _filled(frame[name])
    return repeated


def _clashes(table, frame):
    """Return which rows repeat a key without filling only what earlier rows left blank.

    Words may change where the later row holds; a number measured twice on one day may not.
    """
    repeats = frame.duplicated(list(table.key))
    if not repeats.any():
        return repeats
    group = frame.groupby(list(table.key), sort=False, dropna=False).ngroup()
    clash = repeats & False
    adds = repeats & False
    for column in table.columns:
        # A plan written down later may carry a later date; the first one is kept.
        if column.name in table.key or column.kind == "date":
            continue
        filled = _filled(frame[column.name])
        if not column.numeric:
            told = frame[column.name][filled]
            changed = told.ne(told.groupby(group[filled]).shift())
            adds |= changed.reindex(frame.index, fill_value=False)
            continue
        clash |= filled & (filled.astype(int).groupby(group).cumsum() > 1)
        adds |= filled
    return clash | (repeats & ~adds)


def _first_rows(table, frame):
    """Return {row: the first row that has its key}."""
    rows = frame.index.to_series()
    keys = [frame[name] for name in table.key]
    return rows.groupby(keys, sort=False, dropna=False).transform("first").to_dict()
