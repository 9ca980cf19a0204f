"""Plain words about spring frost: what plans keep, what the literature says, what to mind."""

import numpy as np

from cropload import handbook
from cropload.beliefs import ranges
from cropload.frost.cover import shelter
from cropload.show import wording
from cropload.show.wording import percent
from cropload.units import METRIC
from cropload.vine.weather.kill import KillCurve

#: Case of the model -> how a reader calls it.
CASE_WORDS = {
    "laid_down": "laid down in winter",
    "upright_until_final_cut": "upright until a late final cut",
}

#: Cautions for anyone who works at frost protection, a heading and a text each.
CAUTIONS = (
    (
        "Wind machines",
        "They need an inversion, warmer air above, and only stir cold air about without one. They "
        "are loud: keep to local noise rules, wear ear protection, and keep clear of the blades.",
    ),
    (
        "Sprinklers",
        "Start before the tissue freezes and run until the ice has melted; stopping earlier does "
        "more harm than never starting. Mind ice on paths and wires, and local water rules.",
    ),
    (
        "Heaters and fires",
        "They burn, they smoke, and they fall under local fire and clean-air rules. Have water at "
        "hand, and never leave them alone.",
    ),
    (
        "Night work",
        "Work in pairs with light, a telephone and warm clothes; mind slopes, wires and machines "
        "in the dark, and do not drive home tired. Test alarms beforehand.",
    ),
)

#: What every view of frost says of itself.
SUPPORT = (
    "This is decision support, not a frost warning and not a guarantee. Local codes, the manuals "
    "of the machines and licensed practice come first."
)


def _days(key):
    entry = handbook.entry(key)
    return f"{entry.low:g} to {entry.high:g} days"


def evidence():
    """Return what the literature does and does not support, as (heading, text, handbook keys)."""
    cost, none = handbook.entry("frost.late_cut_cost"), handbook.value("frost.upright_none")
    share = handbook.entry("frost.secondary_share.default")
    georgia = handbook.value("frost.late_cut_loss.chardonnay")
    burst, leaves = KillCurve.from_handbook().lt50([4, 11])
    return (
        (
            "Supported: buds at the tip push first.",
            "Along a cane the buds at its end burst before those at its base, and hold them back "
            "(Antcliff and Webster 1955).",
            ("frost.gradient_nodes",),
        ),
        (
            "Hardly supported: a longer cane that is tied down.",
            "Length alone moves only the last nodes (Antcliff 1955), and bending the cane down "
            f"breaks most of the hold (Deloire 2021). The model gives basal buds "
            f"{_days('frost.delay_laid_down')}, which is an assumption, so a longer cane that is "
            "laid down gains only a little against frost: in most blocks 1 or 2 in 100 of the "
            "crop. What it gains beyond that is crop from more buds, frost or not.",
            ("frost.delay_laid_down",),
        ),
        (
            "Supported, with mixed results: wood that stands upright until a late final cut.",
            f"Delays of {_days('frost.delay_upright_until_final_cut')} are credited, on wood of "
            f"more than {none:g} buds. Trials ran from none in the UK over 4 to 11 days (Burgundy, "
            "Riesling, Lemberger) to 17 to 31 (Sangiovese, Pinot noir).",
            ("frost.delay_upright_until_final_cut", "frost.upright_none", "frost.upright_full"),
        ),
        (
            "Supported: the late cut has a price.",
            f"In a year without frost it cost from nothing (Shiraz) over {percent(georgia)} "
            f"(Chardonnay and Merlot in Georgia) to {percent(cost.high)} (Pinot noir) of the crop. "
            "It is charged in every year here.",
            ("frost.late_cut_cost",),
        ),
        (
            "Supported for Pinot noir only: which cold kills.",
            f"Half of the shoots die at {burst:.1f} °C at burst and at {leaves:.1f} °C with four "
            "leaves (Hellman 2018). How steeply the kill rises about that is an assumption with a "
            "spread.",
            ("frost.lt50_c", "frost.steepness"),
        ),
        (
            "Supported: a secondary shoot bears less.",
            "About a third of a primary's crop in Chardonnay (Friend and others 2011), next to "
            f"nothing in Grenache. Other varieties are drawn from {share.low:g} to {share.high:g}.",
            ("frost.secondary_share.default", "frost.secondary_share.chardonnay"),
        ),
        (
            "Not known.",
            "Your block's own delay, how cold differs within the block on one night, and how far "
            "vines make up for what died. None of them is guessed here.",
            (),
        ),
    )


def replay_heading(replay):
    """Return which springs were replayed, in two sentences."""
    return (
        f"{replay.years.block}: {len(replay.seasons)} springs, {replay.seasons[0]} to "
        f"{replay.seasons[-1]}, on the same draws. Each figure is the middle, with its "
        f"{ranges.label()}, in brackets."
    )


def year_sentences(replay, units=METRIC):
    """Return one plain sentence a plan over the years, each chance and crop with its range.

    Parameters
    ----------
    replay : FrostReplay
        As from ``frost_cover`` [t/ha].
    units : UnitSystem
        Units to show.
    """
    found, full = [], ", ".join(map(str, replay.years_doubted))
    doubted = f" Of these years {full} bore a full crop, and may have had no frost." * bool(full)
    for row in wording.levels(replay.frame):
        free = wording.amount("t_ha", row["frost_free_p50"], units)
        mean, worst = (
            f"{wording.range_of(row, name, 't_ha', units)} {units.label('t_ha')}"
            for name in ("mean_crop", "worst_crop")
        )
        years = wording.ranged((row["chance_low"], None, row["chance_high"]), wording.chance)
        found.append(
            f"{row['plan']}, {CASE_WORDS[row['case']]}: {free} without frost; over the "
            f"{row['years']} springs {mean} in the mean and {worst} in the {replay.worst}. More "
            f"than {percent(replay.heavy_loss)} was lost in about "
            f"{wording.number(row['frost_years'])} of {row['years']} years, so the chance of "
            f"that in a year is {years}.{doubted}"
        )
    return found


def shelter_sentences(replay):
    """Return how much more of its crop each plan keeps from frost, its load left aside.

    Each plan is held against the first one of its own case, and the first plan of the late cut
    against the first one that is laid down.
    """
    found, first = [], {}
    for at, (plan, case) in enumerate(zip(replay.plans, replay.cases, strict=True)):
        beside = first.setdefault(case, at)
        if beside == at:
            beside = 0
        if beside == at:
            continue
        row = shelter(replay, beside).iloc[at]
        low, middle, high = (100 * row[f"gain_{end}"] for end in ranges.ENDINGS)
        text = (
            f"Of 100 parts of the same crop, {plan} ({CASE_WORDS[case]}) keeps "
            f"{_difference(middle)} from frost than {replay.plans[beside]} "
            f"({CASE_WORDS[replay.cases[beside]]}) in the mean of the years "
            f"({low:.1f} to {high:.1f})."
        )
        if case == replay.cases[beside] == "laid_down" and abs(middle) < 3:
            text += " That is little: what else differs is crop from its number of buds."
        if case != replay.cases[beside]:
            text += " The cost of the late cut is not in this figure; it is in the crops above."
        found.append(text)
    return found


def _difference(parts):
    if abs(parts) < 0.05:
        return "no more"
    return f"{abs(parts):.1f} {'more' if parts > 0 else 'fewer'}"


def break_even_sentences(replay):
    """Return from which yearly frost chance on each plan beats the first."""
    first = f"{replay.plans[0]} ({CASE_WORDS[replay.cases[0]]})"
    found = []
    for row in replay.break_even().to_dict("records")[1:]:
        found.append(f"{row['plan']} ({CASE_WORDS[row['case']]}) against {first}: {row['words']}.")
    return found


def worth_sentences(replay):
    """Return what longer wood or a late cut is worth, and from which frost chance on it pays."""
    return shelter_sentences(replay) + break_even_sentences(replay)


def worth_sentence(rows, units=METRIC):
    """Return what the plan that brings the most beyond the first is worth, in one sentence.

    Parameters
    ----------
    rows : DataFrame
        Of ``wood_worth``, one case.
    units : UnitSystem
        Units to show.
    """
    first = rows["plan"].iloc[0]
    if len(rows) == 1:
        return f"Add a level with longer wood to hold against {first}."
    row = rows.iloc[1:].sort_values("change_p50").iloc[-1].to_dict()
    change, kept, buds = (
        wording.amount("t_ha", row[f"{name}_p50"], units, signed=True)
        for name in ("change", "kept", "buds")
    )
    span = wording.span("t_ha", row["change_p10"], row["change_p90"], units)
    return (
        f"{row['plan']} instead of {first} changes the crop of a year by {change} ({span}, "
        f"{_often()}): {_some(row['kept_p50'], kept)} saved from frost, {buds} from its number of "
        "buds."
    )


def worth_in_short(replay, block, units=METRIC):
    """Return what the longer wood that brings most is worth in a block, and when it pays.

    Parameters
    ----------
    replay : FrostReplay
        Of one case; the first plan is the one to beat.
    block : str
        Its name.
    units : UnitSystem
        Units to show.
    """
    from cropload.frost.worth import wood_worth

    if len(replay.plans) == 1:
        return f"{block} has no room for wood longer than {replay.plans[0]}"
    rows = wood_worth(replay).iloc[1:]
    at = rows["change_p50"].idxmax()
    row, even = rows.loc[at], replay.break_even().loc[at]
    change, kept = (
        wording.amount("t_ha", row[f"{name}_p50"], units, signed=True)
        for name in ("change", "kept")
    )
    span = wording.span("t_ha", row["change_p10"], row["change_p90"], units)
    if even["always"] > 0.5:
        pays = "it pays without frost too"
    elif even["never"] > 0.5:
        pays = "it pays at no frequency of frost"
    elif even["backward"] > 0.5:
        pays = "it pays only while frost is rare"
    elif np.isfinite(even["chance_p50"]):
        lost = wording.percent(replay.heavy_loss)
        every = wording.number(1 / even["chance_p50"], 0)
        pays = f"it pays where over {lost} is lost in more than 1 spring of {every}"
    else:
        pays = "no spring on record lost enough to say when it pays"
    saved = f"{_some(row['kept_p50'], kept)} of it saved from frost"
    return f"{row['plan']} in {block}: {change} a year ({span}), {saved}; {pays}"


def late_cut_sentence(row, units=METRIC, price=""):
    """Return whether a late final cut of a plan pays here, in one sentence.

    Parameters
    ----------
    row : mapping
        Of ``late_cut_worth``.
    units : UnitSystem
        Units to show.
    price : str
        What it costs beside crop, in words that follow on.
    """
    kept, cost = (wording.amount("t_ha", row[f"{name}_p50"], units) for name in ("kept", "cost"))
    often = wording.number(10 * row["chance_pays"], 0)
    pays = "does not pay here"
    if row["chance_pays"] >= 0.8:
        pays = "pays here"
    elif row["chance_pays"] > 0.2:
        pays = f"pays in {often} cases of 10"
    text = (
        f"A late final cut of {row['plan']} {pays}: it saves {kept} a year from frost and costs "
        f"{cost} of crop{price}"
    )
    if row["never"] > 0.5:
        return f"{text}, so it pays at no frequency of frost."
    if not np.isfinite(row["break_even_p50"]):
        return f"{text}."
    low, high = (100 * row[f"chance_{end}"] for end in ("low", "high"))
    return (
        f"{text}; it pays above {100 * row['break_even_p50']:.0f} frost years in 100, and this "
        f"record says {low:.0f} to {high:.0f}."
    )


def _some(value, text):
    return text if abs(value) >= 0.05 else "next to nothing"


def _often():
    return f"{10 * ranges.level():g} in 10"


#: Said in place of a table of springs that has no row.
NO_SPRING = "No spring of this record would have cost these plans any crop."


def export(replay, units):
    """Return the replayed springs as written to a file: a row a season and plan, chosen units."""
    from cropload.show.result_units import in_units

    rows = replay.frame_by("season")
    rows = rows.rename(columns={f"crop_{end}": f"t_ha_{end}" for end in ranges.ENDINGS})
    rows.insert(0, "block", replay.years.block)
    return in_units(rows, units)


def springs_that_hurt(replay):
    """Yield (season, rows by season) of each spring that cost some plan a part of its crop.

    Springs of which a reader would see 100 % left are kept out.
    """
    for season, rows in replay.frame_by("season").groupby("season", sort=True):
        if rows["nights"].max() > 0 and rows["crop_left_p50"].min() < 0.995:
            yield season, rows


def night_words(stage_first, stage_last):
    """Return the modified E-L stages of the last and the first kept buds on a night, as text.

    Stages beyond the handbook's ``frost.stage_told`` are told as "over" it.
    """
    if not np.isfinite(stage_first):
        return "not known"
    most = handbook.value("frost.stage_told")
    last, first = (
        f"over {most:g}" if stage > most else f"{stage:.1f}" for stage in (stage_last, stage_first)
    )
    return first if first == last else f"{last} to {first}"


def after_sentences(found, units=METRIC):
    """Return what a count of dead shoots says of the crop.

    Parameters
    ----------
    found, units : AfterFrost, UnitSystem
        As from ``after_frost``, and the units to show.
    """

    def crop(ends):
        return (
            wording.ranged(ends, lambda end: wording.amount("tonnes", end, units, unit=False))
            + f" {units.label('tonnes')}"
        )

    late = "{:g} to {:g} weeks".format(*(days / 7 for days in found.late_days))
    low, middle, high = found.killed
    return [
        f"{found.shoots_killed} of {found.shoots_seen} shoots are dead: {percent(middle)}, and in "
        f"the block between {percent(low)} and {percent(high)}.",
        f"{found.block} without frost: {crop(found.before)}. Now {crop(found.total)}: "
        f"{crop(found.primary)} on primary shoots, and {crop(found.secondary)} on secondary ones, "
        f"which ripens {late} later.",
    ]


def after_notes(found):
    """Return what to mind after a frost, the day from which shoots can be judged first."""
    notes = list(found.notes)
    if found.judge_from is not None:
        notes.insert(0, f"Shoots of this frost can be judged from {found.judge_from:%Y-%m-%d} on.")
    return notes
