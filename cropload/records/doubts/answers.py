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
    name, rows = rule.tables[0], list(rows)
    frame = facts[name].loc[rows]
    blocks = frame["block"].tolist() if "block" in frame else [""] * len(rows)
    seasons = [np.nan] * len(rows)
    if "season" in frame and rule.of != "block":
        seasons = frame["season"].tolist()
    lots = []
    if rule.of == "row":
        lots.append(_told(facts, name, [[row] for row in rows]))
    else:
        keys = (blocks,) if rule.of == "block" else (blocks, seasons)
        for other in rule.tables:
            if {"block", "season"} <= set(facts[other]):
                lots.append(_told(facts, other, _lots(facts, other, *keys)))
    if "blocks" in rule.tables[1:]:
        lots.append(_told(facts, "blocks", _lots(facts, "blocks", blocks), _SIZE))
    digests = [_digest(lot) for lot in zip(*lots, strict=True)]
    return {
        row: Matter(rule.name, block, 0 if pd.isna(season) else int(season), digest)
        for row, block, season, digest in zip(rows, blocks, seasons, digests, strict=True)
    }


def _lots(facts, name, *keys):
    """Return the rows of a table for each block, or each block and season."""
    rows = facts[name].index.to_numpy()
    return [rows[places].tolist() for places in facts.places(name, *keys)]


def _told(facts, name, lots, columns=None):
    """Return for each lot of rows of a table their texts; each row is put in words once."""
    known = facts.once(_known, name, columns)
    new = list({row: row for lot in lots for row in lot if row not in known})
    if new:
        texts = _texts(facts[name].loc[new, slice(None) if columns is None else list(columns)])
        known.update(zip(new, texts, strict=True))
    return [[known[row] for row in lot] for lot in lots]


def _known(facts, name, columns):
    return {}


def _texts(frame):
    """Return the values of each row as text, blanks left out."""
    cells = []
    for column in frame:
        codes, values = pd.factorize(frame[column])
        texts = [f"{column}={_text(value)}" if value != "" else "" for value in values]
        cells.append([*map([*texts, ""].__getitem__, codes)])
    return ["|".join(filter(None, row)) for row in zip(*cells, strict=True)]


def _text(value):
    if isinstance(value, str):
        return value
    return f"{value:%Y-%m-%d}" if hasattr(value, "year") else f"{value + 0.0:.10g}"


def _digest(lots):
    """Return letters that stand for the texts of some rows, whatever their order and place."""
    digest = sha256()
    for told in lots:
        digest.update("\n".join(sorted(told)).encode("utf-8", "replace") + b"\0")
    return digest.hexdigest()[:_SIGNS].translate(_LETTERS)


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
