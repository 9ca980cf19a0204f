"""The command ``due``: what is due now and later, a plan for the hours there are, reminders."""

from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    options.RECORDS,
    options.SEASON,
    option("--day", "DATE", "the day it is, like 2026-05-20; today by default"),
    option("--hours", "H", "crew hours of this week, to plan what to do in them", options.number),
    option(
        "--of",
        "TOTAL",
        "the total whose range matters: estate (the default) or a variety",
        default="estate",
    ),
    option("--all", help="list every task of every block too"),
    option("--ics", "FILE", "also write reminders to a calendar file, FILE.ics"),
    options.UNITS,
    options.CSV,
)


def _run(given):
    from cropload.records.writing.gate import Result, write_results
    from cropload.records.writing.results import frame_result
    from cropload.season.due import due
    from cropload.season.due_calendar import reminders
    from cropload.show.terminal import paragraph

    if given.day is not None:
        given.as_of = given.day
    records, units = options.records_of(given, as_of=given.day), options.units_of(given)
    found = due(records, given.day, hours=given.hours, season=given.season, of=given.of)
    results = []
    if given.csv is not None:
        results.append(frame_result(given.csv, options.rounded(export(found, units))))
    if given.ics is not None:
        results.append(Result(given.ics, (".ics",), reminders(found, units)))
    options.tell_written(write_results(results, given.replace))
    tables = found.tables(units)
    shown = tables if given.all else tables[: found.printed]
    parts = [paragraph(found.heading(units)), *(table.text(units) for table in shown if table)]
    parts += [paragraph(note, "- ") for note in found.notes]
    return [*parts, paragraph(options.CAUTION)]


def export(found, units):
    """Return every task as it is written to a file, in the units asked for."""
    rows = found.frame.copy()
    if units.name == "us":
        rows["removed_t"] = units.convert("tonnes", rows["removed_t"])
        rows = rows.rename(columns={"removed_t": "removed_tons"})
    return rows.assign(season=found.forecast.season, day=found.day)


COMMANDS = (
    Command(
        name="due",
        group="The growing season",
        summary="tell what is due now and later, and what each count is worth",
        details="What can be measured this week, what will be worth measuring later and about "
        "when, by the stages on record, this season's heat and the usual days; and what that "
        "takes off the range of the estate's crop (t, short tons with --units us). With --hours, "
        "what to do in them and the range it leaves. A block counts as done when ten of its vines "
        "were measured.",
        example="""
            cropload due my_season --hours 6
            cropload due --example --season 2027 --day 2027-05-20 --ics reminders.ics
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
