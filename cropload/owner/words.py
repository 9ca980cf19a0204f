"""What an owner's report says in words: what to do, what it brings, what if it goes wrong."""

from cropload import handbook
from cropload.beliefs import ranges
from cropload.owner import decision as reasons
from cropload.owner.costs import COSTS
from cropload.owner.decision import WHEN
from cropload.owner.mix import WORST_YEAR
from cropload.show import wording
from cropload.show.wording import chance, money, percent
from cropload.units import METRIC
from cropload.winery.tables import money_step

#: Blocks named in a sentence before the rest is only counted.
_NAMED = 3

MONEY_CAUTION = (
    "Every price and cost is your own, and the figures are arithmetic on them, not advice: crop "
    "contracts, tax and finance need a licensed adviser."
)

FROST_CAUTION = (
    "Frost machines, heaters, burning and night work in frost are dangerous: follow local codes, "
    "product manuals and fire rules."
)

#: Seasons followed, as a sentence tells them.
OVER = "over five seasons"


def _listed(texts, named=_NAMED):
    texts = list(texts)
    more = len(texts) - named
    if more > 0:
        texts = [*texts[:named], f"{more} more block{'s' if more > 1 else ''}"]
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"


def margin_step(found):
    """Return the power of ten that all money of a season is rounded to."""
    frames = [frame for frame in (found.money_first, found.money_settled) if frame is not None]
    margins = [frame[["margin_p10", "margin_p90"]].to_numpy(float) for frame in frames]
    return money_step(ends for margin in margins for ends in margin)


def change_step(found):
    """Return the power of ten that differences of money to the first scenario are rounded to."""
    estate = found.decision.estate
    if "money_all_p10" not in estate:
        return 0
    return money_step(estate[["money_all_p10", "money_all_p90"]].to_numpy(float))


def of_decision(found, value, units=METRIC):
    """Return what the decision is by, money or else crop, as text with its unit.

    Parameters
    ----------
    found : Scenarios
        As from ``compare_scenarios``.
    value : float or (low, middle, high)
        [currency or t].
    units : UnitSystem
        Units to show.
    """
    if found.decision.by == "margin":
        return f"{found.currency} {_plain(found, value, units)}".strip()
    return f"{_plain(found, value, units)} {units.label('tonnes')}"


def _plain(found, value, units, signed=False):
    """Return the same without its unit."""

    def write(one):
        if found.decision.by == "margin":
            return money(one, change_step(found), signed=signed)
        return wording.amount("tonnes", one, units, unit=False, signed=signed)

    return wording.ranged(value, write) if isinstance(value, tuple) else write(value)


def _more(found, value, units, unit=True):
    """Return a difference as so much more or less; with its signs where it may be either."""
    ends = value if isinstance(value, tuple) else (value,)
    shown = of_decision if unit else _plain
    if min(ends) >= 0:
        return f"{shown(found, value, units)} more"
    if max(ends) <= 0:
        back = tuple(-end for end in reversed(ends))
        return f"{shown(found, back if len(back) > 1 else back[0], units)} less"
    text = _plain(found, value, units, signed=True)
    money_first = f"{found.currency} {text}".strip()
    return money_first if found.decision.by == "margin" else f"{text} {units.label('tonnes')}"


def _change(found, row, when):
    return tuple(row[_by(found, f"{when}_{end}")] for end in ranges.ENDINGS)


def _by(found, ending):
    """Return the column of differences that the decision is by."""
    return f"{'money' if found.decision.by == 'margin' else 'crop'}_{ending}"


def _verb(found):
    return "leaves" if found.decision.by == "margin" else "bears"


def recommendation(found, units=METRIC):
    """Return the recommendation: (what it is about, a sentence or a few) for each part.

    Parameters
    ----------
    found, units : Scenarios, UnitSystem
        As from ``compare_scenarios``, and the units to show.

    Returns
    -------
    list of (str, str)
        What to do, what it brings, what if it goes wrong, what turns in the vines, what the limits
        cost, and what is counted in all of it.
    """
    parts = [("What to do", do_text(found))]
    if not _all_alike(found):
        parts += [
            ("What it brings", _brings(found, units)),
            ("If it goes wrong", wrong_text(found, units)),
            ("In the vines", _vines(found, units)),
            ("Limits", _limits(found, units)),
        ]
    parts.append(("Counted", counted(found)))
    return [(name, text) for name, text in parts if text]


def _all_alike(found):
    return len(found.decision.same_as) == len(found.names) - 1


def do_text(found):
    """Return what to do, in a sentence."""
    decision, first = found.decision, found.names[0]
    if _all_alike(found):
        others = _listed(f"'{name}'" for name in decision.same_as)
        verb = "has" if len(decision.same_as) == 1 else "have"
        return f"There is nothing to choose between: {others} {verb} the same plans as '{first}'."
    changed = decision.changed
    if changed.empty:
        if not decision.mix.held:
            never = [_rule(found, name)[0] for name, _ in decision.mix.costs]
            alone = _listed(never) if never else "all of your limits together"
            return f"No choice among these plans keeps {alone}, so nothing is recommended."
        within = " within your limits" if decision.mix.costs else ""
        return (
            f"Keep the plans of '{first}' in every block: none of the others brings more{within}."
        )
    must = ""
    if decision.mix.costs and decision.row()[_by(found, "all_mean")] < 0:
        must = f"To keep {_listed(_rule(found, name)[0] for name, _ in decision.mix.costs)}: "
    rows = changed.to_dict("records")
    kept = [block for block in found.block_names if block not in {row["block"] for row in rows}]
    named = decision.chosen in found.names
    if len(rows) > _NAMED:
        what = f"{must}Change the plan in {len(rows)} of {len(found.block_names)} blocks"
        what += f", to those of '{decision.chosen}'" if named else ", as listed below"
        rest = f"; keep '{first}' in the others" if kept else ""
        return f"{what}{rest}."
    what = _listed(f"{row['block']} to {row['plan']}" for row in rows)
    rest = f"; keep '{first}' in {_listed(kept)}" if kept else ""
    return f"{must}Prune {what}{f' (scenario {decision.chosen!r})' if named else ''}{rest}."


def _brings(found, units):
    decision, first = found.decision, found.names[0]
    row, name = decision.row(), "This"
    if decision.chosen == first:
        own = [n for n in decision.names[1:] if n not in decision.same_as]
        name = max(own, key=lambda other: decision.row(other)[_by(found, "all_mean")])
        row, name = decision.row(name), f"'{name}', the best of the others,"
    each = {when: _more(found, _change(found, row, when)[1], units, False) for when in WHEN[:3]}
    text = (
        f"{name} {_verb(found)} {_more(found, _change(found, row, 'all'), units)} than '{first}' "
        f"{OVER}: {each['first']} in the first, {each['second']} in the second, {each['settled']} "
        "in a season once the vines have settled"
    )
    if decision.by == "margin":
        crop = wording.amount("tonnes", row["crop_all_p50"], units, signed=True)
        text += f"; {crop} of fruit {OVER}"
    return f"{text}."


def wrong_text(found, units=METRIC):
    """Return what being wrong costs, and what the worst year in ten leaves."""
    decision, first = found.decision, found.names[0]
    row, name = decision.row(), decision.chosen
    parts = []
    if name != first:
        less = chance(row["chance_worse"])
        part = f"The chance that it {_verb(found)} less than '{first}' {OVER} is {less}"
        if row["chance_worse"] > 0:
            cost = of_decision(found, row["cost_if_worse"], units)
            part += f", and then it is {cost} less in the mean"
        parts.append(f"{part}.")
    worst = {key: of_decision(found, value, units) for key, value in decision.worst.items()}
    beside = "" if name == first else f", with '{first}' {worst[first]}"
    left = "is left" if decision.by == "margin" else "is picked"
    parts.append(f"In the worst year in ten, once settled, {worst[name]} {left}{beside}.")
    return " ".join(parts)


#: Matters in words.
_MATTERS = {
    reasons.DENSITY: "shoot density",
    reasons.BALANCE: "yield to pruning weight",
    reasons.WOOD: "wood for later winters",
    reasons.FROST: "crop kept in past springs",
}


def _vines(found, units):
    """Return what gets better and what worse, by area: matters of the same blocks together."""
    parts = []
    for better, word in ((True, "Better"), (False, "Worse")):
        turns, alike = [t for t in found.decision.turns if t.better == better], {}
        for about, what in _MATTERS.items():
            blocks = tuple(t.block for t in turns if t.about == about)
            if blocks:
                alike.setdefault(blocks, []).append(what)
        texts = []
        for blocks, matters in alike.items():
            area = sum({t.block: t.area_ha for t in turns if t.block in blocks}.values())
            area = wording.amount("area_ha", area, units)
            texts.append(f"{_listed(matters, len(matters))} on {area} ({_listed(blocks)})")
        if texts:
            parts.append(f"{word}: {'; '.join(texts)}.")
    if not parts and found.decision.chosen != found.names[0]:
        return "Shoot density, balance, wood and frost stay as they are."
    return " ".join(parts)


def _rule(found, name):
    """Return a limit in words, and what would go beyond it."""
    limits = found.decision.limits
    if name in (reasons.DENSITY, reasons.BALANCE):
        out = f"of the area further out of its band of {_MATTERS[name]}"
        share = percent(limits.area_out)
        if limits.area_out == handbook.value("mix.area_out"):
            share = f"the default of {share}"
        return f"at most {share} {out}", f"More than {share} {out}"
    if name == reasons.HOURS:
        hours = f"{wording.number(limits.hours, 0)} pruning hours"
        return hours, f"More than {hours}"
    if name == WORST_YEAR:
        return "the worst year you bear", "A worse year than you bear"
    return f"the {name}", f"A higher {name}"


def _limits(found, units):
    """Return what each limit that binds costs."""
    mix = found.decision.mix
    if not mix.held:
        return ""
    return " ".join(
        f"{_rule(found, name)[1]} would bring up to {of_decision(found, more, units)} more."
        for name, more in mix.costs
    )


def counted(found):
    """Return what is counted in crop and money, in a sentence or two."""
    parts = []
    if found.frost_about:
        parts.append(f"spring frost as in {found.frost_about['seasons']} past springs")
    parts.append("crops lost altogether")
    if found.decision.by == "margin":
        spent = any(COSTS[name].paid for _, name, _ in found.costs.told())
        parts.append(f"your prices and contracts, {'and your costs' if spent else 'with no cost'}")
    text = f"In all these figures: {', '.join(parts)}."
    if found.decision.discount:
        text += f" Each later season counts {percent(found.decision.discount)} less."
    for block, seasons in list(found.frost_twice.items())[:1]:
        more = len(found.frost_twice) - 1
        others = f" and {more} more block{'s' * (more > 1)}" if more else ""
        text += (
            f" Frost counts twice in {block}{others}: harvests bear frost that no event tells "
            f"({_listed(map(str, seasons))})."
        )
    if found.frost_about and found.frost_missing:
        text += f" Without frost: {_listed(found.frost_missing)}."
    elif not found.frost_about:
        text += " Spring frost is not in them."
    return text


def choice_in_short(found, units=METRIC):
    """Return what to do and what it brings, in one line."""
    decision = found.decision
    if _all_alike(found):
        return f"every scenario has the plans of '{decision.first}'"
    text = f"keep the plans of '{decision.first}': no other choice brings more"
    if decision.chosen != decision.first:
        change = _more(found, _change(found, decision.row(), "all"), units)
        number = f"{len(decision.changed)} of {len(found.block_names)} blocks"
        text = f"another plan in {number}: {change} {OVER}"
    return text if decision.by == "margin" else f"{text}; prices would tell what is left of it"


def frost_notes(found):
    """Return why there is no frost, or none of some blocks, in sentences; none where all have it.

    What was not asked for is not looked for, so nothing is said of what is on record.
    """
    if not found.frost_asked:
        return ["The replay of past springs was not asked for, so spring frost is left out."]
    missing = [f"No frost figures for {b}: {why}" for b, why in found.frost_missing.items()]
    if found.frost_about:
        return missing
    return ["No block has a frost record to replay, so spring frost is left out.", *missing]


def risks(found, units=METRIC):
    """Return the risks of all scenarios, a sentence or two each."""
    texts = []
    if found.money_settled is not None:
        rows = found.money_settled.to_dict("records")
        above = [
            f"{wording.amount('tonnes', row['above_cap_t'], units)} in '{row['scenario']}'"
            for row in rows
            if row["above_cap_t"] >= 0.05
        ]
        if above:
            texts.append(
                "Settled crop beyond what the contracts take at their full price, in the mean: "
                f"{', '.join(above)}."
            )
        if max(row["chance_loss"] for row in rows) >= 0.005:
            chances = [f"{chance(row['chance_loss'])} with '{row['scenario']}'" for row in rows]
            texts.append(
                "Chance that costs are higher than revenue in a season, once settled: "
                f"{', '.join(chances)}."
            )
    if found.frost_about:
        low = chance(found.frame["frost_loss_chance_low"].min())
        high = chance(found.frame["frost_loss_chance_high"].max())
        texts.append(
            f"By the springs on record a year that takes more than "
            f"{percent(found.frost_about['loss'])} of a block's crop has a chance of {low} to "
            f"{high}. Where one such year would hurt, weigh longer wood or a late final cut "
            "against its price: the frost page does so."
        )
    texts.append(wording.FIRST_SEASON_GAIN)
    texts.append(
        "Bands are rules of thumb from handbooks and none of them knows your site; a block is not "
        "to be judged by one season."
    )
    return texts


def settings(found, units, version, made_on, invented):
    """Return what the figures rest on: version, seed, season, range level, as (name, value).

    Parameters
    ----------
    found : Scenarios
        As from ``compare_scenarios``.
    units : UnitSystem
        Units shown.
    version : str
        Of the package.
    made_on : date
        Day the report was made.
    invented : bool
        Whether the records are the sample's.
    """
    decision = found.decision
    rows = [
        ("made with", f"cropload {version}"),
        ("made on", f"{made_on:%Y-%m-%d}"),
        ("season (year of harvest)", str(found.season)),
        (
            "as of",
            f"the winter pruning for season {found.season}; no count of that season is used",
        ),
        ("range", f"{found.interval}: in {wording.years_of_ten()} the figure lies inside"),
        ("draws", f"{found.draws:,}, shared by all scenarios"),
        ("seed", str(found.seed)),
        ("units", "US (short ton, acre, foot, pound)" if units.name == "us" else "metric"),
        ("blocks", ", ".join(found.block_names)),
        ("scenarios", ", ".join(found.names)),
    ]
    if found.frost_about:
        rows.append(("frost replay", f"{found.frost_about['seasons']} past springs, same draws"))
    if not _all_alike(found):
        gap = f"{100 * decision.mix.gap:.2g} %"
        rows.append(
            (
                "plans recommended",
                f"of all choices of one plan a block the best {OVER}, on {decision.sample:,} of "
                f"the draws; another could be better by {gap} at most",
            )
        )
    if invented:
        rows.append(("records", "the sample estate Quillfoot; all of its data are invented"))
    return rows
