"""The commands ``open`` and ``present``: the notebooks in the browser, with or without code."""

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


def _run_with(name):
    def run(given):
        from cropload.pages import opening as launch

        launch.check_port(given.port)
        folder, said = launch.working_folder(given.folder)
        for sentence in said:
            options.note(sentence)
        launch.run_server(getattr(launch, name), folder, given.port, not given.no_browser)

    return run


COMMANDS = (
    Command(
        name="open",
        group="Start",
        summary="open the notebooks in the browser, beside your records",
        details="Opens JupyterLab on this machine alone (127.0.0.1) with a secret token, and "
        "copies the notebooks beside the records if they are not there. Yours are never "
        "overwritten. Stop it with Ctrl-C.",
        example="""
            cropload open my_season
            cropload open my_season --port 8890 --no-browser
        """,
        arguments=_ARGUMENTS,
        run=_run_with("open_workbook"),
    ),
    Command(
        name="present",
        group="Start",
        summary="the same as pages without code, for showing to others",
        details="Serves the notebooks as pages without code, on this machine alone (127.0.0.1) "
        "with a secret token. Nothing is asked of the network. Stop it with Ctrl-C.",
        example="""
            cropload present my_season
        """,
        arguments=_ARGUMENTS,
        run=_run_with("present_pages"),
    ),
)
