"""Springs of a replay that the harvest of their year contradicts."""

import weakref
from dataclasses import dataclass

from cropload.beliefs import ranges
from cropload.errors import CroploadError
from cropload.handbook import entry
from cropload.records.events import season_events
from cropload.records.facts import season_crops, weighed_together
from cropload.show import wording
from cropload.units import METRIC

#: Draws that say which springs left little; the middle of them is all that is asked.
_DRAWS = 200
#: Seasons of other crops that tell what is usual in a block [1].
_OTHERS = 2


@dataclass(frozen=True)
class SpringDoubt:
    """A spring and a harvest of one block that cannot both be.

    Attributes
    ----------
    block : str
        The block.
    season : int
        Year of harvest.
    left : float
        Middle share of the crop that the replay leaves [1].
    picked_t, usual_t : float
        What was picked, of the whole block [t], and the middle of the other seasons.
    """

    block: str
    season: int
    left: float
    picked_t: float
    usual_t: float

    @property
    def full(self):
        """Whether a full crop was picked although little was left; else the reverse."""
        return self.picked_t > self.left * self.usual_t

    def words(self, units=METRIC):
        """Return what contradicts what, and what may be wrong, in sentences.

        Parameters
        ----------
        units : UnitSystem
            Units to show.
        """
        picked, usual = (
            wording.amount("tonnes", crop, units) for crop in (self.picked_t, self.usual_t)
        )
        told = (
            f"{self.block}, {self.season}: by the model frost left {wording.percent(self.left)} "
            f"of the crop, yet {picked} were picked, and {usual} are usual"
        )
        if self.full:
            return (
                f"{told}. That night may not have reached the block, its offset may be less, or "
                "its budburst later."
            )
        return (
            f"{told}; no loss is on record. Frost may have been missed (offset, date of budburst, "
            "a night without a reading), or something else took the crop: record it."
        )


def spring_doubts(replay, records):
    """Return the springs that left little though a full crop was picked, and the reverse.

    Parameters
    ----------
    replay : FrostReplay
        Of one block, wood laid down in winter among its cases.
    records : Records
        Its harvests, and what else happened to the crop.

    Returns
    -------
    tuple of SpringDoubt
        In the order of the seasons; the handbook's ``plausible.spring_and_harvest`` says what is
        little, nearly all, full and poor.

    Notes
    -----
    Valid for seasons whose crop was weighed by itself, of grown vines, with two other seasons or
    more beside.  A season with a loss or an event on record has its reason and is left alone.
    """
    block, limits = replay.years.block, entry("plausible.spring_and_harvest")
    crops = season_crops(records.harvest)
    crops = crops[crops.index.get_level_values("block") == block].droplevel("block")
    picked = crops["tonnes"] / (crops["picked_pct"] / 100)
    whole = picked / (1 - crops["lost_pct"].clip(upper=99) / 100)
    planted = records.blocks.set_index("block")["year_planted"].get(block)
    grown = ~(crops.index - planted < entry("plausible.crop_of_variety").extra["young"])
    whole = whole[grown & (whole > 0)]
    reason = {event.season for event in season_events(records) if event.block == block}
    laid = [at for at, case in enumerate(replay.cases) if case == "laid_down"]
    left = ranges.quantiles(replay.crop_left[laid])[1] if laid else []
    found = []
    for at, season in enumerate(replay.seasons if laid else ()):
        others = whole.drop(season, errors="ignore")
        if season in reason or season not in whole.index or len(others) < _OTHERS:
            continue
        usual, best, worst = float(others.median()), left[:, at].max(), left[:, at].min()
        if best < limits.low and picked[season] >= limits.extra["full"] * usual:
            found.append(SpringDoubt(block, season, float(best), float(picked[season]), usual))
        elif worst > limits.high and picked[season] < limits.extra["poor"] * usual:
            found.append(SpringDoubt(block, season, float(worst), float(picked[season]), usual))
    # A ticket that blocks share was split on paper.
    joint = weighed_together(records) if found else ()
    return tuple(doubt for doubt in found if (block, doubt.season) not in joint)


def doubts_of_records(records, blocks):
    """Return the springs that harvests contradict, of blocks with weather and a plan on record.

    Parameters
    ----------
    records : Records
        As from ``read_records``.
    blocks : list of str
        Names of the blocks.

    Returns
    -------
    list of SpringDoubt
        Each block with the plan it carried last.
    """
    found, harvest = [], records.harvest
    for block in blocks:
        seasons = set(harvest.loc[harvest["block"] == block, "season"])
        if len(seasons) > _OTHERS:
            for replay in _replays(records, [block], seasons):
                found += spring_doubts(replay, records)
    return found


def _replays(records, blocks, seasons):
    """Yield the replay of some seasons' springs in each block, with the plan it carried last."""
    from cropload.frost.replay import replay_frost
    from cropload.frost.years import block_frost_years, block_weather

    springs = set(records.weather["date"].dt.year) & set(seasons)
    plans = records.pruning[records.pruning["plan"] != ""].groupby("block")["plan"].last()
    for block in blocks:
        if not springs or block not in plans:
            continue
        try:
            held = block_weather(records, block)
            years = block_frost_years(held, case="laid_down", seasons=sorted(springs), draws=_DRAWS)
            yield replay_frost(years, [plans[block]])
        except CroploadError:
            # What keeps a block from being replayed is told where frost is asked about.
            continue


def frosts_not_told(records, season, blocks):
    """Return blocks that a frost hit by the weather of a spring, and of which nothing tells it.

    Parameters
    ----------
    records : Records
        As from ``read_records``.
    season : int
        Year of harvest.
    blocks : list of str
        Names of the blocks.

    Returns
    -------
    dict
        {block: middle share of the crop that the replay leaves [1]}, of those left with less than
        the handbook's ``plausible.spring_and_harvest`` calls nearly all, and whose crop was no
        full one.
    """
    told = {(event.block, event.season) for event in season_events(records)}
    known = _LEFT.setdefault(records, {})
    asked = [block for block in blocks if (block, season) not in told]
    missing = [block for block in asked if (block, season) not in known]
    known |= dict.fromkeys((block, season) for block in missing)
    known |= {(block, season): left for block, left in _hit(records, season, missing)}
    return {b: known[b, season] for b in asked if known[b, season] is not None}


#: By records, {(block, season): share of the crop left where a frost is not told, else None}.
_LEFT = weakref.WeakKeyDictionary()


def _hit(records, season, blocks):
    """Yield blocks that a frost left with little, and the share of the crop left [1]."""
    limit = entry("plausible.spring_and_harvest").high
    for replay in _replays(records, blocks, [season]):
        laid = [at for at, case in enumerate(replay.cases) if case == "laid_down"]
        left = float(ranges.quantiles(replay.crop_left[laid])[1].min()) if laid else 1.0
        if left < limit and not any(d.full for d in spring_doubts(replay, records)):
            yield replay.years.block, left
