"""Contracts of grapes: how often a crop misses the least or passes the most, and what is paid.

Every price is the user's own; nothing here is advice on a contract.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.errors import CroploadError
from cropload.records.contracts import (
    PRICES,
    deliveries,
    faults_of,
    in_full,
    strangers,
)
from cropload.units import METRIC

_COLUMNS = (
    "contract",
    "blocks",
    "least_t",
    "most_t",
    "ceiling_t",
    *(f"tonnes_{end}" for end in ranges.ENDINGS),
    "chance_short",
    "short_mean_t",
    "chance_room",
    "room_mean_t",
    "chance_excess",
    "excess_mean_t",
    "chance_ceiling",
    *(f"revenue_{end}" for end in ranges.ENDINGS),
    "revenue_mean",
    "chance_penalty",
    "penalty_mean",
    "currency",
)


@dataclass(frozen=True)
class Terms:
    """What one contract agrees on, for the fruit of some area.

    Attributes
    ----------
    least, most, ceiling : float
        Least and most tonnes, and what the law lets be delivered at all [t]; 0 and infinite for
        none.
    steps : tuple of (float, float or ndarray)
        From how many tonnes on [t] each price holds [currency/t]; the first from 0 on. A price
        told as a range has a draw for each draw of the tonnes.
    beyond : float or ndarray
        Price of fruit beyond the most [currency/t].
    shortfall, excess : float
        Owed for each tonne missing of the least, and for each beyond the most [currency/t].
    """

    least: float
    most: float
    ceiling: float
    steps: tuple
    beyond: float = 0.0
    shortfall: float = 0.0
    excess: float = 0.0

    def pay(self, tonnes):
        """Return what is paid for tonnes that hang [currency]; above the ceiling nothing is.

        Parameters
        ----------
        tonnes : ndarray
            Fruit of all its blocks [t].
        """
        delivered = np.minimum(tonnes, self.ceiling)
        inside = np.minimum(delivered, self.most)
        ends = [start for start, _ in self.steps[1:]] + [np.inf]
        paid = self.beyond * (delivered - inside)
        for (start, price), end in zip(self.steps, ends, strict=True):
            paid = paid + price * np.clip(inside - start, 0.0, end - start)
        return paid

    def penalty(self, tonnes):
        """Return what is owed for tonnes that hang, for missing the least or passing the most."""
        delivered = np.minimum(tonnes, self.ceiling)
        missing = np.maximum(self.least - delivered, 0.0)
        over = np.maximum(delivered - self.most, 0.0)
        return self.shortfall * missing + self.excess * over


def _middle(price, _):
    return float(price)


def terms_of(rows, area_ha, share=1.0, priced=_middle):
    """Return the terms of one contract for the blocks that deliver.

    Parameters
    ----------
    rows : DataFrame
        Its rows of ``check_contracts``.
    area_ha : float
        Area of the blocks [ha].
    share : float
        Share of the contract's fruit that is theirs, for terms in tonnes [1].
    priced : callable
        Makes a price of its middle [currency/t] and the log of high over low end of its range [1];
        the middle by default.
    """
    told = {name: values.dropna() for name, values in rows.items()}
    told = {name: values.iloc[0] if len(values) else np.nan for name, values in told.items()}
    hl = told["ceiling_hl_ha"] * told["ceiling_kg_per_hl"]
    ceiling = np.nanmin([told["ceiling_kg_ha"], hl, np.inf]) * area_ha / 1000
    most = np.nanmin([told["most_t"] * share, told["most_t_ha"] * area_ha, np.inf])
    rows = rows.sort_values("from_t", kind="stable")
    prices = zip(rows["price_per_t"], rows["price_per_t_range"].fillna(0.0), strict=True)
    steps = zip(rows["from_t"] * share, (priced(*price) for price in prices), strict=True)
    beyond = (np.nan_to_num(told[n]) for n in ("price_beyond", "price_beyond_range"))
    owed = (np.nan_to_num(told[n]) for n in ("shortfall_per_t", "excess_per_t"))
    least = np.nan_to_num(told["least_t"] * share)
    return Terms(
        float(least), float(most), float(ceiling), tuple((float(a), p) for a, p in steps),
        priced(*beyond), *map(float, owed),
    )  # fmt: skip


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class ContractRoom(Answer):
    """A forecast held against contracts: shortfall, room left, excess, and what is paid.

    Attributes
    ----------
    frame : DataFrame
        One row a contract: contract, blocks [1], least_t, most_t and ceiling_t [t] (NaN for none),
        tonnes_p10, tonnes_p50, tonnes_p90 [t], chance_short [1] of missing the least and
        short_mean_t [t] missing then, chance_room [1] and room_mean_t [t] left under the most,
        chance_excess [1] and excess_mean_t [t] when over, chance_ceiling of more than the law
        lets be delivered [1], revenue_p10, revenue_p50, revenue_p90, revenue_mean for the fruit,
        chance_penalty [1] and penalty_mean [currency], currency.
    notes : tuple of str
        What is left out, and why.
    season : int
        Year of harvest.
    """

    season: int

    def heading(self, units=METRIC):
        """Return what was held against what."""
        from cropload.winery.words import TERMS

        return f"The crop of season {self.season} against the contracts. {TERMS}"

    def tables(self, units=METRIC):
        """Return the crop against the terms, and what each contract pays."""
        from cropload.winery import tables

        return [tables.room_table(self), tables.pay_table(self)]

    def plot(self, ax=None, units=METRIC):
        """Draw the crop against the most that each contract takes."""
        from cropload.winery.charts import contract_rows

        return contract_rows(self, units).plot(ax)


@arguments.check_arguments(contracts=arguments.frame)
def check_contracts(contracts):
    """Check contract terms, also when they were not read from a file.

    Parameters
    ----------
    contracts : DataFrame
        As table contracts, or as table prices of older records: block or variety, price_per_t
        [currency/t], cap_t [t], cap_t_ha [t/ha], price_above_cap [currency/t].

    Returns
    -------
    DataFrame
        With every column of table contracts, one row a price step.

    Raises
    ------
    CroploadError
        For a price below zero or missing, a weight of zero or less, a contract twice, or terms
        that contradict each other.
    """
    old = pd.DataFrame(contracts)
    if "contract" not in old:
        _check_prices(old)
    frame = in_full(old)
    written = {new: name for name, new in PRICES.items()} if "contract" not in old else {}
    for row in frame.to_dict("records"):
        whose = f"contract '{row['contract']}'"
        for name in ("price_per_t", "price_beyond", "shortfall_per_t", "excess_per_t", "from_t"):
            value = row[name]
            if (np.isnan(value) and name != "price_per_t") or (np.isfinite(value) and value >= 0):
                continue
            shown = "missing" if np.isnan(value) else f"{value:g}"
            told = written.get(name, name)
            raise CroploadError(f"{told} of {whose} is {shown}; it is 0 or more. Correct it.")
        for name in row:
            if name.startswith(("least", "most", "ceiling")) and (
                row[name] <= 0 or np.isinf(row[name])
            ):
                raise CroploadError(
                    f"{written.get(name, name)} of {whose} is {row[name]:g}; it is above 0. Leave "
                    "it blank where the contract has none."
                )
    twice = frame[frame.duplicated(["contract", "from_t"])]
    if len(twice):
        raise CroploadError(
            f"There are two contracts for {twice['contract'].iloc[0]}, or two prices from the same "
            "tonne on. Keep one."
        )
    for _, column, rule, mend in faults_of(frame):
        raise CroploadError(f"The contracts cannot hold: {column} {rule}. {mend}")
    return frame


def _check_prices(frame):
    for block, variety in zip(*(
        frame[name].fillna("") if name in frame else [""] * len(frame)
        for name in ("block", "variety")
    ), strict=True):  # fmt: skip
        if bool(block) == bool(variety):
            raise CroploadError(
                "A contract is for a block or for a variety, one of the two. Fill in one of them "
                f"({block or 'no block'}, {variety or 'no variety'})."
            )


def contract_book(records):
    """Return the contracts of the records, those of tables contracts and prices together."""
    # Each table by itself first, so that faults name its own columns.
    parts = [check_contracts(each) for each in (records.contracts, records.prices) if len(each)]
    return check_contracts(pd.concat(parts)) if parts else in_full(records.contracts)


def contract_places(book, blocks):
    """Return which contract each block's fruit goes to, and what the reader must know.

    Parameters
    ----------
    book : DataFrame
        As from ``check_contracts``.
    blocks : DataFrame
        block, variety and, if known, grower and group.

    Returns
    -------
    places : dict
        {block: name of its contract}; a block without one is left out.
    notes : list of str

    Raises
    ------
    CroploadError
        Where two contracts take a block alike.
    """
    places, clashes = deliveries(book, blocks)
    for block, one, other in clashes:
        raise CroploadError(
            f"Contracts '{one}' and '{other}' both take the fruit of {block}. Name blocks, "
            "group, grower or variety so that one contract takes each block."
        )
    notes = []
    for _, column, name, hint in strangers(book, blocks):
        what = {"blocks": "block"}.get(column, column)
        notes.append(
            f"No fruit of {what} '{name}' is in this forecast, so its contract is not used for it. "
            f"{hint}".strip()
        )
    wide = {
        row["contract"]: row["variety"]
        for row in book.to_dict("records")
        if row["variety"] and not (row["blocks"] or row["group"] or row["grower"])
    }
    for block, variety in zip(blocks["block"], blocks["variety"], strict=True):
        if variety in wide.values() and places.get(block) not in wide:
            notes.append(
                f"{block} has a contract of its own, so it does not count for that of {variety}."
            )
    without = [block for block in blocks["block"] if block not in places]
    if without and len(book):
        notes.append(f"No contract takes {', '.join(without)}.")
    return places, list(dict.fromkeys(notes))


@arguments.check_arguments(
    forecast=arguments.forecast,
    blocks=arguments.optional(arguments.frame),
)
def contract_table(forecast, contracts, blocks=None):
    """Hold a forecast against contracts: shortfall, room and excess, each with its chance.

    Parameters
    ----------
    forecast : Forecast
        As from ``forecast``.
    contracts : DataFrame
        As table contracts, or as table prices.
    blocks : DataFrame, optional
        Table blocks of the records, for the growers and groups it names.

    Returns
    -------
    ContractRoom
        ``.frame`` has one row a contract: its terms and crop [t], the chances of missing the
        least, of room left and of excess [1] with their tonnes [t], what it pays for the fruit
        and what is owed besides [currency].

    Raises
    ------
    CroploadError
        For terms that cannot be, or two contracts that take a block alike.

    Notes
    -----
    Where most_t and most_t_ha are given the lower one counts; amounts of a hectare are multiplied
    by the area of the blocks that deliver. Price steps are paid tonne by tonne: the first price
    for the first tonnes, the next only for what comes after. A blank price beyond the most is 0.
    What is above a legal ceiling is not delivered: nothing is paid or owed for it.
    Valid for contracts on weight alone; terms on sugar, health or dates are not looked at.
    """
    book = check_contracts(contracts)
    owned = pd.DataFrame({"block": forecast.blocks, "variety": forecast.varieties})
    if blocks is not None:
        if "block" not in blocks:
            raise CroploadError("The table of blocks has no column block. Give it whole.")
        rows = blocks.drop_duplicates("block").set_index("block")
        for name in ("grower", "group"):
            if name in rows:
                owned[name] = owned["block"].map(rows[name].to_dict()).fillna("")
    places, notes = contract_places(book, owned)
    area = np.asarray(forecast.area_ha, float)
    rows = []
    for name, terms in book.groupby("contract", sort=False):
        inside = np.array([places.get(block) == name for block in forecast.blocks])
        if inside.any():
            tonnes = forecast.draws[inside].sum(0)
            found = _held(terms_of(terms, area[inside].sum()), tonnes)
            found |= {"contract": name, "blocks": int(inside.sum())}
            rows.append(found | {"currency": "".join(dict.fromkeys(terms["currency"]))})
    frame = pd.DataFrame(rows, columns=list(_COLUMNS))
    return ContractRoom(frame=frame, notes=tuple(notes), season=forecast.season)


def _held(terms, tonnes):
    """Return what draws of a crop come to under the terms of one contract."""
    delivered = np.minimum(tonnes, terms.ceiling)
    short, room, over = (
        delivered < terms.least,
        delivered < terms.most,
        delivered > terms.most,
    )
    pay, penalty = terms.pay(tonnes), terms.penalty(tonnes)
    found = {
        **ranges.columns("tonnes", tonnes),
        **ranges.columns("revenue", pay),
        "revenue_mean": float(pay.mean()),
        "chance_penalty": float((penalty > 0).mean()),
        "penalty_mean": float(penalty.mean()),
    }
    if terms.least:
        found |= {"least_t": terms.least, "chance_short": short.mean()}
        found["short_mean_t"] = _mean(terms.least - delivered, short)
    if np.isfinite(terms.most):
        found |= {"most_t": terms.most, "chance_room": room.mean(), "chance_excess": over.mean()}
        found["room_mean_t"] = _mean(terms.most - delivered, room)
        found["excess_mean_t"] = _mean(delivered - terms.most, over)
    if np.isfinite(terms.ceiling):
        found |= {"ceiling_t": terms.ceiling, "chance_ceiling": (tonnes > terms.ceiling).mean()}
    return found


def _mean(amount, where):
    return float(amount[where].mean()) if where.any() else 0.0
