"""The server of the pages: rendered ahead, with the notebooks behind a link, on one token."""

import asyncio
import json
import logging
import os
import subprocess
import sys
from pathlib import Path

import jinja2
import tornado.web
from jupyter_server.base.handlers import JupyterHandler
from tornado.httpclient import AsyncHTTPClient, HTTPError
from voila.app import Voila
from voila.shutdown_kernel_handler import VoilaShutdownKernelHandler

#: Where pages of the server itself lie: the one that asks for the token.
SERVER_PAGES = Path(__file__).parent / "jupyter" / "server"
#: How long the notebooks may take to open [s].
_LAB_WAIT_S = 60


class Pages(Voila):
    """Pages without code over a folder, and a way to each as a notebook.

    Notes
    -----
    The environment of the process holds ``CROPLOAD_PRIVATE``, a folder with the settings of the
    lab, which starts when a notebook is first asked for.
    """

    name = "voila"
    lab = None

    def init_settings(self):
        """Return the settings of the server, with our own page that asks for the token."""
        settings = super().init_settings()
        env = settings["jinja2_env"]
        env.loader = jinja2.ChoiceLoader([jinja2.FileSystemLoader(str(SERVER_PAGES)), env.loader])
        # A refused request is no news to its user, and its address holds a token.
        logging.getLogger("tornado.access").setLevel(logging.CRITICAL)
        return settings

    def init_handlers(self):
        """Return the ways into the server: ours first."""
        first = {"first": first_page(self.root_dir)}
        return [
            (r"/", FirstPage, first),
            (r"/answers", Answers),
            (r"/as_notebook/(.*)", AsNotebook, {"server": self}),
            (r"/voila/api/shutdown/(.*)", Leave),
            *super().init_handlers(),
        ]

    def stop(self):
        """Stop the kernels, and the lab where it runs."""
        if self.lab is not None:
            self.lab.terminate()
        super().stop()


def first_page(folder):
    """Return the name of the notebook that is shown first, or None when there is none of ours."""
    for name in ("home.ipynb", "pruning_levels.ipynb"):
        if (Path(folder) / name).is_file():
            return name
    return None


class FirstPage(JupyterHandler):
    """Leads to the first page; where there is none of ours, to the list of pages."""

    def initialize(self, first):
        """Take the name of the first page."""
        self.first = first

    @tornado.web.authenticated
    def get(self):
        """Lead there."""
        self.redirect(f"/voila/render/{self.first}" if self.first else "/voila/tree")


class Answers(JupyterHandler):
    """Says that it is this server that answers, and no other on its port."""

    @tornado.web.authenticated
    def get(self):
        """Say which process answers."""
        self.finish(str(os.getpid()))


class Leave(VoilaShutdownKernelHandler):
    """Stops the program of a page that was left; only that page knows its secret number."""

    def check_xsrf_cookie(self):
        """Ask for no second secret: a page that is being left cannot send one."""


class AsNotebook(JupyterHandler):
    """Opens a page as the notebook it is made of, in JupyterLab, which starts when first asked."""

    def initialize(self, server):
        """Take the server, which keeps the lab."""
        self.server = server

    @tornado.web.authenticated
    async def get(self, name):
        """Start the lab where it does not run, wait until it answers, and lead there."""
        port, token = await self._running()
        self.redirect(f"http://127.0.0.1:{port}/lab/tree/{name}?token={token}")

    async def _running(self):
        server = self.server
        private = Path(os.environ["CROPLOAD_PRIVATE"])
        given = json.loads((private / "lab.json").read_text("utf-8"))
        port, token = given["ServerApp"]["port"], given["IdentityProvider"]["token"]
        if server.lab is None or server.lab.poll() is not None:
            server.lab = start_lab(private)
        address = f"http://127.0.0.1:{port}/api/status?token={token}"
        for _ in range(10 * _LAB_WAIT_S):
            try:
                await AsyncHTTPClient().fetch(address)
                return port, token
            except (OSError, HTTPError):
                if server.lab.poll() is not None:
                    break
                await asyncio.sleep(0.1)
        raise tornado.web.HTTPError(503, reason="JupyterLab did not start")


def start_lab(private):
    """Start JupyterLab with the settings in a private folder, and return its process."""
    from cropload.pages.opening import no_news

    command = [
        sys.executable,
        "-m",
        "jupyterlab",
        f"--config={private / 'lab.json'}",
        f"--LabApp.app_settings_dir={no_news(private)}",
    ]
    # What it says is of no use to the user; a lab that does not start is told on the page.
    return subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
