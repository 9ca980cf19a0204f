"""Doubts about a season's crop beside the block's others, and the cell that makes it so unlike."""

import pandas as pd

from cropload.handbook import entry
from cropload.records.doubts.rules import made

_COMMA = (
    "If it belongs to the number before it, write that with a decimal point: in a file whose cells "
    "are parted by commas, a decimal comma starts a new cell."
)


def crop_doubts(table, blocks):
    """Return doubts about crops, and about shares picked and lost that make them odd.

    Parameters
    ----------
    table : ParsedTable
        Table harvest.
    blocks : DataFrame
        Frame of table blocks.

    Returns
    -------
    list of Fault
    """
    crops = _crops(table, blocks)
    found, blamed = _unlike_usual(table, crops)
    found += _decimal_commas(table, blamed)
    return found + _shares_lost(table, crops, blamed)


def _crops(table, blocks):
    """Return a row for each block and season: tonnes, shares, the whole crop, and where it is."""
    frame = table.frame.dropna(subset=["season", "tonnes"])
    frame = frame.assign(
        share=frame["picked_pct"].fillna(100.0) / 100,
        lost=frame["lost_pct"].fillna(0.0) / 100,
        at=frame.index,
    )
    crops = frame.groupby(["block", "season"], as_index=False).agg(
        tonnes=("tonnes", "sum"),
        share=("share", "max"),
        lost=("lost", "max"),
        at=("at", "max"),
    )
    told = frame[frame["lost"] > 0].groupby(["block", "season"])["at"].max()
    keys = pd.MultiIndex.from_frame(crops[["block", "season"]])
    crops["lost_at"] = told.reindex(keys).to_numpy()
    crops["whole"] = crops["tonnes"] / crops["share"] / (1 - crops["lost"]).where(crops["lost"] < 1)
    first = blocks[~blocks["block"].duplicated()].set_index("block")
    planted = first["vines"] * first["row_spacing_m"] * first["vine_spacing_m"] / 10_000
    crops["area"] = crops["block"].map(first["area_ha"].fillna(planted))
    age = crops["season"] - crops["block"].map(first["year_planted"])
    crops["young"] = age < entry("plausible.crop_of_variety").extra["young"]
    return crops[crops["whole"] > 0]


def _unlike_usual(table, crops):
    """Doubt crops far from the block's other seasons, and ask what became of the rest."""
    limits = entry("plausible.crop_of_usual")
    low, high, by_share, by_loss = {}, {}, {}, {}
    whole = crops.groupby("block")["whole"]
    spans = whole.transform("max") / whole.transform("min")
    # Where the largest crop is near the smallest, none is far from the others' median.
    for _, lot in crops[spans > min(1 / limits.low, limits.high)].groupby("block"):
        for crop in lot.itertuples():
            # Young vines bear little: their crops are no measure of the others'.
            others = lot["whole"][~lot["young"] & (lot.index != crop.Index)]
            if len(others) < limits.extra["other_seasons"]:
                continue
            usual = others.median()
            if crop.whole < limits.low * usual and not crop.lost and not crop.young:
                low[crop.at] = crop.whole / usual
            elif crop.whole > limits.high * usual:
                # The scale itself may be as usual, and a share make the crop of it.
                fits = limits.high * usual
                if crop.lost and crop.tonnes / crop.share <= fits:
                    by_loss[int(crop.lost_at)] = crop.whole / usual
                elif crop.share < 1 and crop.whole * crop.share <= fits:
                    by_share[crop.at] = crop.whole / usual
                else:
                    high[crop.at] = crop.whole / usual
    found = [
        *made(
            table,
            sorted(low),
            "tonnes",
            lambda row: f"is {100 * low[row]:.0f} % of the usual crop of the block",
            "If hail, frost, birds or rot took the rest, write the share lost, in percent, into "
            "column lost_pct; else check the weight. As it stands, it counts as an ordinary crop.",
        ),
        *made(
            table,
            sorted(high),
            "tonnes",
            lambda row: f"is {high[row]:.1f} times the usual crop of the block",
            "Check the weight and the block. As it stands, it counts as an ordinary crop.",
        ),
        *made(
            table,
            sorted(by_loss),
            "lost_pct",
            lambda row: f"makes the crop {by_loss[row]:.1f} times the usual one of the block",
            "The tonnes alone would be in the usual range, so hardly as much was lost: write the "
            "share of the whole crop that was lost, not the share that was left, or clear the "
            "cell.",
        ),
        *made(
            table,
            sorted(by_share),
            "picked_pct",
            lambda row: f"makes the crop {by_share[row]:.1f} times the usual one of the block",
            "The tonnes alone would be in the usual range: clear the cell, or write 100, if all "
            "of the block was picked." + (f" {_COMMA}" if table.raw.separator == "," else ""),
        ),
    ]
    return found, {*by_loss, *by_share}


def _decimal_commas(table, blamed):
    """Doubt a share picked that looks like the decimals of the tonnes before it.

    In a file parted by commas ``22,97`` is 22 t of which 97 % was picked.  That is doubted where
    hardly any other row tells a share, the other tonnes have decimals and these have none, and
    nothing more of the season was picked.
    """
    frame, match = table.frame, table.matches
    if table.raw.separator != "," or not {"tonnes", "picked_pct"} <= set(match):
        return []
    if match["picked_pct"].position != match["tonnes"].position + 1 or frame.empty:
        return []
    limits = entry("plausible.comma_shares")
    filled = frame["picked_pct"].notna()
    pointed = pd.Series(["." in table.text(row, "tonnes") for row in frame.index], frame.index)
    if filled.mean() > limits.high or not pointed[~filled].mean() >= limits.extra["decimals"]:
        return []
    alone = ~frame.duplicated(["season", "block"], keep=False)
    past = frame["season"] < frame["season"].max()
    rows = frame.index[filled & alone & past & ~pointed & (frame["picked_pct"] < 100)]
    rule = "is a share picked in a table that tells hardly any, beside tonnes without decimals"
    return made(table, [row for row in rows if row not in blamed], "picked_pct", rule, _COMMA)


def _shares_lost(table, crops, blamed):
    """Doubt losses that look like fractions, or like the share that was kept."""
    frame, found = table.frame, []
    told = frame["lost_pct"][frame["lost_pct"] > 0]
    if len(told) and told.max() > 1:
        signed = any(table.text(row, "lost_pct").endswith("%") for row in told.index)
        # Cells with the percent sign beside plain fractions are asked about elsewhere.
        small = [] if signed else list(told.index[told < 1])
        rule = "is less than one percent, so it may be a fraction"
        mend = "For 40 percent write 40 or 40 %, not 0.4; clear the cell if hardly any was lost."
        found += made(table, small, "lost_pct", rule, mend)
    limits = entry("plausible.lost_pct")
    kept = crops[crops["lost"] * 100 > limits.high]
    seasons = crops.groupby("block")["season"].transform("nunique")
    often = kept.groupby("block")["season"].transform("nunique")
    many = often[(often >= limits.extra["seasons"]) & (2 * often > seasons[kept.index])].index
    per_hectare = kept["whole"] / kept["area"]
    over = per_hectare.index[per_hectare > entry("plausible.t_ha").high]
    rows = {}
    for place in sorted({*many, *over}):
        row = int(kept.loc[place, "lost_at"])
        if row in blamed:
            continue
        rows[row] = (
            f"makes the whole crop {per_hectare[place]:.0f} t/ha"
            if place in over
            else f"is more than {limits.high:g} % in most seasons of the block"
        )
    mend = "Write the share of the crop that was lost, not the share that was kept."
    return found + made(table, sorted(rows), "lost_pct", lambda row: rows[row], mend)
