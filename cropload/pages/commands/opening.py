"""The command ``open``, and ``present``, another word for it: the pages in the browser."""

from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    option(
        "folder",
        "FOLDER",
        "folder with your records; without it the current folder when it holds records, "
        "else my_vineyard, made with the sample estate if it is not there",
        nargs="?",
    ),
    option(
        "--port",
        "N",
        "port on this machine, 1024 to 65535; the first free one from 8888 by default",
        options.whole,
    ),
    option("--no-browser", help="only print the address"),
)


def _run(given):
    from cropload.pages import opening

    opening.check_port(given.port)
    folder, said = opening.working_folder(given.folder)
    for sentence in said:
        options.note(sentence)
    opening.open_pages(folder, given.port, not given.no_browser)


COMMANDS = (
    Command(
        name="open",
        group="Start",
        summary="open your pages in the browser",
        details="Serves the pages on this machine alone (127.0.0.1) with a secret token; each is "
        "also a notebook, behind its link `as a notebook`. The notebooks are copied beside the "
        "records if they are not there; yours are never overwritten. Nothing is asked of the "
        "network. Stop it with Ctrl-C.",
        example="""
            cropload open my_season
            cropload open my_season --port 8890 --no-browser
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
    Command(
        name="present",
        group="Start",
        summary="another word for open",
        details="The same as `cropload open`.",
        example="""
            cropload present my_season
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
