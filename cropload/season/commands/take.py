"""The command ``take``: filled count sheets, added to the records."""

from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    option("files", "FILE", "filled count sheets, .csv or .xlsx, in any order", nargs="+"),
    option("--into", "FOLDER", "folder or .xlsx workbook of your records, added to", required=True),
)


def _run(given):
    from cropload.season.take import take_sheets
    from cropload.show.terminal import paragraph

    sheets = take_sheets(given.files, given.into)
    options.tell_doubts([doubt for sheet in sheets for doubt in sheet.doubts])
    rows = sum(len(sheet.frame) for sheet in sheets)
    added = f"Added to the counts of {given.into}." if rows else "Nothing was added."
    return [*(paragraph(sheet.words()) for sheet in sheets), paragraph(added)]


COMMANDS = (
    Command(
        name="take",
        group="The growing season",
        summary="take filled count sheets into your records",
        details="Reads filled count sheets of any blocks, each line naming its block, day, row and "
        "vine (or a line above the header, like Block: Long Acre), and adds what is new to table "
        "counts, once. A sheet with a fault is not taken, and every fault is told.",
        example="""
            cropload take monday.csv tuesday.xlsx --into my_season
            cropload sample my_season --block "Long Acre" --csv sheet.csv
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
