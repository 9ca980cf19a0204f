"""The six questions of the home page, each with a line of its present answer."""

from cropload.errors import CroploadError
from cropload.show import wording
from cropload.vine.bands import OUTSIDE

#: What stands in place of an answer that is not there yet.
WORKING = "being worked out ..."

#: Page -> its question, in the order of the year.
QUESTIONS = {
    "pruning_levels": "How many buds should a vine keep?",
    "frost_cover": "What is longer wood worth against frost?",
    "owner_scenarios": "Which scenario for the owner?",
    "counting_and_forecast": "What hangs, and what to count next?",
    "winery_intake": "What arrives when, and does it fit?",
    "season_review": "What missed, and what should change?",
}


def pruning_line(table):
    """Return in how many blocks shoots are off their band, from ``home_table``."""
    off = int(table["density_word"].isin(OUTSIDE).sum())
    return f"as carried, shoots are off their band in {off} of {len(table)} blocks"


def season_line(made, units):
    """Return what hangs on the estate."""
    row = made.frame_by("estate").iloc[0]
    return f"{wording.range_of(row, 'tonnes', 'tonnes', units)} {units.label('tonnes')}"


def review_line(records, units):
    """Return what the last harvest brought."""
    from cropload.beliefs.meant import picked_seasons

    picked = sorted(picked_seasons(records))
    if not picked:
        return "no harvest on record yet"
    crop = records.harvest["tonnes"][records.harvest["season"] == picked[-1]].sum()
    return f"{picked[-1]}: {wording.amount('tonnes', crop, units)} over the scale"


def frost_line(records, made, draws, seed):
    """Return what longer wood is worth where frost matters most, as a function of the units."""
    from cropload.frost.cover import frost_cover
    from cropload.frost.words import worth_in_short
    from cropload.pages.frost_cover import coldest_block, longer_levels
    from cropload.pruning.compare import estate_for, levels_of

    if records.weather.empty:
        return lambda units: "no weather on record yet: table weather would tell"
    block = coldest_block(records)
    plans, _ = levels_of(estate_for(records, block, made.season), block, longer_levels)
    found = frost_cover(records, block, plans, made.season, draws=draws, seed=seed)
    return lambda units: worth_in_short(found, block, units)


def owner_line(records, made, draws, seed):
    """Return which plans to take and what they bring, as a function of the units."""
    from cropload.owner.panels.opening_scenarios import opening_scenarios
    from cropload.owner.scenarios import compare_scenarios
    from cropload.owner.words import choice_in_short

    scenarios = opening_scenarios(records, made.season)
    found = compare_scenarios(records, scenarios, made.season, draws=draws, seed=seed)
    return lambda units: choice_in_short(found, units)


def winery_line(records, made, draws, seed):
    """Return whether the crop fits the limits of intake, as a function of the units."""
    from cropload.beliefs.dates.harvest_dates import harvest_dates
    from cropload.winery.capacity import capacity_table
    from cropload.winery.fit import fit_of
    from cropload.winery.intake import intake_schedule
    from cropload.winery.limits import own_periods
    from cropload.winery.words import fit_in_short

    dates = harvest_dates(records, made.season, draws=draws, seed=seed)
    here, periods = records.capacity, own_periods(records.capacity, made.season)
    if periods.empty:
        schedule = intake_schedule(made, dates, period="week")
        return lambda units: fit_in_short(made, schedule, units=units)
    schedule = intake_schedule(made, dates, period=periods, capacity=here)
    limits, fit = capacity_table(schedule, here), fit_of(schedule, here)
    return lambda units: fit_in_short(made, schedule, limits, fit, units)


#: Pages whose line takes a moment, so that it is worked out once the page is seen.
SLOW = {"winery_intake": winery_line, "owner_scenarios": owner_line, "frost_cover": frost_line}


def not_known(fault):
    """Return what is said in place of an answer that the records do not allow."""
    return f"not known yet: {fault}"


def question_lines(records, made, table, units, slow):
    """Return the six questions in the order of the year, each with a line of its present answer.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    made : Forecast
        Of the season.
    table : DataFrame
        Of ``home_table``.
    units : UnitSystem
        Units to show.
    slow : dict
        {page: what a function of ``SLOW`` returned}; a page that is not there is being worked out.

    Returns
    -------
    list of (str, str, str)
        Page, question, and the line.
    """
    says = {
        "pruning_levels": lambda units: pruning_line(table),
        "counting_and_forecast": lambda units: season_line(made, units),
        "season_review": lambda units: review_line(records, units),
        **dict.fromkeys(SLOW, lambda units: WORKING),
        **slow,
    }
    return [(page, question, _told(says[page], units)) for page, question in QUESTIONS.items()]


def _told(say, units):
    try:
        return say(units)
    except CroploadError as fault:
        return not_known(fault)
