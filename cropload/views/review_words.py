"""Words of the review: what missed, in plain sentences, and what a lesson says."""

import numpy as np

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


COVERAGE_NOTE = (
    "Inside: crops that fell inside the 80 % range, with the Wilson range (95 %) of that share. "
    "About eight in ten should; few blocks cannot tell."
)
SCORE_NOTE = (
    "Score (CRPS): the mean miss in tonnes of the whole range rather than of its middle; smaller "
    "is better, and a range that is too sure or too wide is punished."
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
    return f"{100 * value + 0.0:{'+' if sign else ''}.0f} %"


def side_word(row):
    """Return whether the crop lay ``below``, ``inside`` or ``above`` the forecast's range."""
    if row["picked_t"] < row["tonnes_p10"]:
        return "below"
    return "above" if row["picked_t"] > row["tonnes_p90"] else "inside"


def figure_range(row, part):
    """Return a lesson's figure with its range, such as ``0.95 (0.89 to 1.01)``."""
    return f"{row[part]:.2f} ({row[f'{part}_low']:.2f} to {row[f'{part}_high']:.2f})"


def lesson_kind(table):
    """Return what each lesson is a lesson of: the part of its key before the colon."""
    return [key.split(":", 1)[0] for key in table["key"]]


def lesson_sentence(row):
    """Return a lesson in a sentence."""
    seasons = "1 season" if row["seasons"] == 1 else f"{row['seasons']} seasons"
    return (
        f"{row['words']} ({row['of']}): {figure_range(row, 'before')} before, "
        f"{figure_range(row, 'after')} after {seasons}; {row['said']}."
    )


LEARN_NOTE = (
    "Before: the figure used now. After: what all seasons say, pulled towards the handbook where "
    "they are few. 'moved': the figure before lies outside the range after, which chance alone "
    "does about one time in five. Nothing is used until you accept it."
)
ACCEPT_NOTE = (
    "A forecast already learns biases and factors from the seasons it reads; accepting holds them "
    "for later seasons and names them as the source. Counters and fitted node profiles are used "
    "only once accepted."
)
TREND_NOTE = (
    "Change in a year, with the chances that the vines get weaker, hold (less than 3 % a year) or "
    "get stronger. A block is named only after three seasons or more. More wood is not always "
    "better, and a heavier load takes wood: read this beside the plans."
)


def trend_words(row):
    """Return a block's trend in words with its chance, such as ``holding (70 %)``."""
    column = {
        "getting weaker": "chance_weaker",
        "holding": "chance_holding",
        "getting stronger": "chance_stronger",
    }.get(row["label"])
    return row["label"] if column is None else f"{row['label']} ({100 * row[column]:.0f} %)"


def enough_sentence(table, name, wood):
    """Return whether enough buds of one wood were examined, in a sentence."""
    mine = table[
        (table.iloc[:, 0] == name) & (table["wood"] == wood) & (table["what"] == "fertility")
    ]
    short_of = mine[mine["buds_seen"] < mine["buds_enough"]]
    need, error = int(mine["buds_enough"].max()), table.attrs["error"]
    base = f"{name}, {wood}s: {need} buds at each node are enough for +-{100 * error:.0f} %"
    if short_of.empty:
        return f"{base}; the {mine['buds_seen'].min():.0f} or more examined at each do."
    nodes = ", ".join(str(node) for node in short_of["node"])
    return f"{base}; too few so far at node{'s' if len(short_of) > 1 else ''} {nodes}."
