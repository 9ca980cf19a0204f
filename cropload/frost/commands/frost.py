"""The command ``frost``: what past springs would have left of each plan."""

from cropload.show import options
from cropload.show.command import Command


def add_weather(parser):
    """Add what the frost model must know of a block: station, offset, budburst."""
    weather = parser.add_argument_group("weather of the block")
    weather.add_argument(
        "--station", metavar="NAME", help="weather station; the one table blocks names by default"
    )
    offset = weather.add_mutually_exclusive_group()
    offset.add_argument(
        "--offset",
        metavar="DEGREES",
        type=options.number,
        help="block less station at night, C (F with --units us), below 0 in a frost hollow; as in "
        "table blocks by default",
    )
    offset.add_argument(
        "--logger",
        metavar="NAME",
        help="estimate the offset from this logger of the block in table weather",
    )
    weather.add_argument(
        "--budburst-sum",
        metavar="X",
        type=options.number,
        help="heat sum until budburst, degree days above 5 C from 1 January (1 July in the "
        "south); fitted to the block's own dates by default",
    )
    weather.add_argument(
        "--hemisphere", choices=("north", "south"), help="read off the temperatures by default"
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


def _arguments(parser):
    options.add_records(parser)
    options.add_block(parser)
    parser.add_argument(
        "--plans",
        metavar="PLANS",
        required=True,
        help="plans, with commas between, like 2x10+2x2,2x14+2x2; the first is the one to beat",
    )
    parser.add_argument(
        "--case",
        choices=("laid_down", "upright_until_final_cut", "both"),
        default="laid_down",
        help="how the wood stands while the first buds push: laid_down (tied down in winter, the "
        "default), upright_until_final_cut (cut back late), or both, each by itself",
    )
    add_weather(parser)
    parser.add_argument(
        "--first-season",
        action="store_true",
        help="weigh the first season's crop, not the settled one (third season on)",
    )
    parser.add_argument(
        "--heavy-loss-pct",
        metavar="PCT",
        type=options.number,
        help="a frost year loses more than this, %%; 30 by default",
    )
    options.add_season(parser)
    options.add_units(parser)
    options.add_reference_plan(parser)
    options.add_draws(parser)
    options.add_csv(parser)


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
        heavy_loss=None if given.heavy_loss_pct is None else given.heavy_loss_pct / 100,
        reference_plan=given.reference_plan,
        draws=given.draws,
        seed=given.seed,
        **weather_of(given),
    )
    units = options.units_of(given)
    options.save(given, export(found, units))
    return "\n\n".join(_parts(found, units))


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
        arguments=_arguments,
        run=_run,
    ),
)
