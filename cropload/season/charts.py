"""Figures of a season's forecasts: size, what the range comes from, its fan, changes, thinning."""

from dataclasses import replace

import numpy as np

from cropload.beliefs import ranges
from cropload.season.tables import MOST_COUNTS
from cropload.season.words import change_steps, short, total_words
from cropload.show import wording
from cropload.show.charts import Rows, Series, amounts
from cropload.show.drawing import DARK, GREEN, LOOKS, VERMILLION, WHOLE, Look
from cropload.show.line_charts import Panel, plot_panels
from cropload.units import METRIC

#: Parts of the spread below this share in every group are drawn together [1].
_SMALL = 0.03
#: Steps of a change below this are drawn together [t].
_STEP = 0.005


def ranking_rows(table, by="block", units=METRIC):
    """Return groups in the order of a table, each with its middle and range, to draw or to tell.

    Parameters
    ----------
    table : DataFrame
        Of ``Forecast.frame_by(by)`` [t], ordered as it should be drawn.
    by : str
        ``"block"``, ``"variety"`` or ``"estate"``.
    units : UnitSystem
        Units to show [t or short tons].
    """
    crop = amounts("crop", table, "tonnes", "tonnes", units, written="range")
    axis = f"crop at the scale [{crop.unit}]"
    return Rows(f"Crop of each {by}, in the order drawn", tuple(table[by]), axis, (crop,))


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


def contribution_rows(contributions, by="block"):
    """Return how much of the spread of each group every component carries, to draw or to tell.

    Parameters
    ----------
    contributions : DataFrame
        Of ``Forecast.contributions(by)``.
    by : str
        ``"block"``, ``"variety"`` or ``"estate"``.

    Notes
    -----
    Components that hold each other in check may carry a negative share; it is drawn left of zero.
    """
    shares = 100 * shares_table(contributions, by)
    parts = tuple(
        Series(name, shares[name].to_numpy(float), places=0, unit="%", written="middle")
        for name in shares
    )
    axis = "share of what is still open about the crop [%]"
    return Rows(f"Share of the spread of each {by} by component", tuple(shares.index), axis,
                parts=parts)  # fmt: skip


def fan_panel(fan, harvest=None, units=METRIC):
    """Return how the range of a total narrows over the dates of a season, to draw or to tell.

    Parameters
    ----------
    fan : Fan
        Of ``forecast_fan`` [t]: one row a day.
    harvest : Harvested, optional
        What the scale said; drawn as a line when it is known.
    units : UnitSystem
        Units to show [t or short tons].

    Notes
    -----
    The dates stand evenly spaced, whatever the time between them, so that none hides another.
    """
    frame, words = fan.frame, total_words(fan.by, fan.name)
    band = amounts("middle of the forecast", frame, "tonnes", "tonnes", units, band=True,
                   written="ends")  # fmt: skip
    lines, note = [band], "the harvest is not known yet"
    if harvest is not None:
        value = np.full(2, units.convert("tonnes", harvest.tonnes))
        note = f"harvest {wording.amount('tonnes', harvest.tonnes, units)}"
        if harvest.missing:
            every = len(harvest.picked) + len(harvest.missing)
            note += f" ({len(harvest.picked)} of {every} blocks)"
        look, whole = Look(VERMILLION, "", "--"), (-2, len(fan) + 1)
        lines.append(Series(note, value, look, x=whole, told=False))
    title = f"{words[0].upper()}{words[1:]}, season {fan.season}"
    ticks = tuple(
        "\n".join([*words.split(), f"{day:%d %b}"])
        for words, day in zip(frame["words"], frame["day"], strict=True)
    )
    return Panel(
        title,
        tuple(lines), up=f"crop at the scale [{band.unit}]", ticks=ticks, said=note,
        heading=title,
        from_zero=False,
    )  # fmt: skip


def _expected(fan, ahead, start, band, units):
    """Return the range still to be expected after later counts, from the last day on."""
    last = fan.frame.iloc[-1]
    middle = last["tonnes_p50"]
    # A range of that width, as far up as down in the logs.
    reach = np.arcsinh(ahead["range_after_t"].to_numpy(float) / (2 * middle))
    low = np.append(last["tonnes_p10"], middle * np.exp(-reach))
    high = np.append(last["tonnes_p90"], middle * np.exp(reach))
    ends = units.convert("tonnes", np.array([low, np.full(len(low), middle), high]))
    x = start + len(fan) - 1 + np.arange(len(low))
    return Series("still to be expected", ends, Look(GREEN, "", ":"), band.places, band.unit,
                  x=x, band=True)  # fmt: skip


def season_panel(fan, past, units=METRIC, ahead=None):
    """Return harvests of earlier seasons, then how this season's range narrows, to draw or to tell.

    Parameters
    ----------
    fan : Fan
        Of ``forecast_fan`` [t]: one row a day.
    past : dict
        {year: tonnes} of earlier seasons [t].
    units : UnitSystem
        Units to show [t or short tons].
    ahead : DataFrame, optional
        Counts still to come: words, starts and range_after_t [t], as the groups of ``due``.

    Notes
    -----
    A single day is drawn as a range. The harvest of the season is a line when it is known.
    In what is still to be expected the middle stays: which way a count will move it nobody knows.
    """
    found = fan_panel(fan, fan.harvest, units)
    start = len(past)
    band, *line = found.series
    moved = [replace(band, name="forecast", x=start + np.arange(len(fan)), band=len(fan) > 1)]
    if past:
        picked = units.convert("tonnes", np.array(list(past.values())))
        moved.append(
            Series("earlier harvests", picked, Look(DARK, "s", "", size=6), unit=band.unit,
                   written="middle", x=np.arange(start))
        )  # fmt: skip
    moved += [replace(each, x=(start - 0.5, start + len(fan))) for each in line]
    ticks = (*map(str, past), *found.ticks)
    if ahead is not None and len(ahead):
        moved.append(_expected(fan, ahead, start, band, units))
        ticks += tuple(
            "\n".join([*each.words.split(), f"~{each.starts:%d %b}"]) for each in ahead.itertuples()
        )
    return replace(found, series=tuple(moved), ticks=ticks, heading="")


def change_rows(change, units=METRIC):
    """Return the steps from an earlier forecast to this one, by component, to draw or to tell.

    Parameters
    ----------
    change : Change
        Of ``Forecast.explain`` [t].
    units : UnitSystem
        Units to show [t or short tons].

    Returns
    -------
    Rows
        Without a row where nothing changed.

    Notes
    -----
    The steps add up exactly: the last row is where they end. Steps under 5 kg stand together.
    """
    steps = dict(change_steps(change, _STEP))
    rest = sum(move for _, move in change_steps(change, 0.0)) - sum(steps.values())
    if abs(rest) >= _STEP:
        steps["the rest"] = rest
    names, moves = [short(name) for name in steps], list(steps.values())
    title = "Middle of the estate's crop, step by step"
    axis = f"middle of the estate's crop [{units.label('tonnes')}]; the scale need not begin at 0"
    if not names:
        return Rows(f"{title}: nothing changed", (), axis)
    # Steps too small to draw are in the end all the same.
    ends = units.convert("tonnes", np.array([change.was_t, change.now_t]))
    moves = units.convert("tonnes", np.array([0.0, *moves, 0.0]))
    starts = ends[0] + np.cumsum(moves) - moves
    shown = {"places": 2, "unit": units.label("tonnes"), "written": "range"}
    total = np.array([ends[0], *np.full(len(names), np.nan), ends[1]])
    parts = tuple(
        Series(
            word, np.where(side * moves > 0, moves, 0.0), x=starts,
            show="{:+.2f}".format,
            **shown,
        )
        for word, side in (("more", 1), ("less", -1))
    )  # fmt: skip
    return Rows(
        title, ("before", *names, "now"), axis,
        (Series("middle", total, WHOLE, **shown),), parts, from_zero=False,
        fills=(("#CBE8DE", ""), ("#F6D5C2", "///")),
    )  # fmt: skip


def thinning_panels(thinning, units=METRIC):
    """Return the chance of ending on target, and the crop, by the most clusters left on a vine.

    Parameters
    ----------
    thinning : Thinning
        Of ``thin_to``.
    units : UnitSystem
        Units to show [t/ha or ton/ac].
    """
    options = thinning.frame
    keep = options["keep"].to_numpy(float)
    now = 100 * thinning.chance_now
    lines = [
        Series("chance when thinned", 100 * options["chance"].to_numpy(float),
               Look(LOOKS[0].colour, ""), x=keep),
        Series(f"as it hangs {now:.0f} %", np.full(2, now), Look(VERMILLION, "", "--"),
               x=keep[[0, -1]]),
    ]  # fmt: skip
    if thinning.drop > 0:
        after = 100 * thinning.chance_after
        words = f"leave at most {thinning.keep}: {after:.0f} %"
        lines.append(Series(words, np.array([after]), Look(GREEN, "D", ""), x=[thinning.keep]))
    crop = amounts("middle of the crop", options, "t_ha", "t_ha", units, band=True, x=keep,
                   look=Look(DARK, ""))  # fmt: skip
    chance = Panel("", tuple(lines), up="chance of ending\non target [%]")
    return chance, Panel("", (crop,), "most clusters left on a vine", f"crop [{crop.unit}]")


def plot_thinning(thinning, units=METRIC):
    """Draw the chance of ending on target above the crop, by the most clusters left on a vine."""
    return plot_panels(thinning_panels(thinning, units), alike=False)


def thinning_text(thinning, units=METRIC):
    """Return the thinning figure in words, for whoever cannot see it."""
    options = thinning.frame
    opening = (
        "Chance of ending on target against the most clusters left on a vine, block "
        f"{thinning.block}: {100 * thinning.chance_now:.0f} % as it hangs"
    )
    if thinning.drop == 0:
        return f"{opening}, and no higher with fewer clusters."
    best = options.iloc[[int(options["chance"].to_numpy().argmax())]]
    crop = amounts("", best, "t_ha", "t_ha", units)
    return (
        f"{opening}; highest {100 * best['chance'].iloc[0]:.0f} % at {int(best['keep'].iloc[0])} "
        f"clusters, then {crop.text(0, unit=True)}, {ranges.label()}."
    )


def counts_rows(found, units=METRIC):
    """Return what the best counts take off the range of a total, to draw or to tell.

    Parameters
    ----------
    found : NextCounts
        Of ``next_counts`` [t].
    units : UnitSystem
        Units to show [t or short tons].
    """
    best = found.frame.head(MOST_COUNTS)
    names = tuple(f"{row.block}, {row.words}" for row in best.itertuples())
    off = amounts("off the range", best, "removed_t", "tonnes", units, places=2, written="range")
    return Rows("What a count takes off the range", names, f"off the range [{off.unit}]", (off,))


def due_rows(found, units=METRIC):
    """Return what all blocks' counts of each kind take off the estate's range, to draw or tell.

    Parameters
    ----------
    found : Due
        Of ``due`` [t].
    units : UnitSystem
        Units to show [t or short tons].
    """
    groups = found.groups[found.groups["removed_t"].notna()]
    names = tuple(f"{row.words}, {row.starts:%Y-%m-%d}" for row in groups.itertuples())
    off = amounts("off the range", groups, "removed_t", "tonnes", units, places=2, written="range")
    return Rows("What counts take off the range", names, f"off the range [{off.unit}]", (off,))


def crew_rows(check):
    """Return the buds left in each row against the plan, to draw or to tell.

    Parameters
    ----------
    check : CrewCheck
        Of ``crew_check``. Its ranges have a level of their own, so middles alone are drawn.
    """
    buds = amounts("buds left", check.frame, "buds_per_vine", written="middle")
    names = tuple(f"row {row}" for row in check["row"])
    axis = f"buds a vine, mean of the vines counted; dotted: the plan, {check.planned_buds:g}"
    return Rows("Buds left, row by row", names, axis, (buds,), reference=check.planned_buds)


def hours_rows(plan):
    """Return the crew hours of counting many vines and weighing few, and of both on the same.

    Parameters
    ----------
    plan : TwoStepPlan
        Of ``two_step_plan``.
    """
    hours = amounts("crew hours", plan.frame, "hours", written="middle", unit="h")
    return Rows("Crew hours of each way", tuple(plan["way"]), "crew hours [h]", parts=(hours,))


def walk_panel(plan):
    """Return where the vines to count stand, to draw or to tell.

    Parameters
    ----------
    plan : CountPlan
        Of ``sample_vines``.
    """
    series = amounts("vine", plan.frame, "vine", look=Look(DARK, "o", "", size=4), places=0,
                     x=plan["row"].to_numpy(float))  # fmt: skip
    return Panel(f"Vines to count in {plan.block}", (series,), "row", "vine in the row", step="row")
