"""The command ``open``, also called ``present``: the pages in the browser."""

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
    from cropload.pages import opening as launch

    launch.check_port(given.port)
    folder, said = launch.working_folder(given.folder)
    for sentence in said:
        options.note(sentence)
    launch.run_server(folder, given.port, not given.no_browser)


COMMANDS = tuple(
    Command(
        name=name,
        group="Start",
        summary=summary,
        details="Serves the pages on this machine alone (127.0.0.1) with a secret token; nothing "
        'is asked of the network. Each page leads to the notebook it is made of ("as a '
        'notebook"), in JupyterLab. The notebooks are copied beside the records if they are not '
        "there; yours are never overwritten. Stop it with Ctrl-C.",
        example=f"""
            cropload {name} my_season
            cropload {name} my_season --port 8890 --no-browser
        """,
        arguments=_ARGUMENTS,
        run=_run,
    )
    for name, summary in (
        ("open", "open the pages in the browser, beside your records"),
        ("present", "another word for open"),
    )
)
