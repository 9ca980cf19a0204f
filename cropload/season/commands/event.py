"""The command ``event``: write down what befell a block's crop, and see what it leaves."""

from cropload.records.tables import EVENT_KINDS
from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    options.RECORDS,
    options.BLOCK,
    option("--date", "DATE", "the day it happened, like 2026-06-20", required=True),
    option("--kind", "KIND", "what happened: " + ", ".join(EVENT_KINDS), required=True),
    option("--share", "PCT", "share that was lost, in percent", options.number),
    option("--of", "WHAT", "what the share is of: crop (the default), shoots, clusters or vines"),
    option(
        "--dead", "N", "shoots found dead on sampled vines, in the place of a share", options.whole
    ),
    option("--alive", "N", "shoots found alive on the same vines", options.whole),
    option("--counts", "WHEN", "counts of that day were made before or after it"),
    option("--note", "TEXT", "a remark"),
    options.UNITS,
    options.DRAWS,
)


def _run(given):
    import pandas as pd

    from cropload.beliefs.forecast import forecast
    from cropload.beliefs.meant import check_block
    from cropload.clock import day
    from cropload.records.hemisphere import season_of
    from cropload.records.records import read_records
    from cropload.records.writing.event_row import record_event
    from cropload.season.words import befell
    from cropload.show.terminal import paragraph, points

    records = options.records_of(given)
    block = check_block(records, given.block)
    season = int(season_of(records, pd.Series([day(given.date)]))[0])
    # What cannot be asked is told before anything is written.
    before = forecast(records, season, draws=given.draws, seed=given.seed)
    file = record_event(
        records,
        block,
        given.date,
        given.kind,
        share_pct=given.share,
        of=given.of,
        dead=given.dead,
        alive=given.alive,
        counts_that_day=given.counts,
        note=given.note,
    )
    after = forecast(read_records(records.path), season, draws=given.draws, seed=given.seed)
    told = [note for note in after.notes if note.startswith(f"{block}:")]
    yield paragraph(befell(before, after, block, options.units_of(given)))
    yield points([*told, f"Written down in {file}."])


COMMANDS = (
    Command(
        name="event",
        group="The growing season",
        summary="write down frost, hail, thinning and the like, and see what they leave",
        details="Adds a row to table events and says what it does to the crop. Forecast, intake "
        "and review hold it from then on: counts made after it show it, so nothing is taken off "
        "twice.",
        example="""
            cropload event my_season --block "Long Acre" --date 2026-06-20 \\
                --kind hail --share 35
            cropload event my_season --block "Mill Meadow" --date 2026-05-09 \\
                --kind frost --dead 90 --alive 90
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
