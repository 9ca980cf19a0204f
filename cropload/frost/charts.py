"""Figures of past springs: each year's loss for each plan, and the crop it adds up to."""

import numpy as np

from cropload.beliefs import ranges
from cropload.frost.words import CASE_WORDS
from cropload.show.charts import Rows, amounts, rows_room
from cropload.show.drawing import (
    BLUE,
    GREEN,
    VERMILLION,
    WIDTH,
    Look,
    axes_at,
    blank,
    cut_name,
    house_style,
    name_room,
    wrapped,
)  # fmt: skip
from cropload.show.wording import percent
from cropload.units import METRIC

#: Years in one strip at most; a longer record goes on in the next one. Width of a cell [inch].
_STRIP, _CELL = 20, 0.25
#: Column of a replay -> its name, and how it looks: not by colour alone.
_CROPS = (
    ("frost_free", "without frost", Look(GREEN, "D", ":")),
    ("mean_crop", "mean over the years", Look(BLUE, "o", "-", True)),
    ("worst_crop", "", Look(VERMILLION, "s", "--", True)),
)


def _names(plans):
    return tuple(f"{place}: {plan}" for place, plan in enumerate(plans, start=1))


def plot_years(replay, ax, years=slice(None), cells=0):
    """Draw how much each spring left of each plan's crop, a row a plan and a cell a year.

    Parameters
    ----------
    replay : FrostReplay
        One case of ``frost_cover``.
    ax : matplotlib.axes.Axes
        Axes to draw on.
    years : slice, optional
        Years of this strip; all when not given.
    cells : int
        Cells that the strip has room for; as many as it has years when not given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    left = 100 * ranges.quantiles(replay.crop_left)[1][:, years]
    seasons = replay.seasons[years]
    with house_style():
        ax.imshow(left, cmap="cividis", vmin=0, vmax=100, aspect="auto")
        for row, column in np.ndindex(left.shape):
            value = left[row, column]
            heavy = value < 100 * (1 - replay.heavy_loss)
            ax.text(
                column, row, f"{value:.0f}", ha="center", va="center", fontsize=8.5,
                color="black" if value > 55 else "white", fontweight="bold" if heavy else "normal",
            )  # fmt: skip
        names = [cut_name(name) for name in _names(replay.plans)]
        ax.set_yticks(range(len(names)), names, parse_math=False)
        ax.set_xticks(range(len(seasons)), [f"{season % 100:02d}" for season in seasons])
        ax.set_xlim(-0.5, max(cells, len(seasons)) - 0.5)
        ax.grid(False)
        ax.spines[:].set_visible(False)
        ax.tick_params(length=0)
    return ax


def crop_rows(replay, units=METRIC):
    """Return each plan's crop without frost, in the mean year and in the worst, to draw or tell.

    Parameters
    ----------
    replay : FrostReplay
        One case of ``frost_cover`` [t/ha].
    units : UnitSystem
        Units to show.
    """
    table = replay.frame
    series = tuple(
        amounts(name or replay.worst, table, column, "t_ha", units, look=look, written="range")
        for column, name, look in _CROPS
    )
    axis = f"crop at the scale [{series[0].unit}]"
    return Rows("Crops", _names(replay.plans), axis, series, apart=True)


def after_rows(found, units=METRIC):
    """Return a block's crop after a frost, a row a part, to draw or tell.

    Parameters
    ----------
    found : AfterFrost
        As from ``after_frost`` [t].
    units : UnitSystem
        Units to show.
    """
    crop = amounts("crop", found.frame, "tonnes", "tonnes", units, written="range")
    title = f"Crop of {found.block} after a frost"
    return Rows(title, tuple(found["part"]), f"crop [{crop.unit}]", (crop,), from_zero=True)


def years_figure(replay, units=METRIC):
    """Draw plans over the years: what each spring left above, what it adds up to below.

    Parameters
    ----------
    replay, units
        As in ``crop_rows``.

    Returns
    -------
    matplotlib.figure.Figure
        Made without any global state; save it with ``drawing.svg``.
    """
    crops, seasons = crop_rows(replay, units), len(replay.seasons)
    strip, tall = 0.3 * len(crops.names) + 0.1, rows_room(crops)
    left = name_room(crops.names)
    wide = WIDTH - left - 0.12
    most = min(_STRIP, int(wide / _CELL))
    strips = [slice(start, min(start + most, seasons)) for start in range(0, seasons, most)]
    cells = most if seasons > 8 else seasons
    top = 0.55 + (strip + 0.36) * len(strips) + 0.4 + tall + 0.6
    drawn = blank(top)
    top -= 0.55
    for at, years in enumerate(strips):
        plot_years(replay, axes_at(drawn, left, top - strip, wide, strip), years, cells)
        if at == 0:
            words = (
                f"What each spring left of 100 parts of the crop, wood "
                f"{CASE_WORDS[replay.cases[0]]} (year of harvest below; bold: more than "
                f"{percent(replay.heavy_loss)} lost)"
            )
            drawn.text(0.1 / WIDTH, 1, "\n" + wrapped(words, WIDTH - 0.2), fontsize=9.5, va="top")
        top -= strip + 0.36
    crops.plot(axes_at(drawn, left, 0.6, wide, tall))
    return drawn


def years_text(replay, units=METRIC):
    """Return the figure of the years in words, for whoever cannot see it."""
    left = 100 * ranges.quantiles(replay.crop_left)[1]
    told = [f"What each spring left of 100 parts of the crop, wood {CASE_WORDS[replay.cases[0]]}."]
    for name, parts in zip(_names(replay.plans), left, strict=True):
        bad = [
            f"{season} {value:.0f}"
            for season, value in zip(replay.seasons, parts, strict=True)
            if value < 99.5
        ]
        words = f"less than all in {', '.join(bad)}" if bad else "all of it in every spring"
        told.append(f"{name}: {words}.")
    return " ".join([*told, crop_rows(replay, units).text()])
