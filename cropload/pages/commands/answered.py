"""The command ``answered``: say of a doubt that the records are right."""

from cropload.show.command import Command
from cropload.show.options import option, whole

_ARGUMENTS = (
    option("rule", "DOUBT", "name of the doubt, as `cropload check` has it in brackets"),
    option("block", "BLOCK", "the block; left out where only one is asked about", nargs="?"),
    option("year", "SEASON", "year of harvest; left out likewise", whole, nargs="?"),
    option("--why", "TEXT", "why it is right", required=True),
    option("--who", "TEXT", "who answers", default=""),
    option("--all", help="answer it for every block and season that is not named"),
    option("--into", "FOLDER", "folder or .xlsx workbook of the records", required=True),
)


def _run(given):
    from cropload.records.writing.answer import answer_doubt
    from cropload.show.terminal import paragraph

    done = answer_doubt(
        given.into,
        given.rule,
        given.why,
        block=given.block,
        season=given.year,
        who=given.who,
        every=given.all,
    )
    return paragraph(done)


COMMANDS = (
    Command(
        name="answered",
        group="Start",
        summary="say of a doubt about the records that they are right",
        details="Adds a row to table answered: the doubt is not raised again while the rows that "
        "it speaks of stay as they are, and `cropload check` lists it as answered. No figure "
        "changes by an answer. To take it back, take the row out of the table.",
        example="""
            cropload answered harvest-low-crop "Long Acre" 2024 \\
                --why "young vines grafted over" --into mine
            cropload answered blocks-vine-spacing-m --all --why "pergola" --into mine
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
