"""Faults of delivery contracts: terms that contradict each other, names that no block has."""

import pandas as pd

from cropload.records.contracts import (
    TERMS,
    deliveries,
    faults_of,
    in_full,
    of_the_book,
    strangers,
)
from cropload.records.doubts.rules import Rule, by_row


def _book(facts):
    return in_full(facts["contracts"])


def _impossible(facts):
    return list(faults_of(facts.once(_book)))


def _strange(facts):
    return list(strangers(facts.once(_book), facts["blocks"]))


def _terms(column):
    """Return the rule of terms that cannot be, told of one column."""

    def condition(facts):
        found = facts.once(_impossible)
        return by_row({row: {"rule": r, "mend": m} for row, at, r, m in found if at == column})

    return Rule(("contracts",), column, condition, "{rule}", "{mend}")


def _names(column, what, name=""):
    """Return the rule of names in a column of contracts that no block has."""

    def condition(facts):
        rows = {}
        for row, at, name, hint in facts.once(_strange):
            if at == column:
                told = rows.setdefault(row, {"name": name, "mend": hint or "Check the spelling."})
                if name != told["name"]:  # a cell may hold several
                    rows[row] = {
                        "name": f"{told['name']}', '{name}",
                        "mend": " ".join(dict.fromkeys([told["mend"], hint or told["mend"]])),
                    }
        return by_row(rows)

    return Rule(
        ("contracts", "blocks"), column, condition, "'{name}' is " + what + " of no row of table "
        "blocks", "{mend}", name=name
    )  # fmt: skip


def _other_currency(facts):
    """Return the first row of contracts in another currency than the first that names one."""
    named = facts["contracts"]["currency"]
    named = named[named != ""]
    others = named[named != named.iloc[0]] if len(named) else named
    return by_row({row: {"first": named.iloc[0]} for row in others.index[:1]})


def _taken_twice(facts):
    """Return the first row of contracts that take a block another contract takes alike."""
    prices = facts["prices"] if "prices" in facts else pd.DataFrame()
    contracts, blocks = facts["contracts"], facts["blocks"]
    book = of_the_book(contracts, pd.DataFrame())
    rows = {name: part.index[0] for name, part in contracts.groupby("contract", sort=False)}
    mine, clashes = deliveries(book, blocks)
    found = {
        rows[name]: {"block": block, "other": f"contract '{other}'"}
        for block, other, name in clashes
    }
    if len(prices):
        theirs, _ = deliveries(of_the_book(pd.DataFrame(), prices), blocks)
        for block, name in mine.items():
            if block in theirs:
                found.setdefault(rows[name], {"block": block, "other": "table prices"})
    return by_row(found)


REFUSED = [
    *map(_terms, ("contract", "from_t", *TERMS)),
    _names("blocks", "the block"),
    _names("group", "the group"),
    Rule(
        ("contracts", "blocks"),
        "contract",
        _taken_twice,
        "takes the fruit of {block}, which {other} takes too",
        "Name blocks, group, grower or variety so that one contract takes each block; table "
        "contracts takes the place of table prices.",
    ),
]
DOUBTS = [
    _names("grower", "the grower", "contracts-unknown-grower"),
    _names("variety", "the variety", "contracts-unknown-variety"),
    Rule(
        ("contracts",),
        "currency",
        _other_currency,
        "is another currency than {first}: money of the estate cannot be told, crops alone are",
        "Write all prices in one currency.",
        name="contracts-currency",
    ),
]
