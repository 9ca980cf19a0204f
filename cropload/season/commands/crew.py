"""The command ``crew``: are the pruners leaving what was planned?"""

from dataclasses import replace

from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    options.RECORDS,
    options.BLOCK,
    option(
        "--season",
        "YEAR",
        "year of harvest; the latest with buds counted by default",
        options.year,
    ),
    option(
        "--plan",
        "PLAN",
        "what was to be left, like 3x8+3x2; by default as recorded, or last winter's",
    ),
    option("--as-of", "DATE", "only counts up to this day"),
    options.UNITS,
    options.DRAWS,
    options.CSV,
)


def _run(given):
    from cropload.beliefs.meant import check_block, next_season, why_season
    from cropload.season.crew_check import NoPlan, crew_check, last_counted
    from cropload.season.words import counted_words, rows_not_told
    from cropload.show.terminal import paragraph

    def meant(records):
        season = last_counted(records, check_block(records, given.block))
        coming = next_season(records)
        if season == coming:
            return season, f"{why_season(records, season)}."
        return season, f"the latest with buds counted; no bud is counted for {coming}."

    records = options.records_of(given, season=meant)
    try:
        check = crew_check(
            records,
            given.block,
            given.season,
            plan=given.plan,
            date=given.as_of,
            draws=given.draws,
            seed=given.seed,
        )
    except NoPlan as fault:
        raise fault.mended("name it here, like --plan 2x10+2x2") from None
    options.save(given, check.frame)
    given.opening = replace(given.opening, day=counted_words(check))
    parts = [check.text(options.units_of(given))]
    if rows := rows_not_told(check.frame):
        parts.append(paragraph(rows))
    return [*parts, paragraph(options.CAUTION)]


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
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
