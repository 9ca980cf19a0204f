"""Words of the review: what the forecasts were worth, and what missed, in plain sentences."""

import numpy as np

from cropload.beliefs import ranges
from cropload.review.picked import BASELINES, OWN
from cropload.review.split_miss import log_mean
from cropload.season.words import short
from cropload.show import wording

#: Component -> what there was, against what had been thought; {} is the word for more or less.
_TRUTH = {
    "buds_left": "{n} {more} buds were left than planned",
    "shoots_per_bud": "{n} {more} shoots grew from a bud",
    "clusters_per_shoot": "there were {n} {more} clusters on a shoot",
    "cluster_weight_g": "the clusters were {n} {heavier}",
    "recovery": "{n} {more} of the fruit reached the scale",
    "noncount_shoots": "shoots from old wood bore {n} {more} of the crop",
    "plan": "the load was read {n} too {level}",
    "lost": "{n} {more} reached the scale, for it was lost before",
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
    share = float(np.expm1(log_miss))
    if component == "counting_bias":
        return (
            f"{wording.percent(abs(share))} too {'many' if share > 0 else 'few'} clusters were "
            "counted"
        )
    if component == "beyond_count":
        word = "more" if share > 0 else "fewer"
        return (
            f"the forecast held to {wording.percent(abs(share))} {word} clusters than were counted"
        )
    share = float(np.expm1(-log_miss))
    up = share > 0
    return _TRUTH[component].format(
        n=wording.percent(abs(share)),
        more="more" if up else "fewer" if component in _COUNTED else "less",
        heavier="heavier" if up else "lighter",
        level="low" if up else "high",
    )


_COUNTED = {"buds_left", "shoots_per_bud", "clusters_per_shoot"}
#: Parts that one figure stands for together: the count, and the share that reached the scale.
_GAP = ["counting_bias", "recovery"]


def block_sentence(split, block):
    """Return why one block's forecast missed, in a sentence, the largest part first.

    Parameters
    ----------
    split : MissSplit
        Of ``split_miss``.
    block : str
        Name of the block.
    """
    mine = split[split["block"] == block].set_index("component")
    return _sentence(f"{block}: ", mine["log_miss"], mine["rests_on"])


def estate_sentence(split):
    """Return why the forecasts of all blocks missed in sum, in a sentence.

    Parameters
    ----------
    split : MissSplit
        Of ``split_miss``.

    Notes
    -----
    Blocks count by their tonnes, so the parts add up to the miss of the blocks in sum. A part is
    said to be measured, or not, as most of it is.
    """
    blocks, (parts, rests) = split.blocks, _in_sum(split)
    if not split.left_out:
        start = "All blocks together: "
    elif len(blocks) > 1:
        start = f"The {len(blocks)} blocks that can be split, together: "
    else:
        start = "The one block that can be split: "
    return _sentence(start, parts, rests)


def _in_sum(split):
    """Return each part of the miss of all blocks in sum [1], and what most of it rests on."""
    frame = split.frame
    blocks = frame.drop_duplicates("block")
    # The same mean that split_miss turns a part of a log into tonnes with.
    mean = log_mean(blocks["forecast_t"].sum(), blocks["picked_t"].sum())
    parts = frame.groupby("component", sort=False)["miss_t"].sum() / mean
    heaviest = frame["miss_t"].abs().groupby(frame["component"]).idxmax()
    rests = frame.loc[heaviest].set_index("component")["rests_on"]
    return parts, rests


def _gap_words(gap, capped):
    """Return what a count and the share that reached the scale have to do with a miss."""
    total = gap.sum()
    told = f"{wording.percent(abs(np.expm1(-total)))} {'more' if total < 0 else 'less'} came over "
    told += "the scale than the clusters counted and weighed explain"
    if total < 0:
        told += f", as if {miss_sentence('counting_bias', total)}"
    order = gap.abs().sort_values(ascending=False).index
    likely = {n: miss_sentence(n, gap[n]) for n in order if abs(gap[n]) >= WORTH_SAYING}
    if capped and gap["recovery"] < 0 and "recovery" in likely:
        # No more than all of it can: what is beyond that is the count's.
        share = wording.percent(float(np.expm1(-gap["recovery"])))
        likely["recovery"] = f"all of the fruit reached the scale, {share} more than expected"
    return f"{told} (likeliest: {' and '.join(likely.values())})" if likely else told


def _sentence(start, parts, rests):
    """Return a miss and what made it, measured parts first, what is only likely last."""
    total = float(np.expm1(parts.sum()))
    if abs(total) < _HALF_PER_CENT:
        opening = f"{start}the forecast was right to half a per cent"
    else:
        word = "high" if total > 0 else "low"
        opening = f"{start}the forecast was {wording.percent(abs(total))} too {word}"
    causes = _causes(parts, rests)
    text = "; ".join(words for words, _, guessed in causes if not guessed)
    likely = ", ".join(words for words, _, guessed in causes if guessed)
    text = f"{opening}; {text}." if text else f"{opening}."
    return f"{text} Not measured, so only likely: {likely}." if likely else text


def _causes(parts, rests):
    """Return (words, components, whether only likely) of each cause, the largest first."""
    rests = rests.reindex(parts.index)
    found = []
    gap = parts.reindex(_GAP).fillna(0.0)
    both = rests.reindex(_GAP).isin(["together", "capped"]).any()
    for component, part in parts.items():
        if both and component in _GAP:
            continue
        if abs(part) >= WORTH_SAYING:
            words = miss_sentence(component, part)
            found.append((abs(part), words, [component], rests[component] == "guess"))
    if both and abs(gap.sum()) >= WORTH_SAYING:
        words = _gap_words(gap, rests["recovery"] == "capped")
        found.append((abs(gap.sum()), words, _GAP, False))
    return [each[1:] for each in sorted(found, key=lambda each: each[:2], reverse=True)]


def cause_lines(split, miss_t):
    """Return what made all forecasts miss in sum, a line a cause, that add up to the whole miss.

    Parameters
    ----------
    split : MissSplit
        Of ``split_miss``.
    miss_t : float
        Forecast less the crop picked, of all crops together [t].

    Returns
    -------
    list of (str, float)
        The cause in words, and its part of the forecast less the crop picked [t]; the largest
        first, small ones together at the end.
    """
    parts, rests = _in_sum(split)
    tonnes = split.frame.groupby("component", sort=False)["miss_t"].sum()
    lines = [
        (f"{words} (only likely)" if guessed else words, float(tonnes.reindex(of).sum()))
        for words, of, guessed in _causes(parts, rests)
    ]
    rest = miss_t - sum(move for _, move in lines)
    return [*lines, ("everything else", rest)]


def miss_table(split):
    """Return the parts of each block's miss that are worth showing, with short names.

    Returns
    -------
    DataFrame
        One row a block, one column a component that mattered anywhere, and ``all together``:
        shares of the crop picked [1], so that a row adds up to how far its forecast was off. What
        is left out stands under ``other``.
    """
    wide = split.pivot_table(index="block", columns="component", values="share", sort=False)
    wide = wide.reindex(index=list(dict.fromkeys(split["block"])))
    order = [name for name in dict.fromkeys(split["component"]) if name in wide]
    shown = [name for name in order if wide[name].abs().max() >= WORTH_SAYING / 2]
    table = wide[shown].rename(columns=part_name)
    table["other"] = wide[[name for name in order if name not in shown]].sum(axis=1)
    table["all together"] = wide.sum(axis=1)
    return table


def part_name(component):
    """Return the short name of a part of a miss."""
    return _NAMES.get(component) or short(component)


_NAMES = {
    "unexplained": "not explained",
    "counting_bias": "counting of clusters",
    "beyond_count": "clusters held to besides the count",
    "lost": "lost before the scale",
    # The legend of a picture has no room for more letters.
    "recovery": "share reaching the scale",
}


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
        else f"{wording.percent(abs(row['bias']))} {high} in sum"
    )
    text = (
        f"{season_span(seasons).capitalize()}, {row['words']}: the forecasts missed the scale by "
        f"{wording.percent(row['weighted_miss'])} of the crop and were {sums}; {row['inside']} of "
        f"{row['seen']} crop{'' if row['seen'] == 1 else 's'} fell inside the range."
    )
    guesses = {name: row[f"{name}_miss"] for name in BASELINES if row[f"{name}_seen"]}
    if not guesses:
        return f"{text} There was no earlier season to guess from."
    best = min(guesses, key=guesses.get)
    return (
        f"{text} The best guess without a model, {BASELINES[best]}, missed by "
        f"{wording.percent(guesses[best])} (the forecast over the same crops: "
        f"{wording.percent(row[f'{best}_beside'])})."
    )


def inside_sentence(counts):
    """Return whether ranges held as often as they said, over all scored seasons, in a sentence.

    Parameters
    ----------
    counts : DataFrame
        Of ``inside_counts`` [1].
    """
    inside, seen = int(counts["inside"].sum()), int(counts["seen"].sum())
    text = (
        f"Of {seen} crops said with a range for {ranges.often()}, {inside} came inside "
        f"({wording.percent(inside / seen)}), over {counts['season'].nunique()} seasons and every "
        "forecast of them."
    )
    return f"{text} Crops of one season share its weather, so they miss together."


def who_was_right(estate, scores, day):
    """Return who was nearer to the scale, the forecast or a guess, in a sentence or two.

    Parameters
    ----------
    estate : mapping
        The estate's row of ``SeasonReview.frame_by`` at a moment.
    scores : mapping
        The row of ``level_scores`` at that moment, over the blocks.
    day : Timestamp
        Day of the forecast.
    """
    off = estate["error_share"]
    sums = "right to half a per cent" if abs(off) < _HALF_PER_CENT else (
        f"{wording.percent(abs(off))} too {'high' if off > 0 else 'low'}"
    )  # fmt: skip
    noun = "crop" if scores["seen"] == 1 else "crops"
    text = (
        f"Made {scores['words']} ({day:%Y-%m-%d}), the forecast was {sums}; {scores['inside']} of "
        f"{scores['seen']} {noun} came inside the range."
    )
    guesses = {name: scores[f"{name}_miss"] for name in BASELINES if scores[f"{name}_seen"]}
    if not guesses:
        return f"{text} There was no earlier season to guess from."
    best = min(guesses, key=guesses.get)
    mine, other = scores[f"{best}_beside"], guesses[best]
    judged = "The forecast was nearer block by block" if mine < other else "A guess was nearer"
    text += (
        f" {judged}: off by {wording.percent(mine)}, against {wording.percent(other)} for "
        f"the guess “{BASELINES[best]}”."
    )
    if best == OWN or OWN not in guesses:
        return text
    return f"{text} The grower's own estimates were off by {wording.percent(guesses[OWN])}."


def export_crops(found, units):
    """Return the crops of every moment of a review as they are written to a file.

    Parameters
    ----------
    found : SeasonReview
        As from ``review_season``.
    units : UnitSystem
        Units of the tonnes; a column names them.
    """
    frame = found.blocks.copy()
    for name in frame.columns:
        if name.startswith("tonnes_") or name.endswith("_t") or name in BASELINES:
            frame[name] = units.convert("tonnes", frame[name])
    frame.insert(0, "season", found.season)
    frame.insert(1, "moment", frame.pop("moment"))
    frame["unit"] = units.label("tonnes")
    frame["interval"] = ranges.label()
    # A name such as picked_t would be false in short tons.
    return frame.rename(columns=lambda name: name.removesuffix("_t").replace("tonnes_", "crop_"))


def measured_sentence(season, stages, blocks):
    """Return what was measured in the blocks of a season, in a sentence.

    Parameters
    ----------
    season : int
        Year of harvest.
    stages : dict
        {block: stages measured}.
    blocks : sequence of str
        Blocks to name.
    """
    groups = {}
    for block in blocks:
        measured = stages.get(block, set())
        words = ", ".join(words for stage, words in MEASURED.items() if stage in measured)
        groups.setdefault(words or "tonnes only", []).append(block)
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
SPLIT_NOTE = (
    "The truth of each component is what is believed once everything is known, the harvest "
    "included. Where shoots, clusters and harvest weights were all measured it stands near what "
    "was measured; where little was, the miss is shared out by how uncertain each component was, "
    "and is said to be only likely."
)
COUNTED_NOTE = (
    "“Clusters were counted” is the count, corrected for the bias that was usual before, against "
    "what truly hung there: counters and sample alike. “The forecast held to” is what it took "
    "besides the count, from what the vines bore before. A wrong count and fruit that never "
    "reached the scale look alike in weights and tonnes: these records cannot tell them apart, so "
    "their sum is known and the shares in brackets are only likeliest. But no more than all of "
    "the fruit can reach the scale: what is more is the count's."
)
ORIGIN_NOTE = (
    "Each component came from the block's own seasons, else from its variety here, else from the "
    "handbook; what was accepted in learned.toml is named below where it was in force."
)


def score_notes():
    """Return how the scores of forecasts are to be read, in sentences."""
    return (
        "Miss: sum of the absolute errors over the crop. Bias: above 0 the forecasts were too high "
        "in sum.",
        f"Inside: crops that fell inside the {ranges.short_label()}, with the Wilson range "
        f"(95 %) of that share. About {ranges.in_ten()} should; few blocks cannot tell.",
        "Score (CRPS): the mean miss of the whole range rather than of its middle, as a weight; "
        "smaller is better, and a range that is too sure or too wide is punished.",
        "Width: the widths of the ranges in sum, over the crop.",
    )


def side_word(row):
    """Return whether the crop lay ``below``, ``inside`` or ``above`` the forecast's range."""
    if row["picked_t"] < row["tonnes_p10"]:
        return "below"
    return "above" if row["picked_t"] > row["tonnes_p90"] else "inside"
