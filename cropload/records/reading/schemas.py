"""The pandera schema of each table, and the faults it finds, in our own words."""

from functools import cache

from cropload.records.reading.faults import Fault, some_faults

_MENDS = {
    "blank": "Fill in the cell, or take the row out.",
    "limit": "Correct the value, or leave the cell blank where nothing was measured.",
    "choice": "Use one of these words.",
}
_MEND_REQUIRED_LIMIT = "Correct the value."
_MEND_FAHRENHEIT = " Degrees Fahrenheit go into a column whose name ends in _f, such as tmax_f."


def _filled(values):
    """Return which cells of a column are filled."""
    import pandas as pd

    if pd.api.types.is_numeric_dtype(values) or pd.api.types.is_datetime64_any_dtype(values):
        return values.notna()
    return values != ""


def _column_tests(column):
    """Return (name, test of a column's values) for every rule of a column; blanks pass limits."""
    tests = [("blank", _filled)] if column.required else []
    limits = {
        "above": lambda values: values > column.above,
        "low": lambda values: values >= column.low,
        "high": lambda values: values <= column.high,
        "below": lambda values: values < column.below,
    }
    for name, holds in limits.items():
        if getattr(column, name) is not None:
            tests.append(("limit", lambda values, holds=holds: holds(values) | values.isna()))
    if column.kind == "choice":
        allowed = ["", *column.choices]
        tests.append(("choice", lambda values: values.isin(allowed)))
    return tests


def _table_checks(table):
    """Return (name, rule, mend, columns shown, test of a frame) for rules on whole rows."""
    rules = []
    if table.key:
        key = list(table.key)
        rules.append(
            (
                "key",
                " + ".join(key)
                + " may not repeat"
                + (" with both filled in" if table.completes else ""),
                "Keep one of the rows, or correct what tells them apart.",
                key,
                lambda frame: (
                    ~(_clashes(table, frame) if table.completes else frame.duplicated(key))
                ),
            )
        )
    if table.one_of:
        one, other = table.one_of
        rules.append(
            (
                "one_of",
                f"each row must fill either {one} or {other}, not both",
                "Fill one of the two and leave the other blank.",
                [one, other],
                lambda frame: (frame[one] != "") ^ (frame[other] != ""),
            )
        )
    if table.name == "weather":
        rules.append(
            (
                "order",
                "tmin may not be above tmax",
                "Correct the temperatures of this day.",
                ["tmin_c", "tmax_c"],
                lambda frame: ~(frame["tmin_c"] > frame["tmax_c"]),
            )
        )
    if table.name == "capacity":
        rules.append(
            (
                "order",
                "period_end may not come before period_start",
                "Correct the two dates.",
                ["period_start", "period_end"],
                lambda frame: ~(frame["period_start"] > frame["period_end"]),
            )
        )
    return rules


def _clashes(table, frame):
    """Return which rows repeat a key without filling only what earlier rows left blank."""
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
        clash |= filled & (filled.astype(int).groupby(group).cumsum() > 1)
        adds |= filled
    return clash | (repeats & ~adds)


@cache
def schema(table):
    """Return the pandera schema of a table.

    Parameters
    ----------
    table : Table
        Description of the table.

    Returns
    -------
    pandera.DataFrameSchema
        For frames in canonical metric columns.
    """
    import pandera.pandas as pa

    # Collecting every failure is slow where hundreds of thousands fail; one says that some do.
    def check(name, test):
        return pa.Check(test, name=name, error=name, ignore_na=False, n_failure_cases=1)

    columns = {
        column.name: pa.Column(
            checks=[check(name, test) for name, test in _column_tests(column)], nullable=True
        )
        for column in table.columns
    }
    checks = [check(name, test) for name, _, _, _, test in _table_checks(table)]
    return pa.DataFrameSchema(columns, checks=checks, name=table.name)


def check_frame(table, frame, place, known_bad=frozenset()):
    """Check a typed frame against its schema.

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
    """
    from pandera.errors import SchemaError

    if frame.empty:
        return []
    try:
        schema(table).validate(frame)
    except SchemaError:
        return sorted(_broken(table, frame, place, known_bad), key=lambda fault: fault.row)
    return []


def _broken(table, frame, place, known_bad):
    """Return a fault for each rule that a row breaks."""
    faults = []
    for column in table.columns:
        name, seen = column.name, {row for row, part in known_bad if part == column.name}
        for check, test in _column_tests(column):
            rows = [row for row in _failing(frame, test(frame[name])) if row not in seen]
            seen.update(rows)
            rule = "must be filled in" if check == "blank" else column.rule
            mend = _MENDS.get(check, "")
            if check == "limit":
                mend = _MEND_REQUIRED_LIMIT if column.required else mend
                mend += _MEND_FAHRENHEIT if column.unit == "°C" else ""
            written, blank = place.written(name), check == "blank"

            def fault(row, name=name, rule=rule, mend=mend, written=written, blank=blank):
                value = None if blank else place.text(row, name)
                return Fault(place.file, row, written, value, rule, mend)

            faults += some_faults(rows, fault)
    for check, rule, mend, shown, test in _table_checks(table):
        keys = _Keys(table, frame) if check == "key" else None
        bad = {row for row, part in known_bad if part in shown}
        rows = [row for row in _failing(frame, test(frame)) if row not in bad]
        if keys is not None:
            rows = [row for row in rows if not keys.blank(row)]

        def clash(row, rule=rule, mend=mend, shown=shown, keys=keys):
            texts = [place.text(row, part) for part in shown]
            value = " / ".join(text for text in texts if text) or None
            value = value if keys is None else f"{value} (see row {keys.first(row)})"
            return Fault(place.file, row, None, value, rule, mend)

        faults += some_faults(rows, clash)
    return faults


def _failing(frame, passed):
    """Return the rows that did not pass, from the top."""
    return frame.index[~passed.to_numpy(bool)].tolist()


class _Keys:
    """The key of each row as text, to say which row has it first."""

    def __init__(self, table, frame):
        columns = [frame[name].astype(str).tolist() for name in table.key]
        self.keys = dict(zip(frame.index.tolist(), zip(*columns, strict=True), strict=True))
        self.firsts = {}
        for row, key in self.keys.items():
            self.firsts.setdefault(key, row)
        self.needed = [place for place, name in enumerate(table.key) if table[name].required]

    def first(self, row):
        """Return the first row that has the key of a row."""
        return self.firsts[self.keys[row]]

    def blank(self, row):
        """Whether a cell that must be filled is blank, which is reported by itself."""
        return any(self.keys[row][place] in ("", "nan", "NaT") for place in self.needed)
