"""Time until a page without code shows its tonnes: python tests/benchmarks/pages.py

Prints seconds, and ratios to a bare page of voila, always cold, that imports pandas,
matplotlib.pyplot and ipywidgets and shows one slider.  Bare pages are measured between ours, so
that a machine busy with other things burdens both alike.  Wanted: at most 0.7 with the pool, 1.5
without.

Then, on the pruning page, the time from a moved slider to the new tonnes in its row, as a multiple
of what computing them takes apart from the page between the moves.  Wanted: at most 3.
``--moves`` measures that alone.
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
from contextlib import contextmanager, suppress
from pathlib import Path

import psutil
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))
from conftest import ARGUMENTS, CHROMIUM

from cropload.pages.notebooks import pages_of
from cropload.pruning.compare import compare_plans
from cropload.records.example import example_records, shipped

BARE = """
import pandas, matplotlib.pyplot, ipywidgets
ipywidgets.IntSlider(description="buds")
"""
#: The first tonnes a reader sees: a figure in t, t/ha or tonnes that is no choice of units.
SHOWN = r"""() => [...document.querySelectorAll("main .jupyter-widgets")].some((part) =>
  part.getClientRects().length && /\bt\/ha\b|\btonnes\b|\d t\b|\[t\]/.test(part.innerText ?? ""))"""
SLIDER = "() => document.querySelector('.jupyter-widgets .noUi-handle') !== null"
#: Moves a slider and gives the time until the tonnes beside it are others [s].
MOVE = """async ([label, buds]) => {
  const slider = document.querySelector(`[aria-label="${label}"]`);
  const tonnes = slider.closest(".cl-lv-row").querySelector(".cl-lv-crop");
  const text = () => tonnes.querySelector(".cl-lv-text")?.textContent;
  const before = text();
  const start = performance.now();
  const changed = new Promise((done, fail) => {
    setTimeout(() => fail(new Error("no other tonnes in a minute")), 60000);
    new MutationObserver((_, eye) => {
      if (text() && text() !== before) { eye.disconnect(); requestAnimationFrame(done); }
    }).observe(tonnes, { childList: true, subtree: true, characterData: true });
  });
  slider.value = buds;
  slider.dispatchEvent(new Event("input", { bubbles: true }));
  await changed;
  return (performance.now() - start) / 1000;
}"""
MOVED = "level 2 buds per cane, slider"
PLANS = "3x8+3x2", "3x{}+3x2", "3x10+3x2"
REPEATS, MOVES = 5, 20


@contextmanager
def served(command, folder):
    """Run a server and give what it prints of its address."""
    # As at a user's: what is imported is compiled once, and kept.
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    with tempfile.TemporaryDirectory() as home:
        program = subprocess.Popen(
            command,
            cwd=folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env=environment | {"HOME": home, "JUPYTER_CONFIG_DIR": home},
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


def rest():
    """Wait until servers and kernels rest, nothing being rendered ahead; five minutes at most."""
    before, quiet, until = {}, 0, time.monotonic() + 300
    while quiet < 3 and time.monotonic() < until:
        time.sleep(1)
        now = {}
        for each in psutil.Process().children(recursive=True):
            with suppress(psutil.Error):
                if "python" in each.name():
                    now[each.pid] = sum(each.cpu_times()[:2])
        busy = sum(spent - before.get(pid, 0) for pid, spent in now.items())
        before, quiet = now, quiet + 1 if busy < 0.2 else 0


def moves(browser, address, count):
    """Return how long a moved slider takes to show tonnes, and computing them apart, each [s]."""
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(300_000)
    page, records = context.new_page(), example_records()
    page.goto(address)
    page.get_by_label("Block", exact=True).select_option("Long Acre")
    page.get_by_text("Sauvignon blanc").first.wait_for()
    page.get_by_label(MOVED, exact=True).wait_for()
    rest()
    shown, computed = [], []
    # The first ones warm everything up, and are left out.
    for turn in range(count + 3):
        buds = (5, 12)[turn % 2]
        shown.append(page.evaluate(MOVE, [MOVED, buds]))
        time.sleep(0.5)
        start = time.perf_counter()
        compare_plans(records, "Long Acre", ",".join(PLANS).format(buds))
        computed.append(time.perf_counter() - start)
    context.close()
    return shown[3:], computed[3:]


def main():
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=REPEATS)
    parser.add_argument("--moves", action="store_true", help="measure the moved slider alone")
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
                rest()
                times.setdefault(name, []).append(seconds(browser, wanted, shown))

            def page(name):
                return f"{place}/voila/render/{name}?{token}"

            first = pages[0]
            five = [page(name) for name in pages[:5]]
            cold = ours / "cold.ipynb"
            # Another name: nobody has rendered it ahead.
            shutil.copy(ours / first, cold)
            # The first of each kind warms the browser's and the disk's caches, and is left out.
            for _ in range(0 if given.moves else given.repeats + 1):
                take("bare page, cold", [f"{plain.rstrip('/')}/voila/render/bare.ipynb"], SLIDER)
                take(f"{first}, rendered ahead", [page(first)], SHOWN)
                take(f"{first}, cold", [page(cold.name)], SHOWN)
                take(f"{len(five)} pages at once, rendered ahead", five, SHOWN)
            shown, computed = moves(browser, page("pruning_levels.ipynb"), MOVES)
        browser.close()
    if not given.moves:
        tell(times)
    ratio = statistics.median(shown) / statistics.median(computed)
    print("\nmoved slider, pruning page, three levels")
    print(f"  until the new tonnes are seen   {statistics.median(shown):6.3f} s")
    print(f"  computed apart from the page    {statistics.median(computed):6.3f} s")
    print(f"  ratio                           {ratio:6.2f}   (wanted: at most 3)")


def tell(times):
    """Print how long the pages took."""
    base = statistics.median(times["bare page, cold"][1:])
    print(f"{'until tonnes are seen':<48}{'s':>8}{'/ bare':>10}{'from - to, s':>16}")
    for name, (_, *taken) in times.items():
        middle = statistics.median(taken)
        span = f"{min(taken):.1f} - {max(taken):.1f}"
        print(f"{name:<48}{middle:>8.2f}{middle / base:>10.2f}{span:>16}")


if __name__ == "__main__":
    main()
