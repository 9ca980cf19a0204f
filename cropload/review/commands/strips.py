"""The command ``strips``: did this pruning pay, by strips of rows with different plans?"""

from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    options.RECORDS,
    options.BLOCK,
    option("--year", "YEAR", "one harvest alone; all of the trial by default", options.year),
    option(
        "--price",
        "MONEY",
        "price of a tonne (a short ton with --units us); by default of the contract",
        options.number,
    ),
    option(
        "--hour",
        "MONEY",
        "cost of an hour of work, taken off where table strips has every strip's hours",
        options.number,
    ),
    options.UNITS,
    options.CSV,
)


def _run(given):
    from cropload.beliefs import ranges
    from cropload.review.strips import strip_trial
    from cropload.show.terminal import paragraph
    from cropload.units import SHORT_TON_T

    records = options.records_of(given)
    units = options.units_of(given)
    price = given.price
    if price is not None and units.name == "us":
        price = price / SHORT_TON_T
    found = strip_trial(records, given.block, given.year, price_per_t=price, hour_price=given.hour)
    options.save(given, found.frame.assign(interval=ranges.label()))
    plans, strips = found.tables(units)
    return [
        paragraph(found.heading(units)),
        plans.text(units),
        strips.text(units),
        "\n".join(paragraph(note, "- ") for note in found.notes),
        paragraph(options.CAUTION),
    ]


COMMANDS = (
    Command(
        name="strips",
        group="After harvest",
        summary="compare plans tried in strips of rows of one block",
        details="Says what one plan brought beside another in strips of rows weighed apart (table "
        "strips): crop, balance and money with their ranges, how the strips were laid out, "
        "and how many more strips or seasons would settle what is open.",
        example="""
            cropload strips my_season --block "Long Acre"
            cropload strips --example --block "Long Acre" --hour 22
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
