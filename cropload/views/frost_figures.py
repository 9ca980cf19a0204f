"""Figures of spring frost: each year's loss for each plan, the crop it adds up to, night maps."""

import numpy as np

from cropload import handbook
from cropload.forecasting import ranges
from cropload.units import METRIC
from cropload.views import figures, wording
from cropload.views.frost_wording import CASE_WORDS, percent
from cropload.vine.frost import level_quantiles
from cropload.vine.heat import degree_days
from cropload.vine.phenology import stage_from_leaves

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
        ax = figures._new_axes() if ax is None else ax
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
    table = replay.table()
    count = len(table)
    with figures.house_style():
        ax = figures._new_axes() if ax is None else ax
        for step, (name, label, colour, marker, line) in enumerate(_CROPS):
            label = label or table.attrs["worst"]
            ends = [units.convert("t_ha", table[f"{name}_{end}"]) for end in ranges.ENDINGS]
            for place, (low, middle, high) in enumerate(zip(*ends, strict=True)):
                at = place + 0.27 * (step - 1)
                ax.plot([low, high], [at, at], color=colour, linestyle=line)
                ax.plot(
                    [middle],
                    [at],
                    color=colour,
                    marker=marker,
                    linestyle=line,
                    markerfacecolor="white" if step else colour,
                    markeredgewidth=1.6,
                    label=None if place else label,
                )
                text = f"{middle:.1f} ({low:.1f} to {high:.1f})"
                ax.annotate(
                    text,
                    (high, at),
                    (6, 0),
                    textcoords="offset points",
                    va="center",
                    fontsize=8.5,
                )
        ax.set_ylim(count - 0.45, -0.55)
        ax.set_yticks(range(count), _labels(replay.plans))
        ax.set_xlim(0, ax.get_xlim()[1] * 1.24)
        ax.set_xlabel(f"crop at the scale [{units.label('t_ha')}], {ranges.label()}")
        ax.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=3, borderaxespad=0.2)
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
            ax = drawn.add_axes(
                (left / _WIDTH, (top - strip) / height, 1 - (left + 0.1) / _WIDTH, strip / height)
            )
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
        ax = drawn.add_axes(
            (left / _WIDTH, (top - crops) / height, 1 - (left + 0.1) / _WIDTH, crops / height)
        )
        plot_crops(replay, units, ax)
    return drawn


def years_text(replay, units=METRIC):
    """Return the figure of the years in words, for whoever cannot see it."""
    left = 100 * level_quantiles(replay.crop_left)[1]
    table = replay.table()
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
            f"{table.attrs['worst']} "
            f"{wording.amount('t_ha', row['worst_crop_p50'], units, unit=False)} {label}."
        )
    return " ".join(found)


def first_bud_stages(days, mean_c=12.0, swing_c=12.0):
    """Return the stage of the first buds so many days after their burst, in steady weather.

    Parameters
    ----------
    days : sequence of float
        Days after budburst [d]; negative is before.
    mean_c, swing_c : float
        Mean temperature, and high less low [C], as in ``survival_map``.

    Returns
    -------
    ndarray
        Modified E-L stage [1].
    """
    days = np.asarray(days, float)
    low, high = mean_c - swing_c / 2, mean_c + swing_c / 2
    leaves, swell = (
        float(degree_days(low, high, handbook.value(f"phenology.{base}_base_c")))
        / handbook.value(f"phenology.{name}_interval")
        for base, name in (("leaf", "leaf"), ("budburst", "swell"))
    )
    before = np.maximum(4.0 + swell * np.minimum(days, 0.0), 2.0)
    return np.where(days < 0, before, stage_from_leaves(leaves * np.maximum(days, 0.0)))


def map_figure(left, plans, days, temperatures_c, case, units=METRIC):
    """Draw the crop that one night leaves, by date and temperature, one plan beside another.

    Parameters
    ----------
    left : ndarray
        As from ``survival_map`` [1], shape (2 plans, nights, temperatures).
    plans : sequence of str
        Both plans.
    days : sequence of int
        Nights after the budburst of the first buds [d].
    temperatures_c : sequence of float
        Lowest temperature in the block [C].
    case : str
        How the wood stands.
    units : UnitSystem
        Units to show.

    Returns
    -------
    matplotlib.figure.Figure
    """
    from matplotlib.figure import Figure

    degrees = units.convert("temperature_c", np.asarray(temperatures_c, float))
    height, bottom, top, left_edge, right = 3.5, 0.95, 0.6, 0.75, 0.95
    wide = (_WIDTH - left_edge - right - 0.35 * (len(plans) - 1)) / len(plans)
    tall = (height - bottom - top) / height
    # One cell a night and low, smoothed between their middles.
    half = np.ptp(days) / (len(days) - 1) / 2, np.ptp(degrees) / (len(degrees) - 1) / 2
    edges = (days[0] - half[0], days[-1] + half[0], degrees[-1] - half[1], degrees[0] + half[1])
    with figures.house_style():
        drawn = Figure(figsize=(_WIDTH, height))
        for at, plan in enumerate(plans):
            x = (left_edge + at * (wide + 0.35)) / _WIDTH
            ax = drawn.add_axes((x, bottom / height, wide / _WIDTH, tall))
            held = 100 * left[at].T
            shade = ax.imshow(
                held,
                cmap="cividis",
                vmin=0,
                vmax=100,
                extent=edges,
                aspect="auto",
                interpolation="bilinear",
            )
            if np.ptp(held) > 1:
                lines = ax.contour(days, degrees, held, [25, 50, 75, 90], colors="white")
                lines.set_path_effects(_edged())
                for text in ax.clabel(lines, fmt="%.0f", fontsize=9):
                    text.set_path_effects(_edged())
            ax.set_title(plan, fontsize=10)
            marks = [day for day in days if day % 10 == 0]
            stages = first_bud_stages(marks)
            ax.set_xticks(
                marks, [f"{day:g}\n{stage:.0f}" for day, stage in zip(marks, stages, strict=True)]
            )
            ax.set_xlim(days[0], days[-1])
            ax.set_ylim(degrees[-1], degrees[0])
            ax.grid(False)
            ax.set_xlabel("days after budburst of the first buds\ntheir stage (modified E-L)")
            if at:
                ax.set_yticklabels([])
            else:
                ax.set_ylabel(f"low of the night in the block [{units.label('temperature_c')}]")
        beside = drawn.add_axes(((_WIDTH - 0.75) / _WIDTH, bottom / height, 0.15 / _WIDTH, tall))
        drawn.colorbar(shade, cax=beside).set_label("crop left, parts of 100")
        drawn.text(0.01, 0.985, f"One night, wood {CASE_WORDS[case]}", va="top")
    return drawn


def _edged():
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=3, foreground="black")]


def map_text(left, plans, days, temperatures_c, case, units=METRIC):
    """Return the night maps in words: where they differ most, and some nights of each."""
    gap = left[-1] - left[0]
    night, cold = np.unravel_index(np.abs(gap).argmax(), gap.shape)

    def low(temperature):
        return f"{units.convert('temperature_c', temperature):.1f} {units.label('temperature_c')}"

    found = [f"Crop that one night leaves, wood {CASE_WORDS[case]}."]
    for plan, held in zip(plans, left, strict=True):
        picks = [(n, c) for n in (0, len(days) // 2, len(days) - 1) for c in (len(held[0]) // 2,)]
        told = ", ".join(
            f"{percent(held[n, c])} after {low(temperatures_c[c])} on day {days[n]:g}"
            for n, c in picks
        )
        found.append(f"{plan} keeps {told}.")
    if len(plans) > 1:
        where = f"on day {days[night]:g} at {low(temperatures_c[cold])}"
        found.append(
            f"They differ most {where}: {plans[0]} keeps {percent(left[0, night, cold], 1)} and "
            f"{plans[-1]} {percent(left[-1, night, cold], 1)}."
            if abs(gap[night, cold]) >= 0.0005
            else "They do not differ on any night."
        )
    return " ".join(found)
