"""The command ``intake``: what a winery takes in by week, against its limits and contracts."""

from cropload.season.commands.forecast import made
from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

#: Most limits and most rows beside them that are shown without --all, so that it fits a screen.
_LIMITS, _ROWS = 7, 6
#: Endings of sheets: a page to print, or a workbook.
_PAGE = (".html", ".htm", ".xlsx")


def pick(text):
    """Read one picking date: ``Block=2027-09-20``, or with shares."""
    import argparse

    name, equals, dates = text.rpartition("=")
    if not equals or not name.strip():
        raise argparse.ArgumentTypeError(
            f"'{text}' is not a picking date; write BLOCK=DATE like \"Long Acre=2027-09-20\""
        )
    return name.strip(), dates.strip()


def costs(text):
    """Read prices: ``move=3, outside=60, short=250``."""
    import argparse

    found = {}
    for part in filter(None, (part.strip() for part in text.split(","))):
        name, _, price = (each.strip() for each in part.partition("="))
        if name in found:
            raise argparse.ArgumentTypeError(f"the price of {name} is given twice; keep one")
        try:
            found[name] = float(price)
        except ValueError:
            raise argparse.ArgumentTypeError(
                f"'{part}' is not a price; write what costs what: move=3, outside=60, short=250"
            ) from None
    return found


_ARGUMENTS = (
    options.RECORDS,
    options.SEASON,
    options.AS_OF,
    option(
        "--by",
        "WHAT",
        "rows beside the weeks: block, variety, grower, site or estate; by default grower where "
        "blocks name one, else variety",
        choices=("block", "variety", "grower", "site", "estate"),
    ),
    option(
        "--period",
        "PERIOD",
        "limits: the periods of table capacity (the default where it has some), week (from "
        "Monday) or day",
        choices=("week", "day", "limits"),
    ),
    option("--all", help="every picking date, period by rows, and note, not only what matters"),
    option(
        "--pick",
        "BLOCK=DATE",
        'a picking date that is known, like "Long Acre=2027-09-20" or '
        '"Long Acre=2027-09-20 60 %%, 2027-09-27 40 %%"; may be given again',
        pick,
        [],
        action="append",
    ),
    option("--move", help="also look for blocks to move so that less fruit needs another place"),
    option(
        "--worth",
        "TONNES",
        "tonnes over the limits that a tonne moved by a day must save with --move; 0.01 by default",
        options.number,
    ),
    option(
        "--costs",
        "PRICES",
        "with --move: look for what costs least, by your prices of a tonne: move (a day), outside "
        "(room booked elsewhere), short (no room in the end), wait (a night before a press), like "
        "move=3,outside=60,short=250",
        costs,
    ),
    option(
        "--window",
        "DAYS",
        "days a pick may move either way with --move; 7 by default",
        options.whole,
    ),
    options.UNITS,
    options.DRAWS,
    option(
        "--sheets",
        "FILE",
        "also write a plan by day and a sheet a grower to print (.html), or every table (.xlsx)",
    ),
    options.CSV,
)


def _run(given):
    from cropload.beliefs.dates.harvest_dates import harvest_dates
    from cropload.beliefs.dates.picking_dates import parse
    from cropload.errors import CroploadError
    from cropload.records.writing.gate import Result, check_results
    from cropload.show.terminal import working
    from cropload.winery.capacity import capacity_table
    from cropload.winery.intake import intake_schedule
    from cropload.winery.limits import own_periods
    from cropload.winery.relief import relieve
    from cropload.winery.words import export

    if given.window is not None and not 0 <= given.window <= 60:
        raise CroploadError(
            f"--window is {given.window}; picks may move by 0 to 60 days either way."
        )
    of_move = (given.window, given.worth, given.costs)
    if not given.move and any(each is not None for each in of_move):
        raise CroploadError("--window, --worth and --costs belong to --move: add it.")
    if given.sheets:
        check_results([Result(given.sheets, _PAGE)], given.replace)
    records = options.records_of(given)
    now = made(given, records)
    picks = {name: parse(dates) for name, dates in given.pick}
    asked = {"picks": picks, "draws": given.draws, "seed": given.seed}
    dates = harvest_dates(records, now.season, given.as_of, **asked)
    here = own_periods(records.capacity, now.season)
    if given.period == "limits" and records.capacity.empty:
        raise CroploadError(
            "There is no table capacity in these records, so there are no periods of it. Use "
            "--period week, or add the table."
        )
    period = given.period or ("limits" if len(here) else "week")
    schedule = intake_schedule(
        now,
        dates,
        period=here if period == "limits" else period,
        blocks=records.blocks,
        capacity=records.capacity,
    )
    given.by_asked = given.by is not None
    if given.by is None:
        given.by = "grower" if any(schedule.owned["grower"]) else "variety"
    schedule.groups(given.by)
    if schedule.empty:
        if given.csv:
            options.note(f"There is nothing to take in, so {given.csv} is not written.")
        return _nothing(now, schedule)
    limits = capacity_table(schedule, records.capacity) if len(records.capacity) else None
    moves = None
    if given.move:
        if limits is None:
            raise CroploadError("--move needs table capacity, and these records have none.")
        asked = {"windows": given.window, "worth": given.worth, "costs": given.costs}
        asked |= {name: getattr(records, name) for name in ("tanks", "presses", "pickers")}
        with working("Looking for moves") as progress:
            moves = relieve(schedule, records.capacity, **asked, progress=progress)
    options.save(given, export(schedule, given.by, options.units_of(given)))
    if given.sheets:
        _write_sheets(given, records, now, schedule, limits, moves)
    return _parts(given, records, now, dates, schedule, limits, moves)


def _write_sheets(given, records, now, schedule, limits, moves):
    """Write a page to print, or a workbook of every table."""
    from cropload.records.writing.gate import Result, write_results
    from cropload.winery import tables
    from cropload.winery.cellar import cellar_of
    from cropload.winery.contracts import contract_book, contract_table
    from cropload.winery.fit import fit_of
    from cropload.winery.sheets import intake_book, intake_sheets
    from cropload.winery.words import CAUTION, contract_words, fit_sentence

    units, book, moved, then = options.units_of(given), contract_book(records), None, schedule
    held = limits
    if moves is not None and len(moves):
        moved = dict(zip(moves["block"], moves["days"], strict=True))
        then, held = moves.schedule, moves.after
    fit = ""
    if held is not None and len(held):
        fit = fit_sentence(fit_of(then, records.capacity), held, units)
    room = contract_table(now, book, records.blocks)
    if given.sheets.lower().endswith(".xlsx"):
        cellar = cellar_of(then, records)
        found = tables.book_tables(schedule, given.by, limits, moves, room, cellar, units)
        data = intake_book(found, [fit, *schedule.notes, *room.notes, CAUTION], units)
    else:
        page = intake_sheets(then, fit, contract_words(room, book, units), moved, units)
        data = page.encode("utf-8")
    options.tell_written(write_results([Result(given.sheets, _PAGE, data)], given.replace))


def _nothing(now, schedule):
    from cropload.show.terminal import paragraph
    from cropload.winery.words import CAUTION

    yield paragraph(schedule.heading())
    for note in now.notes:
        yield paragraph(note, "- ")
    yield paragraph(CAUTION)


def _parts(given, records, now, dates, schedule, limits, moves):
    from cropload.season.words import figures_sentence
    from cropload.show.terminal import paragraph
    from cropload.winery import tables
    from cropload.winery.cellar import cellar_of
    from cropload.winery.contracts import contract_book, contract_table
    from cropload.winery.fit import fit_of
    from cropload.winery.words import (
        CAUTION,
        book_lines,
        book_title,
        cellar_sentence,
        crop_sentence,
        fit_sentence,
        intake_sentence,
    )

    units = options.units_of(given)

    def section(title, table):
        return f"{title}\n{table.text(units)}"

    limited = limits is not None and len(limits)
    short = not given.all
    if short:
        told = [crop_sentence(schedule, units)]
    else:
        yield paragraph(figures_sentence())
        told = [intake_sentence(schedule, None, units)]
    if limits is not None:
        told.append(fit_sentence(fit_of(schedule, records.capacity), limits, units, short))
    yield paragraph(" ".join(told))
    if limited and short:
        yield tables.limit_table(limits, most=_LIMITS).text(units)
    elif limited:
        yield section("LIMITS", tables.limit_table(limits))
    if given.period in ("week", "day") or not limited:
        yield section("INTAKE", tables.intake_table(schedule, "estate", None, units))
    if given.by != "estate" and short and not given.by_asked:
        yield tables.totals_table(schedule, given.by, dates, units, _ROWS).text(units)
    elif given.by != "estate":
        totals = tables.totals_table(schedule, given.by, dates, units)
        yield section(f"BY {given.by.upper()}", totals)
    if moves is not None:
        parts = [paragraph(moves.heading()), *(table.text(units) for table in moves.tables(units))]
        yield "\n".join(["BLOCKS TO MOVE", *parts, *map(paragraph, moves.notes)])
    notes = list(schedule.notes if limits is None else limits.notes)
    cellar = cellar_of(schedule, records)
    if cellar is not None:
        kinds = "TANKS, PRESSES AND PICKERS" if len(records.pickers) else "TANKS AND PRESSES"
        yield f"{kinds}\n{paragraph(cellar_sentence(cellar, units))}"
        if given.all:
            yield tables.cellar_table(cellar, units).text(units)
        notes += cellar.notes
    book, title = contract_book(records), book_title(records)
    if len(book):
        contracts = contract_table(now, book, records.blocks)
        if short:
            yield "\n".join(map(paragraph, book_lines(contracts, title, units)))
        else:
            yield section(title.upper(), tables.book_table(contracts, title))
            yield tables.room_table(contracts, title).text(units)
            yield tables.pay_table(contracts).text(units)
        notes += contracts.notes
    if given.all:
        yield section("PICKING DATES", tables.date_table(dates, now))
        moved = moves is not None and len(moves)
        moved = dict(zip(moves["block"], moves["days"], strict=True)) if moved else None
        then = moves.schedule if moved else schedule
        yield section("DAY BY DAY", tables.deliveries_table(then, moved))
        intake = tables.intake_table(schedule, given.by, None, units)
        heads = ("period", given.by, "mean", "chance of any", "high end", "tank, high end")
        yield section("INTAKE", intake.only(*heads))
    if given.all:
        for note in notes:
            yield paragraph(note, "- ")
        yield paragraph(CAUTION)
        return
    yield paragraph(f"{CAUTION} --all shows {len(notes)} notes and more.")


COMMANDS = (
    Command(
        name="intake",
        group="The growing season",
        summary="tonnes by week, variety and block, against limits and contracts",
        arguments=_ARGUMENTS,
        run=_run,
        many=True,
        example="""\
        cropload intake my_season --by grower --sheets sheets.html
        cropload intake my_season --pick "Long Acre=2027-09-28" --move
        """,
        details=(
            "Lays the forecast over the picking dates, which come from the days between each "
            "block's own stages or from --pick, and gives the tonnes of each period with their "
            "range, what they fill in the tank (hl, or US gal), the chance of going over each and "
            "any of the limits of table capacity, the tonnes that would need another place, and "
            "how often each contract of table contracts (or prices) misses its least or passes its "
            "most, and what it pays."
        ),
    ),
)
