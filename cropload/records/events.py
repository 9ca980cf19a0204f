"""What happened to the crop of a block: frost, hail, thinning and the like, each told once."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from cropload.records.hemisphere import season_of

#: What an event takes from -> the stages of a season that show it, beside the crop itself.
SHOWN_BY = {
    "shoots": ("shoots", "clusters"),
    "clusters": ("clusters",),
    "weight": ("weight_lag", "weight_veraison", "weight_harvest"),
    "crop": (),
}

#: What a share is a share of, or else the kind -> what is taken from, where it is not clusters.
_TAKES_FROM = {
    ("vines", None): "crop",
    ("crop", "fruit left"): "crop",
    ("crop", "drought"): "weight",
    ("crop", "birds"): "weight",
    ("shoots", "shoot thinning"): "shoots",
}

#: What a grower does on purpose: no loss that could be told twice.
_OWN_WORK = ("thinning", "shoot thinning")


@dataclass(frozen=True)
class Event:
    """Something that happened to a block in a season.

    ``share`` of ``of`` is lost [1], NaN where it is not told; ``dead`` and ``seen`` are shoots
    counted [1], totals or one number a vine; ``date`` is NaT where only the harvest tells of it.
    ``takes`` is one of ``SHOWN_BY``; ``source`` the table that tells it.
    """

    block: str
    season: int
    date: pd.Timestamp
    kind: str
    takes: str
    share: float
    of: str = "crop"
    dead: tuple = ()
    seen: tuple = ()
    counts_after: bool = False
    source: str = "events"

    @property
    def counted(self):
        """Whether dead and living shoots were counted."""
        return sum(self.seen) > 0

    @property
    def told(self):
        """Whether it is known how much was lost."""
        return self.counted or not np.isnan(self.share)

    @property
    def words(self):
        """Its kind and day, like ``hail of 2026-06-20``."""
        kind = "loss" if self.kind == "other" else self.kind
        return kind if pd.isna(self.date) else f"{kind} of {self.date:%Y-%m-%d}"

    def before(self, dates):
        """Return which days, an array of datetime64, already show it."""
        if pd.isna(self.date):
            return np.zeros(len(dates), bool)
        later = dates >= self.date if self.counts_after else dates > self.date
        return np.asarray(later, bool)


def losses_as_events(records):
    """Return records whose losses told before anything was picked stand in table events.

    Parameters
    ----------
    records : Records
        As they were written: a row of table harvest with 0 t and a part lost is no pick.

    Notes
    -----
    Without a day such a row counts as the last thing of its season. It is left out where an event
    of that block and season tells of a loss already.
    """
    harvest = records.harvest
    alone = (harvest["tonnes"] == 0) & harvest["picked_pct"].isna()
    alone &= harvest["lost_pct"].between(1e-9, 99.999)
    if not alone.any():
        return records
    rows, rest = harvest[alone], replace(records, harvest=harvest[~alone].reset_index(drop=True))
    undated = pd.to_datetime(rows["season"].astype(str) + "-12-31")
    # In the south the last day of December belongs to the next harvest.
    south = season_of(rest, undated) > rows["season"].to_numpy()
    undated = undated.mask(south, pd.to_datetime(rows["season"].astype(str) + "-06-30"))
    told = _losses_told(season_events(rest))
    keys = zip(rows["block"].astype(str), rows["season"].astype(int), strict=True)
    made = pd.DataFrame(
        {
            "block": rows["block"],
            "date": rows["date"].fillna(undated),
            "kind": "other",
            "share_pct": rows["lost_pct"],
        }
    )[[key not in told for key in keys]]
    events = pd.concat([records.events, made], ignore_index=True)
    words = events.select_dtypes(exclude=["number", "datetime"]).columns
    return replace(rest, events=events.fillna(dict.fromkeys(words, "")))


def season_events(records):
    """Return what happened to the blocks, a list of Event in the order of their days.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.

    Notes
    -----
    From table ``events``; from the dead and living shoots of table ``counts``, which belong to the
    last frost before them that has no numbers of its own; and from ``lost_pct`` of table
    ``harvest``, where no event tells of a loss in that block and season.
    A day that is told with counts of the same day: a frost comes before them and all else after,
    unless ``counts_that_day`` says so.
    """
    found = [*_written(records)]
    found = _with_counted(records, found)
    found += _of_harvest(records, _losses_told(found))
    return sorted(found, key=lambda e: e.date if pd.notna(e.date) else pd.Timestamp.max)


def _losses_told(found):
    """Return the (block, season) pairs of which an event tells a loss."""
    return {(e.block, e.season) for e in found if e.told and e.kind not in _OWN_WORK}


def _written(records):
    table = records.events
    if table.empty:
        return
    seasons = season_of(records, table["date"])
    for row, season in zip(table.itertuples(), seasons, strict=True):
        of = row.of or "crop"
        counted = not np.isnan(row.dead) and not np.isnan(row.alive) and row.dead + row.alive > 0
        of = "shoots" if counted else of
        key = (of, None if of == "vines" else row.kind)
        after = row.counts_that_day == "after" or (
            row.counts_that_day == "" and row.kind == "frost"
        )
        yield Event(
            str(row.block),
            int(season),
            row.date,
            row.kind,
            _TAKES_FROM.get(key, "clusters"),
            float(row.share_pct) / 100,
            of,
            (int(row.dead),) if counted else (),
            (int(row.dead + row.alive),) if counted else (),
            after,
        )


def _with_counted(records, found):
    """Give frosts the dead shoots that were counted after them, or make them where none is told."""
    counts = records.counts
    counts = counts[counts["shoots_dead"].notna() & counts["shoots_alive"].notna()]
    for (block, season), rows in counts.groupby(["block", "season"]):
        # A later look at the same vines stands for an earlier one.
        rows = rows.sort_values("date", kind="stable").drop_duplicates(["row", "vine"], keep="last")
        dead = tuple(rows["shoots_dead"].astype(int))
        seen = tuple((rows["shoots_dead"] + rows["shoots_alive"]).astype(int))
        if not sum(seen):
            continue
        first = rows["date"].min()
        open_ones = [
            at
            for at, e in enumerate(found)
            if (e.block, e.season, e.kind) == (str(block), int(season), "frost")
            and not e.told
            and e.date <= first
        ]
        day = found.pop(max(open_ones, key=lambda at: found[at].date)).date if open_ones else first
        made = Event(
            str(block), int(season), day, "frost", "clusters", np.nan, "shoots", dead, seen, True,
            "events" if open_ones else "counts",
        )  # fmt: skip
        found.append(made)
    return found


def _of_harvest(records, told):
    """Yield the losses that the scale's own rows tell, on a day that nobody wrote down."""
    lost = records.harvest[records.harvest["lost_pct"] > 0]
    for (block, season), share in lost.groupby(["block", "season"])["lost_pct"].max().items():
        if (str(block), int(season)) not in told:
            yield Event(
                str(block), int(season), pd.NaT, "other", "clusters", share / 100, source="harvest"
            )
