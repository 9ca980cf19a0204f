"""Delivery contracts of the records: one form for both tables, and who delivers to which."""

import numpy as np
import pandas as pd

from cropload.errors import CroploadError, near

#: Terms of a contract as a whole, told on one of its rows or the same on each.
TERMS = (
    "grower",
    "variety",
    "blocks",
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
_NAMES = ("contract", "grower", "variety", "blocks", "currency")
_NUMBERS = (
    "from_t",
    "price_per_t",
    "price_per_t_range",
    *(name for name in TERMS if name not in _NAMES),
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
    """Return the names of a cell of column blocks, which has semicolons between them."""
    return [name.strip() for name in text.split(";") if name.strip()]


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
    frame = pd.DataFrame(contracts).copy()
    if "contract" not in frame:
        frame = frame.rename(columns=PRICES)
        for name in ("blocks", "variety"):
            frame[name] = frame[name].fillna("").astype(str) if name in frame else ""
        frame["contract"] = frame["blocks"].where(frame["blocks"] != "", frame["variety"])
        alike = (frame["blocks"] != "") & frame["contract"].isin(frame["variety"])
        frame["contract"] = frame["contract"].mask(alike, frame["contract"] + " (block)")
    for name in _NAMES:
        frame[name] = frame[name].fillna("").astype(str) if name in frame else ""
    for name in _NUMBERS:
        try:
            frame[name] = frame[name].astype(float) if name in frame else np.nan
        except (TypeError, ValueError):
            raise CroploadError(
                f"Column {name} of the contracts holds something that is no number. Correct it."
            ) from None
    frame["from_t"] = frame["from_t"].fillna(0.0)
    return frame[["contract", "from_t", "price_per_t", "price_per_t_range", *TERMS]]


def faults_of(frame):
    """Yield what cannot be in rows of table contracts: (row, column, rule, mend)."""
    for name, rows in frame.groupby("contract", sort=False):
        first, told = rows.index[0], {}
        for term in TERMS:
            values = rows[term]
            given = values[values != ""] if term in _NAMES else values.dropna()
            told[term] = given.iloc[0] if len(given) else "" if term in _NAMES else np.nan
            for other in given.index[given != told[term]][:1]:
                yield (
                    other,
                    term,
                    f"differs between the rows of contract '{name}'",
                    "Rows of one contract are its price steps: tell its terms once.",
                )
        if not any(told[term] for term in ("grower", "variety", "blocks")):
            yield (
                first,
                "contract",
                "says neither of which grower, nor of which variety or blocks it takes fruit",
                "Fill in grower, variety or blocks.",
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
        block, variety and, if known, grower.

    Returns
    -------
    places : dict
        {block: name of the contract}; a block without one is left out.
    clashes : list of (str, str, str)
        Block, and the two contracts that take it alike.

    Notes
    -----
    A contract takes fruit that fits all it names. One that names blocks goes before one that names
    grower and variety, that before one that names the grower, and last comes the variety alone.
    """
    grower = blocks["grower"] if "grower" in blocks else pd.Series("", blocks.index)
    places, ranks, clashes = {}, {}, []
    for name, rows in book.groupby("contract", sort=False):
        terms = {term: "".join(dict.fromkeys(rows[term])) for term in ("grower", "variety")}
        own = [block for cell in dict.fromkeys(rows["blocks"]) for block in listed_blocks(cell)]
        fits = pd.Series(True, blocks.index)
        if own:
            fits &= blocks["block"].isin(own)
        if terms["variety"]:
            fits &= blocks["variety"] == terms["variety"]
        if terms["grower"]:
            fits &= grower == terms["grower"]
        rank = 0 if own else (1 if terms["variety"] else 2) if terms["grower"] else 3
        for block in blocks["block"][fits]:
            if block in places and ranks[block] == rank:
                clashes.append((block, places[block], name))
            elif block not in places or rank < ranks[block]:
                places[block], ranks[block] = name, rank
    return places, clashes


def strangers(book, blocks):
    """Yield names of the contracts that no block has: (row, column, name, hint)."""
    for column, known in (("blocks", "block"), ("variety", "variety"), ("grower", "grower")):
        names = set(blocks[known]) - {""} if known in blocks else set()
        for row, cell in book[column].items():
            for name in listed_blocks(cell) if column == "blocks" else filter(None, [cell]):
                if name not in names:
                    yield row, column, name, near(name, names)
