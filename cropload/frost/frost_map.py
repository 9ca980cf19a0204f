"""Maps of one frost night: the crop left by date and temperature, one plan beside another."""

import numpy as np

from cropload import handbook
from cropload.frost.words import CASE_WORDS, percent
from cropload.show.drawing import WIDTH, axes_at, blank, cut_name, house_style
from cropload.units import METRIC
from cropload.vine.weather.heat import degree_days
from cropload.vine.weather.phenology import stage_from_leaves


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
    degrees = units.convert("temperature_c", np.asarray(temperatures_c, float))
    height, bottom, top, left_edge, right = 3.5, 0.95, 0.6, 0.75, 0.95
    wide = (WIDTH - left_edge - right - 0.35 * (len(plans) - 1)) / len(plans)
    tall = height - bottom - top
    # One cell a night and low, smoothed between their middles.
    half = np.ptp(days) / (len(days) - 1) / 2, np.ptp(degrees) / (len(degrees) - 1) / 2
    edges = (days[0] - half[0], days[-1] + half[0], degrees[-1] - half[1], degrees[0] + half[1])
    with house_style():
        drawn = blank(height)
        for at, plan in enumerate(plans):
            ax = axes_at(drawn, left_edge + at * (wide + 0.35), bottom, wide, tall)
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
            ax.set_title(cut_name(plan), parse_math=False)
            marks = [day for day in days if day % 10 == 0]
            stages = first_bud_stages(marks)
            ax.set_xticks(
                marks, [f"{day:g}\n{stage:.0f}" for day, stage in zip(marks, stages, strict=True)]
            )
            ax.set_xlim(days[0], days[-1])
            ax.set_ylim(degrees[-1], degrees[0])
            ax.grid(False)
            if at:
                ax.set_yticklabels([])
            else:
                ax.set_ylabel(f"low of the night in the block [{units.label('temperature_c')}]")
        across = (left_edge + WIDTH - right) / 2 / WIDTH
        words = "days after budburst of the first buds\ntheir stage (modified E-L)"
        drawn.text(across, 0.02, words, ha="center", va="bottom")
        beside = axes_at(drawn, WIDTH - 0.75, bottom, 0.15, tall)
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
            f"They differ most {where}: {plans[0]} keeps {100 * left[0, night, cold]:.1f} % and "
            f"{plans[-1]} {100 * left[-1, night, cold]:.1f} %."
            if abs(gap[night, cold]) >= 0.0005
            else "They do not differ on any night."
        )
    return " ".join(found)
