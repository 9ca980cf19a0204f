"""Figures of past springs: each year's loss for each plan, and the crop it adds up to."""

import numpy as np

from cropload.beliefs import ranges
from cropload.frost.words import CASE_WORDS
from cropload.show import figures, wording
from cropload.show.wording import percent
from cropload.units import METRIC
from cropload.vine.weather.survival import level_quantiles

#: Years in one strip; a longer record goes on in the next one.
_STRIP = 20
_WIDTH = 7.6
#: Style of the crop without frost, the mean over the years, and the worst year; not colour alone.
_CROPS = (
    ("frost_free", "without frost", figures.GREEN, "D", ":"),
    ("mean_crop", "mean over the years", figures.BLUE, "o", "-"),
    ("worst_crop", "", figures.VERMILLION, "s", "--"),
)


def _labels(plans):
    return [f"{place}: {plan}" for place, plan in enumerate(plans, start=1)]


def plot_years(replay, ax=None, years=None):
    """Draw how much each spring left of each plan's crop, a row a plan and a cell a year.

    Parameters
    ----------
    replay : FrostReplay
        One case of ``frost_cover``.
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.
    years : slice, optional
        Years of this strip; all when not given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    years = slice(None) if years is None else years
    left = 100 * level_quantiles(replay.crop_left)[1][:, years]
    seasons = replay.seasons[years]
    with figures.house_style():
        ax = figures.new_axes() if ax is None else ax
        ax.imshow(left, cmap="cividis", vmin=0, vmax=100, aspect="auto")
        for row, column in np.ndindex(left.shape):
            value = left[row, column]
            ax.text(
                column,
                row,
                f"{value:.0f}",
                ha="center",
                va="center",
                fontsize=9,
                color="black" if value > 55 else "white",
                fontweight="bold" if value < 100 * (1 - replay.heavy_loss) else "normal",
            )
        ax.set_yticks(range(len(replay.plans)), _labels(replay.plans))
        ax.set_xticks(range(len(seasons)), [f"{season % 100:02d}" for season in seasons])
        ax.set_xlim(-0.5, _STRIP - 0.5 if len(replay.seasons) > 8 else len(seasons) - 0.5)
        ax.grid(False)
        ax.spines[:].set_visible(False)
        ax.tick_params(length=0)
    return ax


def plot_crops(replay, units=METRIC, ax=None):
    """Draw each plan's crop without frost, in the mean over the years and in the worst, as ranges.

    Parameters
    ----------
    replay : FrostReplay
        One case of ``frost_cover`` [t/ha].
    units : UnitSystem
        Units to show.
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    table = replay.frame
    count, most = len(table), 1e-6
    with figures.house_style():
        ax = figures.new_axes() if ax is None else ax
        for step, (name, label, colour, marker, line) in enumerate(_CROPS):
            label = label or replay.worst
            low, middle, high = (
                units.convert("t_ha", table[f"{name}_{end}"].to_numpy(float))
                for end in ranges.ENDINGS
            )
            at = np.arange(count) + 0.27 * (step - 1)
            # One artist for all plans: a slider must not wait for the drawing.
            ax.hlines(at, low, high, color=colour, linestyle=line, linewidth=2)
            look = {
                "color": colour,
                "marker": marker,
                "markerfacecolor": "white" if step else colour,
                "markeredgewidth": 1.6,
            }
            ax.plot(middle, at, linestyle="none", **look)
            # The line belongs to the key as well: it tells the crops apart without colour.
            ax.plot([], [], linestyle=line, label=label, **look)
            for y, lo, mid, hi in zip(at, low, middle, high, strict=True):
                ax.annotate(
                    f"{mid:.1f} ({lo:.1f} to {hi:.1f})",
                    (hi, y),
                    (6, 0),
                    textcoords="offset points",
                    va="center",
                    fontsize=8.5,
                )
            most = max(most, float(high.max()))
        ax.set_ylim(count - 0.45, -0.55)
        ax.set_yticks(range(count), _labels(replay.plans))
        ax.set_xlim(0, 1.3 * most)
        ax.set_xlabel(f"crop at the scale [{units.label('t_ha')}], {ranges.label()}")
        figures.legend_above(ax, 3)
    return ax


def years_figure(replay, units=METRIC):
    """Draw plans over the years: what each spring left above, what it adds up to below.

    Parameters
    ----------
    replay : FrostReplay
        One case of ``frost_cover`` [t/ha].
    units : UnitSystem
        Units to show.

    Returns
    -------
    matplotlib.figure.Figure
        Made without any global state; save it with ``figures.svg``.
    """
    from matplotlib.figure import Figure

    plans, seasons = len(replay.plans), len(replay.seasons)
    strips = [slice(start, min(start + _STRIP, seasons)) for start in range(0, seasons, _STRIP)]
    with figures.house_style():
        strip, crops = 0.3 * plans + 0.1, 0.62 * plans + 0.1
        height = 0.55 + (strip + 0.42) * len(strips) + 0.55 + crops + 0.6
        drawn = Figure(figsize=(_WIDTH, height))
        left = 0.4 + 0.085 * max(len(text) for text in _labels(replay.plans))
        top = height - 0.55
        for at, years in enumerate(strips):
            ax = figures.axes_at(drawn, left, top - strip, _WIDTH - left - 0.1, strip)
            plot_years(replay, ax, years)
            if at == 0:
                ax.set_title(
                    f"What each spring left of 100 parts of the crop, wood "
                    f"{CASE_WORDS[replay.cases[0]]}\n(year of harvest below; bold: more than "
                    f"{percent(replay.heavy_loss)} lost)",
                    fontsize=9.5,
                    fontweight="normal",
                )
            top -= strip + 0.42
        top -= 0.4
        ax = figures.axes_at(drawn, left, top - crops, _WIDTH - left - 0.1, crops)
        plot_crops(replay, units, ax)
    return drawn


def years_text(replay, units=METRIC):
    """Return the figure of the years in words, for whoever cannot see it."""
    left = 100 * level_quantiles(replay.crop_left)[1]
    table = replay.frame
    label = units.label("t_ha")
    found = [
        f"What each spring left of 100 parts of the crop, wood {CASE_WORDS[replay.cases[0]]}; "
        f"crops with their {ranges.label()}."
    ]
    for at, row in enumerate(table.to_dict("records")):
        bad = [
            f"{season} {value:.0f}"
            for season, value in zip(replay.seasons, left[at], strict=True)
            if value < 99.5
        ]
        found.append(
            f"Level {at + 1}, {row['plan']}: "
            + (f"less than all in {', '.join(bad)}" if bad else "all of it in every spring")
            + f"; without frost {wording.amount('t_ha', row['frost_free_p50'], units, unit=False)},"
            f" mean {wording.amount('t_ha', row['mean_crop_p50'], units, unit=False)}, "
            f"{replay.worst} "
            f"{wording.amount('t_ha', row['worst_crop_p50'], units, unit=False)} {label}."
        )
    return " ".join(found)
