"""Sentences on pruning levels: crop, balance, the difference between plans, next winter's wood."""

from cropload import handbook
from cropload.beliefs import ranges
from cropload.show import wording
from cropload.show.wording import percent
from cropload.units import METRIC
from cropload.vine.bands import INSIDE, OUTSIDE
from cropload.vine.plan import PruningPlan

#: Said wherever plans are held against the first one.
DIFFERENCE = (
    "More or less is worked out season by season on the same vines, so it is far surer than the "
    "two crops themselves: what the weather does to one plan it does to the other."
)

#: What is assumed of wood without a renewal spur below it, in the handbook.
_WOOD_CHANCES = ("basal_shoot_usable", "rebuild_chance")


def crop_sentence(row, units=METRIC):
    """Return what one plan would give, first season and settled, in two or three sentences.

    Parameters
    ----------
    row : Series or dict
        One row of ``compare_plans``.
    units : UnitSystem
        Units to show.
    """
    label = units.label("t_ha")
    middle = wording.amount("t_ha", row["t_ha_p50"], units, unit=False)
    low_high = wording.span("t_ha", row["t_ha_p10"], row["t_ha_p90"], units).replace(
        " to ", " and "
    )
    total = wording.amount("tonnes", row["tonnes_p50"], units)
    later = wording.amount("t_ha", row["t_ha_settled_p50"], units, unit=False)
    text = (
        f"In the first season about {middle} {label} ({total} in the block); "
        f"in {wording.years_of_ten()} between {low_high} {label}. "
    )
    if later == middle:
        return text + f"From the third season on the same, about {later} {label}."
    way = "more" if row["t_ha_settled_p50"] > row["t_ha_p50"] else "less"
    later_span = wording.span("t_ha", row["t_ha_settled_p10"], row["t_ha_settled_p90"], units)
    return text + (
        f"From the third season on {way}, about {later} {label} ({later_span}), because the vine "
        "settles on the load."
    )


def difference_sentence(row, name, units=METRIC):
    """Return what one plan gives more or less than the first one, now and settled.

    Parameters
    ----------
    row : Series or dict
        One row of ``compare_plans``, not the first.
    name : str
        What the first plan is called, such as ``level 1``.
    units : UnitSystem
        Units to show.
    """
    now = f"Against {name}: {_change(row, '', units)} in the first season"
    return f"{now}; {_change(row, '_settled', units)} from the third season on."


def _change(row, ending, units):
    """Return a change of the block's crop with its range and the chance of more, as text."""
    low, middle, high = (row[f"tonnes{ending}_change_{end}"] for end in ranges.ENDINGS)
    if all(abs(units.convert("tonnes", end)) < 0.05 for end in (low, middle, high)):
        least = wording.amount("tonnes", units.to_metric("tonnes", 0.1), units)
        return f"no difference of {least} or more"
    size = wording.amount("tonnes", abs(middle), units)
    way = "more" if middle > 0 else "less"
    how_much = "about as much" if size.startswith("0.0 ") else f"{size} {way} in the block"

    def signed(end):
        return wording.amount("tonnes", end, units, unit=False, signed=True)

    return (
        f"{how_much} ({wording.ranged((low, None, high), signed)}, a chance of "
        f"{wording.chance(row[f'chance_more{ending}'])} that it bears more)"
    )


def balance_sentence(row, comparison, units=METRIC):
    """Return how one plan stands against the two bands, each verdict with its season.

    Parameters
    ----------
    row : Series or dict
        One row of ``compare_plans``.
    comparison : Comparison
        What the row is of.
    units : UnitSystem
        Units to show.
    """
    density, balance, season = comparison.density, comparison.balance, comparison.season
    shoots, ratio, settled = (
        row[f"{name}_p50"] for name in ("shoots_per_m", "ravaz", "ravaz_settled")
    )
    return (
        f"Shoot density {wording.amount('per_m', shoots, units)}: "
        f"{_stands(density, shoots, season)}"
        f"{wording.band_text(density, units, 'per_m')}. Yield to pruning weight "
        f"{wording.number(ratio)}: {wording.verdict(balance.judge(ratio, season))}; "
        f"{wording.number(settled)}: {wording.verdict(balance.judge(settled, 'settled'))}; "
        f"held against {wording.band_text(balance)}."
    )


def _stands(band, value, season):
    """Return what stands before the words of a band: the verdict on a value, where there is one."""
    return f"{wording.verdict(band.judge(value, season))}, held against " if band.known else ""


def level_sentence(row, plan, comparison, units=METRIC):
    """Return one level in plain words: buds, crop now and settled, and both bands.

    Parameters
    ----------
    row, comparison, units
        As in ``balance_sentence``.
    plan : PruningPlan
        The plan of the row.
    """
    return (
        f"{plan} leaves {plan.buds} buds on a vine ({plan.words()}). "
        f"{crop_sentence(row, units)} {balance_sentence(row, comparison, units)}"
    )


def _few(places):
    """Return a mean number of places, and a very small one as ``under 0.01``."""
    return "under 0.01" if 0 < places < 0.005 else wording.figure(places, 2)


#: What the columns of a table of wood mean.
WOOD_WORDS = (
    "Lost: places with no wood at all next winter. Short: places with no cane (or spur) after 5 "
    "winters. Spur only: if nothing but the renewal spur is used. Base used: with the base of the "
    "old cane used too, as a pruner does."
)


def wood_sentence(row, plan):
    """Return what a plan leaves to prune to next winter, in two sentences.

    Parameters
    ----------
    row : Series or dict
        One row of ``compare_plans``.
    plan : PruningPlan
        The plan of the row.
    """
    places, kind = f"{row['wood_places']:g}", "cane" if plan.canes else "spur"
    if plan.canes and plan.spurs:
        first = (
            f"a renewal spur carries both shoots it should with a chance of "
            f"{percent(row['wood_both'])}, only one {percent(row['wood_one'])}, "
            f"none {percent(row['wood_none'])}"
        )
    elif plan.spurs:
        first = (
            f"a spur carries two shoots or more with a chance of {percent(row['wood_both'])}, "
            f"only one {percent(row['wood_one'])}, none {percent(row['wood_none'])}"
        )
    else:
        first = "no renewal spurs are left, so the next canes come from the bases of the old ones"
    bare = plan.canes > plan.spurs
    noun = f"{places} {kind} place" + ("" if places == "1" else "s")

    def lost(name):
        return (
            f"{_few(row[f'places_lost{name}_per_vine'])} "
            f"({wording.figure(row[f'places_lost{name}_block'], 0)} in the block)"
        )

    def short(name):
        return _few(row[f"places_short{name}_5_winters"])

    text = f"Next winter's wood: {first}. Of {noun} on a vine "
    if plan.canes and plan.spurs:
        text += (
            f"{lost('_base_used')} would be lost, with no wood at all, when the base of the old "
            f"cane is used too; if nothing but the spur is used, {lost('')}. After five winters "
            f"about {short('')} of a vine's places would be short, with no {kind}; if nothing but "
            f"the spur is used, {short('_spur_only')}."
        )
    else:
        text += (
            f"{lost('')} would be lost, with no wood at all, and after five winters about "
            f"{short('')} would be short, with no {kind}."
        )
    if not bare:
        return text
    usable, rebuilt = (handbook.value(f"wood.{name}") for name in _WOOD_CHANCES)
    return (
        f"{text} That takes it that where no renewal spur stands below a cane, a shoot at its "
        f"base does to lay down {percent(usable)} of the time, and that a lost place comes back "
        f"from a watershoot {percent(rebuilt)} of the time each winter: assumptions of ours, so "
        "read these figures as a warning, not as a count. Leaving a spur below each cane, or "
        "keeping a well-placed shoot when suckering, is what lowers them."
    )


def comparison_heading(comparison, units=METRIC):
    """Return what a comparison of plans is, and what the block's own crops average."""
    number, (mean, seasons) = len(comparison), comparison.own_crops
    own = ""
    if seasons > 1:
        own_mean = wording.amount("t_ha", mean, units)
        usual = f" at about {comparison.usual_buds:.0f} buds a vine" * comparison.load_known
        own = f" In {seasons} crops on record the vines bore {own_mean} on average{usual}."
    return (
        f"{comparison.block}, harvest {comparison.season}: {number} plan{'s' * (number > 1)} on "
        f"the same draws. Each figure is the middle, with its {comparison.interval}, in brackets."
        f"{own}"
    )


def blocks_heading(comparison):
    """Return what a comparison of blocks is, in two sentences."""
    what = "each block with its usual plan" if comparison.usual else "plans in every block"
    return (
        f"Harvest {comparison.season}: {what}, on the same draws. Each figure is the middle; the "
        f"crop has its {comparison.interval}, in brackets."
    )


def search_heading(search, units=METRIC):
    """Return what a search for a crop looked for."""
    which = "settled crop (third season on)" if search.settled else "first season's crop"
    target = f"{units.convert('t_ha', search.target_t_ha):.3g} {units.label('t_ha')}"
    return f"{search.block}, harvest {search.season}: plans for {target}, judged by the {which}."


#: Share of a target below which the cost of a limit is not worth a word.
_WORTH_TELLING = 0.02


def own_layout(plans, own, middle, chance, carried, goal):
    """Return how the block's own layout meets a crop, as a list of one sentence, or none.

    Parameters
    ----------
    plans : sequence of PruningPlan
        The layouts.
    own : sequence of int
        Places of those of the block's own layout within the limits, best first.
    middle, chance : ndarray
        Middle of each layout's crop [t/ha], and its chance of landing on the target [1].
    carried : PruningPlan or None
        What the block carries.
    goal : object
        With ``target``, ``low`` and ``high`` [t/ha], and ``units``.
    """
    if carried is None:
        return []
    if carried.canes:
        kept = " and ".join(
            _counted(number, one, one + "s")
            for number, one in ((carried.canes, "cane"), (carried.spurs, "spur"))
            if number
        )
        what, number = ("bud a cane", "buds a cane"), "buds_per_cane"
    else:
        kept = f"spurs of {_counted(carried.buds_per_spur, 'bud', 'buds')}"
        what, number = ("spur", "spurs"), "spurs"
    if not own:
        return [f"No plan that keeps {kept} is within these limits."]
    # Chances that differ by one in a hundred are alike.
    alike = [p for p in own if chance[p] >= chance[own[0]] - 0.01]
    on_target = [p for p in alike if goal.low <= middle[p] <= goal.high]
    sizes = sorted(getattr(plans[p], number) for p in on_target or own[:1])
    span = f"{sizes[0]}" if sizes[0] == sizes[-1] else f"{sizes[0]} to {sizes[-1]}"
    told = f"Keep {kept}: {span} {what[sizes[-1] != 1]}"
    if on_target:
        target = goal.units.convert("t_ha", goal.target)
        return [f"{told} for {target:.3g} {goal.units.label('t_ha')}."]
    crop = wording.amount("t_ha", middle[own[0]], goal.units)
    return [f"{told} comes nearest, with {crop}."]


def limit_costs(costs, plans, goal):
    """Return what each limit costs, a sentence a limit.

    Parameters
    ----------
    costs : list of (Limit, int, float)
        Of ``cost_of_limits``.
    plans, goal
        As in ``own_layout``.
    """
    units = goal.units
    return [
        f"Limit '{limit.short}' {'costs' if more > 0 else 'adds'} "
        f"{wording.amount('t_ha', abs(more), units)}: without it {plans[at]} comes nearer."
        for limit, at, more in costs
        if abs(more) >= _WORTH_TELLING * goal.target
    ]


def table_note(comparison, table):
    """Return what must be read with one of the tables of a comparison; empty for most."""
    if table.key == "vine":
        return wording.FIRST_SEASON_GAIN
    if table.key == "difference_settled":
        return f"Each difference has its own {comparison.interval}. {DIFFERENCE}"
    return WOOD_WORDS if table.key == "wood" else ""


#: Unit of a component -> quantity of the unit system, for those that differ between systems.
_QUANTITY = {"g": "cluster_weight_g", "kg/m": "pruning_weight_kg_per_m"}


def component_text(part, units=METRIC):
    """Return a component with its centre and spread, such as ``shoots per bud: 0.98, spread 6 %``.

    Parameters
    ----------
    part : dict
        One of ``component_origins``.
    units : UnitSystem
        Units to show.
    """
    # The words of a component already say "per vine".
    label, centre, words = part["unit"], part["centre"], part["words"]
    if label in _QUANTITY:
        quantity = _QUANTITY[label]
        label, centre = units.label(quantity), units.convert(quantity, centre)
    label = "" if label in ("1", "1/vine") else f" {label}"
    if units.name == "us":
        words = words.replace("per metre", "per foot")
    return f"{words}: {wording.significant(centre)}{label}, spread {100 * part['spread']:.0f} %"


def dropped_sentences(search):
    """Return how many layouts each limit dropped, a sentence a limit."""
    return [
        f"{number} of {search.considered} by {limit}"
        for limit, number in search.dropped.items()
        if number
    ]


def export(answer, units):
    """Return a comparison, or plans found, as written to a file: self-explaining, chosen units."""
    from cropload.show.result_units import in_units

    frame = answer.frame
    if "density_band" in frame:
        frame = frame.assign(density_band=wording.band_text(answer.density, units, "per_m"))
    frame = in_units(frame, units)
    if "block" not in frame:
        frame.insert(0, "block", answer.block)
    frame.insert(1, "season", answer.season)
    for name in ("interval", "draws", "seed"):
        frame[name] = getattr(answer, name)
    return frame


_COUNT = [
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
]
#: Number of a plan -> what it counts, one and several.
_NOUNS = {
    "canes": ("cane", "canes"),
    "buds_per_cane": ("bud a cane", "buds a cane"),
    "spurs": ("spur", "spurs"),
    "buds_per_spur": ("bud a spur", "buds a spur"),
}


def what_matters(comparison, plans, units=METRIC):
    """Return the one sentence that matters of a comparison.

    Parameters
    ----------
    comparison : Comparison
        One row a level.
    plans : list of PruningPlan
        The levels; the first is what the others are held against.
    units : UnitSystem
        Units to show.

    Returns
    -------
    str
        Of the level that brings shoots or balance inside their band, else of the one that moves
        the crop most.
    """
    rows = wording.levels(comparison.frame)
    if len(rows) == 1:
        row = rows[0]
        crop = wording.range_of(row, "t_ha", "t_ha", units).replace("-", " to ")
        settled = wording.amount("t_ha", row["t_ha_settled_p50"], units, unit=False)
        start = (
            f"{wording.capital(_counted(row['buds_per_vine'], 'bud', 'buds'))} a vine: {crop} "
            f"{units.label('t_ha')} next harvest, {settled} once settled"
        )
        return "; ".join([start, *_standings(None, row, comparison, units), _wood(row)]) + "."
    first, others = rows[0], range(1, len(rows))

    def worth(at):
        row = rows[at]
        better = sum(
            (row[word] == INSIDE) - (first[word] == INSIDE)
            for word in ("density_word", "balance_word")
        )
        return better, abs(row["t_ha_settled_change_p50"])

    at = max(others, key=worth)
    row = rows[at]
    start = f"{_instead(plans[at], plans[0])}: {_crop_change(row, units)}"
    return "; ".join([start, *_standings(first, row, comparison, units), _wood(row)]) + "."


def _counted(number, one, several):
    number = round(number)
    words = _COUNT[number] if number < len(_COUNT) else f"{number}"
    return f"{words} {one if number == 1 else several}"


def _instead(plan, first):
    """Return what differs between a plan and the first one, such as ``Six buds a cane ...``."""
    differ = [name for name in _NOUNS if getattr(plan, name) != getattr(first, name)]
    if len(differ) == 1:
        name = differ[0]
        told = _counted(getattr(plan, name), *_NOUNS[name])
        before = getattr(first, name)
        return f"{wording.capital(told)} instead of {_counted(before, '', '').strip()}"
    if not differ:
        return "The same plan again"
    return f"{plan} instead of {first}"


def _crop_change(row, units):
    def size(end):
        return wording.amount("t_ha", abs(end), units, unit=False)

    label = units.label("t_ha")
    low, middle, high = (row[f"t_ha_change_{end}"] for end in ranges.ENDINGS)
    settled = row["t_ha_settled_change_p50"]
    way = "more" if middle > 0 else "less"
    later = "more" if settled > 0 else "less"
    if low < 0 < high:
        now = f"about the same crop next harvest ({size(low)} {label} less to {size(high)} more)"
        return f"{now}, {size(settled)} {later} once settled"
    ends = sorted((abs(low), abs(high)))
    told = f"{size(middle)} {label} {way} next harvest ({size(ends[0])} to {size(ends[1])})"
    return f"{told}, {size(settled)} {later if later != way else ''} once settled".replace(
        "  ", " "
    )


def _standings(first, row, comparison, units):
    """Return how shoots and balance stand against their bands, where that is worth a word."""
    told = []
    for about, verb, word, band, quantity in (
        ("shoots", "come", "density_word", comparison.density, "per_m"),
        ("yield to pruning weight", "comes", "balance_word", comparison.balance, None),
    ):
        if not band.known:
            if first is None:
                told.append(f"{band.name}'s {about}")
            continue
        ends = [band.low, band.high]
        if quantity:
            ends = [units.convert(quantity, end) for end in ends]
        label = f" {units.label(quantity)}" if quantity else ""
        where = f"{ends[0]:.3g} to {ends[1]:.3g}{label}"
        now, before = row[word], None if first is None else first[word]
        stays = {"come": "stay", "comes": "stays"}[verb]
        are = {"come": "are", "comes": "is"}[verb]
        if before is None:
            told.append(f"{about} {are} {now} {where}")
        elif now == INSIDE and before != INSIDE:
            told.append(f"{about} {verb} inside {where}")
        elif now in OUTSIDE:
            told.append(f"{about} {stays if now == before else verb} {now} {where}")
    return told


def _wood(row):
    """Return whether the plan leaves wood for its places next winter."""
    plan = PruningPlan.parse(row["plan"])
    used = "_base_used" if plan.canes and plan.spurs else ""
    lost = row[f"places_lost{used}_per_vine"] / max(row["wood_places"], 1)
    noun = ("cane", "canes") if plan.canes else ("spur", "spurs")
    places = _counted(row["wood_places"], *noun)
    word = "short" if lost > handbook.value("words.wood_short") else "enough"
    return f"wood for {places} next winter: {word}"
