"""Figures of a season in review: ranges against the scale, misses, what missed, what was learnt."""

from dataclasses import replace

import numpy as np

from cropload.beliefs import ranges
from cropload.review.lesson_words import (
    LOADS,
    in_per_cent,
    lesson_kind,
    lesson_sentence,
    seasons_words,
)
from cropload.review.picked import BASELINES
from cropload.review.words import miss_table, side_word
from cropload.show.charts import Rows, Series, amounts
from cropload.show.drawing import BLUE, DARK, LOOKS, VERMILLION, Look
from cropload.show.line_charts import Panel
from cropload.units import METRIC

_LOAD_AXIS = (
    "change with 10 % more buds, once settled [%] (cluster weight: with 10 % more clusters)"
)


def scale_rows(crops, units=METRIC):
    """Return each crop's range and middle against what the scale said, to draw or to tell.

    Parameters
    ----------
    crops : DataFrame
        Of one moment, with the columns of ``SeasonReview.blocks`` [t].
    units : UnitSystem
        Units to show [t or short tons].
    """
    forecast = amounts("forecast", crops, "tonnes", "tonnes", units, look=Look(BLUE, "|", size=14))
    look = Look(VERMILLION, "D", size=6.5)
    scale = amounts(
        "what the scale said", crops, "picked_t", "tonnes", units, look=look, written="range"
    ).saying(side_word(row) for row in crops.to_dict("records"))
    axis = f"crop at the scale [{forecast.unit}]"
    title = "Forecast of each crop against what the scale said"
    return Rows(title, tuple(crops["name"]), axis, (forecast, scale))


def misses_panel(table):
    """Return the weighted miss at each moment beside a grower's own guesses, to draw or to tell.

    Parameters
    ----------
    table : DataFrame
        Of ``level_scores`` [1].

    Notes
    -----
    Each guess is drawn where it can be made; the table says over how many crops.
    """
    columns = {"weighted_miss": "forecast"}
    columns |= {f"{name}_miss": words for name, words in BASELINES.items()}
    series = tuple(
        Series(words, 100 * table[column].to_numpy(float), look, 0, "%",
               "middle" if column == "weighted_miss" else "")
        for (column, words), look in zip(columns.items(), LOOKS, strict=False)
        if np.isfinite(table[column].to_numpy(float)).any()
    )  # fmt: skip
    ticks = tuple(words.replace(" ", "\n") for words in table["words"])
    title = "Miss at each moment, of the crop, beside guesses without a model"
    return Panel(title, series, up="miss, of the crop [%]", ticks=ticks)


def inside_rows(counts):
    """Return the share of crops that came inside their range at each moment, to draw or to tell.

    Parameters
    ----------
    counts : DataFrame
        Of ``inside_counts`` [1].
    """
    sums = counts.groupby(["moment", "words"], sort=False)[["inside", "seen"]].sum().reset_index()
    share = 100 * (sums["inside"] / sums["seen"]).to_numpy(float)
    said = tuple(f"{row.inside} of {row.seen}" for row in sums.itertuples())
    crops = Series("crops inside", share, written="range", texts=said)
    return Rows(
        f"Crops that came inside the range that was said to hold {ranges.often()}",
        tuple(sums["words"]),
        "crops inside their range [%]; dotted: what was said",
        parts=(crops,),
        reference=100 * ranges.level(),
    )


def split_rows(split):
    """Return what made each block's forecast miss, parts that add up, to draw or to tell.

    Parameters
    ----------
    split : DataFrame
        Of ``split_miss``.

    Notes
    -----
    The scale is per cent of the crop picked, on which parts add up to the miss shown elsewhere.
    What made the forecast too high stands right of 0, what made it too low left; the thick
    line is the whole miss. Parts are told apart by colour and pattern, the larger ones by a number.
    """
    table = miss_table(split)
    parts = [
        Series(name, 100 * values.to_numpy(float), written="middle", unit="%", show=_signed)
        for name, values in table.items()
    ]
    look = Look("#000000", "|", size=26)
    whole = replace(parts.pop(), look=look, written="range", unit="", show=_percent)
    axis = "forecast too low  <  share of the crop picked [%]  <  forecast too high"
    title = "Parts of each block's miss, in per cent of the crop picked, adding up"
    return Rows(title, tuple(table.index), axis, (whole,), tuple(parts))


def _percent(value):
    return f"{round(value) + 0.0:+.0f} %"


def _signed(value):
    return _percent(value).removesuffix(" %")


def lesson_ranges(table, kind):
    """Return lessons of one kind, each before and after with its range, to draw.

    Parameters
    ----------
    table : DataFrame
        Of ``learn``.
    kind : str
        The part of their key before the colon.
    """
    mine = table[np.array(lesson_kind(table)) == kind]
    names, axis = tuple(mine["of"]), f"{mine['words'].iloc[0]} [1]"
    ends = {each: [f"{each}_low", each, f"{each}_high"] for each in ("before", "after")}
    values = {each: mine[columns].to_numpy(float).T for each, columns in ends.items()}
    if kind == "load":
        # In per cent, as the words and the tables tell it.
        names, axis = tuple(LOADS[key.split(":")[1]] for key in mine["key"]), _LOAD_AXIS
        values = {each: in_per_cent(found) for each, found in values.items()}
    words = zip(mine["said"], map(seasons_words, mine["seasons"]), strict=True)
    said = tuple("\n".join(pair) for pair in words)
    series = (
        Series("before", values["before"], Look(DARK, "o", "--", True)),
        Series("after", values["after"], Look(BLUE, "D"), written="row", texts=said),
    )
    return Rows("Before and after", names, axis, series, apart=True, from_zero=False)


def lessons_text(table, kind):
    """Return the lessons of one kind in words, for whoever cannot see them."""
    mine = table[np.array(lesson_kind(table)) == kind]
    told = map(lesson_sentence, mine.to_dict("records"))
    return " ".join([f"Before and after, with the {ranges.label()}.", *told])
