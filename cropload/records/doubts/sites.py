"""Doubts about a block's spacing and a station's days."""

from cropload.handbook import entry
from cropload.records.doubts.rules import made


def swapped_spacing(table):
    """Doubt rows that stand closer than the vines in them.

    Parameters
    ----------
    table : ParsedTable
        Table blocks.

    Notes
    -----
    Vines on pergolas or in a square can stand so, therefore it is a question.
    """
    frame = table.frame
    limit = entry("plausible.row_over_vine").low
    rows = frame.index[frame["row_spacing_m"] < limit * frame["vine_spacing_m"]]
    vine = table.written("vine_spacing_m")
    return made(
        table,
        rows,
        "row_spacing_m",
        lambda row: f"is less than {vine}, {table.text(row, 'vine_spacing_m')}",
        "Are the two swapped? Then change them over: shoots per metre of canopy hang on it. On "
        "pergolas and other wide training it can be so; then leave it.",
    )


def still_air(table):
    """Doubt days whose lowest and highest temperature are one, or the same for days on end.

    Parameters
    ----------
    table : ParsedTable
        Table weather.
    """
    frame = table.frame.dropna(subset=["date", "tmin_c", "tmax_c"])
    if frame.empty:
        return []
    limits = entry("plausible.still_days")
    frame = frame.sort_values(["station", "date"], kind="stable")
    low, high = frame["tmin_c"], frame["tmax_c"]
    equal = low == high
    near = (frame["station"] == frame["station"].shift()) & (frame["date"].diff().dt.days == 1)
    again = near & (low == low.shift()) & (high == high.shift())
    found, told = {}, set()
    for first, days in _runs(frame, equal, near & equal.shift(fill_value=False)):
        if len(days) >= limits.extra["equal"]:
            found[first] = f"is the same as the highest {_running(days)}"
            told.update(days.index)
    held = again | again.shift(-1, fill_value=False)
    for first, days in _runs(frame, held & ~frame.index.isin(list(told)), again):
        if len(days) >= limits.high:
            found[first] = f"repeats, like the highest, {_running(days)}"
            told.update(days.index)
    for row in equal.index[equal]:
        if row not in told and table.text(row, "tmin_c") in _ZEROS:
            found[int(row)] = "is 0, like the highest"
    return made(
        table,
        sorted(found),
        "tmin_c",
        lambda row: found[row],
        "If a gap was filled with zeros or with a value before it, take those rows out: a gap is "
        "known as one, made-up nights count as measured.",
    )


#: How a zero is written.
_ZEROS = ("0", "0.0", "0,0")


def _runs(frame, which, joined):
    """Yield the first row and the days of each run of marked days; joined ones follow a day."""
    run = (~(which & joined)).cumsum()
    for _, days in frame[which].groupby(run[which]):
        yield int(days.index[0]), days


def _running(days):
    return f"on {len(days)} days running, to {days['date'].iloc[-1]:%Y-%m-%d}"
