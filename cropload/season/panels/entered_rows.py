"""Rows entered in a panel: added to the records in memory, saved only when asked for."""

import pandas as pd


def added(table, rows):
    """Return a table of records with rows at its end, every column in the table's own type."""
    new = pd.DataFrame(rows).reindex(columns=table.columns)
    for name in table.columns:
        kind = table[name].dtype
        if kind.kind == "M":
            new[name] = pd.to_datetime(new[name])
        elif kind.kind in "fiu":
            new[name] = pd.to_numeric(new[name])
        else:
            text = new[name].astype(object)
            new[name] = text.where(text.notna(), "").astype(str)
        new[name] = new[name].astype(kind)
    return new if table.empty else pd.concat([table, new], ignore_index=True)
