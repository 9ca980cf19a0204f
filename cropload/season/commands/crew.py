"""The command ``crew``: are the pruners leaving what was planned?"""

from cropload.show import options
from cropload.show.command import Command


def _arguments(parser):
    options.add_records(parser)
    options.add_block(parser)
    options.add_season(parser)
    parser.add_argument(
        "--plan",
        metavar="PLAN",
        help="what was to be left, like 3x8+3x2; by default as recorded, or last winter's",
    )
    parser.add_argument("--as-of", metavar="DATE", help="only counts up to this day")
    options.add_units(parser)
    options.add_draws(parser)
    parser.add_argument("--csv", metavar="FILE", help="also write the rows to a new .csv or .xlsx")
    parser.add_argument(
        "--replace", action="store_true", help="let --csv replace a file that exists"
    )


def _run(given):
    from cropload.season.crew_words import (
        OFF_HEAD,
        checked_crew,
        crew_rows,
        crew_sentence,
        rows_not_told,
    )
    from cropload.show.terminal import Column, paragraph, text_table, words

    records = options.records_of(given)
    units = options.units_of(given)
    check = checked_crew(
        records,
        given.block,
        given.season,
        plan=given.plan,
        date=given.as_of,
        draws=given.draws,
        seed=given.seed,
        name_plan="name it here, like --plan 2x10+2x2",
    )
    options.save(given, check.by_row)
    parts = [paragraph(crew_sentence(check, units))]
    rows = crew_rows(check, told_only=True)
    if rows:
        heads = [Column("row"), Column("vines"), Column("buds a vine")]
        heads += [Column(OFF_HEAD), words("verdict")]
        parts.append("ROW BY ROW\n" + text_table(heads, rows))
    if rows_not_told(check):
        parts.append(paragraph(rows_not_told(check)))
    return "\n\n".join([*parts, paragraph(options.CAUTION)])


COMMANDS = (
    Command(
        name="crew",
        group="Winter pruning",
        summary="check buds counted on pruned vines against the plan",
        details="Says whether a crew leaves what was planned: the mean of the buds counted with "
        "its range, the share of vines that are off, row by row, and what the difference "
        "means in t/ha (ton/ac with --units us).",
        example="""
            cropload crew my_season --block "Long Acre"
            cropload crew --example --block "Quarry Bank" --season 2026
        """,
        arguments=_arguments,
        run=_run,
    ),
)
