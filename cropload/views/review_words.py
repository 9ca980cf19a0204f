"""Words of the review: what missed, in plain sentences, and what a lesson says."""

import numpy as np

from cropload.decisions.review import BASELINES
from cropload.forecasting.block_facts import block_facts
from cropload.forecasting.measured import measurements
from cropload.views.season_words import short

#: Component -> what there was, against what had been thought; {} is the word for more or less.
_TRUTH = {
    "buds_left": "{n} {more} buds were left than planned",
    "shoots_per_bud": "{n} {more} shoots grew from a bud",
    "clusters_per_shoot": "there were {n} {more} clusters on a shoot",
    "cluster_weight_g": "the clusters were {n} {heavier}",
    "recovery": "{n} {more} of the fruit reached the scale",
    "noncount_shoots": "shoots from old wood bore {n} {more} of the crop",
    "increase_factor": "clusters grew {n} {more} after lag phase",
    "ripening_factor": "clusters grew {n} {more} after veraison",
    "plan": "the load was read {n} {otherwise}",
    "unexplained": "{n} {more} came over the scale than all parts together explain",
}
#: Parts of a miss below this are not worth a sentence [1].
WORTH_SAYING = 0.015
_HALF_PER_CENT = 0.005


def miss_sentence(component, log_miss):
    """Return what one component had to do with a miss, in plain words.

    Parameters
    ----------
    component : str
        As in ``split_miss``.
    log_miss : float
        Its part of ln(forecast / picked) [1].

    Examples
    --------
    >>> miss_sentence("counting_bias", -0.0943)
    '9 % too few clusters were counted'
    >>> miss_sentence("cluster_weight_g", -0.0770)
    'the clusters were 8 % heavier'
    """
    if component == "counting_bias":
        share = float(np.expm1(log_miss))
        return (
            f"{100 * abs(share):.0f} % too {'many' if share > 0 else 'few'} clusters were counted"
        )
    share = float(np.expm1(-log_miss))
    up = share > 0
    return _TRUTH[component].format(
        n=f"{100 * abs(share):.0f} %",
        more="more" if up else "fewer" if component in _COUNTED else "less",
        heavier="heavier" if up else "lighter",
        otherwise="too low" if up else "too high",
    )


_COUNTED = {"buds_left", "shoots_per_bud", "clusters_per_shoot"}


def block_sentence(split, block):
    """Return why one block's forecast missed, in a sentence, the largest part first.

    Parameters
    ----------
    split : DataFrame
        Of ``split_miss``.
    block : str
        Name of the block.
    """
    mine = split[split["block"] == block]
    return _sentence(f"{block}: ", mine.set_index("component")["log_miss"])


def estate_sentence(split, picked):
    """Return why the estate's forecast missed, blocks weighed by their crop.

    Parameters
    ----------
    split : DataFrame
        Of ``split_miss``.
    picked : dict
        {block: tonnes} [t].
    """
    weight = split["block"].map(picked).to_numpy(float)
    parts = (split["log_miss"] * weight).groupby(split["component"], sort=False).sum()
    total = sum(picked[block] for block in split["block"].unique())
    return _sentence("All blocks together: ", parts / total)


def _sentence(start, parts):
    total = float(np.expm1(parts.sum()))
    if abs(total) < _HALF_PER_CENT:
        opening = f"{start}the forecast was right to half a per cent"
    else:
        word = "high" if total > 0 else "low"
        opening = f"{start}the forecast was {100 * abs(total):.0f} % too {word}"
    told = [
        miss_sentence(component, part)
        for component, part in parts.reindex(parts.abs().sort_values(ascending=False).index).items()
        if abs(part) >= WORTH_SAYING and component in (*_TRUTH, "counting_bias")
    ]
    return f"{opening}; {', '.join(told)}." if told else f"{opening}."


def miss_table(split):
    """Return the parts of each block's miss that are worth showing, with short names.

    Returns
    -------
    DataFrame
        One row a block, one column a component that mattered anywhere, and ``all together``:
        ln(forecast / picked) [1]. What is left out stands under ``other``, so rows still add up.
    """
    wide = split.pivot_table(index="block", columns="component", values="log_miss", sort=False)
    wide = wide.reindex(index=list(dict.fromkeys(split["block"])))
    order = [name for name in dict.fromkeys(split["component"]) if name in wide]
    shown = [name for name in order if wide[name].abs().max() >= WORTH_SAYING / 2]
    table = wide[shown].rename(columns=part_name)
    table["other"] = wide[[name for name in order if name not in shown]].sum(axis=1)
    table["all together"] = wide.sum(axis=1)
    return table


def part_name(component):
    """Return the short name of a part of a miss."""
    if component == "unexplained":
        return "not explained"
    return "counting of clusters" if component == "counting_bias" else short(component)


def coverage_words(row):
    """Return how often the range held the crop, with what so few blocks allow."""
    return (
        f"{row['inside']} of {row['seen']} "
        f"({100 * row['inside_low']:.0f} to {100 * row['inside_high']:.0f} %)"
    )


def season_span(seasons):
    """Return seasons in words.

    Examples
    --------
    >>> season_span([2026]), season_span([2024, 2025, 2026])
    ('season 2026', 'seasons 2024 to 2026')
    """
    if len(seasons) == 1:
        return f"season {seasons[0]}"
    return f"seasons {min(seasons)} to {max(seasons)}"


def joined(text):
    """Return text that a narrow screen does not break over lines."""
    return str(text).replace(" ", "\u00a0")


def score_cells(row, units):
    """Return bias, miss, inside, width and score of some crops as cells of text."""
    seen, bracket, share = coverage_words(row).partition(" (")
    return [
        joined(per_cent(row["bias"], sign=True)),
        joined(per_cent(row["weighted_miss"])),
        f"{joined(seen)}{bracket}{joined(share)}",
        joined(per_cent(row["width_share"])),
        f"{units.convert('tonnes', row['crps_t']):.2f}",
    ]


def score_sentence(row, seasons):
    """Return what the forecasts of one moment were worth, in a sentence, beside the best guess.

    Parameters
    ----------
    row : mapping
        A row of ``level_scores``.
    seasons : sequence of int
        The seasons scored.
    """
    high = "too high" if row["bias"] > 0 else "too low"
    sums = (
        "right in sum to half a per cent"
        if abs(row["bias"]) < _HALF_PER_CENT
        else f"{per_cent(abs(row['bias']))} {high} in sum"
    )
    text = (
        f"{season_span(seasons).capitalize()}, {row['words']}: the forecasts missed the scale by "
        f"{per_cent(row['weighted_miss'])} of the crop and were {sums}; {row['inside']} of "
        f"{row['seen']} crop{'' if row['seen'] == 1 else 's'} fell inside the range."
    )
    guesses = {name: row[f"{name}_miss"] for name in BASELINES if row[f"{name}_seen"]}
    if not guesses:
        return f"{text} There was no earlier season to guess from."
    best = min(guesses, key=guesses.get)
    return (
        f"{text} The best guess without a model, {BASELINES[best]}, missed by "
        f"{per_cent(guesses[best])} (the forecast over the same crops: "
        f"{per_cent(row[f'{best}_beside'])})."
    )


def export_crops(found, units):
    """Return the crops of every moment of a review as they are written to a file.

    Parameters
    ----------
    found : SeasonReview
        As from ``review_season``.
    units : UnitSystem
        Units of the tonnes; a column names them.
    """
    shown = found.blocks.copy()
    for name in shown.columns:
        if name.startswith("tonnes_") or name.endswith("_t") or name in BASELINES:
            shown[name] = units.convert("tonnes", shown[name])
    shown.insert(0, "season", found.season)
    shown.insert(1, "moment", shown.pop("moment"))
    shown["unit"] = units.label("tonnes")
    shown["interval"] = found.summary.attrs["interval"]
    # A name such as picked_t would be false in short tons.
    return shown.rename(columns=lambda name: name.removesuffix("_t").replace("tonnes_", "crop_"))


def measured_sentence(records, season, blocks):
    """Return what was measured in the blocks of a season, in a sentence.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest.
    blocks : sequence of str
        Blocks to name.
    """
    found = measurements(records, block_facts(records))
    found = found[found["season"] == season].groupby("block")["stage"].agg(set)
    groups = {}
    for block in blocks:
        stages = found.get(block, set())
        told = ", ".join(words for stage, words in MEASURED.items() if stage in stages)
        groups.setdefault(told or "tonnes only", []).append(block)
    told = [f"{', '.join(names)}: {words}" for words, names in groups.items()]
    return f"Measured in {season}: {'; '.join(told)}."


#: Stage -> its short name where a table lists what was measured.
MEASURED = {
    "shoots": "shoots",
    "clusters": "clusters",
    "weight_lag": "lag weights",
    "weight_veraison": "veraison weights",
    "weight_harvest": "harvest weights",
}

INVENTED_NOTE = (
    "The errors here are of the invented sample estate, which was made by the same kind of model "
    "that forecasts it. They show how the panels read, and prove nothing about a vineyard that "
    "exists."
)
WIDTH_NOTE = "Width: the widths of the ranges in sum, over the crop."
SPLIT_NOTE = (
    "The truth of each component is what is believed once everything is known, the harvest "
    "included. Where shoots, clusters and harvest weights were all measured it stands near what "
    "was measured; where little was, the miss is shared out by how uncertain each component was."
)
COUNTED_NOTE = (
    "“Clusters were counted” is what the count itself had wrong; “fewer clusters on a shoot” is "
    "what truly hung there, and “heavier” what each cluster weighed."
)
ORIGIN_NOTE = (
    "Each component came from the block's own seasons, else from its variety here, else from the "
    "handbook; what was accepted in learned.toml is named below where it was in force."
)
COVERAGE_NOTE = (
    "Inside: crops that fell inside the 80 % range, with the Wilson range (95 %) of that share. "
    "About eight in ten should; few blocks cannot tell."
)
SCORE_NOTE = (
    "Score (CRPS): the mean miss of the whole range rather than of its middle, as a weight; "
    "smaller is better, and a range that is too sure or too wide is punished."
)
MISS_NOTE = (
    "Miss: sum of the absolute errors over the crop. Bias: above 0 the forecasts were too high "
    "in sum."
)


def per_cent(value, sign=False):
    """Return a share as whole per cent, or a dash.

    Examples
    --------
    >>> per_cent(0.1249), per_cent(0.04, sign=True), per_cent(float("nan"))
    ('12 %', '+4 %', '-')
    """
    if value is None or not np.isfinite(value):
        return "-"
    # Adding 0 turns -0 into 0.
    return f"{round(100 * float(value)) + 0.0:{'+' if sign else ''}.0f} %"


def side_word(row):
    """Return whether the crop lay ``below``, ``inside`` or ``above`` the forecast's range."""
    if row["picked_t"] < row["tonnes_p10"]:
        return "below"
    return "above" if row["picked_t"] > row["tonnes_p90"] else "inside"
