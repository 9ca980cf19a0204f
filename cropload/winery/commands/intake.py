"""The command ``intake``: what a winery takes in by week, against its limits and contracts."""

from cropload.season.commands.forecast import add_as_of
from cropload.show import options
from cropload.show.command import Command


def pick(text):
    """Read one picking date: ``Block=2027-09-20``, or with shares."""
    import argparse

    name, equals, dates = text.rpartition("=")
    if not equals or not name.strip():
        raise argparse.ArgumentTypeError(
            f"'{text}' is not a picking date; write BLOCK=DATE like \"Long Acre=2027-09-20\""
        )
    return name.strip(), dates.strip()


def _arguments(parser):
    options.add_records(parser)
    options.add_season(parser)
    add_as_of(parser)
    parser.add_argument(
        "--by",
        metavar="WHAT",
        choices=("block", "variety", "estate"),
        default="variety",
        help="rows of the table: variety (the default), block or estate",
    )
    parser.add_argument(
        "--period",
        metavar="PERIOD",
        choices=("week", "day", "limits"),
        default="week",
        help="week (the default, from Monday), day, or limits: the periods of table capacity",
    )
    parser.add_argument(
        "--pick",
        metavar="BLOCK=DATE",
        type=pick,
        action="append",
        default=[],
        help='a picking date that is known, like "Long Acre=2027-09-20" or '
        '"Long Acre=2027-09-20 60 %%, 2027-09-27 40 %%"; may be given again',
    )
    parser.add_argument(
        "--move",
        action="store_true",
        help="also look for blocks to move so that no period is likely too full",
    )
    parser.add_argument(
        "--chance",
        metavar="PERCENT",
        type=options.number,
        help="chance of going over a limit that is accepted with --move; 20 by default",
    )
    parser.add_argument(
        "--window",
        metavar="DAYS",
        type=options.whole,
        help="days a pick may move either way with --move; 7 by default",
    )
    options.add_units(parser)
    options.add_draws(parser)
    options.add_csv(parser)


def _run(given):
    from cropload.beliefs.dates.harvest_dates import harvest_dates
    from cropload.beliefs.dates.picking_dates import parse
    from cropload.beliefs.forecast import forecast
    from cropload.errors import CroploadError
    from cropload.winery.capacity import capacity_table
    from cropload.winery.intake import intake_schedule
    from cropload.winery.words import export

    if given.window is not None and not 0 <= given.window <= 60:
        raise CroploadError(
            f"--window is {given.window}; picks may move by 0 to 60 days either way."
        )
    if not given.move and (given.window is not None or given.chance is not None):
        raise CroploadError("--window and --chance belong to --move: add it.")
    records = options.records_of(given)
    asked = {"draws": given.draws, "seed": given.seed}
    found = forecast(records, given.season, given.as_of, **asked)
    picks = {name: parse(dates) for name, dates in given.pick}
    dates = harvest_dates(records, found.season, given.as_of, picks=picks, **asked)
    if given.period == "limits" and records.capacity.empty:
        raise CroploadError(
            "There is no table capacity in these records, so there are no periods of it. Use "
            "--period week, or add the table."
        )
    period = records.capacity if given.period == "limits" else given.period
    schedule = intake_schedule(found, dates, period=period)
    limits = capacity_table(schedule, records.capacity) if len(records.capacity) else None
    if schedule.empty:
        if given.csv:
            options.note(f"There is nothing to take in, so {given.csv} is not written.")
        return "\n\n".join(_nothing(given, found, schedule))
    table = schedule.table(given.by)
    options.save(given, export(table, options.units_of(given)))
    return "\n\n".join(_parts(given, records, found, dates, schedule, table, limits))


def _nothing(given, found, schedule):
    from cropload.season.words import standing
    from cropload.show.terminal import paragraph
    from cropload.winery import words as intake_words

    yield paragraph(standing(found))
    yield paragraph(intake_words.intake_sentence(schedule, None, options.units_of(given)))
    for note in found.notes:
        yield paragraph(note, "- ")
    yield paragraph(intake_words.CAUTION)


def _parts(given, records, found, dates, schedule, table, limits):
    from cropload.season.words import heading
    from cropload.show.terminal import Column, paragraph, text_table, words
    from cropload.winery import words as intake_words

    units = options.units_of(given)

    def shown(title, heads, rows, left):
        columns = [words(h) if at in left else Column(h) for at, h in enumerate(heads)]
        return f"{title}\n" + text_table(columns, rows)

    yield paragraph(heading(found))
    yield paragraph(intake_words.intake_sentence(schedule, limits, units))
    yield shown("PICKING DATES", *intake_words.date_rows(dates, found), {0, 1, 4})
    yield shown("INTAKE", *_intake_rows(table, given.by, units), {0, 1})
    yield paragraph(f"High end: {intake_words.high_end_words()}.", "- ")
    notes = list(schedule.notes)
    if limits is not None and len(limits):
        yield shown("LIMITS", *intake_words.limit_rows(limits, units), {0, 1})
    if limits is not None:
        notes = list(limits.attrs["notes"])
    if given.move:
        yield _moves(given, records, schedule, units, shown)
    if len(records.prices):
        from cropload.winery.contracts import contract_table

        contracts = contract_table(found, records.prices)
        yield shown("CONTRACTS", *intake_words.contract_rows(contracts, units), {0})
        notes += contracts.attrs["notes"]
    for note in notes:
        yield paragraph(note, "- ")
    yield paragraph(intake_words.CAUTION)


def _intake_rows(table, by, units):
    """Return a line a period and group, leaving out what is next to nothing."""
    from cropload.winery import words as intake_words

    label, volume = units.label("tonnes"), intake_words.volume_label(units)
    heads = ["period", by, f"mean [{label}]", "chance of any", f"high end [{label}]"]
    heads += [f"tank volume, high end [{volume}]"]
    rows = []
    for row in intake_words.shown_periods(table).to_dict("records"):
        cells = intake_words.any_cells(row, units)
        if row["tonnes_mean"] >= intake_words.SMALL:
            tank = "-" if cells[2] == "-" else intake_words.volume_text(row["tonnes_p90"], units)
            rows.append([row["period"], row[by], *cells, tank])
    return heads, rows


def _moves(given, records, schedule, units, shown):
    from cropload.errors import CroploadError
    from cropload.show.terminal import paragraph
    from cropload.winery import words as intake_words
    from cropload.winery.relief import CAUTION, relieve

    if records.capacity.empty:
        raise CroploadError("--move needs table capacity, and these records have none.")
    chance = None if given.chance is None else given.chance / 100
    answer = relieve(schedule, records.capacity, chance=chance, windows=given.window)
    told = ["BLOCKS TO MOVE", paragraph(answer.message)]
    if len(answer.moves):
        told.append(shown("", *intake_words.moves_rows(answer.moves, units), {0, 1, 2}).strip())
    told += [paragraph(f"How: {answer.method}."), paragraph(CAUTION)]
    return "\n".join(told)


COMMANDS = (
    Command(
        name="intake",
        group="The growing season",
        summary="tonnes by week, variety and block, against limits and contracts",
        arguments=_arguments,
        run=_run,
        example="""\
        cropload intake my_season --by block --period week
        cropload intake my_season --pick "Long Acre=2027-09-28" --move
        """,
        details=(
            "Lays the forecast over the picking dates, which come from the days between each "
            "block's own stages or from --pick, and gives the tonnes of each period with their "
            "range, what they fill in the tank (hl, or US gal), the chance of going over the "
            "limits of table capacity, and the room left under the contracts of table prices or "
            "the excess over them."
        ),
    ),
)
