"""The command ``new``: a folder with empty tables, or with the sample estate, and the notebooks."""

from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    option("folder", "FOLDER", "the folder to make; it must be empty"),
    option("--example", help="copy the invented sample estate into it"),
    option("--xlsx", help="one workbook instead of a CSV file for each table"),
    options.UNITS,
)


def _run(given):
    from cropload.pages.folder import new_folder
    from cropload.show.terminal import paragraph

    records, notebooks = new_folder(given.folder, given.example, given.xlsx, given.units)
    what = "the invented sample estate" if given.example else "empty tables"
    number = len(notebooks)
    lines = [
        paragraph(
            f"{given.folder} now holds {what} and {number} notebook{'' if number == 1 else 's'}."
        )
    ]
    if not given.example:
        place = "its sheet 'notes'" if given.xlsx else "README.txt"
        lines.append(
            paragraph(f"Fill in table blocks first; {place} explains every column of every table.")
        )
    lines += ["", "Next:", f"  cropload check {quoted(records)}"]
    lines.append(f"  cropload open {quoted(given.folder)}")
    return "\n".join(lines)


def quoted(path):
    """Return a path as a shell takes it."""
    import os

    text = str(path)
    if os.name == "nt":
        return f'"{text}"' if " " in text else text
    import shlex

    return shlex.quote(text)


COMMANDS = (
    Command(
        name="new",
        group="Start",
        summary="start a folder for your records, or copy the sample estate",
        details="Makes a folder with a file for each table of your records, every column "
        "explained, and the notebooks beside them. Nothing that exists is overwritten.",
        example="""
            cropload new my_season
            cropload new my_season --xlsx --units us
            cropload new try_it --example
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
