"""Doubts that were answered: what a doubt speaks of, and the answers that still hold for it."""

from dataclasses import dataclass
from hashlib import sha256

import numpy as np
import pandas as pd

from cropload.records.reading.headers import normal

#: What a digest is written in: letters, which no spreadsheet program takes for a number.
_LETTERS = str.maketrans("0123456789abcdef", "abcdefghijklmnop")
_SIGNS = 8
#: What sets the size of a block, and with it most of what is doubted of its rows.
_SIZE = ("row_spacing_m", "vine_spacing_m", "vines", "missing_pct", "area_ha", "canopies")


@dataclass(frozen=True, slots=True)
class Matter:
    """What a doubt speaks of.

    Attributes
    ----------
    rule : str
        Name of the rule.
    block : str
        The block; ``""`` for none.
    season : int
        Year of harvest; 0 for none.
    rows : str
        A digest of its rows: another one when a value in them changes.
    """

    rule: str
    block: str
    season: int
    rows: str

    def place(self):
        """Return its block and season in words, ``""`` where it has neither."""
        return ", ".join(filter(None, (self.block, str(self.season or ""))))


def matters(rule, facts, rows):
    """Return {row: Matter} for rows that break a rule.

    Parameters
    ----------
    rule : Rule
        A rule with a name.
    facts : Facts
        What it was held against.
    rows : sequence of int
        Rows of its first table.
    """
    name = rule.tables[0]
    frame = facts[name]
    blocks = frame["block"].to_dict() if "block" in frame else {}
    seasons = frame["season"].to_dict() if "season" in frame and rule.of != "block" else {}
    found = {}
    for row in rows:
        block, season = blocks.get(row, ""), seasons.get(row, np.nan)
        lots = [frame.loc[[row]]] if rule.of == "row" else _lots(rule, facts, block, season)
        if "blocks" in rule.tables[1:]:
            owner = facts["blocks"]
            lots.append(owner.loc[owner["block"] == block, list(_SIZE)])
        season = 0 if pd.isna(season) else int(season)
        found[row] = Matter(rule.name, block, season, _digest(lots))
    return found


def _lots(rule, facts, block, season):
    """Return the rows of a block, or of a season of it, in the tables that a rule looks at."""
    names = [name for name in rule.tables if {"block", "season"} <= set(facts[name])]
    if rule.of == "season":
        return [facts.rows(name, (block, season)) for name in names]
    return [facts[name][facts[name]["block"] == block] for name in names]


def _digest(lots):
    """Return letters that stand for the values of some rows, whatever their order and place."""
    digest = sha256()
    for lot in lots:
        told = ["|".join(_cells(lot, row)) for row in lot.to_dict("records")]
        digest.update("\n".join(sorted(told)).encode("utf-8", "replace") + b"\0")
    return digest.hexdigest()[:_SIGNS].translate(_LETTERS)


def _cells(lot, row):
    for column in lot:
        value = row[column]
        if isinstance(value, str):
            text = value
        elif pd.isna(value):
            text = ""
        else:
            text = f"{value:%Y-%m-%d}" if hasattr(value, "year") else f"{value:.10g}"
        if text:
            yield f"{column}={text}"


@dataclass(frozen=True)
class _Answer:
    rule: str
    block: str
    season: int
    rows: frozenset


class Answers:
    """The rows of table ``answered``.

    Parameters
    ----------
    frame : DataFrame
        The table; a blank block or season stands for any, and blank rows for whatever they become.
    """

    def __init__(self, frame):
        cells = zip(frame["rule"], frame["block"], frame["season"], frame["rows"], strict=True)
        self._each = [
            _Answer(rule_name(rule), block, int(season or 0), frozenset(rows.split()))
            for rule, block, season, rows in cells
        ]

    @classmethod
    def of(cls, facts):
        """Return the answers among the tables of a read, or None."""
        if "answered" not in facts or facts["answered"].empty:
            return None
        return cls(facts["answered"].fillna({"season": 0}))

    def speaks_of(self, rule):
        """Return whether any answer is about a rule."""
        return any(each.rule == rule for each in self._each)

    def holding(self, matter):
        """Return the places in the table of the answers that hold for a doubt."""
        return [
            at
            for at, each in enumerate(self._each)
            if each.rule == matter.rule
            and each.block in ("", matter.block)
            and each.season in (0, matter.season)
            and (not each.rows or matter.rows in each.rows)
        ]


def rule_name(written):
    """Return the name of a rule as it is told, whatever its capitals, blanks and lines.

    Examples
    --------
    >>> rule_name("Harvest low_crop")
    'harvest-low-crop'
    """
    return normal(written).replace("_", "-")
