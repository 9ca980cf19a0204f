"""Delivery contracts of the records: one form for both tables, and who delivers to which."""

import numpy as np
import pandas as pd

from cropload.errors import CroploadError, near

#: Terms of a contract as a whole, told on one of its rows or the same on each.
TERMS = (
    "grower",
    "variety",
    "blocks",
    "group",
    "least_t",
    "most_t",
    "most_t_ha",
    "ceiling_kg_ha",
    "ceiling_hl_ha",
    "ceiling_kg_per_hl",
    "price_beyond",
    "price_beyond_range",
    "shortfall_per_t",
    "excess_per_t",
    "currency",
)
#: Terms that say whose fruit a contract takes; blocks and group hold several names.
WHOSE = ("grower", "variety", "blocks", "group")
#: Columns of names; all others hold numbers.
NAMES = ("contract", *WHOSE, "currency")
_NUMBERS = (
    "from_t",
    "price_per_t",
    "price_per_t_range",
    *(name for name in TERMS if name not in NAMES),
)
#: Columns of table prices -> what they are in table contracts.
PRICES = {
    "block": "blocks",
    "cap_t": "most_t",
    "cap_t_ha": "most_t_ha",
    "price_above_cap": "price_beyond",
    "price_above_cap_range": "price_beyond_range",
}


def listed_blocks(text):
    """Return the names of a cell of column blocks or group, which has semicolons between."""
    return [name.strip() for name in text.split(";") if name.strip()]


def _texts(frame, name):
    """Return a column as texts; a blank one may have come as numbers that are missing."""
    values = frame[name] if name in frame else [""] * len(frame)
    return pd.Series(["" if pd.isna(each) else str(each) for each in values], frame.index, str)


def named_after(prices):
    """Return rows of table prices as contracts of the block's or variety's name."""
    frame = prices.rename(columns=PRICES)
    for name in ("blocks", "variety"):
        frame[name] = _texts(frame, name)
    frame["contract"] = frame["blocks"].where(frame["blocks"] != "", frame["variety"])
    alike = (frame["blocks"] != "") & frame["contract"].isin(frame["variety"])
    frame["contract"] = frame["contract"].mask(alike, frame["contract"] + " (block)")
    return frame


def in_full(contracts):
    """Return rows of table contracts, or of table prices, with every column of contracts.

    Parameters
    ----------
    contracts : DataFrame
        As table contracts, or as table prices: a contract of the block's or variety's name.

    Raises
    ------
    CroploadError
        For a number that is none.
    """
    frame = pd.DataFrame(contracts)
    frame = frame if "contract" in frame else named_after(frame)
    columns = {name: _texts(frame, name) for name in NAMES}
    for name in _NUMBERS:
        try:
            columns[name] = frame[name].astype(float) if name in frame else np.nan
        except (TypeError, ValueError):
            raise CroploadError(
                f"Column {name} of the contracts holds something that is no number. Correct it."
            ) from None
    columns["from_t"] = pd.Series(columns["from_t"], frame.index).fillna(0.0)
    names = ["contract", "from_t", "price_per_t", "price_per_t_range", *TERMS]
    return pd.DataFrame(columns, frame.index)[names]


def faults_of(frame):
    """Yield what cannot be in rows of table contracts: (row, column, rule, mend)."""
    for name, rows in frame.groupby("contract", sort=False):
        first, told = rows.index[0], {}
        for term in TERMS:
            given = [(row, each) for row, each in rows[term].items() if each != "" and each == each]
            told[term] = given[0][1] if given else "" if term in NAMES else np.nan
            for other in [row for row, each in given if each != told[term]][:1]:
                yield (
                    other,
                    term,
                    f"differs between the rows of contract '{name}'",
                    "Rows of one contract are its price steps: tell its terms once.",
                )
        if not any(told[term] for term in WHOSE):
            yield (
                first,
                "contract",
                "says neither of which grower, nor of which variety, blocks or group it takes "
                "fruit",
                "Fill in grower, variety, blocks or group.",
            )
        if (rows["from_t"] == 0).sum() != 1:
            yield (
                first,
                "from_t",
                f"leaves contract '{name}' without one price from the first tonne on",
                "Leave from_t blank on one row of the contract; the others are its steps.",
            )
        if told["least_t"] > told["most_t"]:
            yield (
                first,
                "least_t",
                "is above most_t, the most that the contract takes",
                "Correct one of the two.",
            )
        hl = np.isfinite(told["ceiling_hl_ha"])
        if hl and np.isfinite(told["ceiling_kg_ha"]):
            yield first, "ceiling_hl_ha", "is a second ceiling beside ceiling_kg_ha", "Keep one."
        elif hl and not np.isfinite(told["ceiling_kg_per_hl"]):
            yield (
                first,
                "ceiling_hl_ha",
                "cannot be told in tonnes without ceiling_kg_per_hl",
                "Write the kg of grapes that the rules count for a hectolitre.",
            )


def of_the_book(contracts, prices):
    """Return the contracts of both tables, one row a price step, in the columns of contracts."""
    parts = [in_full(each) for each in (contracts, prices) if len(each)]
    return pd.concat(parts, ignore_index=True) if parts else in_full(contracts)


def deliveries(book, blocks):
    """Return which contract each block delivers to, and where two contracts take one block.

    Parameters
    ----------
    book : DataFrame
        As from ``of_the_book``.
    blocks : DataFrame
        block, variety and, if known, grower and group.

    Returns
    -------
    places : dict
        {block: name of the contract}; a block without one is left out.
    clashes : list of (str, str, str)
        Block, and the two contracts that take it alike.

    Notes
    -----
    A contract takes fruit that fits all it names. One that names blocks goes before one that names
    a group of them, that before one of grower and variety, that before one of the grower, and last
    comes the variety alone.
    """
    blank = pd.Series("", blocks.index)
    grower = blocks.get("grower", blank)
    groups = [set(listed_blocks(cell)) for cell in blocks.get("group", blank)]
    places, ranks, clashes = {}, {}, []
    for name, rows in book.groupby("contract", sort=False):
        terms = {term: "".join(dict.fromkeys(rows[term])) for term in ("grower", "variety")}
        own, ours = (
            {each for cell in set(rows[term]) for each in listed_blocks(cell)}
            for term in ("blocks", "group")
        )
        fits = pd.Series(True, blocks.index)
        if own:
            fits &= blocks["block"].isin(own)
        if ours:
            fits &= np.array([bool(ours & each) for each in groups], bool)
        if terms["variety"]:
            fits &= blocks["variety"] == terms["variety"]
        if terms["grower"]:
            fits &= grower == terms["grower"]
        named = (own, ours, terms["grower"] and terms["variety"], terms["grower"], True)
        rank = [bool(each) for each in named].index(True)
        for block in blocks["block"][fits]:
            if block in places and ranks[block] == rank:
                clashes.append((block, places[block], name))
            elif block not in places or rank < ranks[block]:
                places[block], ranks[block] = name, rank
    return places, clashes


def strangers(book, blocks):
    """Yield names of the contracts that no block has: (row, column, name, hint)."""
    for column in WHOSE:
        known, several = "block" if column == "blocks" else column, column in ("blocks", "group")
        names = set(blocks[known]) - {""} if known in blocks else set()
        if column == "group":
            names = {name for cell in names for name in listed_blocks(cell)}
        for row, cell in book[column].items():
            for name in listed_blocks(cell) if several else filter(None, [cell]):
                if name not in names:
                    yield row, column, name, near(name, names)
