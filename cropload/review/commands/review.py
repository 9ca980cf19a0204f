"""The command ``review``: what the season's forecasts were worth, and what missed."""

from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_REVIEW_ARGUMENTS = (
    options.RECORDS,
    option("--season", "YEAR", "year of harvest; the last one picked", options.year),
    option(
        "--moment",
        "MOMENT",
        "the forecast whose miss is split by component: pruning, shoots, clusters (the "
        "default), lag, veraison or picking",
        default="clusters",
    ),
    options.UNITS,
    options.DRAWS,
    options.CSV,
)


def _review(given):
    from cropload.review.review import check_moments, last_picked, review_season
    from cropload.review.tables import GUESSES
    from cropload.review.words import export_crops
    from cropload.show.terminal import paragraph

    check_moments([given.moment])
    records = options.records_of(given, season=lambda on: (last_picked(on), "the last one picked."))
    found = review_season(records, given.season, draws=given.draws, seed=given.seed)
    units = options.units_of(given)
    if given.csv is not None:
        options.save(given, export_crops(found, units))
    scores, guesses, *logged = found.tables(units)
    tables = [scores, guesses.only("forecast", *GUESSES.values()), *logged]
    return [
        paragraph(found.heading(units)),
        *(table.text(units) for table in tables),
        "\n".join(paragraph(note, "- ") for note in found.notes),
        _why(records, given.season),
        _split(found, records, given.moment),
        paragraph(options.CAUTION),
    ]


def _why(records, season):
    from cropload.review.causes import find_causes, why_lines
    from cropload.show.terminal import paragraph

    lines = why_lines(find_causes(records, season), season)
    return "\n".join(["WHY, BY ALL SEASONS", *(paragraph(line, "- ") for line in lines)])


def _split(found, records, moment):
    from cropload.beliefs.calendar import MOMENTS
    from cropload.review.split_miss import split_miss
    from cropload.review.words import block_sentence
    from cropload.show.terminal import paragraph

    head = f"WHAT MISSED, {MOMENTS[moment]}"
    if moment not in found.forecasts:
        made = ", ".join(f"{MOMENTS[each]} ({each})" for each in found.forecasts)
        told = f"Nothing was measured for it in {found.season}. --moment asks another: {made}."
        return f"{head}\n{paragraph(told)}"
    split = split_miss(records, found.season, found.forecasts[moment])
    told = [*(block_sentence(split, block) for block in split.blocks), *split.notes]
    lines = [paragraph(split.heading()), *(paragraph(each, "- ") for each in told)]
    return "\n".join([head, *lines])


COMMANDS = (
    Command(
        name="review",
        group="After harvest",
        summary="score the season's forecasts against the scale, and say what missed",
        details="Makes each forecast of a season again from what was known on its day, holds it "
        "against the harvest beside guesses a grower would make (miss and bias in per cent, score "
        "in t, or short tons with --units us), says what caused it by all seasons (a counter, a "
        "way of counting, fruit lost after the count, a night, a trend, an odd season), and splits "
        "the miss by component. Forecasts kept in the log are scored as they were kept.",
        example="""
            cropload review my_season --season 2026
            cropload review --example --season 2026 --moment lag
        """,
        arguments=_REVIEW_ARGUMENTS,
        run=_review,
        many=True,
    ),
)
