"""The command ``thin``: how many clusters to leave on a vine for a target crop or balance."""

from cropload.season.commands.forecast import made
from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import either, option

_ARGUMENTS = (
    options.RECORDS,
    options.BLOCK,
    options.SEASON,
    options.AS_OF,
    either(
        *options.TARGETS,
        option(
            "--ravaz",
            "LOW,HIGH|KEY",
            "wanted yield to pruning weight (kg/kg), like 5,10, or a handbook key",
            options.band,
        ),
        required=True,
    ),
    options.UNITS,
    options.DRAWS,
    options.CSV,
)


def _run(given):
    from cropload.season.thinning import thin_to
    from cropload.show.result_units import in_units
    from cropload.show.terminal import paragraph

    records = options.records_of(given)
    units = options.units_of(given)
    forecast = made(given, records)
    target = options.target_of(given)
    found = thin_to(forecast, given.block, target_t_ha=target, ravaz=given.ravaz)
    options.save(given, in_units(found.frame, units))
    return [found.text(units), paragraph(options.CAUTION)]


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
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
