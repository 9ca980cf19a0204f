"""Figures of a season in review: ranges against the scale, misses by moment, and what missed."""

import numpy as np

from cropload.beliefs import ranges
from cropload.review.picked import BASELINES
from cropload.review.words import miss_table, side_word
from cropload.show import wording
from cropload.show.figure_parts import DARK, LOOKS, cut_name, free_place, inch_axes, name_room
from cropload.show.figures import BLUE, GREEN, PURPLE, VERMILLION, house_style
from cropload.units import METRIC

#: Parts of a miss below this share of the longest bar carry no number of their own [1].
_READABLE = 0.075
#: Baseline -> colour, marker and line: told apart by all three.
_GUESS_LOOKS = dict(
    zip(BASELINES, ((VERMILLION, "s", "--"), (GREEN, "^", "-."), (PURPLE, "D", ":")), strict=True)
)


def plot_scale(crops, units=METRIC, ax=None):
    """Draw each crop's range and middle against what the scale said.

    Parameters
    ----------
    crops : DataFrame
        Of one moment, with the columns of ``SeasonReview.blocks``.
    units : UnitSystem
        Units to show [t or short tons].
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with house_style():
        names = [cut_name(name) for name in crops["name"]]
        count = len(names)
        ax = inch_axes(1.05 + 0.36 * count, name_room(names), 0.36) if ax is None else ax
        at = np.arange(count)
        low, middle, high = (
            units.convert("tonnes", crops[f"tonnes_{end}"].to_numpy(float))
            for end in ranges.ENDINGS
        )
        picked = units.convert("tonnes", crops["picked_t"].to_numpy(float))
        ax.barh(
            at,
            high - low,
            left=low,
            height=0.5,
            facecolor="#D6E6F2",
            edgecolor=BLUE,
            linewidth=1,
            label=ranges.label(),
        )
        ax.plot(middle, at, "|", color=BLUE, markersize=13, markeredgewidth=2.5, label="middle")
        ax.plot(
            picked,
            at,
            "D",
            color=VERMILLION,
            markersize=6.5,
            markeredgecolor=DARK,
            label="what the scale said",
        )
        for y, row in enumerate(crops.to_dict("records")):
            ax.annotate(
                f"{wording.figure(picked[y])} is {side_word(row)}",
                (max(high[y], picked[y]), y),
                xytext=(9, 0),
                textcoords="offset points",
                va="center",
                fontsize=8.5,
            )
        ax.set_yticks(at, names, parse_math=False)
        ax.set_ylim(count - 0.4, -0.6)
        ax.set_xlim(0, max(high.max(), picked.max(), 1e-6) * 1.24)
        ax.set_xlabel(f"crop at the scale [{units.label('tonnes')}]")
        ax.legend(loc="lower left", bbox_to_anchor=(-0.01, 1.0), ncols=3, borderaxespad=0.2)
    return ax


def scale_text(crops, units=METRIC):
    """Return the ranges against the scale in words, for whoever cannot see them."""
    parts = [f"Forecast of each crop with its {ranges.label()}, against what the scale said."]
    for row in crops.to_dict("records"):
        span = wording.span("tonnes", row["tonnes_p10"], row["tonnes_p90"], units)
        parts.append(
            f"{row['name']}: {wording.amount('tonnes', row['tonnes_p50'], units, unit=False)} "
            f"({span}); the scale said {wording.amount('tonnes', row['picked_t'], units)}, "
            f"{side_word(row)} the range."
        )
    return " ".join(parts)


def plot_misses(table, ax=None):
    """Draw the weighted miss of forecasts at each moment beside a grower's own guesses.

    Parameters
    ----------
    table : DataFrame
        Of ``level_scores``.
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes

    Notes
    -----
    Each guess is drawn where it can be made; the table says over how many crops.
    """
    with house_style():
        ax = inch_axes(3.5, 0.75, 0.66, 0.72) if ax is None else ax
        at = np.arange(len(table))
        miss = 100 * table["weighted_miss"].to_numpy(float)
        ax.plot(at, miss, "o-", color=BLUE, label="forecast", zorder=3)
        top = miss.max()
        for name, words in BASELINES.items():
            guess = 100 * table[f"{name}_miss"].to_numpy(float)
            if not np.isfinite(guess).any():
                continue
            colour, marker, line = _GUESS_LOOKS[name]
            ax.plot(
                at,
                guess,
                color=colour,
                marker=marker,
                linestyle=line,
                markersize=6,
                linewidth=1.5,
                label=words,
            )
            top = max(top, np.nanmax(guess))
        ax.set_ylim(0, 1.13 * top + 1e-6)
        ax.set_xlim(-0.4, len(table) - 0.6)
        drawn = [line.get_data() for line in ax.lines]
        for x, value in zip(at, miss, strict=True):
            place = free_place(ax, x, value, drawn)
            ax.annotate(
                f"{value:.0f}",
                (x, value),
                xytext=(0, place),
                textcoords="offset points",
                ha="center",
                va="bottom" if place > 0 else "top",
                fontsize=9,
                zorder=4,
            )
        ax.set_xticks(at, ["\n".join(words.split(" ", 1)) for words in table["words"]])
        ax.set_ylabel("miss, of the crop [%]")
        ax.grid(True, axis="y")
        ax.grid(False, axis="x")
        ax.legend(loc="lower left", bbox_to_anchor=(-0.01, 1.0), ncols=2, borderaxespad=0.2)
    return ax


def misses_text(table):
    """Return the misses in words, for whoever cannot see them."""
    parts = ["Miss of the forecasts at each moment, of the crop, beside guesses without a model."]
    for row in table.to_dict("records"):
        guesses = [
            f"{words} {wording.percent(row[f'{name}_miss'])}"
            for name, words in BASELINES.items()
            if np.isfinite(row[f"{name}_miss"])
        ]
        beside = f" ({'; '.join(guesses)})" if guesses else ""
        parts.append(
            f"{row['words'].capitalize()}: {wording.percent(row['weighted_miss'])}{beside}."
        )
    return " ".join(parts)


def plot_split(split, ax=None):
    """Draw what made each block's forecast miss, as stacked bars that add up to the miss.

    Parameters
    ----------
    split : DataFrame
        Of ``split_miss``.
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes

    Notes
    -----
    The scale is per cent of the crop picked, on which parts add up to the miss shown elsewhere.
    What made the forecast too high stands right of 0, what made it too low left; the thick
    line is the whole miss. Parts are told apart by colour and pattern, the larger ones by a number.
    """
    table = 100 * miss_table(split)
    parts = [name for name in table.columns if name != "all together"]
    with house_style():
        names = [cut_name(name) for name in table.index]
        count = len(names)
        top = 0.16 + 0.21 * -(-(len(parts) + 1) // 3)
        ax = inch_axes(0.72 + top + 0.4 * count, name_room(names), top) if ax is None else ax
        at = np.arange(count)
        right, left = np.zeros(count), np.zeros(count)
        reach = max(
            table[parts].clip(lower=0).sum(axis=1).max(),
            -table[parts].clip(upper=0).sum(axis=1).min(),
        )
        for place, name in enumerate(parts):
            values = table[name].to_numpy(float)
            start = np.where(values >= 0, right, left)
            fill, pattern = LOOKS[place % len(LOOKS)]
            ax.barh(
                at,
                values,
                left=start,
                height=0.64,
                facecolor=fill,
                hatch=pattern,
                edgecolor=DARK,
                linewidth=0.8,
                label=name,
            )
            for y, (value, begin) in enumerate(zip(values, start, strict=True)):
                if abs(value) >= _READABLE * reach:
                    ax.text(
                        begin + value / 2,
                        y,
                        f"{value:+.0f}",
                        ha="center",
                        va="center",
                        fontsize=8.5,
                        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
                    )
            right = np.where(values >= 0, right + values, right)
            left = np.where(values < 0, left + values, left)
        whole = table["all together"].to_numpy(float)
        ax.plot(
            whole,
            at,
            linestyle="none",
            marker="|",
            markersize=27,
            markeredgecolor="black",
            markeredgewidth=3,
        )
        # A shorter one for the legend.
        ax.plot([], [], "|", color="black", markersize=12, markeredgewidth=3, label="all together")
        for y, value in enumerate(whole):
            ax.annotate(
                f"{value + 0.0:+.0f} % in all",
                (right[y], y),
                xytext=(7, 0),
                textcoords="offset points",
                va="center",
                fontsize=8.5,
            )
        ax.axvline(0, color=DARK, linewidth=1)
        room = 0.05 * max(right.max() - left.min(), 1.0)
        ax.set_xlim(min(left.min(), -1.0) - room, max(right.max(), 1.0) + 3 * room)
        ax.set_yticks(at, names, parse_math=False)
        ax.set_ylim(count - 0.4, -0.6)
        ax.set_xlabel("forecast too low  <  share of the crop picked [%]  <  forecast too high")
        ax.legend(loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=3, borderaxespad=0.2)
    return ax


def split_text(split):
    """Return the parts of each block's miss in words, for whoever cannot see them."""
    table = 100 * miss_table(split)
    parts = ["Parts of each block's miss, in per cent of the crop picked, adding up."]
    for block, row in table.iterrows():
        told = [
            f"{name} {value:+.0f}"
            for name, value in row.items()
            if name != "all together" and abs(value) >= 0.5
        ]
        parts.append(f"{block}: {', '.join(told) or 'none'}; all {row['all together']:+.0f}.")
    return " ".join(parts)
