"""Which row holds where a later one tells something else of the same season and block."""

import pandas as pd


def in_order(frame, keys):
    """Return rows in the order in which they were written, as far as it is known.

    Parameters
    ----------
    frame : DataFrame
        Rows with ``date``.
    keys : list of str
        Columns that rows must share for the order to matter.

    Notes
    -----
    By date; a row without one counts as written on the day of the row above it, and before all
    others where no row above it has one. Rows of one day stay in the order of the file.
    """
    days = frame["date"].groupby([frame[key] for key in keys], sort=False, dropna=False).ffill()
    return frame.loc[days.sort_values(kind="stable", na_position="first").index]


def holding(table, frame):
    """Return rows of one key as the one row that holds; the checks have refused what clashes.

    Parameters
    ----------
    table : Table
        A table whose rows complete each other.
    frame : DataFrame
        Its typed rows.

    Notes
    -----
    The last that is filled holds, column by column, so that a row with a plan alone leaves a
    weight as it is. The date is that of the plan where a later plan took the place of another,
    and the first one otherwise. In a table without a later row, rows whose words differ stay
    apart: each counter of a vine answers for what was counted, and a blank joins the first.
    """
    keys = table.one_row
    if not frame.duplicated(keys).any():
        return frame
    if not table.later:
        blanks, words = _blank_words(table, frame), _words(table)
        first = blanks.groupby(keys, sort=False, dropna=False)[words].transform("first")
        told = blanks.assign(
            **{word: blanks[word].fillna(first[word]).fillna("") for word in words}
        )
        groups = told.groupby([*keys, *words], sort=False, dropna=False)
        return groups.first().reset_index()[table.names]
    blanks = _blank_words(table, in_order(frame, keys))
    groups = blanks.groupby(keys, sort=False, dropna=False)
    held = groups.last().assign(date=groups["date"].first())
    last_plan = blanks[blanks["plan"].notna()].groupby(keys, sort=False, dropna=False)
    changed = last_plan.size() > 1
    chosen = last_plan["date"].last()[changed]
    held["date"] = chosen.reindex(held.index).fillna(held["date"])
    if "vines_weighed" in table.names:
        # The vines behind a weight are those of its own row, not of an earlier weighing.
        weighed = blanks[blanks["pruning_weight_kg"].notna()]
        weighings = weighed.groupby(keys, sort=False, dropna=False)
        twice = weighings.size()[lambda number: number > 1].index
        of_last = weighed.drop_duplicates(keys, keep="last").set_index(keys)["vines_weighed"]
        held.loc[twice, "vines_weighed"] = of_last.reindex(twice)
    first = frame.drop_duplicates(keys)[keys]
    held = first.merge(held.reset_index(), on=keys, how="left")
    words = _words(table)
    return held.assign(**{word: held[word].fillna("") for word in words})[table.names]


def earlier_plans(table, frame):
    """Return the rows of table pruning as they stood before each change of a plan."""
    keys = table.one_row
    planned = frame[frame["plan"] != ""]
    rows = []
    for _, key in planned[planned.duplicated(keys)].drop_duplicates(keys)[keys].iterrows():
        lot = in_order(frame[(frame[keys] == key).all(axis=1)], keys)
        for place in (lot["plan"] != "").to_numpy().nonzero()[0][1:]:
            rows.append(holding(table, lot.iloc[:place]))
    return pd.concat(rows) if rows else frame.iloc[:0]


def _words(table):
    return [
        column.name
        for column in table.columns
        if not column.numeric and column.kind != "date" and column.name not in table.key
    ]


def _blank_words(table, frame):
    return frame.assign(**{word: frame[word].where(frame[word] != "") for word in _words(table)})
