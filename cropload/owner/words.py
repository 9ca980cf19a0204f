"""What an owner's report says in words: what to do, what it brings, what if it goes wrong."""

from cropload import handbook
from cropload.beliefs import ranges
from cropload.owner import decision as reasons
from cropload.owner.costs import COSTS
from cropload.owner.decision import WHEN
from cropload.owner.mix import WORST_YEAR
from cropload.show import wording
from cropload.show.languages import say, say_number, with_currency
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


def listed(texts, named=_NAMED):
    """Return names as a sentence has them; of many blocks the first ones, and how many more."""
    texts = list(texts)
    more = len(texts) - named
    if more > 0:
        rest = say_number("%(number)s more block", "%(number)s more blocks", more)
        texts = [*texts[:named], rest]
    if len(texts) == 1:
        return texts[0]
    return say("%(some)s and %(last)s", some=", ".join(texts[:-1]), last=texts[-1])


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


def of_decision(found, value, units=METRIC, signed=False):
    """Return what the decision is by, money or else crop, as text with its unit.

    Parameters
    ----------
    found : Scenarios
        As from ``compare_scenarios``.
    value : float or (low, middle, high)
        [currency or t].
    units : UnitSystem
        Units to show.
    signed : bool
        Write the plus of a change.
    """
    text = _plain(found, value, units, signed)
    if found.decision.by == "margin":
        return with_currency(text, found.currency)
    return f"{text} {units.label('tonnes')}"


def _plain(found, value, units, signed=False):
    """Return the same without its unit."""

    def write(one):
        if found.decision.by == "margin":
            return money(one, change_step(found), signed=signed)
        return wording.amount("tonnes", one, units, unit=False, signed=signed)

    return wording.ranged(value, write) if isinstance(value, tuple) else write(value)


def more_text(found, value, units, unit=True):
    """Return a difference as so much more or less; with its signs where it may be either."""
    ends = value if isinstance(value, tuple) else (value,)
    shown = of_decision if unit else _plain
    if max(ends) <= 0 and min(ends) < 0:
        back = tuple(-end for end in reversed(ends))
        text = shown(found, back if len(back) > 1 else back[0], units)
        return say("%(amount)s less", amount=text)
    return say("%(amount)s more", amount=shown(found, value, units, signed=min(ends) < 0))


def _change(found, row, when):
    return tuple(row[_by(found, f"{when}_{end}")] for end in ranges.ENDINGS)


def _by(found, ending):
    """Return the column of differences that the decision is by."""
    return f"{'money' if found.decision.by == 'margin' else 'crop'}_{ending}"


def _of_money(found, money, crop):
    """Return which of two sentences is meant, of what is left or of the crop."""
    return money if found.decision.by == "margin" else crop


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
    parts = [(say("What to do"), do_text(found))]
    if not _all_alike(found):
        parts += [
            (say("What it brings"), _brings(found, units)),
            (say("If it goes wrong"), wrong_text(found, units)),
            (say("In the vines"), _vines(found, units)),
            (say("Limits"), _limits(found, units)),
        ]
    parts.append((say("Counted"), counted(found)))
    return [(name, text) for name, text in parts if text]


def _all_alike(found):
    return len(found.decision.same_as) == len(found.names) - 1


def do_text(found):
    """Return what to do, in a sentence."""
    decision, first = found.decision, found.names[0]
    if _all_alike(found):
        others = listed(f"'{name}'" for name in decision.same_as)
        return say_number(
            "There is nothing to choose between: %(others)s has the same plans as '%(first)s'.",
            "There is nothing to choose between: %(others)s have the same plans as '%(first)s'.",
            len(decision.same_as), others=others, first=first,
        )  # fmt: skip
    changed = decision.changed
    if changed.empty:
        if not decision.mix.held:
            never = [_rule(found, name)[0] for name, _ in decision.mix.costs]
            alone = listed(never) if never else say("all of your limits together")
            return say(
                "No choice among these plans keeps %(limits)s, so nothing is recommended.",
                limits=alone,
            )
        if decision.mix.costs:
            return say(
                "Keep the plans of '%(first)s' in every block: none of the others brings more "
                "within your limits.",
                first=first,
            )
        return say(
            "Keep the plans of '%(first)s' in every block: none of the others brings more.",
            first=first,
        )
    rows = changed.to_dict("records")
    kept = [block for block in found.block_names if block not in {row["block"] for row in rows}]
    named = decision.chosen in found.names
    if len(rows) > _NAMED:
        counts = {"some": len(rows), "all": len(found.block_names)}
        if named:
            what = say(
                "Change the plan in %(some)s of %(all)s blocks, to those of '%(name)s'",
                name=decision.chosen, **counts,
            )  # fmt: skip
        else:
            what = say("Change the plan in %(some)s of %(all)s blocks, as listed below", **counts)
        rest = say("; keep '%(first)s' in the others", first=first) if kept else ""
    else:
        each = (say("%(block)s to %(plan)s", block=r["block"], plan=r["plan"]) for r in rows)
        what = say("Prune %(what)s", what=listed(each))
        if named:
            what = f"{what} ({say('scenario')} {decision.chosen!r})"
        where = listed(kept) if kept else ""
        rest = say("; keep '%(first)s' in %(blocks)s", first=first, blocks=where) if kept else ""
    if decision.mix.costs and decision.row()[_by(found, "all_mean")] < 0:
        limits = listed(_rule(found, name)[0] for name, _ in decision.mix.costs)
        what = say("To keep %(limits)s: %(what)s", limits=limits, what=what)
    return f"{what}{rest}."


def _brings(found, units):
    decision, first = found.decision, found.names[0]
    row, name = decision.row(), say("This")
    if decision.chosen == first:
        own = [n for n in decision.names[1:] if n not in decision.same_as]
        best = max(own, key=lambda other: decision.row(other)[_by(found, "all_mean")])
        row, name = decision.row(best), say("'%(name)s', the best of the others,", name=best)
    each = {when: more_text(found, _change(found, row, when)[1], units, False) for when in WHEN[:3]}
    text = say(
        _of_money(
            found,
            "%(name)s leaves %(more)s than '%(first)s' over five seasons: %(one)s in the first, "
            "%(two)s in the second, %(later)s in a season once the vines have settled",
            "%(name)s bears %(more)s than '%(first)s' over five seasons: %(one)s in the first, "
            "%(two)s in the second, %(later)s in a season once the vines have settled",
        ),
        name=name,
        more=more_text(found, _change(found, row, "all"), units),
        first=first,
        one=each["first"],
        two=each["second"],
        later=each["settled"],
    )
    if decision.by == "margin":
        crop = wording.amount("tonnes", row["crop_all_p50"], units, signed=True)
        text += say("; %(crop)s of fruit over five seasons", crop=crop)
    return f"{text}."


def wrong_text(found, units=METRIC):
    """Return what being wrong costs, and what the worst year in ten leaves."""
    decision, first = found.decision, found.names[0]
    row, name = decision.row(), decision.chosen
    parts = []
    if name != first:
        text = say(
            _of_money(
                found,
                "The chance that it leaves less than '%(first)s' over five seasons is %(chance)s",
                "The chance that it bears less than '%(first)s' over five seasons is %(chance)s",
            ),
            first=first, chance=chance(row["chance_worse"]),
        )  # fmt: skip
        if row["chance_worse"] > 0:
            cost = of_decision(found, row["cost_if_worse"], units)
            text += say(", and then it is %(cost)s less in the mean", cost=cost)
        parts.append(f"{text}.")
    worst = {key: of_decision(found, value, units) for key, value in decision.worst.items()}
    text = say(
        _of_money(
            found,
            "In the worst year in ten, once settled, %(worst)s is left",
            "In the worst year in ten, once settled, %(worst)s is picked",
        ),
        worst=worst[name],
    )
    if name != first:
        text += say(", with '%(first)s' %(worst)s", first=first, worst=worst[first])
    return " ".join([*parts, f"{text}."])


#: Matters in words; each is said in the language spoken when it is told.
_MATTERS = {
    reasons.DENSITY: "shoot density",
    reasons.BALANCE: "yield to pruning weight",
    reasons.WOOD: "wood for later winters",
    reasons.FROST: "crop kept in past springs",
}


def _vines(found, units):
    """Return what gets better and what worse, by area: matters of the same blocks together."""
    parts = []
    for better in (True, False):
        turns, alike = [t for t in found.decision.turns if t.better == better], {}
        for about, what in _MATTERS.items():
            blocks = tuple(t.block for t in turns if t.about == about)
            if blocks:
                alike.setdefault(blocks, []).append(say(what))
        texts = []
        for blocks, matters in alike.items():
            area = sum({t.block: t.area_ha for t in turns if t.block in blocks}.values())
            area, what = wording.amount("area_ha", area, units), listed(matters, len(matters))
            texts.append(
                say("%(what)s on %(area)s (%(blocks)s)", what=what, area=area,
                    blocks=listed(blocks))
            )  # fmt: skip
        if texts:
            told = "; ".join(texts)
            parts.append(
                say("Better: %(what)s.", what=told)
                if better
                else say("Worse: %(what)s.", what=told)
            )
    if not parts and found.decision.chosen != found.names[0]:
        return say("Shoot density, balance, wood and frost stay as they are.")
    return " ".join(parts)


def _rule(found, name):
    """Return a limit in words, and what would go beyond it."""
    limits = found.decision.limits
    if name in (reasons.DENSITY, reasons.BALANCE):
        share = percent(limits.area_out)
        if limits.area_out == handbook.value("mix.area_out"):
            share = say("the default of %(share)s", share=share)
        told = {"share": share, "matter": say(_MATTERS[name])}
        return (
            say("at most %(share)s of the area further out of its band of %(matter)s", **told),
            say(
                "Letting more than %(share)s of the area go further out of its band of %(matter)s",
                **told,
            ),
        )
    if name == reasons.HOURS:
        number = wording.number(limits.hours, 0)
        return (
            say("%(number)s pruning hours", number=number),
            say("More than %(number)s pruning hours", number=number),
        )
    if name == WORST_YEAR:
        return say("the worst year you bear"), say("A worse year than you bear")
    name = name.removeprefix(f"{reasons.CEILING} ")
    return (
        say("the ceiling of %(name)s", name=name),
        say("A higher ceiling of %(name)s", name=name),
    )


def _limits(found, units):
    """Return what each limit that binds costs."""
    mix = found.decision.mix
    if not mix.held:
        return ""
    return " ".join(
        say("%(what)s would bring up to %(more)s more.", what=_rule(found, name)[1],
            more=of_decision(found, more, units))
        for name, more in mix.costs
    )  # fmt: skip


def counted(found):
    """Return what is counted in crop and money, in a sentence or two."""
    parts = []
    if found.frost_about:
        number = found.frost_about["seasons"]
        parts.append(say("spring frost as in %(number)s past springs", number=number))
    parts.append(say("crops lost altogether"))
    if found.decision.by == "margin":
        spent = any(COSTS[name].paid for _, name, _ in found.costs.told())
        parts.append(
            say("your prices and contracts, and your costs")
            if spent
            else say("your prices and contracts, with no cost")
        )
    texts = [say("In all these figures: %(parts)s.", parts=", ".join(parts))]
    if found.decision.discount:
        share = percent(found.decision.discount)
        texts.append(say("Each later season counts %(share)s less.", share=share))
    for _, seasons in list(found.frost_twice.items())[:1]:
        texts.append(
            say("Frost counts twice in %(blocks)s: harvests bear frost that no event tells "
                "(%(seasons)s).", blocks=listed(found.frost_twice, 1),
                seasons=listed(map(str, seasons)))
        )  # fmt: skip
    if found.frost_about and found.frost_missing:
        texts.append(say("Without frost: %(blocks)s.", blocks=listed(found.frost_missing)))
    elif not found.frost_about:
        texts.append(say("Spring frost is not in them."))
    return " ".join(texts)


def choice_in_short(found, units=METRIC):
    """Return what to do and what it brings, in one line."""
    decision = found.decision
    if _all_alike(found):
        return f"every scenario has the plans of '{decision.first}'"
    text = f"keep the plans of '{decision.first}': no other choice brings more"
    if decision.chosen != decision.first:
        change = more_text(found, _change(found, decision.row(), "all"), units)
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
                "of all choices of one plan a block the best over five seasons, on "
                f"{decision.sample:,} of the draws; another could be better by {gap} at most",
            )
        )
    if invented:
        rows.append(("records", "the sample estate Quillfoot; all of its data are invented"))
    return rows
