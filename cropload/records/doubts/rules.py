"""What a rule of the records is, and the one runner that holds them against the facts."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cropload.handbook import entry
from cropload.records.doubts.answers import Answers, matters
from cropload.records.reading.faults import MOST_OF_A_KIND, Fault, some_faults


@dataclass(frozen=True)
class Rule:
    """One thing that records should not show.

    Attributes
    ----------
    tables : tuple of str
        Tables that must be there with all their columns; it is told of the first one.
    column : str
        Column that it is told of.
    condition : callable
        Takes the :class:`~cropload.records.doubts.facts.Facts`; returns the rows that break the
        rule, as an index, or as a DataFrame whose columns the words may name.
    words, mend : str
        What should be so, and what to do, as format strings.
    value : str
        What is shown of the cell, as a format string: ``{text}`` is what the user wrote, and
        ``{told}`` that with the ``number`` that comes of it.
    more : str
        A column ``more`` of the condition holds further rows that are counted, not listed [1].
    name : str
        What a doubt is called when it is answered: lower case, never changed; "" for a fault.
    of : str
        What it speaks of, so that an answer holds while that stays the same: the ``row``, all of
        the block in the ``season``, or all of the ``block``.
    """

    tables: tuple
    column: str
    condition: Callable = field(repr=False)
    words: str
    mend: str = ""
    value: str = "{text}"
    name: str = field(default="", kw_only=True)
    of: str = field(default="row", kw_only=True)

    def faults(self, facts, settled=None):
        """Return a Fault for each row that breaks the rule, but for those that were answered.

        Parameters
        ----------
        facts : Facts
        settled : list, optional
            Takes the faults that were answered.
        """
        hits = self.condition(facts)
        if not len(hits):
            return []
        if not isinstance(hits, pd.DataFrame):
            hits = pd.DataFrame(index=hits)
        table, rows = facts.parsed[self.tables[0]], hits.index
        written = table.written(self.column)
        answers = facts.once(Answers.of) if self.name else None
        about, held = {}, []
        if answers and answers.speaks_of(self.name):
            about = matters(self, facts, rows)
            held = [row for row in rows if answers.holding(about[row])]
        left = rows.difference(held, sort=False) if held else rows
        # Of many rows the first ones and the last are told, and only their words are made.
        told = {row for some in (held, left) for row in _first_and_last(some)}
        known = hits[hits.index.isin(told) & ~hits.index.duplicated()].to_dict("index")
        if self.name:
            about |= matters(self, facts, [row for row in known if row not in about])

        def fault(row):
            text, told = table.text(row, self.column), known[row]
            if "number" in told:
                told["told"] = value_told(text, told["number"])
            value, rule, mend = (
                pattern.format(**{"text": text} | told)
                for pattern in (self.value, self.words, self.mend)
            )
            more, matter = told.get("more", 0), about.get(row)
            return Fault(table.file, int(row), written, value, rule, mend, more, matter)

        if settled is not None:
            settled += some_faults(held, fault)
        return some_faults(left, fault)


def _first_and_last(rows):
    return rows if len(rows) <= MOST_OF_A_KIND else [*rows[:MOST_OF_A_KIND], rows[-1]]


@np.errstate(all="ignore")
def run(rules, facts, settled=None):
    """Return the faults of all rules whose tables are there, in the order of the rules.

    Those that were answered go into the list ``settled``, where it is given.
    """
    found = []
    for rule in rules:
        if all(name in facts for name in rule.tables):
            found += rule.faults(facts, settled)
    return found


def beyond(values, low, high):
    """Return the rows whose number lies outside its limits, each with its ``number``."""
    numbers = values.to_numpy(float)
    wrong = (numbers < np.asarray(low)) | (numbers > np.asarray(high))
    return pd.DataFrame({"number": numbers[wrong]}, values.index[wrong])


def by_row(found, columns=None):
    """Return {row: what the words of a rule may name} as a frame, or nothing where none is."""
    if not found and columns is None:
        return ()
    return pd.DataFrame(list(found.values()), list(found), columns)


def one_of_each(frame, keys):
    """Return the first row of each group of rows, with how many ``more`` there are [1].

    Parameters
    ----------
    frame : DataFrame
        The rows.
    keys : list of str
        Columns that make a group; the groups come in their order.
    """
    frame = frame.dropna(subset=keys)
    if frame.empty:
        return frame.assign(more=0)
    more = frame.groupby(keys)[keys[0]].transform("size").astype(int) - 1
    first = frame.assign(more=more)[~frame.duplicated(keys)]
    return first.sort_values(keys, kind="stable")


_MEND = "Possible, but rare: check the value and its unit."


def named(*parts):
    """Return the name of a doubt: its table, and what is doubted, in lower case."""
    return "-".join(parts).replace("_", "-")


def plausible(table, column, key, values, what, mend=_MEND, others=(), name=""):
    """Return the rule of a number that lies beyond what the handbook finds plausible.

    Parameters
    ----------
    table, column : str
        Where it is told.
    key : str
        Entry of the handbook, without ``plausible.``.
    values : callable
        Takes the facts; returns a Series of numbers by row.
    what : str
        What the number is.
    name : str
        What it is called; table and key when left out.
    """

    def condition(facts):
        limits = entry(f"plausible.{key}")
        hits = beyond(values(facts), limits.low, limits.high)
        return hits.assign(limits=span(limits)) if len(hits) else hits

    words = f"{what} lies outside {{limits}}"
    name = name or named(table, key)
    return Rule((table, *others), column, condition, words, mend, "{told}", name=name)


def span(limits):
    """Return the limits of an entry in words."""
    unit = "" if limits.unit == "1" else f" {limits.unit}"
    return f"{limits.low:g} to {limits.high:g}{unit}"


def plain(number):
    """Return a number in four significant figures, without powers of ten where people write none.

    Examples
    --------
    >>> plain(12345.6), plain(0.00154), plain(4.5678e12)
    ('12,350', '0.00154', '4.568e+12')
    """
    if not 1e4 <= abs(number) < 1e10:
        return f"{number:.4g}"
    return f"{float(f'{number:.4g}'):,.0f}"


def value_told(text, number):
    """Return the text of a cell, with the derived number behind it where the two differ."""
    number = plain(number)
    return number if text in ("", number) else f"{text} (comes to {number})"
