"""What the home page says: every block in one row, where the season stands, and what is due."""

from dataclasses import dataclass

import pandas as pd

from cropload.beliefs.history import estate_before_season
from cropload.beliefs.measured import plans_by_season
from cropload.beliefs.ranges import ENDINGS
from cropload.pruning.compare_blocks import compare_blocks
from cropload.vine.bands import OUTSIDE

#: Stage of table dates -> what is due from about that day on, in the order of the year.
AFTER = {
    "budburst": "count shoots",
    "flowering": "count clusters",
    "veraison": "weigh clusters",
    "harvest": "enter what the scale said",
}


@dataclass(frozen=True)
class Due:
    """Something to do: what, in which blocks, and from about when; None for now."""

    what: str
    blocks: tuple
    day: pd.Timestamp | None = None

    def words(self):
        """Return it in one phrase."""
        where = f" in {_listed(self.blocks)}" if self.blocks else ""
        when = "" if self.day is None else f", from about {self.day.day} {self.day:%B}"
        return f"{self.what}{where}{when}"


def _listed(names, most=3):
    names = list(names)
    if len(names) <= most:
        return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
    return f"{len(names)} blocks"


def season_plans(records, season):
    """Return the plans on record for a season, {block: PruningPlan}."""
    return {
        block: plan for (block, year), plan in plans_by_season(records).items() if year == season
    }


def home_table(records, made, *, draws, seed=0):
    """Return one row a block: what it carries and what that means.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    made : Forecast
        Of the season, for the crop with everything that was counted.
    draws, seed : int
        Draws and their seed [1].

    Returns
    -------
    DataFrame
        block, variety, plan, planned (whether it is on record for the season), buds_per_m [1/m],
        shoots_per_m_p50 [1/m], density_word, tonnes_p10, _p50, _p90 [t], ravaz_p50 [kg/kg],
        balance_word and look: what is off, in a word or two.
    """
    planned = season_plans(records, made.season)
    taken = planned | {made.blocks[at]: plan for at, plan in made.estate.divided.items()}
    compared = compare_blocks(records, taken, made.season, draws=draws, seed=seed)
    frame = compared.frame.set_index("block")
    crops = made.frame_by("block").set_index("block")
    varieties = records.blocks.set_index("block")["variety"]
    rows = []
    for block, row in frame.iterrows():
        crop = {f"tonnes_{end}": crops.loc[block, f"tonnes_{end}"] for end in ENDINGS}
        bears = crop["tonnes_p90"] > 0
        rows.append(
            {
                "block": block,
                "variety": varieties[block],
                "plan": row["plan"],
                "planned": block in planned,
                "buds_per_m": row["buds_per_m"],
                "shoots_per_m_p50": row["shoots_per_m_p50"],
                "density_word": row["density_word"],
                **crop,
                "ravaz_p50": row["ravaz_p50"],
                "balance_word": row["balance_word"],
                "look": _look(row, bears, any(block in note for note in _unknown(compared))),
            }
        )
    return pd.DataFrame(rows)


def _unknown(compared):
    return [note for note in compared.notes if note.startswith("Load unknown")]


def _look(row, bears, unknown):
    """Return what is off with a block, in a word or two; nothing where nothing is."""
    if not bears:
        return "too young to bear"
    if unknown:
        return "which plan is carried?"
    if row["density_word"] in OUTSIDE:
        return "shoots dense" if row["density_word"] == "above" else "shoots thin"
    if row["balance_word"] in OUTSIDE:
        return "crop heavy for the wood" if row["balance_word"] == "above" else "vigour high"
    return ""


def usual_day(records, stage, season):
    """Return the day a stage is usually reached in a season, by the estate's own dates, or None."""
    dates = records.dates[records.dates["stage"] == stage]
    dates = dates[dates["season"] < season]
    if dates.empty:
        return None
    # In the south a season begins in the year before its harvest.
    start = pd.to_datetime((dates["season"] - 1).astype(str) + "-07-01")
    days = int((dates["date"] - start).dt.days.median())
    return pd.Timestamp(season - 1, 7, 1) + pd.Timedelta(days=days)


def _done(records, season):
    """Return the blocks in which each thing was done in a season, {what: names}."""

    def having(table, column):
        rows = getattr(records, table)
        return set(rows["block"][(rows["season"] == season) & rows[column].notna()])

    return {
        "weigh prunings": having("pruning", "pruning_weight_kg"),
        "choose a plan": set(season_plans(records, season)),
        "count shoots": having("counts", "shoots"),
        "count clusters": having("counts", "clusters"),
        "weigh clusters": having("weights", "weight_g"),
        "enter what the scale said": having("harvest", "tonnes"),
    }


def due(records, season, day):
    """Return what is due now, and then what is next.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest.
    day : date
        The day it is.

    Returns
    -------
    (list of Due, Due or None)
        What can be done now, and the next thing with its day by the estate's own dates.
    """
    day = pd.Timestamp(day)
    estate = estate_before_season(records, season)
    names = [str(name) for name in records.blocks["block"]]
    bearing = [
        name for name, bare in zip(estate.facts.names, estate.young.barren, strict=True) if not bare
    ]
    done = _done(records, season)
    reached = [
        (what, when)
        for stage, what in AFTER.items()
        if (when := usual_day(records, stage, season)) is not None
    ]
    past = [what for what, when in reached if when <= day]
    current = past[-1:] or ["weigh prunings", "choose a plan"]
    now = []
    for what in current:
        # A vine too young to bear is pruned, but there is nothing to count on it.
        of = names if what in ("weigh prunings", "choose a plan") else bearing
        open_blocks = tuple(name for name in of if name not in done[what])
        if open_blocks:
            now.append(Due(what, open_blocks))
    coming = [(what, when) for what, when in reached if when > day]
    following = Due(coming[0][0], (), coming[0][1]) if coming else None
    return now, following


def standing(records, season, day):
    """Return where a season stands, in one sentence.

    Parameters
    ----------
    records, season, day
        As in ``due``.
    """
    total = len(records.blocks)
    done = _done(records, season)
    picked, clusters, shoots, planned = (
        len(done[what])
        for what in ("enter what the scale said", "count clusters", "count shoots", "choose a plan")
    )
    if picked:
        told = f"{picked} of {total} blocks picked"
    elif clusters:
        told = f"clusters counted in {clusters} of {total} blocks"
    elif shoots:
        told = f"shoots counted in {shoots} of {total} blocks"
    elif planned:
        told = f"{planned} of {total} blocks have a plan"
    else:
        told = "no block has a plan yet"
    return f"{day:%A} {day.day} {day:%B %Y}; harvest {season}: {told}."
