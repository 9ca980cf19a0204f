"""The figure of an intake: tonnes by period and variety, with the range, against the limits."""

import numpy as np

from cropload.beliefs import ranges
from cropload.show import wording
from cropload.show.figure_parts import DARK
from cropload.show.figures import VERMILLION, house_style
from cropload.units import METRIC
from cropload.winery.words import shown_periods

#: Fill and pattern of the varieties: told apart by both, and by their names.
_LOOKS = (
    ("#9CC5E3", ""),
    ("#F0E442", "///"),
    ("#A9DCC8", ""),
    ("#E69F00", "..."),
    ("#E3BBD2", ""),
    ("#FFFFFF", "\\\\\\"),
    ("#C9C9C9", "xxx"),
)
#: Most varieties drawn apart; the smaller ones go together.
_MOST = len(_LOOKS) - 1


def _parts(table, periods):
    """Return [(name, mean tonnes of each period)], small varieties together at the end."""
    wide = table.pivot(index="variety", columns="period", values="tonnes_mean")
    wide = wide.reindex(columns=periods).fillna(0.0)
    order = wide.sum(axis=1).sort_values(ascending=False, kind="stable").index
    # In the order of the table, so that a variety keeps its look from one day to the next.
    large = [name for name in dict.fromkeys(table["variety"]) if name in set(order[:_MOST])]
    parts = [(str(name), wide.loc[name].to_numpy(float)) for name in large]
    if len(order) > _MOST:
        rest = wide.loc[order[_MOST:]].sum(axis=0).to_numpy(float)
        parts.append((f"{len(order) - _MOST} other varieties", rest))
    return [(name, values) for name, values in parts if values.any()]


def _period_words(period):
    """Return a period on two short lines, or its name as it is."""
    first, to, last = period.partition(" to ")
    if not first[:1].isdigit():
        return first.replace(" ", "\n", 1)
    return f"{first[5:]}\nto {last[5:]}" if to else first[5:]


def plot_intake(schedule, limits=None, units=METRIC, ax=None):
    """Draw tonnes by period: varieties stacked, the estate's range, and the limits.

    Parameters
    ----------
    schedule : IntakeSchedule
        As from ``intake_schedule``.
    limits : DataFrame, optional
        Of ``capacity_table``; drawn where a limit for all fruit has a period of the schedule.
    units : UnitSystem
        Units to show [t or short tons].
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes

    Notes
    -----
    Bars are means, because means of varieties add up to the mean of the whole and middles do not;
    the range is that of the whole, seasons shared by the blocks included.
    """
    from matplotlib.figure import Figure

    estate = shown_periods(schedule.frame_by("estate"))
    periods = list(estate["period"])
    known = {}
    if limits is not None and len(limits):
        whole = limits[limits["variety"] == ""]
        known = {row["period"]: row for row in whole.to_dict("records")}
    with house_style():
        if ax is None:
            ax = Figure(figsize=(max(7.4, 0.62 * len(periods) + 1.2), 4.3), layout="constrained")
            ax = ax.add_subplot()
        at = np.arange(len(periods))
        base = np.zeros(len(periods))
        parts = _parts(schedule.frame_by("variety"), periods)
        for place, (name, values) in enumerate(parts):
            values = units.convert("tonnes", values)
            fill, pattern = _LOOKS[place]
            ax.bar(
                at,
                values,
                bottom=base,
                width=0.72,
                facecolor=fill,
                hatch=pattern,
                edgecolor=DARK,
                linewidth=0.8,
                label=name,
            )
            base = base + values
        low, middle, high = (
            units.convert("tonnes", estate[f"tonnes_{end}"].to_numpy(float))
            for end in ranges.ENDINGS
        )
        for x, (a, b) in enumerate(zip(low, high, strict=True)):
            label = None if x else f"all fruit, {ranges.label()}"
            ax.plot([x, x], [a, b], color=DARK, linewidth=1.8, label=label)
            ax.plot([x - 0.1, x + 0.1], [b, b], color=DARK, linewidth=1.8)
            ax.plot([x - 0.1, x + 0.1], [a, a], color=DARK, linewidth=1.8)
        ax.plot(at, middle, "D", color=DARK, markersize=5, label="all fruit, middle")
        _limits(ax, periods, known, np.maximum(high, base), units)
        ax.set_xticks(at, [_period_words(period) for period in periods], fontsize=8.5)
        ax.set_xlim(-0.6, len(periods) - 0.4)
        ax.set_ylim(0, None)
        ax.grid(True, axis="y")
        ax.grid(False, axis="x")
        ax.set_ylabel(f"intake [{units.label('tonnes')}]")
        ax.set_title(
            f"Intake, season {schedule.season}: bars are means by variety", parse_math=False
        )
        ax.legend(
            loc="upper center", bbox_to_anchor=(0.5, -0.13), ncols=3, fontsize=8.5, frameon=False
        )
    return ax


def _limits(ax, periods, known, tops, units):
    """Draw the limits as thick dashes, each with the chance of more written above it."""
    labelled = False
    for x, period in enumerate(periods):
        limit = known.get(period)
        if limit is None:
            continue
        value = units.convert("tonnes", limit["limit_t"])
        label = None if labelled else "limit, with the chance of more"
        ax.plot(
            [x - 0.46, x + 0.46],
            [value, value],
            color=VERMILLION,
            linewidth=3,
            linestyle=(0, (3, 1)),
            label=label,
        )
        labelled = True
        ax.annotate(
            wording.chance(limit["chance_over"]),
            (x, max(value, tops[x])),
            xytext=(0, 5),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=9,
            color="#8A3C00",
        )
    if labelled:
        ax.margins(y=0.12)


def intake_text(schedule, limits=None, units=METRIC):
    """Return the figure in words, for whoever cannot see it."""
    estate = shown_periods(schedule.frame_by("estate"))
    varieties = schedule.frame_by("variety")
    known = {}
    if limits is not None and len(limits):
        whole = limits[limits["variety"] == ""]
        known = {row["period"]: row for row in whole.to_dict("records")}
    parts = [f"Intake of season {schedule.season} by period, with its {ranges.label()}."]
    for row in estate.to_dict("records"):
        span = wording.span("tonnes", row["tonnes_p10"], row["tonnes_p90"], units, unit=True)
        middle = wording.amount("tonnes", row["tonnes_p50"], units, unit=False)
        text = f"{row['period']}: {middle} ({span})"
        mine = varieties[(varieties["period"] == row["period"]) & (varieties["tonnes_mean"] > 0.05)]
        shares = [
            f"{each['variety']} {wording.amount('tonnes', each['tonnes_mean'], units, unit=False)}"
            for each in mine.to_dict("records")
        ]
        if shares:
            text += f"; on average {', '.join(shares)}"
        limit = known.get(row["period"])
        if limit is not None:
            text += (
                f"; limit {wording.amount('tonnes', limit['limit_t'], units)}, chance of more "
                f"{wording.chance(limit['chance_over'])}"
            )
        parts.append(text + ".")
    return " ".join(parts)
