"""Doubts about rows of table blocks that are no block of their own: totals, and twins by name."""

import re
import unicodedata

import numpy as np
import pandas as pd

from cropload.handbook import entry
from cropload.records.doubts.rules import tell

#: What growers write before a sum, in the languages of the trade.
_TOTAL = frozenset(
    [
        "total",
        "totals",
        "sum",
        "all",
        "estate",
        "overall",
        "gesamt",
        "summe",
        "alle",
        "insgesamt",
        "totale",
        "tutti",
        "totaal",
        "som",
        "alles",
        "tous",
        "ensemble",
        "somme",
        "suma",
        "todos",
        "todas",
        "soma",
        "osszesen",
        "celkem",
        "skupaj",
        "ukupno",
    ]
)


def total_rows(table):
    """Doubt a row of table blocks that adds up the others.

    Parameters
    ----------
    table : ParsedTable
        Table blocks.

    Returns
    -------
    list of Fault
    """
    frame, limits = table.frame, entry("plausible.total_row")
    vines = frame["vines"]
    planted = vines * frame["row_spacing_m"] * frame["vine_spacing_m"] / 10_000
    area = frame["area_ha"].fillna(planted)
    found = []
    for row in frame.index[frame["vines"] > vines.median()] if len(frame) > 2 else ():
        words = _words(f"{frame['block'][row]} {frame['variety'][row]}")
        named = bool(words & _TOTAL)
        kin = (frame["variety"] == frame["variety"][row]) & (frame.index != row)
        for rest in (frame.index != row, kin.to_numpy()):
            others = int(np.sum(rest))
            if others < 2 or (others < limits.extra["other_blocks"] and not named):
                continue
            # A block may well have as many vines as two or three others have together.
            close = limits.extra["named"] if named else limits.value
            off = [abs(column[row] / column[rest].sum() - 1) for column in (vines, area)]
            if off[0] <= close and (named or off[1] <= limits.extra["area"]):
                rule = f"has as many vines as {others} other blocks together, so it may be a total"
                mend = "Take the row out if it is a sum: else its vines count twice on the estate."
                found.append(tell(table, row, "block", rule, mend))
                break
    return found


def alike_names(table):
    """Doubt names of blocks that differ only in accents, points, hyphens or blanks.

    Parameters
    ----------
    table : ParsedTable
        Table blocks.

    Returns
    -------
    list of Fault
        Names that differ only in capitals or in the number of blanks are left to others.
    """
    first, found = {}, []
    names = table.frame["block"]
    for name in [name for name in pd.unique(names) if name]:
        other = first.setdefault(_plain(name), name)
        if other == name or _spaced(other) == _spaced(name):
            continue
        rule = f"differs from '{other}' only in accents, points, hyphens or blanks"
        mend = "Keep one of the two rows if they are the same block: else its vines count twice."
        found.append(tell(table, names.index[names == name][0], "block", rule, mend))
    return found


def _spaced(name):
    return " ".join(name.split()).casefold()


def _bare(name):
    parts = unicodedata.normalize("NFKD", name.casefold())
    return "".join(sign for sign in parts if not unicodedata.combining(sign))


def _plain(name):
    """Return what is left of a name without accents and signs; numbers stay apart."""
    text = re.sub(r"[\s.,;:_()'’`´\"-]+", " ", _bare(name)).strip()
    return re.sub(r"(?<![0-9]) | (?![0-9])", "", text) or name


def _words(text):
    return set(re.findall(r"\w+", _bare(text)))
