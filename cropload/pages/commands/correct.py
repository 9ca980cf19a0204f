"""The command ``correct``: mend a value that was saved wrong; its row stays as it was written."""

from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    option("table", "TABLE", "table of the wrong value, like counts"),
    option(
        "key",
        "KEY",
        'what names the row, like "2027; 2027-06-12; Long Acre; 4; 17"; the last parts may be '
        "left out where the row is plain without them",
    ),
    option("column", "COLUMN", "column of the value; all takes the whole row out"),
    option(
        "new",
        "NEW",
        'the value that holds, as the file writes such values; "" takes it out',
        nargs="?",
    ),
    option("--why", "TEXT", "the reason", default=""),
    option("--old", "VALUE", "the value as it was written, to be sure of the row", default=""),
    option("--into", "FOLDER", "folder or .xlsx workbook of the records", required=True),
)


def _run(given):
    from cropload.errors import CroploadError
    from cropload.records.tables import WHOLE_ROW
    from cropload.records.writing.correct import correct
    from cropload.show.terminal import paragraph

    if given.new is None and given.column != WHOLE_ROW:
        raise CroploadError(
            'Which value holds? Write it after the column; "" takes the value out, and column '
            f"{WHOLE_ROW} the whole row."
        )
    done = correct(
        given.into,
        given.table,
        given.key,
        given.column,
        given.new,
        old=given.old,
        why=given.why,
    )
    return paragraph(done)


COMMANDS = (
    Command(
        name="correct",
        group="Start",
        summary="mend a count, harvest, event or any value that was saved wrong",
        details="Adds a row to table corrections: from then on the value is read as corrected, "
        "and told so wherever it holds. The row itself stays as it was written. Rows are named by "
        "the columns that `cropload check` names when they repeat: those of counts by season; "
        "date; block; row; vine, those of harvest by season; block; date; ticket.",
        example="""
            cropload correct counts "2027; 2027-06-12; Long Acre; 4; 17" \\
                clusters 21 --into mine
            cropload correct harvest "2027; Long Acre; 2027-09-20" all --into mine
            cropload correct harvest "2027; Long Acre" block "Lyre Field" --into mine
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
