"""The command ``weather``: daily files of a weather service, taken into the records."""

from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    option("files", "FILE", "daily files as the service publishes them, unpacked", nargs="+"),
    option(
        "--station",
        "NAME",
        "name of the station in your records, as column station of table blocks has it",
        required=True,
    ),
    option("--into", "FOLDER", "folder or .xlsx workbook of your records", required=True),
    option("--code", "CODE", "which station, by its code, where a file holds several"),
    option(
        "--degrees",
        help="unit of the temperatures, only where the file does not tell: c, f, or tenths of "
        "degrees Celsius",
        choices=("c", "f", "tenths"),
    ),
)


def _run(given):
    from cropload.frost.take_weather import take_weather
    from cropload.show.terminal import paragraph, points
    from cropload.units import METRIC

    found = take_weather(
        given.files, given.station, given.into, code=given.code, degrees=given.degrees
    )
    yield paragraph(found.heading())
    yield found.table().text(METRIC)
    if found.notes:
        yield f"NOTES\n{points(found.notes)}"


COMMANDS = (
    Command(
        name="weather",
        group="Start",
        summary="take daily files of a weather service into your records, each day once",
        details="Reads daily files of Environment and Climate Change Canada, NOAA GHCN-Daily (by "
        "month, by element, and its daily summaries), DWD (KL) and Meteo-France, and any table "
        "with a date, a lowest and a highest temperature in C or F. Missing and flagged values "
        "are not used; a day on record is never overwritten.",
        example="""
            cropload weather daily_2026.csv --station Valley --into my_season
            cropload weather log.csv --station Hill --into my_season --degrees f
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
