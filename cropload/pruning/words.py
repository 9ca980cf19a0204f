"""Sentences on pruning levels: crop, balance, the difference between plans, next winter's wood."""

from cropload import handbook
from cropload.beliefs import ranges
from cropload.show import wording
from cropload.units import METRIC

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
    ends = [
        round(units.convert("tonnes", row[f"tonnes{ending}_change_{end}"]), 6)
        for end in ranges.ENDINGS
    ]
    low, middle, high = (f"{end:+.1f}" if abs(end) >= 0.05 else "0.0" for end in ends)
    label = units.label("tonnes") + ("s" if units.name == "us" else "")
    if not any(abs(end) >= 0.05 for end in ends):
        return f"no difference of {0.1:g} {label} or more"
    way = "more" if ends[1] > 0 else "less"
    how_much = (
        f"{abs(ends[1]):.1f} {label} {way} in the block" if middle != "0.0" else ("about as much")
    )
    return (
        f"{how_much} ({low} to {high}, {chance_text(row[f'chance_more{ending}'])} that it "
        "bears more)"
    )


def chance_text(chance):
    """Return a chance in words that draws can support, such as ``a chance of 84 %``.

    Examples
    --------
    >>> chance_text(0.842), chance_text(1.0), chance_text(0.002)
    ('a chance of 84 %', 'a chance of over 99 %', 'a chance under 1 %')
    """
    if chance > 0.99:
        return "a chance of over 99 %"
    return "a chance under 1 %" if chance < 0.01 else f"a chance of {100 * chance:.0f} %"


def _held(word, band):
    return f"inside the band {band}" if word == "inside" else f"{word} the band {band}"


def balance_sentence(row, density, balance, units=METRIC):
    """Return how one plan stands against the two bands, in one sentence.

    Parameters
    ----------
    row : Series or dict
        One row of ``compare_plans``.
    density, balance : Band
        Bands of shoots per metre [1/m] and of yield to pruning weight [kg/kg].
    units : UnitSystem
        Units to show.
    """
    shoots = wording.amount("per_m", row["shoots_per_m_p50"], units)
    held = _held(row["density_word"], wording.band_text(density, units, "per_m"))
    return (
        f"Shoot density {shoots}, {held}; yield to pruning weight "
        f"{wording.figure(row['ravaz_p50'])}, "
        f"{_held(row['balance_word'], wording.band_text(balance))}."
    )


def level_sentence(row, plan, density, balance, units=METRIC):
    """Return one level in plain words: buds, crop now and settled, and both bands.

    Parameters
    ----------
    row : Series or dict
        One row of ``compare_plans``.
    plan : PruningPlan
        The plan of the row.
    density, balance : Band
        Bands of shoots per metre [1/m] and of yield to pruning weight [kg/kg].
    units : UnitSystem
        Units to show.
    """
    return (
        f"{plan} leaves {plan.buds} buds on a vine ({plan.words()}). "
        f"{crop_sentence(row, units)} {balance_sentence(row, density, balance, units)}"
    )


def _percent(share):
    return f"{100 * share:.0f} %"


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
            f"{_percent(row['wood_both'])}, only one {_percent(row['wood_one'])}, "
            f"none {_percent(row['wood_none'])}"
        )
    elif plan.spurs:
        first = (
            f"a spur carries two shoots or more with a chance of {_percent(row['wood_both'])}, "
            f"only one {_percent(row['wood_one'])}, none {_percent(row['wood_none'])}"
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
        f"base does to lay down {_percent(usable)} of the time, and that a lost place comes back "
        f"from a watershoot {_percent(rebuilt)} of the time each winter: assumptions of ours, so "
        "read these figures as a warning, not as a count. Leaving a spur below each cane, or "
        "keeping a well-placed shoot when suckering, is what lowers them."
    )


def density_text(band, units):
    """Return the band of shoots per length in the units of the reader."""
    from cropload.show.wording import band_text

    # A band given in other units says them itself, so that they are not rounded twice.
    return band.name if units.label("per_m") in band.name else band_text(band, units, "per_m")


def export(found, units):
    """Return a comparison as it is written to a file: self-explaining rows, chosen units."""
    from cropload.show.result_units import in_units

    shown = in_units(found, units)
    shown.insert(0, "season", found.attrs["season"])
    shown.insert(0, "block", found.attrs["block"])
    for name in ("interval", "draws", "seed"):
        shown[name] = found.attrs[name]
    return shown
