"""What an owner's report says in words: the recommendation, the risks, the cautions."""

from dataclasses import fields

from cropload.beliefs import ranges
from cropload.owner import scenario_choice as reasons
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


def _listed(texts):
    texts = list(texts)
    more = len(texts) - _NAMED
    if more > 0:
        texts = [*texts[:_NAMED], f"{more} more block{'s' if more > 1 else ''}"]
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"


def margin_step(found):
    """Return the power of ten that all money of a comparison is rounded to."""
    frames = [frame for frame in (found.money_first, found.money_settled) if frame is not None]
    margins = [frame[["margin_p10", "margin_p90"]].to_numpy(float) for frame in frames]
    return money_step(ends for margin in margins for ends in margin)


def _matters(season):
    """Return what the words on bands judge, each with its season."""
    return {
        reasons.DENSITY: f"shoot density {wording.season_words(season)}",
        reasons.BALANCE: f"yield to pruning weight {wording.season_words('settled')}",
    }


def _objection(about, objections, season, units):
    """Return what speaks against a scenario in one matter, over its blocks."""

    def places(show):
        return _listed(f"{o.block} ({show(o)})" for o in objections)

    if about == reasons.DENSITY:
        return f"{_matters(season)[about]}: " + places(
            lambda o: f"{wording.amount('per_m', o.value, units)}, {o.word} the band"
        )
    if about == reasons.BALANCE:
        return f"{_matters(season)[about]}: " + places(
            lambda o: f"{wording.number(o.value)}, {o.word} the band"
        )
    if about == reasons.WOOD:
        return "more places short of wood after five winters in " + places(
            lambda o: f"{wording.number(o.value)} a vine instead of {wording.number(o.before)}"
        )
    return "less crop kept through past springs in " + places(
        lambda o: f"{percent(o.value)} instead of {percent(o.before)}"
    )


def objection_texts(objections, season, units=METRIC):
    """Return one phrase for each matter that objections are about.

    Parameters
    ----------
    objections : sequence of Objection
        Of one scenario.
    season : int
        Year of harvest that the shoot density is of.
    units : UnitSystem
        Units to show.
    """
    kinds = (reasons.DENSITY, reasons.BALANCE, reasons.WOOD, reasons.FROST)
    grouped = {about: [o for o in objections if o.about == about] for about in kinds}
    return [
        _objection(about, members, season, units) for about, members in grouped.items() if members
    ]


def _left(found, name, units):
    """Return what a scenario leaves (or gives) once settled, middle and range, as text."""
    if found.choice.by == "margin":
        frame, step = found.money_settled, margin_step(found)
        row = frame[frame["scenario"] == name].iloc[0]
        ends = [row[f"margin_{end}"] for end in ranges.ENDINGS]
        return f"{found.currency} {wording.ranged(ends, lambda end: money(end, step))}".strip()
    row = found.totals[found.totals["scenario"] == name].iloc[0]
    unit = units.label("tonnes")
    return f"{wording.range_of(row, 'tonnes_settled', 'tonnes', units)} {unit}"


def _chance(found, name):
    if found.choice.by == "margin":
        frame = found.money_settled
        return float(frame.loc[frame["scenario"] == name, "chance_worse"].iloc[0])
    frame = found.totals
    return float(frame.loc[frame["scenario"] == name, "chance_less_settled"].iloc[0])


def recommendation(found, units=METRIC):
    """Return the recommendation in three sentences.

    It is about pruning: what is said of money rests on the user's own prices and costs.

    Parameters
    ----------
    found, units : Scenarios, UnitSystem
        As from ``compare_scenarios``, and the units to show.

    Returns
    -------
    tuple of str
        What to choose and what it leaves, how sure that is, and what speaks against it.
    """
    choice = found.choice
    if not choice.rival:
        return _all_alike(found, units)
    money = choice.by == "margin"
    opening = "By crop and balance, "
    if money:
        counted = any(getattr(found.costs, each.name) for each in fields(found.costs))
        opening = f"On your prices{' and costs' if counted else ', with no cost counted'}, "
    verb = "leave" if money else "give"
    most = f"it {verb}s the most"
    if choice.chosen != choice.leader:
        beside = "" if choice.chosen == choice.first else f" than '{choice.first}' does"
        most = (
            f"it {verb}s the most of the scenarios that push no block further out of its "
            f"bands{beside}"
        )
    stay = "staying with " if choice.chosen == choice.first else ""
    first = (
        f"{opening}{stay}'{choice.chosen}' holds up best: {most}, about "
        f"{_left(found, choice.chosen, units)} a season once the vines have settled."
    )
    if choice.chosen != choice.first:
        second = (
            f"'{choice.first}' would {verb} about {_left(found, choice.first, units)}, and the "
            f"chance that '{choice.chosen}' {verb}s less than that in the same season is "
            f"{chance(_chance(found, choice.chosen))}."
        )
    else:
        more = f"'{choice.leader}' would {verb} more"
        if choice.chosen == choice.leader:
            more = f"The best of the others, '{choice.rival}', would {verb} "
            alike = _left(found, choice.rival, units) == _left(found, choice.chosen, units)
            more += "as much to the last figure shown" if alike else "less"
        other = choice.rival if choice.chosen == choice.leader else choice.leader
        second = (
            f"{more}, about {_left(found, other, units)}, and the chance that it {verb}s less "
            f"than '{choice.first}' in the same season is {chance(_chance(found, other))}."
        )
    same = same_words(found)
    return first, second, f"{_third(found, units)} {same}".strip()


def same_words(found):
    """Return which scenarios have the same plans as an earlier one, in words; empty for none."""
    return " ".join(
        f"'{name}' has the same plans as '{other}', so the two are one choice."
        for name, other in found.choice.same_as.items()
    )


def _quoted(names):
    return [f"'{name}'" for name in names]


def _all_alike(found, units):
    """Return the three sentences for scenarios that are all the same plans."""
    choice = found.choice
    verb = "leave" if choice.by == "margin" else "give"
    return (
        f"There is nothing to choose between: {_listed(_quoted(choice.same_as))} "
        f"{'has' if len(choice.same_as) == 1 else 'have'} the same plans as '{choice.first}'.",
        f"They {verb} about {_left(found, choice.first, units)} a season once the vines have "
        "settled.",
        _third(found, units),
    )


def choice_in_short(found, units=METRIC):
    """Return which scenario holds up best, and what it leaves or gives, in one line."""
    choice = found.choice
    if not choice.rival:
        return f"every scenario has the plans of '{choice.first}'"
    text = f"'{choice.chosen}' holds up best: {_left(found, choice.chosen, units)} a season"
    if choice.chosen != choice.leader:
        text += f"; '{choice.leader}' brings more, and pushes blocks out of their bands"
    return text if choice.by == "margin" else f"{text}; prices would tell what is left of it"


def third_in_short(found, units=METRIC):
    """Return the third sentence of the recommendation with blocks counted, for a small screen."""
    return _third(found, units, short=True)


def _third(found, units, short=False):
    choice = found.choice

    def texts(objections):
        return (
            _short_texts(objections, found.season)
            if short
            else objection_texts(objections, found.season, units)
        )

    parts = []
    if choice.leader != choice.chosen:
        out = choice.against(choice.leader, reasons.DENSITY, reasons.BALANCE)
        verb = "leave" if choice.by == "margin" else "give"
        more = (
            f"against '{choice.leader}' speaks"
            if choice.chosen == choice.first
            else f"'{choice.leader}' would {verb} more, about "
            f"{_left(found, choice.leader, units)}, but against it speaks"
        )
        parts.append(f"{more} {' and '.join(texts(out))}")
    against = texts(choice.against(choice.chosen))
    if against:
        parts.append(f"against '{choice.chosen}' speaks {' and '.join(against)}")
    if choice.standing:
        who = f"'{choice.chosen}' itself" if choice.leader != choice.chosen else "it"
        who = who if choice.rival else f"'{choice.chosen}'"
        alike = "" if choice.chosen == choice.first else f", as '{choice.first}' does"
        where = _standing(choice.standing, found.season)
        where = _counted(choice.standing) if short else where
        parts.append(f"{who} lies outside its bands{alike} in {where}")
    if not parts:
        if choice.chosen == choice.first:
            known = all(band.known for pair in found.bands.values() for band in pair)
            return (
                f"Shoot density and balance of '{choice.first}' lie inside their bands in every "
                f"block{'' if known else ', where a band is known'}."
            )
        frost = " or the frost record" if found.frost_about else ""
        return (
            f"Nothing in shoot density, balance, wood{frost} speaks against it more than against "
            f"'{choice.first}'."
        )
    text = "; ".join(parts) + "."
    return text[0].upper() + text[1:]


def _counted(objections):
    """Return one or two blocks by name, and more of them as a number."""
    blocks = list(dict.fromkeys(o.block for o in objections))
    return _listed(blocks) if len(blocks) < _NAMED else f"{len(blocks)} blocks"


def _short_texts(objections, season):
    """Return the matters that objections are about, each with how many blocks it is of."""
    names = _matters(season) | {
        reasons.WOOD: "more places short of wood after five winters",
        reasons.FROST: "less crop kept through past springs",
    }
    found = {about: [o for o in objections if o.about == about] for about in names}
    return [f"{names[about]} in {_counted(members)}" for about, members in found.items() if members]


def _standing(objections, season):
    """Return in brief which figures lie outside their bands, and where."""
    texts = []
    for about, name in _matters(season).items():
        sides = [
            f"{side} in {_listed(blocks)}"
            for side in ("above", "below")
            if (blocks := [o.block for o in objections if (o.about, o.word) == (about, side)])
        ]
        if sides:
            texts.append(f"{name} ({', '.join(sides)})")
    return " and ".join(texts)


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
    choice = found.choice
    for name in found.names[1:]:
        against = objection_texts(choice.against(name), found.season, units)
        if name in choice.same_as:
            texts.append(f"'{name}' has the same plans as '{choice.same_as[name]}'.")
        elif against:
            texts.append(f"'{name}' beside '{choice.first}': {'; '.join(against)}.")
        else:
            texts.append(
                f"'{name}' beside '{choice.first}': no block is further out of its bands, and "
                f"{'neither wood nor the frost record is' if found.frost_about else 'wood is not'} "
                "worse."
            )
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
    frost = found.frost_about
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
    if frost:
        rows.append(
            (
                "frost replay",
                f"{frost['seasons']} past springs, {frost['draws']} draws, same seed",
            )
        )
    if invented:
        rows.append(("records", "the sample estate Quillfoot; all of its data are invented"))
    return rows
