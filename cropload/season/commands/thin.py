"""The command ``thin``: how many clusters to leave on a vine for a target crop or balance."""

from cropload.season.commands.forecast import add_as_of, made
from cropload.show import options
from cropload.show.command import Command


def _arguments(parser):
    options.add_records(parser)
    options.add_block(parser)
    options.add_season(parser)
    add_as_of(parser)
    aim = parser.add_mutually_exclusive_group(required=True)
    aim.add_argument(
        "--target-t-ha", metavar="X", type=options.number, help="wanted crop at the scale, in t/ha"
    )
    aim.add_argument(
        "--target-ton-ac",
        metavar="X",
        type=options.number,
        help="wanted crop at the scale, in ton/ac",
    )
    aim.add_argument(
        "--ravaz",
        metavar="LOW,HIGH|KEY",
        type=options.band,
        help="wanted yield to pruning weight (kg/kg), like 5,10, or a handbook key",
    )
    options.add_units(parser)
    options.add_draws(parser)
    options.add_csv(parser)


def _run(given):
    from cropload.season.thinning import thin_to
    from cropload.season.words import standing
    from cropload.show.result_units import in_units
    from cropload.show.terminal import paragraph
    from cropload.units import US

    records = options.records_of(given)
    units = options.units_of(given)
    forecast = made(given, records)
    target = given.target_t_ha
    if given.target_ton_ac is not None:
        target = US.to_metric("t_ha", given.target_ton_ac)
    found = thin_to(forecast, given.block, target_t_ha=target, ravaz=given.ravaz)
    options.save(given, in_units(found.frame, units))
    return "\n\n".join(
        [paragraph(standing(forecast)), found.text(units), paragraph(options.CAUTION)]
    )


COMMANDS = (
    Command(
        name="thin",
        group="The growing season",
        summary="how many clusters to leave on a vine for a target crop or balance",
        details="Says how many whole clusters to leave on a vine at most for a target crop or a "
        "band of yield to pruning weight, with the chance of ending there before and after, and "
        "the labour.",
        example="""
            cropload thin my_season --block "Long Acre" --target-t-ha 7 --as-of 2026-07-15
            cropload thin --example --block "Lyre Field" --as-of 2026-07-15 --ravaz 5,10
        """,
        arguments=_arguments,
        run=_run,
    ),
)
