"""The command ``next``: what to count next, and what an hour of it is worth."""

from cropload.season.commands.forecast import add_as_of, made
from cropload.show import options
from cropload.show.command import Command

#: Rows shown; the file of --csv holds all.
_SHOWN = 12


def _arguments(parser):
    options.add_records(parser)
    options.add_season(parser)
    add_as_of(parser)
    parser.add_argument(
        "--hours",
        metavar="H",
        type=options.number,
        default=1.0,
        help="crew hours to spend on one block and measure; 1 by default",
    )
    parser.add_argument(
        "--of",
        metavar="TOTAL",
        default="estate",
        help="the total whose range matters: estate (the default) or a variety by name",
    )
    options.add_units(parser)
    options.add_draws(parser)
    options.add_csv(parser)


def _run(given):
    from cropload.season.commands.forecast import heading
    from cropload.season.next_counts import next_counts
    from cropload.season.words import nothing_to_count
    from cropload.show import wording
    from cropload.show.terminal import Column, paragraph, text_table, words

    records = options.records_of(given)
    units = options.units_of(given)
    forecast = made(given, records)
    found = next_counts(forecast, hours=given.hours, of=given.of)
    options.save(given, export(found, units))
    parts = [paragraph(heading(forecast).split(" Each figure")[0])]
    if found.empty:
        parts.append(paragraph(nothing_to_count(forecast)))
        parts += [paragraph(note, "- ") for note in forecast.notes]
        return "\n\n".join([*parts, paragraph(options.CAUTION)])
    now = wording.amount("tonnes", found["range_now_t"].iloc[0], units)
    total = "the estate" if given.of == "estate" else given.of
    hours = "one crew hour" if given.hours == 1 else f"{given.hours:g} crew hours"
    parts.append(
        paragraph(
            f"The range of {total} is {now} wide ({forecast.attrs()['interval']}). What "
            f"{hours} would take off it, the best first:"
        )
    )
    label = units.label("tonnes")
    rows = [
        (
            str(place),
            row["block"],
            row["words"],
            str(row["vines"]),
            str(row["counted"]),
            wording.figure(units.convert("tonnes", row["removed_t"]), 2),
            wording.figure(units.convert("tonnes", row["removed_t_per_hour"]), 2),
        )
        for place, row in enumerate(found.head(_SHOWN).to_dict("records"), start=1)
    ]
    heads = [Column(""), words("block"), words("what"), Column("vines"), Column("counted so far")]
    heads += [Column("off the range", label), Column("an hour", label)]
    parts.append(text_table(heads, rows, keep=2))
    if len(found) > _SHOWN:
        parts.append(paragraph(f"{len(found) - _SHOWN} more; --csv writes them all."))
    parts += [paragraph(note, "- ") for note in forecast.notes]
    return "\n\n".join([*parts, paragraph(options.CAUTION)])


def export(found, units):
    """Return the ranking as it is written to a file, in the units asked for."""
    shown = found.copy()
    if units.name == "us":
        for name in ("range_now_t", "range_after_t", "removed_t", "removed_t_per_hour"):
            us_name = name.replace("_t", "_tons", 1)
            shown[name] = units.convert("tonnes", shown[name])
            shown = shown.rename(columns={name: us_name})
    for name in ("interval", "of", "as_of", "season"):
        shown[name] = found.attrs[name]
    return shown


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
        arguments=_arguments,
        run=_run,
    ),
)
