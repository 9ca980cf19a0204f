"""Opening the notebooks: this machine alone, with a token, and nothing ever overwritten."""

import http.server
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from cropload import write_template
from cropload.errors import CroploadError
from cropload.pages import opening as launch
from cropload.pages import serving
from cropload.records.example import shipped

NOTEBOOK = {
    "cells": [
        {
            "cell_type": "markdown",
            "id": "said",
            "metadata": {"tags": ["lab-only"]},
            "source": "This is for the lab.",
        },
        {
            "cell_type": "code",
            "execution_count": None,
            "id": "one",
            "metadata": {},
            "outputs": [],
            "source": "secret_code = 1\nprint('eight', 'buds')",
        },
    ],
    "metadata": {
        "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}
    },
    "nbformat": 4,
    "nbformat_minor": 5,
}


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with records of one's own, and the current one."""
    monkeypatch.chdir(tmp_path)
    shutil.copy(shipped("sample_data") / "quillfoot" / "blocks.csv", tmp_path)
    return tmp_path


def names(folder, pattern="*.ipynb"):
    return {path.name for path in folder.glob(pattern)}


def test_notebooks_are_copied_beside_the_records(folder):
    found, said = launch.working_folder(folder)
    assert found == folder.resolve()
    assert names(folder) == names(shipped("notebooks"))
    assert all(name in " ".join(said) for name in names(folder))


def test_notebooks_that_are_there_stay_as_they_are(folder):
    mine = folder / sorted(names(shipped("notebooks")))[0]
    mine.write_text("mine")
    launch.working_folder(folder)
    launch.working_folder(folder)
    assert mine.read_text() == "mine"


def test_without_a_folder_the_current_one_is_used_when_it_holds_records(folder):
    assert launch.working_folder()[0] == folder.resolve()
    assert not (folder / launch.OWN_FOLDER).exists()


def test_without_a_folder_and_records_the_sample_estate_is_copied_once(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    found, said = launch.working_folder()
    assert found == (tmp_path / launch.OWN_FOLDER).resolve()
    assert "invented" in " ".join(said)
    (found / "blocks.csv").write_text("mine")
    assert launch.working_folder() == (found, [])
    assert (found / "blocks.csv").read_text() == "mine"


def test_a_workbook_stands_for_its_folder(tmp_path):
    write_template(tmp_path / "season.xlsx", xlsx=True)
    assert launch.working_folder(tmp_path / "season.xlsx")[0] == tmp_path.resolve()


def test_a_copied_notebook_shows_the_records_it_lies_beside(folder, tmp_path):
    def first_line(place):
        launch.working_folder(place)
        book = json.loads((place / "pruning_levels.ipynb").read_text("utf-8"))
        code = ["".join(cell["source"]) for cell in book["cells"] if cell["cell_type"] == "code"]
        scope = {}
        exec(code[0], scope)
        return scope["FOLDER"]

    assert first_line(folder) == "."
    workbook = tmp_path / "book"
    workbook.mkdir()
    (workbook / 'My "best" vines.xlsx').write_bytes(b"")
    (workbook / "~$open.xlsx").write_bytes(b"")
    assert first_line(workbook) == 'My "best" vines.xlsx'
    empty = tmp_path / "empty"
    empty.mkdir()
    assert first_line(empty) is None


def test_a_folder_that_is_not_there_is_not_made(tmp_path):
    with pytest.raises(CroploadError, match="cropload new"):
        launch.working_folder(tmp_path / "nothing")
    assert not (tmp_path / "nothing").exists()


def test_a_port_in_use_is_passed_over_or_said(monkeypatch):
    with socket.socket() as taken:
        taken.bind((launch.LOOPBACK, 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(CroploadError, match=f"Port {port} is in use"):
            launch.free_port(port)
        monkeypatch.setattr(launch, "FIRST_PORT", port)
        assert port < launch.free_port() < port + launch.MORE_PORTS


@pytest.mark.parametrize("port", [0, -1, 80, 65536])
def test_a_port_that_cannot_be_is_said(port):
    with pytest.raises(CroploadError, match="1024 to 65535"):
        launch.free_port(port)


@pytest.mark.skipif(os.name == "nt", reason="no modes of this kind")
def test_the_token_lies_in_files_that_only_the_user_reads(folder, monkeypatch):
    monkeypatch.setattr(launch, "_announce", lambda *_: None)
    monkeypatch.setenv("JUPYTER_PATH", "")
    seen = []

    def start(arguments):
        private = Path(arguments[0].partition("=")[2])
        assert private.stat().st_mode & 0o077 == 0
        for name in ("voila.json", "lab.json"):
            assert (private / name).stat().st_mode & 0o077 == 0
        pages, lab = (json.loads((private / f"{n}.json").read_text()) for n in ("voila", "lab"))
        # One token for both, each on a port of its own.
        assert pages["Voila"]["token"] == lab["IdentityProvider"]["token"]
        assert len(pages["Voila"]["token"]) >= 32
        assert pages["Voila"]["port"] != lab["ServerApp"]["port"]
        seen.append(private)

    monkeypatch.setattr(serving.Pages, "launch_instance", start)
    monkeypatch.setenv("CROPLOAD_PRIVATE", "")
    launch.open_pages(folder, browser=False)
    assert not seen[0].exists()


def fetch(address):
    """Return status, page and headers, following redirects with their cookies."""
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    try:
        with opener.open(address, timeout=60) as answer:
            return answer.status, answer.read().decode(), answer.headers, answer.url
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode(), error.headers, error.url


@pytest.fixture
def served(folder):
    """Start a server on the folder and return the address it prints; stop it afterwards."""
    (folder / "what_if.ipynb").write_text(json.dumps(NOTEBOOK))
    settings = folder / "user_settings"
    settings.mkdir()
    # A user who has turned the token off everywhere is still asked for ours.
    off = {"IdentityProvider": {"token": ""}, "ServerApp": {"token": "", "ip": "0.0.0.0"}}
    for name in ("jupyter_config", "jupyter_server_config", "jupyter_lab_config"):
        (settings / f"{name}.json").write_text(json.dumps(off))
    running = []

    def start(command):
        process = subprocess.Popen(
            [sys.executable, "-m", "cropload", command, "--no-browser"],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            cwd=folder,
            env={**os.environ, "JUPYTER_CONFIG_DIR": str(settings)},
        )
        running.append(process)
        for line in process.stdout:
            if "http://" in line:
                return re.search(r"(http://127\.0\.0\.1:\d+)(\S*)\?token=(\w{32,})", line).groups()
        raise AssertionError("no address was printed")

    yield start
    for process in running:
        process.send_signal(signal.SIGTERM)
        process.wait(30)
        process.stdout.close()


@pytest.mark.parametrize("command", ["open", "present"])
def test_the_pages_open_with_their_token_only_and_show_no_code(served, command):
    place, path, token = served(command)
    for address in ("/", "/voila/render/what_if.ipynb", "/as_notebook/what_if.ipynb", "/answers"):
        _, page, _, led_to = fetch(place + address)
        assert "login" in led_to
        assert "<title>cropload: token needed</title>" in page
    status, page, headers, led_to = fetch(f"{place}{path}?token={token}")
    assert status == 200
    assert led_to.endswith("/voila/render/home.ipynb")
    assert "default-src 'self'" in headers["Content-Security-Policy"]
    status, page, headers, _ = fetch(f"{place}/voila/render/what_if.ipynb?token={token}")
    assert status == 200
    assert "eight buds" in page
    assert "secret_code" not in page
    assert "for the lab" not in page
    assert "default-src 'self'" in headers["Content-Security-Policy"]
    fetched = re.findall(
        r"""(?:src|href)=["'](https?://[^"']*)|import\(["'](https?:[^"']*)""", page
    )
    assert fetched == []
    assert "cdn" not in "".join(re.findall(r"https?://[^\s\"'<]+", page))


def test_each_page_leads_to_its_notebook_in_the_lab(served):
    place, _, token = served("open")
    status, page, _, led_to = fetch(f"{place}/as_notebook/what_if.ipynb?token={token}")
    assert status == 200
    assert "JupyterLab" in page
    lab = led_to.partition("/lab/")[0]
    assert lab.startswith("http://127.0.0.1:")
    assert lab != place
    held = json.loads(fetch(f"{lab}/api/contents?token={token}")[1])
    assert "what_if.ipynb" in {entry["name"] for entry in held["content"]}
    assert fetch(f"{lab}/api/contents")[0] == 403
    # No news, and no extension to be fetched, from the network.
    settings = json.loads(re.search(r'type="application/json">\s*(\{.*?\})\s*<', page, re.S)[1])
    assert settings["news"] == {"disabled": True}


def test_another_program_on_the_port_is_not_taken_for_ours(monkeypatch, capsys, tmp_path):
    class Other(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.end_headers()
            self.wfile.write(b"hello")

        def log_message(self, *_):
            pass

    server = http.server.HTTPServer((launch.LOOPBACK, 0), Other)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        clock = iter(range(0, 1000, 50))
        monkeypatch.setattr(launch.time, "monotonic", lambda: next(clock))
        launch._announce(server.server_port, "t", tmp_path, browser=False)
        assert capsys.readouterr().out == ""
        monkeypatch.setattr(Other, "do_GET", lambda self: answer(self))
        clock = iter(range(0, 1000, 50))
        launch._announce(server.server_port, "t", tmp_path, browser=False)
        assert f"http://127.0.0.1:{server.server_port}/?token=t" in capsys.readouterr().out
    finally:
        server.shutdown()
        server.server_close()


def answer(request):
    request.send_response(200)
    request.end_headers()
    request.wfile.write(str(os.getpid()).encode())
