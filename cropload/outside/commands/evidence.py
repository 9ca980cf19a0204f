"""The command ``evidence``: published figures beside what is computed here."""

from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    option(
        "--sources",
        help="the list of sources, with what each is, below the table",
    ),
)


def _run(given):
    from cropload.outside.evidence import evidence
    from cropload.show.terminal import paragraph, screen_width, working

    with working("Computing beside every published figure"):
        found = evidence()
    yield found.text(width=screen_width())
    if given.sources:
        told = found.frame.drop_duplicates("source")
        lines = [f"{row.source}: {row.citation}" for row in told.itertuples()]
        yield "\n".join(paragraph(line, width=screen_width()) for line in lines)


COMMANDS = (
    Command(
        name="evidence",
        group="Look up",
        summary="published figures beside ours, inside or not",
        details="Prints every published figure the tool is held against: figure, source, how it "
        "was read, theirs, ours, and whether ours holds it. What is missed is listed with the "
        "reason.",
        example="""
            cropload evidence
            cropload evidence --sources
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
