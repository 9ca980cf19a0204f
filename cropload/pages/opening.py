"""Open the pages in the browser, and behind them the same notebooks in JupyterLab.

Both servers listen on this machine alone (127.0.0.1), ask for a secret token, and make no request
to the network: no news, no look for updates, no icon fonts.
"""

import contextlib
import os
import secrets
import socket
import sys
from pathlib import Path

from cropload.errors import CroploadError
from cropload.records.writing.gate import private_folder, write_private

LOOPBACK = "127.0.0.1"
#: First port tried, and how many after it [1].
FIRST_PORT, MORE_PORTS = 8888, 200
#: The folder made when no folder is given and the current one holds no records.
OWN_FOLDER = "my_vineyard"
#: The tag of a cell that is meant for the lab, such as how to run it, and for no page.
NOTEBOOK_ONLY = "lab-only"
#: Where voila finds our template, and both servers our login page.
TEMPLATES = Path(__file__).parent / "jupyter"
SERVER_TEMPLATES = TEMPLATES / "server"
#: What a page of ours may load: itself, and nothing from elsewhere.
CONTENT_POLICY = (
    "default-src 'self' 'unsafe-inline' 'unsafe-eval' data: blob:; "
    f"connect-src 'self' ws://{LOOPBACK}:*; frame-ancestors 'self'"
)
#: The largest file that a page takes; a larger one would end its connection without a word [bytes].
UPLOAD_MOST = 200 * 2**20
#: What of JupyterLab's own extensions a page needs; others would only slow it down.
EXTENSIONS = (
    "@jupyter-widgets/jupyterlab-manager",
    "@voila-dashboards/widgets-manager8",
    "anywidget",
)
#: Of the servers only errors are shown: that a notebook is not signed, or that a browser went
#: away, is nothing that a user can act on.
QUIET = "ERROR"
#: What the server and a notebook's own program say to each other is encrypted where both can.
KERNELS = {"transport_encryption": "auto"}


def layouts_of(folder):
    """Return where the arrangement of open tabs of one folder is kept: not in the folder itself.

    Without a place of its own every folder would open with the tabs of another one.
    """
    import hashlib

    from jupyter_core.paths import jupyter_data_dir

    name = hashlib.sha256(str(Path(folder).resolve()).encode("utf-8", "replace")).hexdigest()
    return Path(jupyter_data_dir()) / "cropload" / "layouts" / name[:16]


def working_folder(folder=None):
    """Return the folder to work in, with the notebooks beside the records.

    Parameters
    ----------
    folder : str or path, optional
        A folder with records, or a workbook in it.  When not given: the current folder if it
        holds records, else ``my_vineyard`` in it, made with the invented sample estate when it is
        not there yet.

    Returns
    -------
    (pathlib.Path, list of str)
        The folder, and sentences that say what was done.

    Raises
    ------
    CroploadError
        When there is no such folder, or it cannot be written to.
    """
    from cropload.pages.folder import new_folder
    from cropload.pages.notebooks import bring_notebooks, records_in

    if folder is None:
        if records_in(".") is not None:
            folder = Path.cwd()
        else:
            folder = Path(OWN_FOLDER)
            if not folder.exists():
                new_folder(folder, example=True)
                made = f"{folder} was made, with the invented sample estate Quillfoot in it."
                return folder.resolve(), [made]
    if not str(folder).strip():
        raise CroploadError("The name of the folder is blank. Give the folder of your records.")
    folder = Path(folder).expanduser()
    if folder.is_file():
        folder = _folder_of(folder)
    if not folder.is_dir():
        raise CroploadError(
            f"There is no folder {folder}. `cropload new {folder}` makes one for your records, "
            "and with --example one with the sample estate."
        )
    try:
        sentences = bring_notebooks(folder).sentences()
    except OSError as fault:
        raise CroploadError(
            f"The notebooks cannot be copied to {folder} ({fault.strerror or fault})."
        ) from None
    if records_in(folder) is None:
        sentences.append(
            f"{folder} holds no records (or more than one workbook), so the notebooks show the "
            "sample estate; their first cell says which records to read."
        )
    return folder.resolve(), sentences


def _folder_of(file):
    """Return the folder of a workbook of records, or say why a file cannot be opened."""
    from cropload.pages.notebooks import records_in

    if file.suffix.lower() != ".xlsx":
        raise CroploadError(
            f"{file} is a file. Give the folder that holds your records ({file.parent}), or a "
            "workbook of records that ends in .xlsx."
        )
    if not _is_records(file):
        raise CroploadError(
            f"{file} is no workbook of records: it has no sheet 'blocks'. `cropload new FOLDER "
            "--xlsx` makes one."
        )
    if records_in(file.parent) != file.name:
        raise CroploadError(
            f"Other records lie beside {file.name}, and the notebooks would show those. Put it "
            "into a folder of its own, and open that."
        )
    return file.parent


def _is_records(file):
    import zipfile

    import openpyxl

    try:
        book = openpyxl.load_workbook(file, read_only=True)
    except (OSError, ValueError, KeyError, zipfile.BadZipFile):
        return False
    sheets = {name.strip().lower() for name in book.sheetnames}
    book.close()
    return "blocks" in sheets


def check_port(wanted):
    """Raise CroploadError unless a port is left open or from 1024 to 65535."""
    if wanted is not None and not 1024 <= wanted <= 65535:
        raise CroploadError(f"--port is {wanted}; it must be from 1024 to 65535.")


def listening(wanted=None):
    """Take a port of this machine, and keep it.

    Parameters
    ----------
    wanted : int, optional
        The port to use; the first free one from 8888 on when not given.

    Returns
    -------
    (socket.socket, int)
        What listens there, and the port [1].

    Raises
    ------
    CroploadError
        When the wanted port is taken, or is none.
    """
    check_port(wanted)
    tried = [wanted] if wanted is not None else range(FIRST_PORT, FIRST_PORT + MORE_PORTS)
    for port in tried:
        taken = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "nt":
            # Without it two servers could share a port there.
            taken.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            taken.bind((LOOPBACK, port))
            taken.listen(128)
        except OSError:
            taken.close()
            continue
        taken.setblocking(False)
        return taken, port
    if wanted is not None:
        raise CroploadError(
            f"Port {wanted} is in use. Leave --port out to take a free one, or name another."
        )
    raise CroploadError(
        f"No port from {FIRST_PORT} on is free. Stop other servers, or name one with --port."
    )


def workbook_settings(folder, port, token):
    """Return the settings of JupyterLab: loopback, token, nothing asked of the network."""
    return {
        "ServerApp": {
            "ip": LOOPBACK,
            "port": port,
            "port_retries": 0,
            "root_dir": str(folder),
            "open_browser": False,
            "allow_remote_access": False,
            # In a container the only account is often the administrator's; the server still
            # listens on this machine alone and asks for its token.
            "allow_root": True,
            "answer_yes": True,
            "log_level": "CRITICAL",
            "extra_template_paths": [str(SERVER_TEMPLATES)],
            "tornado_settings": {"websocket_max_message_size": UPLOAD_MOST},
        },
        "KernelManager": KERNELS,
        "IdentityProvider": {"token": token},
        "LabApp": {
            "news_url": None,
            "check_for_updates_class": "jupyterlab.NeverCheckForUpdate",
            "extension_manager": "readonly",
            # A link from one page to another opens the other notebook in the same lab.
            "expose_app_in_browser": True,
            "log_level": "CRITICAL",
            "workspaces_dir": str(layouts_of(folder)),
        },
    }


def page_settings(folder, port, token):
    """Return the settings of voila: loopback, token, our template, nothing from elsewhere."""
    return {
        "Voila": {
            "ip": LOOPBACK,
            "port": port,
            "root_dir": str(folder),
            "open_browser": False,
            "token": token,
            "log_level": QUIET,
            "tornado_settings": {
                "headers": {"Content-Security-Policy": CONTENT_POLICY},
                # A page elsewhere cannot reach this server under a name of its own.
                "allow_remote_access": False,
                "websocket_max_message_size": UPLOAD_MOST,
            },
        },
        "KernelManager": KERNELS,
        # Which pages are rendered ahead is said one by one: a notebook of the user's runs only
        # when it is asked for.
        "VoilaKernelManager": {"kernel_pools_config": {"default": {"pool_size": 0}}},
        "VoilaConfiguration": {
            "template": "cropload",
            "allow_template_override": "NO",
            "classic_tree": True,
            "strip_sources": True,
            "preheat_kernel": True,
            "extension_allowlist": list(EXTENSIONS),
        },
        "VoilaExecutor": {
            "cell_error_instruction": "Open it as a notebook: run there, it says what is wrong."
        },
        "TagRemovePreprocessor": {"enabled": True, "remove_cell_tags": {NOTEBOOK_ONLY}},
    }


def _announce(address, folder, private, browser):
    """Say where the pages are, and open the browser."""
    print(f"Your pages: {address}\nStop with Ctrl-C.", flush=True)
    if browser:
        import webbrowser

        # A file hands the address over, because other users can read a program's arguments.
        page = private / "open.html"
        text = (
            f'<meta charset="utf-8"><meta http-equiv="refresh" content="0;url={address}">'
            f'<a href="{address}">Open cropload</a>'
        )
        write_private(page, text.encode("utf-8"))
        with contextlib.suppress(webbrowser.Error):
            webbrowser.open(page.as_uri())


def _hush():
    """Keep notes between libraries, which no user can act on, off the screen.

    A filter does not do: a library that loads later sets its own in front of it.
    """
    import warnings

    show = warnings.showwarning

    def quieter(message, category, *where, **more):
        if not issubclass(category, (DeprecationWarning, FutureWarning)):
            show(message, category, *where, **more)

    warnings.showwarning = quieter


def lab():
    """Run JupyterLab, with what stands on the command line; a program of its own."""
    from jupyterlab.labapp import LabApp

    _hush()
    LabApp.launch_instance(sys.argv[1:])


def open_pages(folder, port=None, browser=True):
    """Serve the pages, and the notebooks behind them, until the user stops it.

    Parameters
    ----------
    folder : path
        As from :func:`working_folder`.
    port : int, optional
        As for :func:`listening`.
    browser : bool
        Open the first page in the browser.
    """
    from cropload.pages.notebooks import pages_of

    folder, token = Path(folder), secrets.token_hex(24)
    held, port = listening(port)
    print(f"Starting in {folder} ...", file=sys.stderr, flush=True)
    address = f"http://{LOOPBACK}:{port}/?token={token}"
    # Panels work on many small matrices, where threads that wait for each other cost more than
    # they bring; a user's own setting stands.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    others = os.environ.get("JUPYTER_PATH")
    os.environ["JUPYTER_PATH"] = os.pathsep.join(filter(None, (str(TEMPLATES), others)))
    _hush()

    from cropload.pages import door

    # Only the user may read the token in the settings.
    with private_folder({}) as private:
        try:
            door.serve(
                page_settings(folder, port, token),
                held,
                door.Lab(folder, private, token),
                pages_of(folder),
                lambda: _announce(address, folder, private, browser),
            )
        except SystemExit as ended:
            stopped_early(ended.code)


def stopped_early(code):
    """Raise a clear message when a server ended by itself with an exit code."""
    if code not in (None, 0):
        raise CroploadError(
            f"The server could not be started (exit code {code}); what it says stands above."
        )
