"""Time until a page without code shows its tonnes: python tests/benchmarks/pages.py

Prints seconds, and ratios to a bare page of voila, always cold, that imports pandas,
matplotlib.pyplot and ipywidgets and shows one slider.  Bare pages are measured between ours, so
that a machine busy with other things burdens both alike.  Wanted: at most 0.7 with the pool, 1.5
without.
"""

import argparse
import json
import os
import re
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))
from conftest import ARGUMENTS, CHROMIUM

from cropload.pages.notebooks import pages_of
from cropload.records.example import shipped

BARE = """
import pandas, matplotlib.pyplot, ipywidgets
ipywidgets.IntSlider(description="buds")
"""
#: The first tonnes a reader sees: a figure in t, t/ha or tonnes that is no choice of units.
SHOWN = r"""() => [...document.querySelectorAll("main .jupyter-widgets")].some((part) =>
  part.getClientRects().length && /\bt\/ha\b|\btonnes\b|\d t\b|\[t\]/.test(part.innerText ?? ""))"""
SLIDER = "() => document.querySelector('.jupyter-widgets .noUi-handle') !== null"
REPEATS = 5


@contextmanager
def served(command, folder):
    """Run a server and give what it prints of its address."""
    with tempfile.TemporaryDirectory() as home:
        program = subprocess.Popen(
            command,
            cwd=folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env=os.environ | {"HOME": home, "JUPYTER_CONFIG_DIR": home},
        )
        try:
            for line in program.stdout:
                if address := re.search(r"http://\S+", line):
                    break
            yield address[0]
        finally:
            program.send_signal(signal.SIGTERM)
            program.wait(60)
            program.stdout.close()


def seconds(browser, addresses, shown):
    """Return how long it takes until each of some pages, opened at once, shows it [s]."""
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(300_000)
    pages = [context.new_page() for _ in addresses]
    start = time.perf_counter()
    for page, address in zip(pages, addresses, strict=True):
        page.goto(address, wait_until="commit")
    for page in pages:
        page.wait_for_function(shown)
    taken = time.perf_counter() - start
    context.close()
    return taken


def main():
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=REPEATS)
    parser.add_argument("--settle", type=float, default=20, help="rest before a page is asked [s]")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as running:
        browser = running.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        bare, ours = Path(scratch) / "bare", Path(scratch) / "ours"
        bare.mkdir()
        cell = {"cell_type": "code", "execution_count": None, "id": "one", "metadata": {}}
        kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
        book = {"cells": [cell | {"outputs": [], "source": BARE}], "nbformat": 4}
        book |= {"metadata": {"kernelspec": kernel}, "nbformat_minor": 5}
        (bare / "bare.ipynb").write_text(json.dumps(book))
        shutil.copytree(shipped("sample_data") / "quillfoot", ours)
        voila = [sys.executable, "-m", "voila", "--no-browser", "--port", "8866", str(bare)]
        door = [sys.executable, "-m", "cropload", "open", str(ours), "--no-browser"]
        times = {"bare page, cold": []}
        with served(voila, bare) as plain, served(door, ours) as address:
            place, _, token = address.partition("/?")
            pages = pages_of(ours)

            def take(name, wanted, shown):
                time.sleep(given.settle)
                times.setdefault(name, []).append(seconds(browser, wanted, shown))

            def page(name):
                return f"{place}/voila/render/{name}?{token}"

            first = pages[0]
            five = [page(name) for name in pages[:5]]
            cold = ours / "cold.ipynb"
            # Another name: nobody has rendered it ahead.
            shutil.copy(ours / first, cold)
            # The first of each kind warms the browser's and the disk's caches, and is left out.
            for _ in range(given.repeats + 1):
                take("bare page, cold", [f"{plain.rstrip('/')}/voila/render/bare.ipynb"], SLIDER)
                take(f"{first}, rendered ahead", [page(first)], SHOWN)
                take(f"{first}, cold", [page(cold.name)], SHOWN)
                take(f"{len(five)} pages at once, rendered ahead", five, SHOWN)
        browser.close()
    base = statistics.median(times["bare page, cold"][1:])
    print(f"{'until tonnes are seen':<48}{'s':>8}{'/ bare':>10}{'from - to, s':>16}")
    for name, (_, *taken) in times.items():
        middle = statistics.median(taken)
        span = f"{min(taken):.1f} - {max(taken):.1f}"
        print(f"{name:<48}{middle:>8.2f}{middle / base:>10.2f}{span:>16}")


if __name__ == "__main__":
    main()
