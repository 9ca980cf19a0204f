"""The command ``sample``: how many vines to count, which, and the sheet to count by."""

from dataclasses import replace

from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    options.RECORDS,
    options.BLOCK,
    options.SEASON,
    option(
        "--what",
        "MEASURE",
        "what is counted: buds, shoots, noncount_shoots, clusters (the default), "
        "suitable_canes, pruning_weight_kg or leaf_area_m2; several with commas between, of which "
        "the first sets the number of vines",
        default="clusters",
    ),
    option(
        "--error",
        "PERCENT",
        "wanted error of the block's mean, in per cent either way; 10 by default",
        options.number,
        10.0,
    ),
    option("--vines", "N", "so many vines, whatever the error", options.whole),
    option(
        "--two-step",
        help="count clusters on many vines and weigh some on few of them, for the least crew time; "
        "--error is then that of the crop of a vine",
    ),
    option("--walk", "ROWS", "visit only so many rows", options.whole),
    option("--date", "DATE", "day of the visit, like 2026-07-15; today by default"),
    option("--csv", "FILE", "write the sheet as a new .csv file to type the counts into"),
    option("--html", "FILE", "write the sheet as a new .html file to print"),
    option("--replace", help="let --csv and --html replace files that exist"),
    options.UNITS,
    option("--seed", "N", "seed of the pick; 0 by default", options.whole, 0),
)


def _run(given):
    from cropload import clock
    from cropload.season.count_plan import sample_vines
    from cropload.show.terminal import paragraph

    records = options.records_of(given)
    what, *beside = (each.strip() for each in given.what.split(","))
    plan = sample_vines(
        records,
        given.block,
        what,
        beside=beside,
        error=given.error / 100,
        season=given.season,
        vines=given.vines,
        rows_to_walk=given.walk,
        date=given.date,
        seed=given.seed,
        units=options.units_of(given),
        two_step=given.two_step,
    )
    visit = clock.today() if given.date is None else clock.day(given.date)
    given.opening = replace(given.opening, day=f"visit of {visit:%Y-%m-%d}")
    options.tell_written(plan.write(given.csv, given.html, given.replace))
    parts = [paragraph(plan.words), paragraph(plan.walk())]
    *notes, care = plan.notes
    return [*parts, *(paragraph(note, "- ") for note in notes), paragraph(care)]


COMMANDS = (
    Command(
        name="sample",
        group="The growing season",
        summary="how many vines to count in a block, which, and a sheet to count by",
        details="Says how many vines give the block's mean within a wanted error (from how much "
        "vines differ and how many there are), picks them evenly by row from a random start, and "
        "writes the count sheet: HTML to print, CSV to type the counts into.",
        example="""
            cropload sample my_season --block "Long Acre" --what clusters --error 10
            cropload sample --example --block "Long Acre" --html sheet.html
            cropload sample --example --block "Long Acre" --two-step --error 15
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
