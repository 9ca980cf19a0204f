"""The command ``next``: what to count next, and what an hour of it is worth."""

from cropload.season.commands.forecast import made
from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    options.RECORDS,
    options.SEASON,
    options.AS_OF,
    option(
        "--hours",
        "H",
        "crew hours to spend on one block and measure; 1 by default",
        options.number,
        1.0,
    ),
    option(
        "--of",
        "TOTAL",
        "the total whose range matters: estate (the default) or a variety by name",
        default="estate",
    ),
    options.UNITS,
    options.DRAWS,
    options.CSV,
)


def _run(given):
    from cropload.season.next_counts import next_counts
    from cropload.season.tables import MOST_COUNTS
    from cropload.season.words import next_sentence
    from cropload.show.terminal import paragraph

    records = options.records_of(given)
    units = options.units_of(given)
    found = next_counts(made(given, records), hours=given.hours, of=given.of)
    options.save(given, export(found, units))
    parts = [paragraph(f"{next_sentence(found, units)}{_not_yet(given, records, found)}")]
    if len(found):
        parts.append(found.table(units).text(units))
    if len(found) > MOST_COUNTS:
        parts.append(paragraph(f"{len(found) - MOST_COUNTS} more; --csv writes them all."))
    parts += [paragraph(note, "- ") for note in found.notes]
    return [*parts, paragraph(options.CAUTION)]


def _not_yet(given, records, found):
    """Return from when on the best count can be made, where that is still to come."""
    from cropload.season.due import due

    if not len(found):
        return ""
    tasks, best = due(records, given.as_of, made=found.forecast).frame, found.frame.iloc[0]
    mine = tasks[(tasks["block"] == best["block"]) & (tasks["what"] == best["what"])]
    later = mine[mine["state"] == "later"]
    if later.empty:
        return ""
    return f" Not before about {later['starts'].iloc[0]:%Y-%m-%d}: `due` lists what is due now."


def export(found, units):
    """Return the ranking as it is written to a file, in the units asked for."""
    rows, about = found.frame.copy(), {**found.forecast.attrs(), "of": found.of}
    if units.name == "us":
        for name in ("range_now_t", "range_after_t", "removed_t", "removed_t_per_hour"):
            us_name = name.replace("_t", "_tons", 1)
            rows[name] = units.convert("tonnes", rows[name])
            rows = rows.rename(columns={name: us_name})
    for name in ("interval", "of", "as_of", "season"):
        rows[name] = about[name]
    return rows


COMMANDS = (
    Command(
        name="next",
        group="The growing season",
        summary="rank what to count next by the range an hour of it would remove",
        details="For each block and measure that the season has reached: how many tonnes (short "
        "tons with --units us) a crew hour would take off the range of the estate's or a "
        "variety's crop, computed exactly without waiting for the count.",
        example="""
            cropload next my_season --hours 2
            cropload next --example --as-of 2026-07-15 --of "Sauvignon blanc"
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
