"""Lag-phase lots: how many days before the lag phase's day they were weighed."""

import numpy as np

from cropload import handbook
from cropload.beliefs.guard import named


def _flowering(records):
    """Return the flowering dates on record, by season and then by block, variety and all."""
    dates = records.dates
    dates = dates[(dates["stage"] == "flowering") & dates["date"].notna()]
    varieties = dict(zip(records.blocks["block"], records.blocks["variety"], strict=True))
    days = {"block": {}, "variety": {}, "all": {}}
    for season, block, date in zip(dates["season"], dates["block"], dates["date"], strict=True):
        for by, name in (("block", block), ("variety", varieties[block]), ("all", "")):
            days[by].setdefault((season, name), []).append(date.toordinal())
    return {
        by: {key: sum(each) / len(each) for key, each in found.items()}
        for by, found in days.items()
    }


def lag_days(records, facts, measured, seasons):
    """Return how early lag-phase weights were taken, and how sure that is.

    Parameters
    ----------
    records : Records
        As known on the day.
    facts : BlockFacts
        Fixed facts of the blocks.
    measured : DataFrame
        As from ``measurements``.
    seasons : sequence of int
        One after the other.

    Returns
    -------
    early, spread : ndarray, shape (blocks, seasons)
        Days since flowering less those of the lag phase, never above 0 [d]; and the standard
        deviation of that [d].

    Notes
    -----
    Clusters stand nearly still from the lag phase to veraison, so later lots are taken as of its
    day. Where flowering of the block is not on record, that of its variety or of the estate in the
    same season stands in; where none is, the lots are taken as weighed at the lag phase, and the
    spread says so.
    Valid for lots weighed between about 30 days after flowering and veraison.
    """
    early = np.zeros((len(facts.names), len(seasons)))
    spread = np.zeros_like(early)
    rows = measured[(measured["stage"] == "weight_lag") & measured["date"].notna()]
    if rows.empty:
        return early, spread
    flowering = _flowering(records)
    lag, unknown = (handbook.value(f"lag_phase.{key}") for key in ("day", "day_unknown"))
    place = {name: at for at, name in enumerate(facts.names)}
    for block, season, date in rows[["block", "season", "date"]].itertuples(index=False):
        cell = place[block], int(season) - seasons[0]
        names = {"block": block, "variety": facts.varieties[cell[0]], "all": ""}
        found = [flowering[by].get((season, name)) for by, name in names.items()]
        known = next((day for day in found if day is not None), None)
        if known is None:
            spread[cell] = unknown
        else:
            early[cell] = min(date.toordinal() - known - lag, 0.0)
    return early, spread


def early_lag_notes(estate):
    """Return in a sentence which lots of the season were weighed too early to say much."""
    soon, lag = handbook.value("lag_phase.too_early"), handbook.value("lag_phase.day")
    days = lag + estate.lag[:, -1]
    here = estate.measured[estate.measured["season"] == estate.season]
    lots = set(here.loc[here["stage"] == "weight_lag", "block"])
    early = [n for n, d in zip(estate.facts.names, days, strict=True) if n in lots and d < soon]
    if not early:
        return []
    return [
        f"{named(early)}: lag-phase lots were weighed under {soon:.0f} days after flowering, when "
        f"clusters still grow fast. Weigh again at about {lag:.0f} days."
    ]
