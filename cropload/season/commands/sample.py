"""The command ``sample``: how many vines to count, which, and the sheet to count by."""

from cropload.show import options
from cropload.show.command import Command


def _arguments(parser):
    options.add_records(parser)
    options.add_block(parser)
    options.add_season(parser)
    parser.add_argument(
        "--what",
        metavar="MEASURE",
        default="clusters",
        help="what is counted: buds, shoots, noncount_shoots, clusters (the default), "
        "suitable_canes, pruning_weight_kg or leaf_area_m2",
    )
    parser.add_argument(
        "--error",
        metavar="PERCENT",
        type=options.number,
        default=10.0,
        help="wanted error of the block's mean, in per cent either way; 10 by default",
    )
    parser.add_argument(
        "--vines", metavar="N", type=options.whole, help="so many vines, whatever the error"
    )
    parser.add_argument(
        "--two-step",
        action="store_true",
        help="count clusters on many vines and weigh some on few of them, for the least crew time; "
        "--error is then that of the crop of a vine",
    )
    parser.add_argument(
        "--walk", metavar="ROWS", type=options.whole, help="visit only so many rows"
    )
    parser.add_argument(
        "--date", metavar="DATE", help="day of the visit, like 2026-07-15; today by default"
    )
    parser.add_argument(
        "--csv", metavar="FILE", help="write the sheet as a new .csv file to type the counts into"
    )
    parser.add_argument(
        "--html", metavar="FILE", help="write the sheet as a new .html file to print"
    )
    parser.add_argument(
        "--replace", action="store_true", help="let --csv and --html replace files that exist"
    )
    options.add_units(parser)
    parser.add_argument(
        "--seed", metavar="N", type=options.whole, default=0, help="seed of the pick; 0 by default"
    )


def _run(given):
    from cropload.season.count_plan import sample_vines
    from cropload.show.terminal import paragraph

    records = options.records_of(given)
    plan = sample_vines(
        records,
        given.block,
        given.what,
        error=given.error / 100,
        season=given.season,
        vines=given.vines,
        rows_to_walk=given.walk,
        date=given.date,
        seed=given.seed,
        units=options.units_of(given),
        two_step=given.two_step,
    )
    options.tell_written(plan.write(given.csv, given.html, given.replace))
    parts = [paragraph(plan.words), paragraph(plan.walk())]
    *notes, care = plan.notes
    return "\n\n".join([*parts, *(paragraph(note, "- ") for note in notes), paragraph(care)])


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
        arguments=_arguments,
        run=_run,
    ),
)
