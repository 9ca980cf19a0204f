"""Contracts of grapes: what each takes, what room a crop leaves or goes over, and what it pays.

Every price is the user's own; nothing here is advice on a contract.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.errors import CroploadError, near
from cropload.units import METRIC

_COLUMNS = (
    "contract",
    "kind",
    "blocks",
    "price_per_t",
    "price_above_cap",
    "cap_t",
    *(f"tonnes_{end}" for end in ranges.ENDINGS),
    "chance_room",
    "room_mean_t",
    "chance_excess",
    "excess_mean_t",
    *(f"revenue_{end}" for end in ranges.ENDINGS),
    "currency",
)


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class ContractRoom(Answer):
    """A forecast held against contracts: room left, excess, and what is paid.

    Attributes
    ----------
    frame : DataFrame
        One row a contract: contract, kind (block or variety), blocks [1], price_per_t and
        price_above_cap [currency/t], cap_t [t] (NaN for none), tonnes_p10, tonnes_p50, tonnes_p90
        [t], chance_room [1] and room_mean_t [t] left under the cap, chance_excess [1] and
        excess_mean_t [t] when over, revenue_p10, revenue_p50, revenue_p90 [currency], currency.
    notes : tuple of str
        What is left out, and why.
    season : int
        Year of harvest.
    """

    season: int

    def heading(self, units=METRIC):
        """Return what was held against what."""
        from cropload.winery.words import TERMS

        return f"The crop of season {self.season} against the contracts of table prices. {TERMS}"

    def tables(self, units=METRIC):
        """Return the crop against each cap, and what each contract pays."""
        from cropload.winery import tables

        return [tables.room_table(self), tables.pay_table(self)]

    def plot(self, ax=None, units=METRIC):
        """Draw the crop against the most that each contract takes."""
        from cropload.winery.charts import contract_rows

        return contract_rows(self, units).plot(ax)


def _whose(row):
    if row["block"]:
        return f"block '{row['block']}'"
    return f"variety '{row['variety']}'" if row["variety"] else "a contract without a name"


@arguments.check_arguments(prices=arguments.frame)
def check_prices(prices):
    """Check contract terms, also when they were not read from a file.

    Parameters
    ----------
    prices : DataFrame
        As table prices: block or variety, price_per_t [currency/t], cap_t [t], cap_t_ha [t/ha],
        price_above_cap [currency/t].

    Returns
    -------
    DataFrame
        With every column of table prices.

    Raises
    ------
    CroploadError
        For a price below zero or missing, a cap of zero or less, or a contract twice.
    """
    frame = pd.DataFrame(prices).copy().reset_index(drop=True)
    for name in ("block", "variety", "currency"):
        frame[name] = frame[name].fillna("").astype(str) if name in frame else ""
    for name in ("price_per_t", "cap_t", "cap_t_ha", "price_above_cap"):
        if name not in frame:
            frame[name] = np.nan
        try:
            frame[name] = frame[name].astype(float)
        except (TypeError, ValueError):
            raise CroploadError(
                f"Column {name} of the contracts holds something that is no number. Correct it."
            ) from None
    for row in frame.to_dict("records"):
        for name in ("price_per_t", "price_above_cap"):
            value = row[name]
            if np.isfinite(value) and value >= 0:
                continue
            if np.isnan(value) and name == "price_above_cap":
                continue
            shown = "missing" if np.isnan(value) else f"{value:g}"
            raise CroploadError(
                f"{name} of {_whose(row)} is {shown}; a price is 0 or more. Correct it."
            )
        for name in ("cap_t", "cap_t_ha"):
            if row[name] <= 0 or np.isinf(row[name]):
                raise CroploadError(
                    f"{name} of {_whose(row)} is {row[name]:g}; a cap is above 0. Leave it blank "
                    "where the contract has none."
                )
        if bool(row["block"]) == bool(row["variety"]):
            raise CroploadError(
                "A contract is for a block or for a variety, one of the two. Fill in one of them "
                f"({row['block'] or 'no block'}, {row['variety'] or 'no variety'})."
            )
    twice = frame[frame.duplicated(["block", "variety"])]
    if len(twice):
        raise CroploadError(f"There are two contracts for {_whose(twice.iloc[0])}. Keep one.")
    return frame


def contract_places(prices, blocks, varieties):
    """Return which contract each block's fruit goes to, and what the reader must know.

    Parameters
    ----------
    prices : DataFrame
        As from ``check_prices``.
    blocks, varieties : sequence of str
        Names of the blocks and their varieties.

    Returns
    -------
    places : ndarray of int, shape (blocks,)
        Row of the contract; -1 where there is none.
    notes : list of str

    Notes
    -----
    A contract for a block goes before one for its variety.
    """
    own = {name: at for at, name in enumerate(prices["block"]) if name}
    of = {name: at for at, name in enumerate(prices["variety"]) if name}
    places = np.array(
        [own.get(b, of.get(v, -1)) for b, v in zip(blocks, varieties, strict=True)], int
    )
    notes = []
    for kind, named, known in (("block", own, blocks), ("variety", of, varieties)):
        for name in named:
            if name not in set(known):
                hint = near(name, list(dict.fromkeys(known)))
                notes.append(
                    f"No fruit of {kind} '{name}' is in this forecast, so its contract is not "
                    f"used. {hint}".strip()
                )
    for block, variety in zip(blocks, varieties, strict=True):
        if block in own and variety in of:
            notes.append(
                f"{block} has a contract of its own, so it does not count for that of {variety}."
            )
    without = [b for b, place in zip(blocks, places, strict=True) if place < 0]
    if without and len(prices):
        notes.append(f"No contract takes {', '.join(without)}.")
    return places, notes


def cap_of(row, area_ha, share=1.0):
    """Return the most that a contract takes [t], infinite for no cap.

    Parameters
    ----------
    row : mapping
        A contract of ``check_prices``.
    area_ha : float
        Area of the blocks that deliver [ha].
    share : float
        Share of the contract's fruit that is theirs, for its cap in tonnes [1].
    """
    return float(np.nanmin([row["cap_t"] * share, row["cap_t_ha"] * area_ha, np.inf]))


def revenue(tonnes, price, cap, above):
    """Return what a contract pays for tonnes [currency].

    Parameters
    ----------
    tonnes : ndarray
        Fruit delivered [t].
    price, above : float
        Price up to the cap and above it [currency/t].
    cap : float
        Cap [t]; infinite for none.
    """
    over = np.maximum(tonnes - cap, 0.0)
    return price * (tonnes - over) + above * over


@arguments.check_arguments(forecast=arguments.forecast)
def contract_table(forecast, prices):
    """Hold a forecast against contracts: room left and excess, each with its chance.

    Parameters
    ----------
    forecast : Forecast
        As from ``forecast``.
    prices : DataFrame
        As table prices.

    Returns
    -------
    ContractRoom
        ``.frame`` has one row a contract: its cap and crop [t], the chances of room left and of
        excess [1] with their tonnes [t], and what it pays [currency].

    Raises
    ------
    CroploadError
        For a price below zero, a cap of zero, or a contract twice.

    Notes
    -----
    Where both caps are given the lower one counts; cap_t_ha is multiplied by the area of the
    blocks that deliver. A blank price above the cap is 0: the contract pays nothing for it.
    A cap is the most a contract takes: a crop below it leaves room, and is no shortfall.
    Valid for contracts on weight alone; terms on sugar, health or dates are not looked at.
    """
    prices = check_prices(prices)
    places, notes = contract_places(prices, forecast.blocks, forecast.varieties)
    area = np.asarray(forecast.area_ha, float)
    rows = []
    for at, row in enumerate(prices.to_dict("records")):
        inside = places == at
        if not inside.any():
            continue
        tonnes = forecast.draws[inside].sum(0)
        cap = cap_of(row, area[inside].sum())
        above = 0.0 if np.isnan(row["price_above_cap"]) else row["price_above_cap"]
        capped = np.isfinite(cap)
        room, over = tonnes < cap, tonnes > cap
        rows.append(
            {
                "contract": row["block"] or row["variety"],
                "kind": "block" if row["block"] else "variety",
                "blocks": int(inside.sum()),
                "price_per_t": row["price_per_t"],
                "price_above_cap": above if capped else np.nan,
                "cap_t": cap if capped else np.nan,
                **ranges.columns("tonnes", tonnes),
                "chance_room": room.mean() if capped else np.nan,
                "room_mean_t": _mean(cap - tonnes, room) if capped else np.nan,
                "chance_excess": over.mean() if capped else np.nan,
                "excess_mean_t": _mean(tonnes - cap, over) if capped else np.nan,
                **ranges.columns("revenue", revenue(tonnes, row["price_per_t"], cap, above)),
                "currency": row["currency"],
            }
        )
    frame = pd.DataFrame(rows, columns=list(_COLUMNS))
    return ContractRoom(frame=frame, notes=tuple(notes), season=forecast.season)


def _mean(amount, where):
    return float(amount[where].mean()) if where.any() else 0.0
