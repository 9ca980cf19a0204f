"""The command ``frost``: what past springs would have left of each plan."""

from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import either, group, option

#: What the frost model must know of a block: station, offset, budburst.
WEATHER = group(
    "weather of the block",
    option("--station", "NAME", "weather station; the one table blocks names by default"),
    either(
        option(
            "--offset",
            "DEGREES",
            "block less station at night, C (F with --units us), below 0 in a frost hollow; "
            "as in table blocks by default",
            options.number,
        ),
        option(
            "--logger",
            "NAME",
            "estimate the offset from this logger of the block in table weather",
        ),
    ),
    option(
        "--budburst-sum",
        "X",
        "heat sum until budburst, degree days above 5 C from 1 January (1 July in the "
        "south); fitted to the block's own dates by default",
        options.number,
    ),
    option("--hemisphere", help="read off the temperatures by default", choices=("north", "south")),
)


def weather_of(given):
    """Return the keywords of ``frost_cover`` that the options stand for."""
    offset = given.offset
    if offset is not None:
        offset /= options.units_of(given).show("temperature_c")[1]
    return {
        "station": given.station,
        "offset": offset,
        "logger": given.logger,
        "budburst_sum": given.budburst_sum,
        "hemisphere": given.hemisphere,
    }


_ARGUMENTS = (
    options.RECORDS,
    options.BLOCK,
    option(
        "--plans",
        "PLANS",
        "plans, with commas between, like 2x10+2x2,2x14+2x2; the first is the one to beat",
        required=True,
    ),
    option(
        "--case",
        help="how the wood stands while the first buds push: laid_down (tied down in winter, the "
        "default), upright_until_final_cut (cut back late), or both, each by itself",
        default="laid_down",
        choices=("laid_down", "upright_until_final_cut", "both"),
    ),
    WEATHER,
    option(
        "--first-season",
        help="weigh the first season's crop, not the settled one (third season on)",
    ),
    option(
        "--heavy-loss-pct",
        "PCT",
        "a frost year loses more than this, %%; 30 by default",
        options.number,
    ),
    options.SEASON,
    options.UNITS,
    options.REFERENCE_PLAN,
    options.DRAWS,
    options.CSV,
)


def _run(given):
    from cropload.frost.cover import frost_cover
    from cropload.frost.words import export
    from cropload.vine.weather.settings import CASES

    records = options.records_of(given)
    found = frost_cover(
        records,
        given.block,
        given.plans,
        given.season,
        case=CASES if given.case == "both" else given.case,
        settled=not given.first_season,
        heavy_loss=options.share("--heavy-loss-pct", given.heavy_loss_pct),
        reference_plan=given.reference_plan,
        draws=given.draws,
        seed=given.seed,
        **weather_of(given),
    )
    units = options.units_of(given)
    options.save(given, export(found, units))
    return _parts(found, units)


def _parts(found, units):
    from cropload.frost import words
    from cropload.show.terminal import paragraph, points

    yield paragraph(found.heading(units))
    for table in found.tables(units):
        yield table.text(units) if table else paragraph(words.NO_SPRING)
    worth = words.worth_sentences(found)
    if worth:
        yield f"WHAT IT IS WORTH\n{points(worth)}"
    yield f"NOTES\n{points(found.notes)}"
    known = points(f"{heading} {text}" for heading, text, _ in words.evidence())
    yield f"WHAT IS KNOWN, AND WHAT IS NOT\n{known}"
    care = points(f"{heading}: {text}" for heading, text in words.CAUTIONS)
    yield f"TAKE CARE AT FROST PROTECTION\n{care}"
    yield paragraph(words.SUPPORT)


COMMANDS = (
    Command(
        name="frost",
        group="Winter pruning",
        summary="see what past springs would have left of each plan, and what that is worth",
        details="Replays every spring of the weather record for each plan: the nights that hurt, "
        "the stage then, the crop left, the crop over the years in t/ha (ton/ac with --units us), "
        "and from which frost chance on longer wood or a late final cut pays.",
        example="""
            cropload frost my_season --block "Mill Meadow" --plans 2x10+2x2,2x14+2x2
            cropload frost --example --block "Mill Meadow" --plans 2x10+2x2 --case both
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
