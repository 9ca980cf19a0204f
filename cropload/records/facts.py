"""Facts that records hold, each worked out in one place: of a block, of a crop, of a ticket."""

from dataclasses import dataclass

import numpy as np
import pandas as pd


def area_ha(blocks):
    """Return the area of blocks [ha]: as stated, else vines x both spacings."""
    return blocks["area_ha"].fillna(planted_ha(blocks))


def planted_ha(blocks):
    """Return the area that the vines of blocks take up by their spacings [ha]."""
    return blocks["vines"] * blocks["row_spacing_m"] * blocks["vine_spacing_m"] / 10_000


def bearing_vines(blocks):
    """Return the bearing vines of blocks [1]: those planted less the missing ones.

    Parameters
    ----------
    blocks : DataFrame or Series
        Table blocks, or one row of it; ``missing_pct`` may be blank, or not there at all.

    Notes
    -----
    A missing vine is never a zero in a sample.
    """
    missing = blocks.get("missing_pct", 0.0)
    return blocks["vines"] * (1 - np.where(pd.isna(missing), 0.0, missing) / 100)


def season_crops(harvest):
    """Return what the scale said of each block and season.

    Parameters
    ----------
    harvest : DataFrame
        Table harvest.

    Returns
    -------
    DataFrame
        Indexed by block and season: ``tonnes`` [t] over the scale; ``picked_pct`` [%] of the block
        picked, where a blank share means all of it, also when an earlier pick wrote its own;
        ``lost_pct`` [%] of the crop lost before the scale; ``rows`` [1]; ``date`` of the last
        pick.
    """
    harvest = harvest[harvest["block"].notna() & harvest["season"].notna()]
    (block, blocks), (season, seasons) = (
        pd.factorize(harvest[name], sort=True) for name in ("block", "season")
    )
    wide = max(len(seasons), 1)
    cells, at = np.unique(block * wide + season, return_inverse=True)
    most = {"picked_pct": np.zeros(len(cells)), "lost_pct": np.zeros(len(cells))}
    for name, blank in (("picked_pct", 100.0), ("lost_pct", 0.0)):
        np.maximum.at(most[name], at, harvest[name].fillna(blank).to_numpy(float))
    return pd.DataFrame(
        {
            "tonnes": np.bincount(at, np.nan_to_num(harvest["tonnes"].to_numpy(float)), len(cells)),
            **most,
            "rows": np.bincount(at, minlength=len(cells)),
            "date": latest(at, harvest["date"].to_numpy(), len(cells)),
        },
        index=pd.MultiIndex.from_arrays(
            [blocks[cells // wide], seasons[cells % wide]], names=["block", "season"]
        ),
    )


def latest(at, dates, count):
    """Return the latest of the dates at each of so many places, (count,), NaT where there is none.

    Parameters
    ----------
    at : ndarray of int, shape (rows,)
        The place of each date.
    dates : ndarray of datetime64, shape (rows,)
        Days; NaT is none.
    count : int
        How many places there are [1].
    """
    dates = dates if dates.dtype.kind == "M" else dates.astype("datetime64[ns]")
    found = np.full(count, np.datetime64("NaT"), dates.dtype)
    # The latest is written last.
    order = np.argsort(dates, kind="stable")
    order = order[~np.isnat(dates[order])]
    found[at[order]] = dates[order]
    return found


def together(rows):
    """Return groups of blocks whose fruit shares a weighing, as {block: frozenset of blocks}.

    Tonnes of a ticket that two or more blocks share were split on paper.
    """
    group = {block: frozenset([block]) for block in rows["block"]}
    tickets = rows[rows["ticket"].fillna("").astype(str).str.strip() != ""]
    # Few tickets are shared, and a large estate has thousands.
    tickets = tickets[tickets.duplicated(["ticket", "date"], keep=False)]
    for _, lot in tickets.groupby(["ticket", "date"], dropna=False):
        joint = frozenset().union(*(group[block] for block in lot["block"]))
        for block in joint:
            group[block] = joint
    return group


def weighed_together(records):
    """Return which blocks were weighed with another, {(block, season): frozenset of blocks}."""
    found, rows = {}, records.harvest
    rows = rows[rows["ticket"].fillna("").astype(str).str.strip() != ""]
    rows = rows[rows.duplicated(["season", "ticket", "date"], keep=False)]
    for season, lots in rows.groupby("season"):
        group = together(lots.assign(block=lots["block"].astype(str)))
        found |= {(block, int(season)): lot for block, lot in group.items() if len(lot) > 1}
    return found


@dataclass(frozen=True)
class BlockFacts:
    """What does not change from season to season, one value a block, in the order of ``blocks``.

    training and climate ("" where not said), canopy_length_m [m/vine], vines [1] planted,
    bearing [1] vines, area_ha [ha], year_planted (NaN where it is not known).
    """

    names: tuple
    varieties: tuple
    training: tuple
    climate: tuple
    canopy_length_m: np.ndarray
    canopies: np.ndarray
    vines: np.ndarray
    bearing: np.ndarray
    area_ha: np.ndarray
    year_planted: np.ndarray

    def place(self, block):
        """Return the place of a block by name."""
        return self.names.index(block)

    def kind(self, at):
        """Return what bands and opening plans hang on, for the block at a place: keywords."""
        return {
            "canopies": int(self.canopies[at]),
            "variety": self.varieties[at],
            "training": self.training[at],
            "climate": self.climate[at],
        }

    def vine_spacing_m(self, at):
        """Return the distance between vines of the block at a place [m]."""
        return float(self.canopy_length_m[at] / self.canopies[at])

    def part(self, places):
        """Return the facts of some blocks, by place."""
        return BlockFacts(
            tuple(self.names[at] for at in places),
            tuple(self.varieties[at] for at in places),
            tuple(self.training[at] for at in places),
            tuple(self.climate[at] for at in places),
            self.canopy_length_m[places],
            self.canopies[places],
            self.vines[places],
            self.bearing[places],
            self.area_ha[places],
            self.year_planted[places],
        )


def block_facts(records):
    """Return the fixed facts of every block."""
    blocks = records.blocks
    canopies = blocks["canopies"].fillna(1).to_numpy(float)
    return BlockFacts(
        names=tuple(str(name) for name in blocks["block"]),
        varieties=tuple(str(name) for name in blocks["variety"]),
        training=tuple(str(word) for word in blocks["training"]),
        climate=tuple(str(word) for word in blocks["climate"]),
        canopy_length_m=blocks["vine_spacing_m"].to_numpy(float) * canopies,
        canopies=canopies,
        vines=blocks["vines"].to_numpy(float),
        bearing=np.asarray(bearing_vines(blocks), float),
        area_ha=area_ha(blocks).to_numpy(float),
        year_planted=blocks["year_planted"].to_numpy(float),
    )
