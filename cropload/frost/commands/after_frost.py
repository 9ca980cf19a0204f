"""The command ``after-frost``: a block's crop from shoots counted dead and alive."""

from dataclasses import replace

from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    options.RECORDS,
    options.BLOCK,
    option("--dead", "N", "dead shoots counted on sampled vines", options.whole),
    option("--alive", "N", "living shoots counted", options.whole),
    option(
        "--vines",
        "DEAD/ALL,...",
        "instead of totals, a count a vine like 3/14,5/12,0/13; it tells the spread between vines",
    ),
    option("--frost-date", "DATE", "day of the frost, like 2026-05-09"),
    option("--counted-on", "DATE", "day of the count"),
    option("--save", help="write it down in table events, so that later forecasts hold it"),
    options.SEASON,
    options.UNITS,
    options.DRAWS,
    options.CSV,
)


def _counts(given):
    from cropload.errors import CroploadError
    from cropload.frost.after_frost import read_vine_counts

    totals = given.dead is not None or given.alive is not None
    if totals == (given.vines is not None):
        raise CroploadError("Give --dead and --alive, or --vines with a count a vine.")
    if given.vines is not None:
        return read_vine_counts(given.vines)
    if given.dead is None or given.alive is None:
        raise CroploadError("Give both --dead and --alive: the share needs both counts.")
    if min(given.dead, given.alive) < 0:
        raise CroploadError("Counts of shoots cannot be below 0.")
    return given.dead, given.dead + given.alive


def _run(given):
    import pandas as pd

    from cropload.beliefs.forecast import forecast
    from cropload.clock import day
    from cropload.frost.after_frost import after_frost
    from cropload.show.result_units import in_units
    from cropload.show.terminal import paragraph

    dead, seen = _counts(given)
    frost, counted = day(given.frost_date), day(given.counted_on)
    before = None if frost is None else frost - pd.Timedelta(days=1)
    records = options.records_of(given, as_of=before)
    days = (("frost of", frost), ("counted", counted))
    told = ", ".join(f"{what} {on:%Y-%m-%d}" for what, on in days if on is not None)
    given.opening = replace(given.opening, day=told or "after a frost")
    early = forecast(records, given.season, before, draws=given.draws, seed=given.seed)
    found = after_frost(early, given.block, dead, seen, frost_date=frost, counted_on=counted)
    units = options.units_of(given)
    options.save(given, in_units(found.forecast.frame, units))
    yield from _parts(found, units)
    if given.save:
        yield paragraph(f"Written down in {found.save(records, frost)}.")


def _parts(found, units):
    from cropload.frost import words
    from cropload.show.terminal import paragraph, points

    yield "\n".join(paragraph(line) for line in words.after_sentences(found, units))
    yield found.table(units).text(units)
    yield points(words.after_notes(found))
    yield paragraph(words.SUPPORT)


COMMANDS = (
    Command(
        name="after-frost",
        group="The growing season",
        summary="update a block's crop from shoots counted dead and alive after a frost",
        details="Takes a count of dead and living shoots on sampled vines, and gives the crop of "
        "the living primary shoots and of the secondary ones in t (short tons with --units us). "
        "Wait a week after the frost before you count.",
        example="""
            cropload after-frost my_season --block "Mill Meadow" --dead 90 --alive 90
            cropload after-frost --example --block "Mill Meadow" --vines 3/14,5/12,0/13
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
