"""Opening the notebooks: this machine alone, with a token, and nothing ever overwritten."""

import json
import logging
import os
import re
import shutil
import signal
import subprocess
import sys
import urllib.error
import urllib.request

import pytest

from cropload import write_template
from cropload.errors import CroploadError
from cropload.pages import opening as launch
from cropload.records.example import shipped

NOTEBOOK = {
    "cells": [
        {
            "cell_type": "code",
            "execution_count": None,
            "id": "one",
            "metadata": {},
            "outputs": [],
            "source": "secret_code = 1\nprint('eight', 'buds')",
        },
        {
            "cell_type": "markdown",
            "id": "two",
            "metadata": {"tags": ["lab-only"]},
            "source": "Words for the lab only: a page says none of them. (for the lab only)",
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


def test_a_port_in_use_is_passed_over_or_said_and_a_free_one_is_held(monkeypatch):
    taken, port = launch.listening()
    with taken:
        with pytest.raises(CroploadError, match=f"Port {port} is in use"):
            launch.listening(port)
        monkeypatch.setattr(launch, "FIRST_PORT", port)
        other, further = launch.listening()
        with other:
            assert port < further < port + launch.MORE_PORTS
            assert other.getsockname() == (launch.LOOPBACK, further)


@pytest.mark.parametrize("port", [0, -1, 80, 65536])
def test_a_port_that_cannot_be_is_said(port):
    with pytest.raises(CroploadError, match="1024 to 65535"):
        launch.listening(port)


def test_no_word_that_is_logged_holds_the_token(caplog):
    from cropload.pages.door import keep_out_of_the_log

    usual, loggers = logging.getLogRecordFactory(), ("tornado.access", "tornado.general")
    try:
        keep_out_of_the_log("abc123")
        logging.getLogger("x").error("GET %s", "/?token=abc123")
        logging.getLogger("tornado.access").warning("403 GET /?token=abc123")
    finally:
        logging.setLogRecordFactory(usual)
        for name in loggers:
            logging.getLogger(name).setLevel(logging.NOTSET)
    assert caplog.messages == ["GET /?token=..."]


def fetch(address, **headers):
    """Return status, page and headers, following redirects with their cookies."""
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    try:
        request = urllib.request.Request(address, headers=headers)
        with opener.open(request, timeout=60) as answer:
            return answer.status, answer.read().decode(), answer.headers, answer.url
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode(), error.headers, error.url


@pytest.fixture(scope="module")
def own(tmp_path_factory):
    """A folder with records of one's own, and one page of ours by name: no panel is computed."""
    folder = tmp_path_factory.mktemp("own")
    shutil.copy(shipped("sample_data") / "quillfoot" / "blocks.csv", folder)
    for name in ("home", "what_if"):
        (folder / f"{name}.ipynb").write_text(json.dumps(NOTEBOOK))
    settings = folder / "user_settings"
    settings.mkdir()
    # A user who has turned the token off everywhere is still asked for ours.
    off = {"IdentityProvider": {"token": ""}, "ServerApp": {"token": "", "ip": "0.0.0.0"}}
    for name in ("jupyter_config", "jupyter_server_config", "jupyter_lab_config"):
        (settings / f"{name}.json").write_text(json.dumps(off))
    return folder


@pytest.fixture(scope="module")
def served(own):
    """Return the address that a server on the folder prints, started once for each command."""
    running = {}

    def start(command):
        if command not in running:
            process = subprocess.Popen(
                [sys.executable, "-m", "cropload", command, "--no-browser"],
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
                cwd=own,
                env={**os.environ, "JUPYTER_CONFIG_DIR": str(own / "user_settings")},
            )
            running[command] = process, _told(process)
        return running[command][1]

    yield start
    for process, _ in running.values():
        process.send_signal(signal.SIGTERM)
        process.wait(30)
        process.stdout.close()


def _told(process):
    for line in process.stdout:
        if "http://" in line:
            return re.search(r"(http://127\.0\.0\.1:\d+)(\S*)\?token=(\w{32,})", line).groups()
    raise AssertionError("no address was printed")


def test_the_pages_show_no_code_and_ask_nothing_of_the_network(served):
    place, path, token = served("present")
    assert "login" in fetch(f"{place}/")[3]
    status, page, headers, where = fetch(f"{place}{path}?token={token}")
    assert status == 200
    assert where == f"{place}/voila/render/home.ipynb"
    assert "default-src 'self'" in headers["Content-Security-Policy"]
    assert "eight buds" in page
    assert "secret_code" not in page
    assert "for the lab only" not in page
    assert token not in page
    fetched = re.findall(
        r"""(?:src|href)=["'](https?://[^"']*)|import\(["'](https?:[^"']*)""", page
    )
    assert fetched == []
    assert "cdn" not in "".join(re.findall(r"https?://[^\s\"'<]+", page))
    listing = fetch(f"{place}/voila/tree?token={token}")[1]
    assert "What if" in listing


def test_nothing_opens_without_the_token_and_the_login_page_is_ours(served):
    place, _, _ = served("open")
    assert fetch(f"{place}/voila/api/contents/")[0] == 403
    for asked in ("/", "/voila/render/pruning_levels.ipynb", "/as_notebook/pruning_levels.ipynb"):
        _, page, _, where = fetch(f"{place}{asked}")
        assert "/login" in where
        assert "<title>cropload: token needed</title>" in page
        assert " buds" not in page
    assert fetch(f"{place}/login", Host="elsewhere.example")[0] == 403


def test_a_page_changed_since_it_was_rendered_ahead_is_shown_as_it_is_now(own, served):
    place, _, token = served("open")
    address = f"{place}/voila/render/home.ipynb?token={token}"
    assert "eight buds" in fetch(address)[1]
    changed = json.loads(json.dumps(NOTEBOOK).replace("eight", "twelve"))
    (own / "home.ipynb").write_text(json.dumps(changed))
    for _ in range(2):
        assert "twelve buds" in fetch(address)[1]
    (own / "home.ipynb").write_text(json.dumps(NOTEBOOK))


def test_the_lab_opens_behind_with_the_same_token(served):
    place, _, token = served("open")
    page = fetch(f"{place}/as_notebook/pruning_levels.ipynb?token={token}")[1]
    address = re.search(r'location.replace\("([^"]+)"\)', page)[1]
    assert address.endswith(f"/lab/tree/pruning_levels.ipynb?token={token}")
    lab = address.partition("/lab/")[0]
    assert fetch(f"{lab}/api/contents")[0] == 403
    assert "<title>cropload: token needed</title>" in fetch(f"{lab}/lab")[1]
    status, page, _, _ = fetch(address)
    assert status == 200
    # No news, and no extension to be fetched, from the network.
    settings = json.loads(re.search(r'type="application/json">\s*(\{.*?\})\s*<', page, re.S)[1])
    assert settings["news"] == {"disabled": True}
