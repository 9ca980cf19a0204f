"""When each block will be picked: from its days between stages, narrowed by stages reached."""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.beliefs import ranges
from cropload.beliefs.dates import picking_dates
from cropload.beliefs.dates.stage_days import INTERVALS, STAGES, believe_days
from cropload.beliefs.estate import Beliefs
from cropload.beliefs.meant import check_draws, check_season
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.clock import day
from cropload.random_streams import stream
from cropload.records.as_of import records_until
from cropload.records.hemisphere import hemisphere_of_dates, season_origin


@dataclass(frozen=True, eq=False)
class HarvestDates:
    """When each block is picked, as draws.

    Attributes
    ----------
    season : int
        Year of harvest.
    as_of : Timestamp or None
        The day up to which records were used.
    hemisphere : str
        ``"north"`` or ``"south"``.
    blocks, varieties : tuple of str
        In the order of the draws.
    draws : ndarray, shape (blocks, draws)
        Day of the pick, or of the pick of the rest, in days since 1970-01-01 [d]; the rows of
        blocks without a date (``dated`` is False) mean nothing.
    dated : ndarray of bool, shape (blocks,)
        Whether anything says when the block is picked.
    came_from : tuple of str
        Where each block's date is known from, in words.
    entered : dict
        {block: ((day since 1970-01-01, share), ...)} for picking dates the user entered.
    held : dict
        {block: ((first day, last day, share, picker), ...)} for picks held to wanted days of
        table picking; the draws lie within them.
    picked : DataFrame
        What the scale has said already: block, day (days since 1970-01-01, NaN where no date is
        on record), tonnes [t].
    beliefs : Beliefs
        Of the day of budburst and the days between stages [d].
    """

    season: int
    as_of: pd.Timestamp | None
    hemisphere: str
    blocks: tuple
    varieties: tuple
    draws: np.ndarray = field(repr=False)
    dated: np.ndarray = field(repr=False)
    came_from: tuple = field(repr=False)
    entered: dict = field(repr=False)
    picked: pd.DataFrame = field(repr=False)
    beliefs: Beliefs = field(repr=False)
    seed: int = 0
    notes: tuple = ()
    held: dict = field(default_factory=dict, repr=False)

    def table(self):
        """Return the picking date of each block with its range.

        Returns
        -------
        DataFrame
            block, variety, date_p10, date_p50, date_p90 (NaT where no date is known), range_days
            [d], came_from.
        """
        ends = np.full((3, len(self.blocks)), np.nan)
        if self.dated.any():
            ends[:, self.dated] = ranges.whole_days(self.draws[self.dated])
        columns = {"block": list(self.blocks), "variety": list(self.varieties)}
        for end, values in zip(ranges.ENDINGS, ends, strict=True):
            # Whole numbers with gaps: pandas 2 may fail on a missing day that is a float.
            days = pd.array(values, dtype="Int64")
            columns[f"date_{end}"] = pd.to_datetime(days, unit="D").astype("datetime64[ns]")
        frame = pd.DataFrame(columns)
        frame["range_days"] = ends[2] - ends[0]
        frame["came_from"] = list(self.came_from)
        frame.attrs = {"interval": ranges.label(), "season": self.season, "notes": self.notes}
        return frame

    def intervals(self):
        """Return the days between stages that are believed of each block this season.

        Returns
        -------
        DataFrame
            block, interval (``budburst`` is the day of the growth year), days [d], spread_days,
            one standard deviation [d].
        """
        spread = self.beliefs.spread()
        return pd.DataFrame(
            {
                "block": np.repeat(self.blocks, len(INTERVALS)),
                "interval": INTERVALS * len(self.blocks),
                "days": self.beliefs.centre.ravel(),
                "spread_days": spread.ravel(),
            }
        )

    def with_picks(self, picks):
        """Return these dates with picking dates entered for some blocks instead of the model's.

        Parameters
        ----------
        picks : dict
            {block: date}, or {block: [(date, share), ...]} for a pick split over days; None
            takes an entered date out again.

        Raises
        ------
        CroploadError
            For an unknown block, a date outside the season, or shares that do not add up to 1.
        """
        entered = {**self.entered, **picking_dates.read(picks, self.blocks, self.season)}
        entered = {block: parts for block, parts in entered.items() if parts is not None}
        return replace(self, entered=entered)


def _date_seed(seed):
    """Return a seed apart from that of the crop, whose streams bear the same names."""
    from hashlib import sha256

    return int.from_bytes(sha256(f"dates {seed}".encode()).digest()[:7], "big")


def _origins(stages, names, varieties, season):
    """Return for each block whether a date can be told, and from what."""
    now = stages[stages["season"] == season]
    past = stages[stages["season"] < season]
    order = {stage: at for at, stage in enumerate(STAGES)}
    reached = {b: max(rows, key=order.get) for b, rows in now.groupby("block")["stage"]}
    own = past.groupby("block")["season"].nunique().to_dict()
    of = dict(zip(names, varieties, strict=True))
    speaking = {block for block in {*own, *reached} if block in of}
    dated, words = [], []
    for name, variety in zip(names, varieties, strict=True):
        others = {of[block] for block in speaking if block != name}
        parts = []
        if name in reached and reached[name] != "harvest":
            parts.append(f"this season's {reached[name]}")
        if name in own:
            parts.append(f"its own {own[name]} season" + "s" * (own[name] > 1))
        elif variety in others:
            parts.append(f"{variety} on this estate")
        elif others:
            parts.append("the other varieties of the estate and the handbook's days")
        elif parts:
            parts.append("the handbook's days")
        dated.append(bool(parts) or name in reached)
        words.append(" and ".join(parts) or "no date of any season on record")
    return np.array(dated, bool), words


def _after(draws, limit):
    """Move draws so that none lies at or before ``limit``: each keeps its rank among the rest.

    Notes
    -----
    The normal's part after the limit is taken for the whole, by the inverse of its distribution;
    ties between blocks through shared seasons stay as ranks.
    """
    from scipy.special import ndtr, ndtri

    centre, spread = draws.mean(-1, keepdims=True), draws.std(-1, keepdims=True)
    early = ndtr((limit - centre) / np.maximum(spread, 1e-9))
    touched = early[:, 0] > 1e-4
    if not touched.any():
        return draws
    out = draws.copy()
    c, s, e = centre[touched], np.maximum(spread[touched], 0.5), early[touched]
    share = ndtr((draws[touched] - c) / s)
    share = np.clip(e + share * (1 - e), 1e-12, 1 - 1e-12)
    moved = c + s * ndtri(share)
    # Where all of it lies before the limit, nothing is left to go by but the day itself.
    out[touched] = np.where(e > 1 - 1e-9, limit, np.maximum(moved, limit))
    return out


@arguments.check_arguments(
    records=arguments.records,
    picks=arguments.optional(arguments.by_block("dates")),
    hemisphere=arguments.optional(arguments.hemisphere),
)
def harvest_dates(
    records, season=None, as_of=None, *, picks=None, draws=DEFAULT_DRAWS, seed=0, hemisphere=None
):
    """Say when each block will be picked, from its own days between stages and this season's.

    Parameters
    ----------
    records : Records
        As read by ``read_records``; tables dates and harvest speak.
    season : int, optional
        Year of harvest; the next one when left out.
    as_of : str or date, optional
        Only records dated up to this day are used; all when left out.
    picks : dict, optional
        Picking dates to take as known: {block: date}, or {block: [(date, share), ...]}.
    draws, seed : int
        Draws [1] and their seed [1].
    hemisphere : {"north", "south"}, optional
        Told by the months on record when left out.

    Returns
    -------
    HarvestDates

    Raises
    ------
    CroploadError
        For a block, date, share or hemisphere that cannot be.

    Notes
    -----
    Days are normal, with effects of season, variety and block pooled over the estate; priors are
    the handbook's ``dates.*``, and ``days.VARIETY.*`` where a variety has published figures, or
    its ``heat_sum.VARIETY`` in the weather on record, where it has no such date of its own.
    A block that is not picked at ``as_of`` is picked after it.
    Crop and date are taken as independent: a heavy crop ripens later, but by how much is local.
    A block is without a date when no stage of any season is on record on the whole estate, or
    when no date is entered; nothing is guessed then.
    Valid for one harvest a year, and dates of stages within a month of the usual.

    Examples
    --------
    >>> from cropload import example_records
    >>> winter = harvest_dates(example_records(), 2026, "2026-02-01").table()
    >>> late = harvest_dates(example_records(), 2026, "2026-08-31").table()
    >>> bool((late["range_days"] < winter["range_days"])[:7].all())
    True
    """
    check_draws(draws, seed)
    limit = day(as_of)
    known = records_until(records, limit)
    season = check_season(known, season, limit)
    hemisphere = hemisphere or hemisphere_of_dates(known) or "north"
    names = tuple(str(name) for name in known.blocks["block"])
    varieties = tuple(str(name) for name in known.blocks["variety"])
    beliefs, stages = believe_days(known, season, hemisphere, records)
    origin = season_origin(season, hemisphere)
    x = beliefs.draw(np.arange(len(names)), draws, _date_seed(seed)).sum(0)
    first = (origin - pd.Timestamp(0)).days
    dated, words = _origins(stages, names, varieties, season)

    picked, rest, done = picking_dates.so_far(known, season, names, stages)
    begun = np.array([name in rest for name in names])
    if begun.any():
        last = np.array([rest.get(name, 0.0) for name in names])[:, None]
        entry = handbook.entry("dates.rest_after_pick")
        wait = np.stack(
            [stream(_date_seed(seed), f"rest of {name}").standard_normal(draws) for name in names]
        )
        wait = entry.value + entry.extra["sd_days"] * wait
        late = last - first + np.clip(wait, entry.low, entry.high)
        x = np.where(begun[:, None], late, x)
        words = [
            "a part of it is picked; the rest by the handbook's days" if b else word
            for b, word in zip(begun, words, strict=True)
        ]
        dated |= begun
    if limit is not None:
        x = _after(x, float((limit - origin).days) + 1.0)
    for at, name in enumerate(names):
        if name in done:
            x[at] = done[name] - first
            words[at] = "picked"
    day_limit = None if limit is None else (limit - pd.Timestamp(0)).days
    held, over = picking_dates.wanted(known, season, names, done, day_limit)
    for name, passes in held.items():
        at = names.index(name)
        ends = passes[0][0] - first, max(each[1] for each in passes) - first
        if not dated[at]:
            x[at], words[at] = sum(ends) / 2, ""
        x[at] = np.clip(x[at], *ends)
        dated[at] = True
        words[at] = "held to its wanted days" + (f"; {words[at]}" if words[at] else "")
    blind = [n for n, yes in zip(names, dated, strict=True) if not yes and n not in done]
    notes = []
    if blind:
        notes.append(
            f"Nothing says when {', '.join(blind)} will be picked: no date of any season is on "
            "record and none is entered. Their tonnes are kept apart from the periods."
        )
    if over:
        notes.append(
            f"The wanted days of {', '.join(over)} are over and no pick is on record: the forecast "
            "date stands."
        )
    dates = HarvestDates(
        season=season,
        as_of=limit,
        hemisphere=hemisphere,
        blocks=names,
        varieties=varieties,
        draws=np.rint(np.nan_to_num(x)).astype(np.int32) + np.int32(first),
        dated=dated,
        came_from=tuple(words),
        entered={},
        picked=picked,
        beliefs=beliefs,
        seed=int(seed),
        notes=tuple(notes),
        held=held,
    )
    return dates.with_picks(picks) if picks else dates


def undated(forecast):
    """Return dates that say nothing yet, for a forecast whose picks are entered by hand alone.

    Parameters
    ----------
    forecast : Forecast
        As from ``forecast``.

    Returns
    -------
    HarvestDates
        No block has a date; add them with ``.with_picks``. What is picked already counts, but
        on no known day.
    """
    count = len(forecast.blocks)
    picked = forecast.picked[forecast.picked["share"] > 0]
    return HarvestDates(
        season=forecast.season,
        as_of=forecast.as_of,
        hemisphere="north",
        blocks=forecast.blocks,
        varieties=forecast.varieties,
        draws=np.zeros(forecast.draws.shape, np.int32),
        dated=np.zeros(count, bool),
        came_from=("no date entered",) * count,
        entered={},
        picked=pd.DataFrame(
            {"block": picked["block"], "day": np.nan, "tonnes": picked["tonnes"].astype(float)}
        ).reset_index(drop=True),
        beliefs=None,
        seed=forecast.seed,
    )
