"""The command ``cards``: a card for the crew of each block, by the plans on record."""

from cropload.errors import CroploadError
from cropload.show import options
from cropload.show.command import Command
from cropload.show.languages import LANGUAGES
from cropload.show.options import option

_ARGUMENTS = (
    options.RECORDS,
    option("--block", "NAME", "a block; may be given several times; all blocks by default",
           action="append"),
    option("--plan", "PLAN", "a plan for the blocks named, in place of the one on record"),
    options.SEASON,
    option("--html", "FILE", "the .html file to write: open it and print", required=True),
    option("--replace", help="let --html replace a file that exists"),
    option(
        "--language",
        help="language of the crew: " + ", ".join(f"{c} ({n})" for c, n in LANGUAGES.items()),
        default="en",
        choices=tuple(LANGUAGES),
    ),
    option("--pocket", help="cards for a pocket (A6) in place of pages (A4)"),
    options.UNITS,
)  # fmt: skip


def _run(given):
    from cropload.pruning.cards import crew_cards, of_plan, of_records
    from cropload.records.writing.gate import Result, check_results, write_results
    from cropload.show.terminal import paragraph, points
    from cropload.vine.plan import PruningPlan

    if given.plan and not given.block:
        raise CroploadError("--plan is for the blocks named: add --block.")
    endings = (".html", ".htm")
    check_results([Result(given.html, endings)], given.replace)
    units, records = options.units_of(given), options.records_of(given)
    season = given.season
    without = []
    if given.plan:
        plan = PruningPlan.parse(given.plan)
        items = [of_plan(records, block, plan, season) for block in given.block]
    else:
        items, without = of_records(records, given.block, season)
    if not items:
        raise CroploadError(
            f"No plan of season {season} is on record for {', '.join(without)}. Save one in table "
            "pruning, or name blocks and a plan, like --block NAME --plan 2x10+2x2."
        )
    page = crew_cards(items, given.language, "A6" if given.pocket else "A4", units)
    written = [Result(given.html, endings, page.encode("utf-8"))]
    options.tell_written(write_results(written, given.replace))
    cards = f"{len(items)} card{'s' * (len(items) > 1)}"
    return [
        paragraph(f"{cards} for the crew."),
        points([f"{item.block}{', ' * bool(item.part)}{item.part}: {item.plan}" for item in items]),
        paragraph(f"Without a plan, so without a card: {', '.join(without)}." if without else ""),
        paragraph(options.PRUNING_CAUTION),
    ]


COMMANDS = (
    Command(
        name="cards",
        group="Winter pruning",
        summary="cards for the crew to print, in their language",
        details="Writes a page with a card for each block, or for each of its parts (table parts): "
        "canes and spurs with their buds in big numbers, the vine drawn, short cautions. Lengths "
        "in m (ft with --units us). By the plans on record unless you name one.",
        example="""
            cropload cards my_season --html cards.html --language es --pocket
            cropload cards --example --block "Long Acre" --plan 3x6+3x2 --html card.html
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
