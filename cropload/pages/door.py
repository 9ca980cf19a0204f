"""The one door: pages that run by themselves, some rendered ahead, and the lab behind a link.

The pages are served by voila in this program; JupyterLab is started beside it when somebody first
asks for a page as a notebook.  Both listen on this machine alone and ask for the same token.
"""

import asyncio
import contextlib
import json
import logging
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.parse
import urllib.request
from pathlib import Path

import nbformat
import tornado.httpclient
import tornado.httpserver
import tornado.ioloop
import tornado.web
from jinja2 import ChoiceLoader, FileSystemLoader
from jupyter_core.utils import run_sync
from jupyter_server.base.handlers import JupyterHandler
from traitlets.config import Config
from voila.app import Voila
from voila.tornado.handler import TornadoVoilaHandler

from cropload.pages.opening import LOOPBACK, SERVER_TEMPLATES, workbook_settings
from cropload.records.stamp import stamp
from cropload.records.writing.gate import write_private

#: Time that a server gets to answer for the first time, and between two looks at it [s].
PATIENCE, LOOK = 60, 0.1

#: Time after which the program behind a page that no browser shows is ended [s].
LEFT_AFTER = 240


class Lab:
    """JupyterLab on the same folder with the same token, started when it is first asked for.

    Parameters
    ----------
    folder : pathlib.Path
        The folder to work in.
    private : pathlib.Path
        A folder that only the user reads.
    token : str
        The token of both servers.
    """

    def __init__(self, folder, private, token):
        self._folder, self._private, self.token = folder, private, token
        self._program = self._port = None

    async def address(self, notebook):
        """Return the address of a notebook in the lab, or None when the lab does not start."""
        if self._program is None or self._program.poll() is not None:
            self._start()
        deadline = time.monotonic() + PATIENCE
        while self._port is None and self._program.poll() is None:
            if time.monotonic() > deadline:
                return None
            await asyncio.sleep(LOOK)
            self._port = self._bound()
        if self._port is None or self._program.poll() is not None:
            return None
        path = urllib.parse.quote(notebook)
        return f"http://{LOOPBACK}:{self._port}/lab/tree/{path}?token={self.token}"

    def _start(self):
        self._port = None
        # Any free port; that the lab itself holds it, it says in a file that only it writes.
        with socket.socket() as probe:
            probe.bind((LOOPBACK, 0))
            port = probe.getsockname()[1]
        settings = workbook_settings(self._folder, port, self.token)
        file = self._private / "lab.json"
        write_private(file, json.dumps(settings).encode("utf-8"))
        runtime, shown = self._private / "runtime", _no_news(self._private)
        self._program = subprocess.Popen(
            [
                *(sys.executable, "-c", "from cropload.pages.opening import lab; lab()"),
                *(f"--config={file}", f"--LabApp.app_settings_dir={shown}"),
            ],
            cwd=self._folder,
            env={**os.environ, "JUPYTER_RUNTIME_DIR": str(runtime)},
            stdin=subprocess.DEVNULL,
            # Ctrl-C is for this program, which then stops the lab.
            start_new_session=True,
        )

    def _bound(self):
        """Return the port that our lab itself says it holds, or None: another may answer there."""
        file = self._private / "runtime" / f"jpserver-{self._program.pid}.json"
        with contextlib.suppress(OSError, ValueError, KeyError):
            port = json.loads(file.read_text("utf-8"))["port"]
            socket.create_connection((LOOPBACK, port), 1).close()
            return port

    def stop(self):
        """Stop the lab, when it was started."""
        if self._program is None:
            return
        with contextlib.suppress(OSError):
            # Asked in words it ends its kernels, and prints nothing.
            urllib.request.urlopen(
                urllib.request.Request(
                    f"http://{LOOPBACK}:{self._port}/api/shutdown",
                    method="POST",
                    headers={"Authorization": f"token {self.token}"},
                ),
                timeout=5,
            ).close()
        try:
            self._program.wait(5)
        except subprocess.TimeoutExpired:
            self._program.kill()
            self._program.wait()


def _no_news(private):
    """Write the settings that keep JupyterLab from asking about news, and return their folder."""
    folder = private / "settings"
    quiet = {"fetchNews": "false", "checkForUpdates": False}
    text = json.dumps({"@jupyterlab/apputils-extension:notification": quiet})
    write_private(folder / "overrides.json", text.encode("utf-8"))
    return folder


class FirstPage(JupyterHandler):
    """Leads to the page opened first."""

    def initialize(self, first):
        """Remember the page, or None when the folder has no notebook of ours."""
        self._first = first

    @tornado.web.authenticated
    def get(self):
        """Lead there."""
        self.redirect(f"/voila/render/{self._first}" if self._first else "/voila/tree")


class AsNotebook(JupyterHandler):
    """Leads to a page's notebook in the lab, and says so while the lab starts."""

    def initialize(self, lab):
        """Remember the lab."""
        self._lab = lab

    @tornado.web.authenticated
    async def get(self, notebook):
        """Say that the notebook is being opened, then lead there."""
        self.set_header("Content-Type", "text/html; charset=utf-8")
        self.set_header("Cache-Control", "no-store")
        self.write(
            '<!DOCTYPE html><html lang="en"><meta charset="utf-8">'
            '<meta name="viewport" content="width=device-width, initial-scale=1">'
            '<title>Opening the notebook</title><link rel="icon" href="data:;base64,=">'
            '<main style="font: 16px system-ui, sans-serif; text-align: center; margin-top: 20vh">'
            '<p role="status">Opening the notebook ...</p></main>'
        )
        await self.flush()
        address = await self._lab.address(notebook)
        if address is None:
            script = (
                'document.querySelector("p").textContent = "The notebook cannot be opened; '
                'what went wrong stands in the terminal window."'
            )
        else:
            script = f"location.replace({json.dumps(address)})".replace("<", "\\u003c")
        self.write(f"<script>{script}</script>")


class Page(TornadoVoilaHandler):
    """A page, rendered ahead where that is still the notebook as it lies in the folder."""

    def should_use_rendered_notebook(self, notebook_data, *others):
        """Return False, and render it ahead anew, when notebook or records changed since."""
        if not super().should_use_rendered_notebook(notebook_data, *others):
            return False
        name = urllib.parse.unquote(self.request.path.partition("/voila/render/")[2])
        folder = Path(self.contents_manager.root_dir)
        same = _cells(notebook_data["notebook"]) == _cells_of(folder / name)
        if same and self.kernel_manager.stamps.get(name) == stamp(folder):
            return True
        self.kernel_manager.forget(name)
        return False


def _cells(notebook):
    return [(cell.cell_type, cell.source, cell.metadata.get("tags")) for cell in notebook.cells]


def _cells_of(file):
    try:
        return _cells(nbformat.read(file, as_version=4))
    except (OSError, ValueError):
        return None


class Door(Voila):
    """The server of the pages.

    Attributes
    ----------
    held : socket.socket
        Where it listens: bound before anything else, so that no other program answers there.
    lab : Lab
        Where a page is shown as a notebook.
    ahead : list of str
        Notebooks to render ahead, the one opened first at the head.
    tell : callable
        Called once, when the server answers.
    """

    held, lab, ahead, tell = None, None, (), None

    def init_settings(self):
        """Let our own login page stand before the server's."""
        settings = super().init_settings()
        pages = settings["jinja2_env"]
        pages.loader = ChoiceLoader([FileSystemLoader(str(SERVER_TEMPLATES)), pages.loader])
        return settings

    def init_handlers(self):
        """Add the way to the first page and to the lab, and watch the pages rendered ahead."""
        first = self.ahead[0] if self.ahead else None
        handlers = [
            (handler[0], Page, *handler[2:]) if handler[1] is TornadoVoilaHandler else handler
            for handler in super().init_handlers()
        ]
        self.kernel_manager.forget, self.kernel_manager.stamps = self._forget, {}
        self._left = {}
        return [
            (r"/", FirstPage, {"first": first}),
            (r"/as_notebook/(.*)", AsNotebook, {"lab": self.lab}),
            *handlers,
        ]

    def listen(self):
        """Serve until stopped."""
        tornado.httpserver.HTTPServer(self.app).add_socket(self.held)
        self.ioloop = tornado.ioloop.IOLoop.current()
        self.ioloop.add_callback(self._answers)
        self.ioloop.add_callback(self._render_ahead)
        tornado.ioloop.PeriodicCallback(self._end_left, 1000 * LEFT_AFTER / 4).start()
        if hasattr(signal, "SIGHUP"):
            signal.signal(signal.SIGHUP, self._handle_signal_stop)
        try:
            self.ioloop.start()
        except KeyboardInterrupt:
            pass
        finally:
            self.lab.stop()
            self.stop()

    def stop(self):
        """End the programs behind the pages at once: none of them has anything left to save."""
        run_sync(self._end_kernels)()
        super().stop()

    async def _end_kernels(self):
        manager = self.kernel_manager
        for waiting in (task for pool in manager._pools.values() for task in pool):
            waiting.cancel()
        for kernel_id in manager.list_kernel_ids():
            # Asked to shut down, one that is still starting would print where it was interrupted.
            with contextlib.suppress(Exception):
                await manager.get_kernel(kernel_id).provisioner.kill()

    async def _answers(self):
        """Tell where the pages are once they answer, to the token and from this very server."""
        ask = tornado.httpclient.HTTPRequest(
            f"http://{LOOPBACK}:{self.port}/voila/tree",
            headers={"Authorization": f"token {self.token}"},
            request_timeout=PATIENCE,
        )
        await tornado.httpclient.AsyncHTTPClient().fetch(ask)
        self.tell()

    async def _render_ahead(self):
        """Render ours ahead, one after the other: the first is wanted first."""
        for name in self.ahead:
            self._keep(name)
            with contextlib.suppress(Exception):
                for waiting in list(self.kernel_manager._pools[name]):
                    await (await asyncio.shield(waiting))["task"]

    async def _end_left(self):
        """End the programs behind pages that no browser shows any more, those made ahead apart."""
        manager = self.kernel_manager
        tasks = [task for pool in manager._pools.values() for task in pool]
        ahead = {t.result()["kernel_id"] for t in tasks if t.done() and not t.cancelled()}
        shown = {each for each, browsers in manager._kernel_connections.items() if browsers}
        now = time.monotonic()
        left = set(manager.list_kernel_ids()) - ahead - shown
        self._left = {each: self._left.get(each, now) for each in left}
        for kernel_id, since in list(self._left.items()):
            if now - since > LEFT_AFTER:
                with contextlib.suppress(Exception):
                    await manager.shutdown_kernel(kernel_id, now=True)

    def _keep(self, name):
        self.kernel_manager.stamps[name] = stamp(Path(self.root_dir))
        pools = self.kernel_manager.kernel_pools_config
        self.kernel_manager.kernel_pools_config = {**pools, name: {"pool_size": 1}}
        self.kernel_manager.fill_if_needed(delay=0, notebook_name=name)

    def _forget(self, name):
        """Drop what was rendered of a notebook that has changed, and render it again."""
        self.kernel_manager.notebook_data.pop(name, None)
        stale = self.kernel_manager._pools.pop(name, [])
        self._keep(name)

        async def drop():
            for waiting in stale:
                with contextlib.suppress(Exception):
                    await self.kernel_manager.shutdown_kernel((await waiting)["kernel_id"])

        self.ioloop.add_callback(drop)


def keep_out_of_the_log(token):
    """Keep the token, which stands in the address of a request, out of all that is logged."""
    make = logging.getLogRecordFactory()

    def without(*given, **more):
        record = make(*given, **more)
        with contextlib.suppress(Exception):
            if token in (said := record.getMessage()):
                record.msg, record.args = said.replace(token, "..."), ()
        return record

    logging.setLogRecordFactory(without)
    # A request refused is the answer itself, and nothing that the user at the terminal can mend.
    for name in ("tornado.access", "tornado.general"):
        logging.getLogger(name).setLevel(logging.ERROR)


def serve(settings, held, lab, ahead, tell):
    """Serve the pages until the user stops it.

    Parameters
    ----------
    settings : dict
        As from ``page_settings``.
    held, lab, ahead, tell
        As the attributes of :class:`Door`.
    """
    keep_out_of_the_log(lab.token)
    Door.held, Door.lab, Door.ahead, Door.tell = held, lab, ahead, staticmethod(tell)
    # No file is read, so none of the user's settings can open it to the network.
    Door.launch_instance([], config=Config(settings), config_file_paths=[])
