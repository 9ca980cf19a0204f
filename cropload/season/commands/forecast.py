"""The command ``forecast``: a season's crop on any day of it."""

from dataclasses import replace

from cropload.errors import CroploadError
from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    options.RECORDS,
    options.SEASON,
    options.AS_OF,
    options.by("block"),
    option("--since", "DATE", "also say what changed since the forecast of this day"),
    option("--log", help="keep this forecast in forecasts.csv of the folder"),
    options.UNITS,
    options.DRAWS,
    options.CSV,
)


def made(given, records, as_of=None):
    """Return the forecast that a command is asked about; its first line says where it stands."""
    from cropload.beliefs.forecast import forecast
    from cropload.season.words import as_of_words

    day = given.as_of if as_of is None else as_of
    found = forecast(records, given.season, day, draws=given.draws, seed=given.seed)
    if as_of is None:
        given.opening = replace(given.opening, day=f"{as_of_words(found)}, {found.stage}")
    return found


def _run(given):
    from cropload.clock import day
    from cropload.season.forecast_view import export

    records = options.records_of(given)
    found = made(given, records)
    units = options.units_of(given)
    options.save(given, export(found, given.by, units))

    since, until = day(given.since), found.as_of
    if since is not None and until is not None and since >= until:
        raise CroploadError(
            f"--since {given.since} is not before {until:%Y-%m-%d}, the day of the forecast. Give "
            "an earlier day."
        )
    earlier = None if since is None else made(given, records, given.since)
    parts = list(_parts(found, earlier, given.by, units))
    if given.log:
        keep(found, records, given)
    return parts


def keep(found, records, given):
    """Append a forecast to the log of the user's folder, and say so."""
    from cropload.season.forecast_log import log_forecast

    if given.example:
        raise CroploadError(
            "The sample estate keeps no log. Make a folder of your own with "
            "`cropload new FOLDER --example` and give that."
        )
    options.note(f"Kept in: {log_forecast(found, records.path)}")


def _parts(found, earlier, by, units):
    from cropload.beliefs.meant import load_first
    from cropload.season.tables import crop_table
    from cropload.season.what_moved import change_notes
    from cropload.season.words import contribution_sentence, figures_sentence
    from cropload.show.terminal import paragraph

    load, notes = load_first(found.notes)
    yield from map(paragraph, load)
    yield paragraph(figures_sentence())
    yield crop_table(found, by).text(units)
    yield paragraph(contribution_sentence(found.contributions("estate")))
    if earlier is not None:
        change = found.explain(earlier)
        yield change.text(units)
        notes = (*change_notes(change), *notes)
    for note in notes:
        yield paragraph(note, "- ")
    yield paragraph(options.CAUTION)


COMMANDS = (
    Command(
        name="forecast",
        group="The growing season",
        summary="forecast the crop of a season, narrowed by every count so far",
        details="Forecasts every block's crop in t and t/ha (short tons and ton/ac with --units "
        "us) from its history and its plan, narrowed by every count and weight up to a day. "
        "Counts in some blocks also narrow the others, through what blocks share.",
        example="""
            cropload forecast my_season --as-of 2026-07-15 --by variety
            cropload forecast --example --as-of 2026-08-15 --since 2026-03-01
        """,
        arguments=_ARGUMENTS,
        run=_run,
        many=True,
    ),
)
