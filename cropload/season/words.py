"""Words of a season: names of components, and the sentence that each answer opens with."""

import math

from cropload import handbook
from cropload.beliefs import ranges
from cropload.show import wording
from cropload.units import METRIC

#: Component -> its short name on figures and in tables.
SHORT = {
    "buds_left": "buds left",
    "shoots_per_bud": "shoots per bud",
    "clusters_per_shoot": "clusters per shoot",
    "cluster_weight_g": "cluster weight",
    "recovery": "share that reaches the scale",
    "noncount_shoots": "non-count shoots",
    "pruning_weight_kg_per_m": "pruning weight",
    "counting_bias": "clusters missed by eye",
    "increase_factor": "growth from lag phase",
    "ripening_factor": "growth from veraison",
    "load_response": "response to the load",
    "plan": "plan",
    "events": "frost, hail, thinning and the like",
    "picked": "what the scale said",
    "lean": "upward lean of ranges",
}

#: What is asked of a vine or a lot -> words for it, in the order of the season.
MEASURES = {
    "buds": "buds per vine",
    "shoots": "shoots per vine",
    "noncount_shoots": "non-count shoots per vine",
    "clusters": "clusters per vine",
    "weight_lag": "cluster weights at lag phase",
    "weight_veraison": "cluster weights at veraison",
    "weight_harvest": "cluster weights before picking",
}


def short(component):
    """Return a component's short name."""
    return SHORT.get(component, str(component).replace("_", " "))


def total_words(by, name):
    """Return a total in words, such as ``block Long Acre``."""
    return "the estate" if by == "estate" else f"{by} {name}"


def as_of_words(forecast):
    """Return up to when records speak, in words."""
    return "from all records" if forecast.as_of is None else f"as of {forecast.as_of:%Y-%m-%d}"


def standing(forecast):
    """Return which season, as of when, and where the season stands, in a sentence."""
    return f"Forecast of season {forecast.season} {as_of_words(forecast)}: {forecast.stage}."


def figures_sentence():
    """Return what each figure of a forecast is."""
    return f"Each figure is the middle, with its {ranges.label()}, in brackets."


def heading(forecast):
    """Return where the season stands, and what each figure is."""
    return f"{standing(forecast)} {figures_sentence()}"


def range_words(row, quantity, units=METRIC):
    """Return the range of a row's tonnes or t/ha, its unit and its level named."""
    low, middle, high = (row[f"{quantity}_{end}"] for end in ranges.ENDINGS)
    return (
        f"{wording.amount(quantity, middle, units)}, "
        f"{wording.span(quantity, low, high, units, unit=True)} ({ranges.label()})"
    )


def forecast_sentence(forecast, by="estate", name="estate", units=METRIC):
    """Return the forecast of one total in a sentence, its range named.

    Parameters
    ----------
    forecast : Forecast
        As it stands.
    by, name : str
        The total: ``"estate"``, or a variety or a block by name.
    units : UnitSystem
        Units to show.
    """
    totals = forecast.frame_by(by)
    row = totals[totals[by] == name].iloc[0]
    return (
        f"{wording.capital(total_words(by, name))}, season {forecast.season}, "
        f"{as_of_words(forecast)} ({forecast.stage}): {range_words(row, 'tonnes', units)}."
    )


def contribution_sentence(contributions, by="estate", name="estate"):
    """Return which components carry the range of a total, largest first, in a sentence.

    Parameters
    ----------
    contributions : DataFrame
        Of ``Forecast.contributions(by)``.
    by, name : str
        As in ``forecast_sentence``.
    """
    mine = contributions[contributions[by] == name].sort_values("share", ascending=False)
    mine = mine[mine["share"] >= 0.05].head(4)
    if mine.empty:
        return "Nothing is left open: the crop has been picked, or none is expected."
    parts = [
        f"{short(component)} {wording.percent(share)}"
        for component, share in zip(mine["component"], mine["share"], strict=True)
    ]
    return f"What the range of {total_words(by, name)} comes from: {', '.join(parts)}."


def matters_now(forecast, by="estate", name="estate"):
    """Return where the season stands and what leaves the crop open most, in a sentence.

    Parameters
    ----------
    forecast : Forecast
        As it stands.
    by, name : str
        The total, as in ``forecast_sentence``.
    """
    day = "From all records" if forecast.as_of is None else f"As of {forecast.as_of:%Y-%m-%d}"
    opening = f"{day} ({forecast.stage})"
    contributions = forecast.contributions(by)
    mine = contributions[contributions[by] == name].sort_values("share", ascending=False)
    if mine.empty or mine["share"].iloc[0] <= 0:
        return f"{opening} nothing is left open: the crop has been picked, or none is expected."
    told = [f"{short(c)} ({wording.percent(s)})" for c, s in zip(mine["component"], mine["share"],
            strict=True) if s >= 0.1]  # fmt: skip
    most = told[0] if told else short(mine["component"].iloc[0])
    rest = f", then {' and '.join(told[1:3])}" if told[1:] else ""
    return f"{opening} most of what is still open is {most}{rest}."


# ---- what changed


def befell(before, after, block, units=METRIC):
    """Return what an event does to a block's crop and the estate's, in a sentence.

    Parameters
    ----------
    before, after : Forecast
        Without it and with it.
    block : str
        The block.
    units : UnitSystem
        Units to show.
    """

    picked = after.picked.set_index("block").loc[block]
    if picked["share"] >= 1:
        crop = wording.amount("tonnes", picked["tonnes"], units)
        return (
            f"{block}, harvest {after.season}, is picked: {crop}, which stays. Coming seasons "
            "learn what the vines bore."
        )

    def crop(by, name):
        told = []
        for each in (before, after):
            frame = each.frame_by(by).set_index(by)
            row = frame.loc[name]
            ends = wording.span("tonnes", row["tonnes_p10"], row["tonnes_p90"], units)
            told.append(f"{wording.amount('tonnes', row['tonnes_p50'], units)} ({ends})")
        return f"{told[0]} before, {told[1]} now"

    return (
        f"{block}, harvest {after.season}: {crop('block', block)}; {ranges.often()}. "
        f"The estate: {crop('estate', 'estate')}."
    )


def moved(tonnes, units=METRIC):
    """Return a change of a crop with the two decimals that let its parts add up [t]."""
    shown = wording.number(units.convert("tonnes", float(tonnes)), 2, signed=True)
    return f"{shown} {units.label('tonnes')}"


def change_sentence(change, units=METRIC):
    """Return a change since an earlier forecast in a sentence: the sum and its largest parts.

    Parameters
    ----------
    change : Change
        Of ``Forecast.explain`` or ``what_moved``.
    units : UnitSystem
        Units to show.
    """
    causes = [step for step in change_steps(change) if step[0] != "lean"]
    largest = sorted(causes, key=lambda step: -abs(step[1]))[:3]
    parts = [f"{short(name)} {moved(move, units)}" for name, move in largest]
    since = change.since or "the earlier forecast"
    stage = f" ({change.since_stage})" if change.since_stage else ""
    text = f"Since {since}{stage} the middle of the estate moved by {moved(change.change_t, units)}"
    return text + (f": mostly {', '.join(parts)}." if parts else ".")


def change_steps(change, least=0.005):
    """Return (component, move [t]) in the order of the chain, moves too small to show left out."""
    steps = [*change.frame_by("component").itertuples(index=False, name=None)]
    return [
        (name, float(move))
        for name, move in [*steps, ("lean", change.lean_t)]
        if abs(move) >= least
    ]


# ---- what to count next


def nothing_to_count(forecast):
    """Return why nothing is left to count, in a sentence."""
    bare = forecast.estate.young.barren
    if bare.all():
        return "Nothing is left to count: no block bears a crop yet."
    if bare.any():
        return "Nothing is left to count: every block that bears has been picked."
    return "Nothing is left to count: every block has been picked."


def next_sentence(answer, units=METRIC):
    """Return how wide the range is that counts would narrow, and the best of them.

    Parameters
    ----------
    answer : NextCounts
        Of ``next_counts``.
    units : UnitSystem
        Units to show.
    """
    if not len(answer):
        return nothing_to_count(answer.forecast)
    best = answer.frame.iloc[0]
    total = "the estate" if answer.of == "estate" else answer.of
    hours = "one crew hour" if answer.hours == 1 else f"{answer.hours:g} crew hours"
    return (
        f"The range of {total} is {wording.amount('tonnes', best['range_now_t'], units)} wide "
        f"({ranges.label()}). Best next for {hours}: {best['words']} on {best['vines']} vines of "
        f"{best['block']}, which takes {moved(best['removed_t'], units).lstrip('+')} off it."
    )


def listed(names, most=3):
    """Return blocks in words: their names, or how many when they are many."""
    names = list(names)
    if len(names) > most:
        return f"{len(names)} blocks"
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


#: A range taken off that is not told in a sentence [t].
_NOTHING = 0.05


def due_sentence(found, units=METRIC):
    """Return what is due now, what comes next and what is worth most later, in one sentence.

    Parameters
    ----------
    found : Due
        Of ``due``.
    units : UnitSystem
        Units to show.
    """
    whole = wording.amount("tonnes", found.range_now_t, units)

    def told(group, of=""):
        if group["state"] == "now":
            return f"{group['words']} in {listed(group['blocks'])}"
        text = f"{group['words']} from about {group['starts'].day} {group['starts']:%B}"
        if group["removed_t"] >= _NOTHING:
            text += f", worth {wording.amount('tonnes', group['removed_t'], units)}{of}"
        return text

    groups = found.groups.to_dict("records")
    now = [told(group) for group in groups if group["state"] == "now"]
    begun = {group["words"] for group in groups if group["state"] == "now"}
    later = [g for g in groups if g["state"] == "later" and g["words"] not in begun]
    text = f"Due now: {', '.join(now)}" if now else "Nothing is due now"
    if later:
        of = f" of the range of {whole}"
        text += f"; next: {told(later[0], of)}"
        best = max(later, key=lambda group: group["removed_t"] if group["removed_t"] > 0 else 0)
        if best is not later[0] and best["removed_t"] > max(later[0]["removed_t"], 0):
            text += f"; worth most: {told(best)}"
    if found.plan is None:
        return f"{text}."
    after = wording.amount("tonnes", found.range_after_t, units)
    spent = found.plan["hours"].sum()
    if not len(found.plan):
        return f"{text}. Nothing that narrows the range can be measured this week."
    of = f"{spent:.1f} of {found.hours:g} crew hours"
    if found.range_now_t - found.range_after_t < _NOTHING:
        return f"{text}. {of} take next to nothing off the range of {whole}."
    return f"{text}. {of} take the range from {whole} to {after}."


# ---- thinning


def thinning_sentence(answer, units=METRIC):
    """Return what to leave on a vine, in words with the reader's units.

    Parameters
    ----------
    answer : Thinning
        Of ``thin_to``.
    units : UnitSystem
        Units to show.
    """
    low, middle, high = answer.clusters_now
    now, after = wording.chance(answer.chance_now), wording.chance(answer.chance_after)
    if answer.target_t_ha is None:
        aim = f"yield to prunings {answer.band.text()}"
        light = f"already light for the wood, with yield to prunings about {answer.ratio_now:.1f}"
    else:
        target = f"{units.convert('t_ha', answer.target_t_ha):.3g} {units.label('t_ha')}"
        aim = f"{target} within {wording.percent(answer.tolerance)}"
        light = "already below that target"
    if answer.drop > 0:
        text = (
            f"Leave at most {answer.keep} clusters on a vine (about {answer.drop:.0f} of "
            f"{middle:.0f} go): {aim} is then met with a chance of {after}, against {now} as it "
            f"hangs. About {answer.labour_h:.0f} crew hours."
        )
    else:
        text = f"Leave the fruit: {aim} is met with a chance of {now} as it hangs" + (
            f"; the crop is {light}, and thinning makes it lighter."
            if answer.light
            else ", and thinning does not raise it."
        )
    return (
        f"{answer.block}: {text} Clusters on a vine now: {middle:.0f} "
        f"({low:.0f} to {high:.0f}, {ranges.label()})."
    )


# ---- the crew


def crew_sentence(check, units=METRIC):
    """Return the finding in plain words, the crop in the units of the reader.

    Parameters
    ----------
    check : CrewCheck
        Of ``crew_check``.
    units : UnitSystem
        Units to show.
    """
    sample = check.buds
    level = f"{100 * sample.confidence:g} % range"
    one_known = math.isnan(sample.low)
    text = f"{wording.capital(check.verdict)}: {sample.mean:.1f} buds a vine"
    if not one_known:
        text += f" ({sample.low:.1f} to {sample.high:.1f}, {level})"
    noun = "vine" if sample.n == 1 else "vines"
    off, long, short_ = map(wording.percent, (check.share_off, check.share_long, check.share_short))
    tolerance = wording.percent(handbook.value("sampling.crew_vine_tolerance"))
    text += (
        f" against {check.planned_buds:g} planned, {sample.n} {noun} counted. {off} of the vines "
        f"are more than {tolerance} off ({long} long, {short_} short)."
    )
    if check.vines_to_tell:
        text += f" About {check.vines_to_tell} vines in all would tell."
    if check.t_ha is not None:
        low, middle, high = (
            wording.amount("t_ha", end, units, unit=False, signed=True) for end in check.t_ha
        )
        text += f" Left so, the coming crop changes by {middle} {units.label('t_ha')}"
        text += "." if one_known else f" ({low} to {high} over the {level})."
    return text


def counted_words(check):
    """Return on which days the vines of a check were counted, in words.

    Parameters
    ----------
    check : CrewCheck
        Of ``crew_check``.
    """
    first, last = check.days
    return f"counted {first:%Y-%m-%d}" + (f" to {last:%Y-%m-%d}" if last > first else "")


def rows_not_told(rows):
    """Return a sentence on the rows with too few counted vines for a word, or an empty text.

    Parameters
    ----------
    rows : DataFrame
        Of a ``CrewCheck``.
    """
    from cropload.season.crew_verdict import TOO_FEW

    some = rows[rows["verdict"] == TOO_FEW]
    if some.empty:
        return ""
    few, most = int(some["vines"].min()), int(some["vines"].max())
    vines = f"{few} to {most} vines" if few < most else "1 vine" if few == 1 else f"{few} vines"
    if len(some) == len(rows):
        what = "1 row" if len(some) == 1 else f"each of {len(some)} rows"
    else:
        what = "1 more row" if len(some) == 1 else f"each of {len(some)} more rows"
    return f"{vines} counted in {what}: too few to tell by the row."
