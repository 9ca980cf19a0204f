"""The figure of thinning: the chance of ending on target, and the crop, by clusters left."""

from cropload.beliefs import ranges
from cropload.show import wording
from cropload.show.figure_parts import inch_axes
from cropload.show.figures import BLUE, GREEN, VERMILLION, axes_at, house_style, legend_above
from cropload.units import METRIC


def plot_thinning(thinning, units=METRIC, ax=None):
    """Draw the chance of ending on target against the most clusters left on a vine.

    Parameters
    ----------
    thinning : Thinning
        Of ``thin_to``.
    units : UnitSystem
        Units to show [t/ha or ton/ac].
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes
        That of the chance; the crop stands on axes below it when ``ax`` is not given.
    """
    options = thinning.frame
    with house_style():
        below = None
        if ax is None:
            ax = inch_axes(4.4, 0.85, 0.34, 2.3)
            below = axes_at(ax.figure, 0.85, 0.55, 6.4, 1.55, sharex=ax)
            ax.tick_params(labelbottom=False)
        keep = options["keep"].to_numpy(float)
        ax.plot(keep, 100 * options["chance"], color=BLUE, label="chance when thinned")
        ax.axhline(
            100 * thinning.chance_now,
            color=VERMILLION,
            linestyle="--",
            label=f"as it hangs {100 * thinning.chance_now:.0f} %",
        )
        if thinning.drop > 0:
            ax.plot(
                [thinning.keep],
                [100 * thinning.chance_after],
                marker="D",
                color=GREEN,
                linestyle="none",
                label=f"leave at most {thinning.keep}: {100 * thinning.chance_after:.0f} %",
            )
        ax.set_ylim(0, max(10.0, 118 * max(options["chance"].max(), thinning.chance_now)))
        ax.set_ylabel("chance of ending\non target [%]")
        ax.grid(True, axis="y")
        legend_above(ax, 3)
        if below is not None:
            low, middle, high = (
                units.convert("t_ha", options[f"t_ha_{end}"].to_numpy(float))
                for end in ranges.ENDINGS
            )
            below.fill_between(keep, low, high, facecolor=BLUE, alpha=0.18, label=ranges.label())
            below.plot(keep, middle, color=BLUE, label="middle")
            if thinning.drop > 0:
                below.axvline(thinning.keep, color=GREEN, linewidth=1)
            below.set_ylabel(f"crop [{units.label('t_ha')}]")
            below.grid(True, axis="y")
            below.legend(loc="lower right", ncols=2)
            below.set_ylim(0, None)
        (below or ax).set_xlabel("most clusters left on a vine")
    return ax


def thinning_text(thinning, units=METRIC):
    """Return the thinning figure in words, for whoever cannot see it."""
    options = thinning.frame
    if thinning.drop == 0:
        return (
            f"Chance of ending on target against the most clusters left on a vine, block "
            f"{thinning.block}: {100 * thinning.chance_now:.0f} % as it hangs, and no higher with "
            "fewer clusters."
        )
    best = options.iloc[int(options["chance"].to_numpy().argmax())]
    return (
        f"Chance of ending on target against the most clusters left on a vine, block "
        f"{thinning.block}: {100 * thinning.chance_now:.0f} % as it hangs; highest "
        f"{100 * best['chance']:.0f} % at {int(best['keep'])} clusters, then "
        f"{wording.amount('t_ha', best['t_ha_p50'], units, unit=False)} "
        f"({wording.span('t_ha', best['t_ha_p10'], best['t_ha_p90'], units, unit=True)}, "
        f"{ranges.label()})."
    )
