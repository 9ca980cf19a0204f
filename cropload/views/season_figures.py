"""Figures of a season: the fan that narrows, blocks by size, what the range comes from, changes."""

import io

import numpy as np

from cropload.forecasting import ranges
from cropload.units import METRIC
from cropload.views import wording
from cropload.views.figure_parts import DARK, LOOKS, cut_name, inch_axes, name_room
from cropload.views.figures import BLUE, GREEN, VERMILLION, house_style, svg
from cropload.views.season_words import change_table, short, signed, total_words

#: Parts of the spread below this share in every group are drawn together [1].
_SMALL = 0.03


def season_svg(drawn):
    """Return a figure as SVG text, whatever alphabet its names are in.

    Letters that the figure's own font lacks are left as text, for the reader's fonts to draw.
    """
    import warnings

    import matplotlib

    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        text = svg(drawn)
    if not any("missing from font" in str(each.message) for each in told):
        return text
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph")
        stream = io.StringIO()
        with house_style(), matplotlib.rc_context({"svg.fonttype": "none"}):
            drawn.savefig(stream, format="svg", metadata={"Date": None, "Creator": None})
    return stream.getvalue()


def plot_fan(fan, harvest=None, units=METRIC, ax=None):
    """Draw how the range of a total narrows over the dates of a season.

    Parameters
    ----------
    fan : DataFrame
        Of ``fan_table``: one row a day.
    harvest : Harvested, optional
        What the scale said; drawn as a line when it is known.
    units : UnitSystem
        Units to show [t or short tons].
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes

    Notes
    -----
    The dates stand evenly spaced, whatever the time between them, so that none hides another.
    """
    with house_style():
        ax = inch_axes(4.1, 0.75, 0.82, 0.86) if ax is None else ax
        at = np.arange(len(fan))
        low, middle, high = (
            units.convert("tonnes", fan[f"tonnes_{end}"].to_numpy(float)) for end in ranges.ENDINGS
        )
        ax.fill_between(at, low, high, facecolor=BLUE, alpha=0.18, label=ranges.label())
        for end in (low, high):
            ax.plot(at, end, color=BLUE, linewidth=1)
        ax.plot(at, middle, color=BLUE, marker="o", label="middle of the forecast")
        for x, ends in enumerate(zip(low, middle, high, strict=True)):
            for value, va, shift in zip(ends, ("top", "bottom", "bottom"), (-4, 5, 3), strict=True):
                ax.annotate(
                    wording.figure(value, 1),
                    (x, value),
                    xytext=(0, shift),
                    textcoords="offset points",
                    ha="center",
                    va=va,
                    fontsize=8.5,
                    bbox={"facecolor": "white", "alpha": 0.7, "edgecolor": "none", "pad": 0.2},
                )
        top, bottom = high.max(), low.min()
        if harvest is not None:
            value = units.convert("tonnes", harvest.tonnes)
            ax.axhline(
                value, color=VERMILLION, linestyle="--", label=_harvest_words(harvest, units)
            )
            top, bottom = max(top, value), min(bottom, value)
        room = 0.14 * max(top - bottom, 0.02 * top, 1e-9)
        ax.set_ylim(max(0.0, bottom - room), top + room)
        ax.set_xlim(-0.4, len(fan) - 0.6)
        labels = [
            "\n".join([*words.split(), f"{day:%d %b}"])
            for words, day in zip(fan["words"], fan["day"], strict=True)
        ]
        ax.set_xticks(at, labels)
        ax.grid(True, axis="y")
        ax.grid(False, axis="x")
        label = units.label("tonnes")
        ax.set_ylabel(f"crop at the scale [{label}]")
        words = total_words(fan.attrs["by"], fan.attrs["name"])
        ax.set_title(
            f"{words[0].upper()}{words[1:]}, season {fan.attrs['season']}", pad=40, parse_math=False
        )
        ax.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=2, borderaxespad=0.1)
    return ax


def _harvest_words(harvest, units):
    text = f"harvest {wording.amount('tonnes', harvest.tonnes, units)}"
    if harvest.missing:
        every = len(harvest.picked) + len(harvest.missing)
        text += f" ({len(harvest.picked)} of {every} blocks)"
    return text


def fan_text(fan, harvest=None, units=METRIC):
    """Return the fan in words, for whoever cannot see it."""
    words = total_words(fan.attrs["by"], fan.attrs["name"])
    parts = [f"Forecast of {words}, season {fan.attrs['season']}, with its {ranges.label()}."]
    for row in fan.to_dict("records"):
        parts.append(
            f"{row['words'].capitalize()} ({row['day']:%Y-%m-%d}): "
            f"{wording.amount('tonnes', row['tonnes_p50'], units, unit=False)} "
            f"({wording.span('tonnes', row['tonnes_p10'], row['tonnes_p90'], units, unit=True)})."
        )
    if harvest is None:
        parts.append("The harvest is not known yet.")
    else:
        parts.append(f"{_harvest_words(harvest, units).capitalize()}.")
    return " ".join(parts)


def ranked(table, order="tonnes"):
    """Return a forecast's table with the largest first: by ``tonnes`` or by ``range``."""
    key = "range_t" if order == "range" else "tonnes_p50"
    return table.sort_values(key, ascending=False, kind="stable").reset_index(drop=True)


def plot_ranking(table, by="block", units=METRIC, ax=None):
    """Draw groups in the order of a table, each with its middle and range.

    Parameters
    ----------
    table : DataFrame
        Of ``Forecast.table(by)``, ordered as it should be drawn.
    by : str
        ``"block"``, ``"variety"`` or ``"estate"``.
    units : UnitSystem
        Units to show [t or short tons].
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with house_style():
        names = [cut_name(name) for name in table[by]]
        ax = inch_axes(1.0 + 0.34 * len(table), name_room(names), 0.34) if ax is None else ax
        at = np.arange(len(table))
        low, middle, high = (
            units.convert("tonnes", table[f"tonnes_{end}"].to_numpy(float))
            for end in ranges.ENDINGS
        )
        ax.barh(at, middle, height=0.62, facecolor="#D6E6F2", edgecolor=BLUE, label="middle")
        ax.errorbar(
            middle,
            at,
            xerr=np.maximum([middle - low, high - middle], 0.0),
            fmt="o",
            color=DARK,
            markersize=4,
            capsize=4,
            linewidth=1.6,
            label=ranges.label(),
        )
        texts = zip(middle, low, high, strict=True)
        for y, (m, lo, hi) in enumerate(texts):
            ax.annotate(
                f"{wording.figure(m)} ({wording.figure(lo)} to {wording.figure(hi)})",
                (hi, y),
                xytext=(7, 0),
                textcoords="offset points",
                va="center",
                fontsize=8.5,
            )
        ax.set_yticks(at, names, parse_math=False)
        ax.set_ylim(len(table) - 0.4, -0.6)
        ax.set_xlim(0, max(high.max(), 1e-6) * 1.32)
        ax.set_xlabel(f"crop at the scale [{units.label('tonnes')}]")
        ax.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=2, borderaxespad=0.2)
    return ax


def ranking_text(table, by="block", units=METRIC):
    """Return the ranking in words, for whoever cannot see it."""
    parts = [f"Crop of each {by} with its {ranges.label()}, in the order drawn."]
    for row in table.to_dict("records"):
        parts.append(
            f"{row[by]}: {wording.amount('tonnes', row['tonnes_p50'], units, unit=False)} "
            f"({wording.span('tonnes', row['tonnes_p10'], row['tonnes_p90'], units, unit=True)})."
        )
    return " ".join(parts)


def shares_table(contributions, by):
    """Return shares of the spread [1], groups x components, the small ones together.

    Parameters
    ----------
    contributions : DataFrame
        Of ``Forecast.contributions(by)``.
    by : str
        As there.

    Returns
    -------
    DataFrame
        Indexed by group; one column a component that carries 3 % or more somewhere, in the order
        of the chain, and ``the rest``. A row adds up to 1, or to 0 when nothing is left open.
    """
    order = list(dict.fromkeys(contributions["component"]))
    groups = list(dict.fromkeys(contributions[by]))
    wide = contributions.pivot(index=by, columns="component", values="share")
    wide = wide.reindex(index=groups, columns=order)
    large = wide.abs().max() >= _SMALL
    found = wide.loc[:, large].rename(columns=short)
    found["the rest"] = wide.loc[:, ~large].sum(axis=1)
    found.columns.name = None
    return found


def plot_contributions(contributions, by="block", ax=None):
    """Draw how much of the spread of each group every component carries, as stacked bars.

    Parameters
    ----------
    contributions : DataFrame
        Of ``Forecast.contributions(by)``.
    by : str
        ``"block"``, ``"variety"`` or ``"estate"``.
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes

    Notes
    -----
    Components that hold each other in check may carry a negative share; it is drawn left of zero.
    """
    shares = 100 * shares_table(contributions, by)
    with house_style():
        count = len(shares)
        names = [cut_name(name) for name in shares.index]
        top = 0.14 + 0.2 * -(-len(shares.columns) // 3)
        if ax is None:
            ax = inch_axes(0.6 + top + 0.36 * count, name_room(names), top)
        at = np.arange(count)
        right, left = np.zeros(count), np.zeros(count)
        for place, name in enumerate(shares.columns):
            values = shares[name].to_numpy(float)
            start = np.where(values >= 0, right, left)
            fill, pattern = LOOKS[place % len(LOOKS)]
            ax.barh(
                at,
                values,
                left=start,
                height=0.66,
                facecolor=fill,
                hatch=pattern,
                edgecolor=DARK,
                linewidth=0.8,
                label=name,
            )
            for y, (value, begin) in enumerate(zip(values, start, strict=True)):
                if abs(value) >= 8:
                    ax.text(
                        begin + value / 2,
                        y,
                        f"{value:.0f}",
                        ha="center",
                        va="center",
                        fontsize=8.5,
                        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
                    )
            right = np.where(values >= 0, right + values, right)
            left = np.where(values < 0, left + values, left)
        ax.axvline(0, color=DARK, linewidth=1)
        ax.set_xlim(min(0.0, left.min() * 1.05), max(100.0, right.max() * 1.02))
        ax.set_yticks(at, names, parse_math=False)
        ax.set_ylim(count - 0.4, -0.6)
        ax.set_xlabel("share of the variance of the log crop [%]")
        ax.legend(loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=3, borderaxespad=0.2)
    return ax


def contributions_text(contributions, by="block"):
    """Return the contributions in words, for whoever cannot see them."""
    shares = 100 * shares_table(contributions, by)
    parts = [f"Share of the spread of each {by} by component."]
    for group, row in shares.iterrows():
        told = [f"{name} {value:.0f} %" for name, value in row.items() if abs(value) >= 1]
        parts.append(f"{group}: {', '.join(told) or 'nothing is left open'}.")
    return " ".join(parts)


def plot_change(change, before_t, units=METRIC, ax=None):
    """Draw the steps from an earlier forecast to this one, component by component.

    Parameters
    ----------
    change : DataFrame
        Of ``Forecast.explain``.
    before_t : float
        Middle of the earlier forecast of the estate [t].
    units : UnitSystem
        Units to show [t or short tons].
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes

    Notes
    -----
    The steps add up exactly: the last bar is where they end.
    """
    steps = _steps(change)
    with house_style():
        names = ["before", *(name for name, _ in steps), "now"]
        ax = inch_axes(0.75 + 0.34 * len(names), name_room(names), 0.12) if ax is None else ax
        moves = units.convert("tonnes", np.array([move for _, move in steps], float))
        before = units.convert("tonnes", before_t)
        ends = before + np.concatenate([[0.0], np.cumsum(moves)])
        # Steps too small to draw are in the end all the same.
        ends[-1] = units.convert("tonnes", before_t + change.attrs["change_t"])
        at = np.arange(len(names))
        for place, value in ((0, before), (len(names) - 1, ends[-1])):
            ax.plot([value], [place], color=DARK, marker="D")
            ax.annotate(
                wording.figure(value, 2),
                (value, place),
                xytext=(9, 0),
                textcoords="offset points",
                va="center",
                fontsize=9,
            )
        for place, (start, move) in enumerate(zip(ends[:-1], moves, strict=True), start=1):
            up = move >= 0
            ax.barh(
                place,
                move,
                left=start,
                height=0.62,
                facecolor="#CBE8DE" if up else "#F6D5C2",
                hatch="" if up else "///",
                edgecolor=GREEN if up else VERMILLION,
            )
            ax.annotate(
                f"{move:+.2f} {'more' if up else 'less'}",
                (max(start, start + move), place),
                xytext=(5, 0),
                textcoords="offset points",
                va="center",
                fontsize=8.5,
            )
        for place, value in enumerate(ends):
            ax.plot([value, value], [place, place + 1], color=DARK, linewidth=0.7, zorder=0)
        least, most = ends.min(), ends.max()
        spread = max(most - least, 0.02 * most, 1e-6)
        # The scale begins near the steps, because they are small beside the whole crop.
        ax.set_xlim(max(0.0, least - 0.35 * spread), most + 0.45 * spread)
        ax.set_yticks(at, names, parse_math=False)
        ax.set_ylim(len(names) - 0.4, -0.6)
        ax.set_xlabel(
            f"middle of the estate's crop [{units.label('tonnes')}]; the scale need not begin at 0"
        )
    return ax


def _steps(change):
    """Return (name, move [t]) in the order of the chain, moves under 5 kg together at the end."""
    steps, rest = [], 0.0
    for name, move in change_table(change).itertuples(index=False):
        if abs(move) >= 0.005:
            steps.append((short(name), move))
        else:
            rest += move
    return [*steps, ("the rest", rest)] if abs(rest) >= 0.005 else steps


def change_text(change, before_t, units=METRIC):
    """Return the change in words, for whoever cannot see it."""
    after = before_t + change.attrs["change_t"]
    told = [f"{name} {signed('tonnes', value, units, places=2)}" for name, value in _steps(change)]
    return (
        f"Middle of the estate before: {wording.amount('tonnes', before_t, units)}. "
        f"{'; '.join(told) or 'No change'}. Now: {wording.amount('tonnes', after, units)}."
    )


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
    options = thinning.options
    with house_style():
        below = None
        if ax is None:
            ax = inch_axes(4.4, 0.85, 0.34, 2.3)
            below = ax.figure.add_axes((0.85 / 7.4, 0.55 / 4.4, 6.4 / 7.4, 1.55 / 4.4), sharex=ax)
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
        ax.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=3, borderaxespad=0.2)
        if below is not None:
            low, middle, high = (
                units.convert("t_ha", options[f"t_ha_{end}"].to_numpy(float))
                for end in ranges.ENDINGS
            )
            below.fill_between(keep, low, high, facecolor=BLUE, alpha=0.18, label=ranges.label())
            below.plot(keep, middle, color=BLUE, label="middle")
            below.axvline(thinning.keep, color=GREEN, linewidth=1)
            below.set_ylabel(f"crop [{units.label('t_ha')}]")
            below.grid(True, axis="y")
            below.legend(loc="upper left", ncols=2)
            below.set_ylim(0, None)
        (below or ax).set_xlabel("most clusters left on a vine")
    return ax


def thinning_text(thinning, units=METRIC):
    """Return the thinning figure in words, for whoever cannot see it."""
    options = thinning.options
    best = options.iloc[int(options["chance"].to_numpy().argmax())]
    return (
        f"Chance of ending on target against the most clusters left on a vine, block "
        f"{thinning.block}: {100 * thinning.chance_now:.0f} % as it hangs; highest "
        f"{100 * best['chance']:.0f} % at {int(best['keep'])} clusters, then "
        f"{wording.amount('t_ha', best['t_ha_p50'], units, unit=False)} "
        f"({wording.span('t_ha', best['t_ha_p10'], best['t_ha_p90'], units, unit=True)}, "
        f"{ranges.label()})."
    )
