"""A real browser on a real JupyterLab, both on this machine only."""

import contextlib
import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from cropload.pages.opening import TEMPLATES, page_settings
from tests.browser.page_checks import settle

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"
LOOPBACK = {"127.0.0.1", "localhost", "::1", "[::1]"}
CHROMIUM = os.environ.get("CROPLOAD_CHROMIUM", "/usr/bin/chromium")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# The lab without a token: for tests only, on loopback, in a folder of its own.
CONFIGURATION = """
from jupyterlab.galata import configure_jupyter_server
configure_jupyter_server(c)
c.ServerApp.ip = "127.0.0.1"
c.ServerApp.port = {port}
c.ServerApp.port_retries = 0
c.ServerApp.root_dir = {folder!r}
c.ServerApp.preferred_dir = {folder!r}
# Continuous integration often runs as root, in a container that is thrown away.
c.ServerApp.allow_root = True
# The server itself asks nobody either: no news, no updates, no list of extensions.
c.LabApp.news_url = None
c.LabApp.check_for_updates_class = "jupyterlab.NeverCheckForUpdate"
c.LabApp.extension_manager = "readonly"
"""


class Guard:
    """Aborts every request that is not for this machine, and remembers its address."""

    def __init__(self, context):
        self.blocked = []
        self.passed = 0
        context.route("**/*", self._request)
        context.route_web_socket(lambda address: not is_local(address), self._socket)

    def _request(self, route):
        if is_local(route.request.url):
            self.passed += 1
            route.continue_()
        else:
            self.blocked.append(route.request.url)
            route.abort()

    def _socket(self, socket_route):
        # Not connected to any server, so nothing leaves.
        self.blocked.append(socket_route.url)


def is_local(address):
    parts = urlsplit(address)
    return parts.scheme in ("data", "blob", "about") or parts.hostname in LOOPBACK


@pytest.fixture(scope="session")
def chromium():
    playwright = pytest.importorskip("playwright.sync_api")
    if not Path(CHROMIUM).exists():
        pytest.skip(f"no browser at {CHROMIUM}")
    with playwright.sync_playwright() as running:
        # A busy machine answers late, and only that.
        playwright.expect.set_options(timeout=180_000)
        browser = running.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def context(chromium):
    # Requests of a service worker would pass by the guard.
    made = chromium.new_context(
        viewport={"width": 1280, "height": 900}, service_workers="block", reduced_motion="reduce"
    )
    made.set_default_timeout(180_000)
    yield made
    made.close()


@pytest.fixture(scope="module")
def guard(context):
    return Guard(context)


@pytest.fixture(scope="module")
def page(context, guard):
    """One page for the tests of a module: a kernel that starts costs more than what they ask."""
    return context.new_page()


@pytest.fixture(scope="module")
def opened(page, pages, request):
    """The page of the module's NOTEBOOK, once what READY selects is there."""
    page.goto(f"{pages}/voila/render/{request.module.NOTEBOOK}.ipynb")
    page.locator(request.module.READY).first.wait_for(state="attached")
    settle(page)
    page.wait_for_timeout(1500)
    return page


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    """Address of a JupyterLab that holds a copy of the notebooks."""
    home = tmp_path_factory.mktemp("lab")
    folder = home / "work"
    shutil.copytree(NOTEBOOKS, folder)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    settings = home / "settings.py"
    settings.write_text(CONFIGURATION.format(port=port, folder=str(folder)))
    environment = os.environ | {
        "HOME": str(home),
        "JUPYTER_CONFIG_DIR": str(home / "config"),
        "JUPYTER_DATA_DIR": str(home / "data"),
        "JUPYTER_RUNTIME_DIR": str(home / "runtime"),
        "IPYTHONDIR": str(home / "ipython"),
    }
    with open(home / "lab.log", "wb") as log:
        server = subprocess.Popen(
            [sys.executable, "-m", "jupyterlab", f"--config={settings}", "--no-browser"],
            cwd=folder,
            env=environment,
            stdout=log,
            stderr=subprocess.STDOUT,
        )
    address = f"http://127.0.0.1:{port}"
    with _served(server, f"{address}/api/status", home / "lab.log"):
        yield address


@contextlib.contextmanager
def _served(server, address, log):
    try:
        _wait_for(address, server, log)
        yield
    finally:
        server.terminate()
        try:
            server.wait(20)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


@pytest.fixture(scope="session")
def pages(tmp_path_factory):
    """Address of a server of pages without code, over a copy of the notebooks."""
    home = tmp_path_factory.mktemp("pages")
    folder = home / "work"
    shutil.copytree(NOTEBOOKS, folder)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    (home / "voila.json").write_text(json.dumps(page_settings(folder, port, ""), default=sorted))
    environment = os.environ | {
        "HOME": str(home),
        "JUPYTER_PATH": str(TEMPLATES),
        "JUPYTER_RUNTIME_DIR": str(home / "runtime"),
        "IPYTHONDIR": str(home / "ipython"),
        "OPENBLAS_NUM_THREADS": "1",
    }
    with open(home / "voila.log", "wb") as log:
        server = subprocess.Popen(
            [sys.executable, "-m", "voila", f"--Voila.config_file_paths={home}"],
            cwd=folder,
            env=environment,
            stdout=log,
            stderr=subprocess.STDOUT,
        )
    address = f"http://127.0.0.1:{port}"
    with _served(server, f"{address}/", home / "voila.log"):
        yield address


def _wait_for(address, server, log):
    for _ in range(600):
        if server.poll() is not None:
            break
        try:
            with urllib.request.urlopen(address, timeout=5) as answer:
                if answer.status == 200:
                    return
        except OSError:
            time.sleep(0.2)
    raise RuntimeError(f"JupyterLab did not start:\n{log.read_text(errors='replace')[-3000:]}")
