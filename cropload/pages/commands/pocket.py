"""The command ``pocket``: one page for the phone of whoever stands at the vine."""

from cropload.show import options
from cropload.show.command import Command
from cropload.show.languages import LANGUAGES
from cropload.show.options import option

_ARGUMENTS = (
    options.RECORDS,
    option("--out", "FILE", "the .html file to write: send it to a phone", required=True),
    option("--replace", help="let --out replace a file that exists"),
    option("--block", "NAME", "a block; may be given several times; all blocks by default",
           action="append"),
    options.SEASON,
    option(
        "--language",
        help="language of the page: " + ", ".join(f"{c} ({n})" for c, n in LANGUAGES.items()),
        default="en",
        choices=tuple(LANGUAGES),
    ),
    options.UNITS,
    options.DRAWS,
)  # fmt: skip


def _run(given):
    from cropload.pages.pocket import pocket_page
    from cropload.records.writing.gate import Result, check_results, write_results
    from cropload.show.terminal import paragraph

    endings = (".html", ".htm")
    check_results([Result(given.out, endings)], given.replace)
    units, records = options.units_of(given), options.records_of(given)
    page = pocket_page(
        records,
        given.season,
        blocks=given.block,
        language=given.language,
        units=units,
        draws=given.draws,
        seed=given.seed,
    ).encode("utf-8")
    options.tell_written(write_results([Result(given.out, endings, page)], given.replace))
    return [
        paragraph(
            f"A page of {len(page) / 1000:,.0f} kB for a phone. It needs no network; README.md "
            "tells how it gets there and how the counts come back."
        ),
        paragraph(options.CAUTION),
    ]


COMMANDS = (
    Command(
        name="pocket",
        group="The growing season",
        summary="one page for a phone: plan, counting and the crew, without network",
        details="Writes one HTML file for a phone between the rows: each block's plan drawn, buds "
        "to leave by prunings and winter damage, crop in t/ha (ton/ac with --units us) by the buds "
        "of a vine; the sampled vines with big keys to count by; the check of a crew. Counts are "
        "saved on the phone as a CSV file of table counts.",
        example="""
            cropload pocket my_season --out pocket.html
            cropload pocket --example --block "Long Acre" --language es --out pocket.html
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
