"""What the home page says: every block in one row, and where the season stands."""

import pandas as pd

from cropload.beliefs.measured import plans_by_season
from cropload.beliefs.ranges import ENDINGS
from cropload.pruning.compare_blocks import compare_blocks
from cropload.vine.bands import OUTSIDE


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


def standing(found):
    """Return where a season stands, in one sentence.

    Parameters
    ----------
    found : Due
        Of ``due``.
    """
    done = found.frame["what"][found.frame["state"] == "done"].value_counts()
    total, day = len(found.forecast.blocks), found.day
    picked, clusters, shoots, planned = (
        done.get(what, 0) for what in ("harvest", "clusters", "shoots", "plan")
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
    return f"{day:%A} {day.day} {day:%B %Y}; harvest {found.forecast.season}: {told}."
