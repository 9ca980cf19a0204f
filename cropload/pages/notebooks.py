"""Notebooks beside the records: copied, brought up to date, and never taken from their user."""

import hashlib
import json
import re
from pathlib import Path
from typing import NamedTuple

from cropload.records.example import shipped
from cropload.records.writing.gate import changing, write_new

#: Name of a notebook -> fingerprints of its released versions, the latest last.
RELEASED = Path(__file__).with_name("released_notebooks.json")
#: The pages made ahead, the one opened first at the head, then in the order of the year. That of an
#: import, opened once a year, is made when it is asked for.
PAGES = (
    "home.ipynb",
    "pruning_levels.ipynb",
    "frost_cover.ipynb",
    "owner_scenarios.ipynb",
    "counting_and_forecast.ipynb",
    "winery_intake.ipynb",
    "season_review.ipynb",
)
#: The line of a notebook that says which records it shows: a setting of its user.
_SETTING = re.compile(r"^FOLDER = .*$", re.M)
#: What a fresh notebook beside one that its user changed is called.
_FRESH = "{stem}_fresh.ipynb"


class Brought(NamedTuple):
    """What was done to the notebooks of a folder, as lists of files."""

    copied: list
    refreshed: list
    beside: list

    def sentences(self):
        """Return what was done, in words."""

        def names(files):
            return ", ".join(file.name for file in files)

        sentences = []
        if self.copied:
            sentences.append(f"Copied beside the records: {names(self.copied)}.")
        if self.refreshed:
            sentences.append(f"Brought up to date: {names(self.refreshed)}.")
        if self.beside:
            sentences.append(
                f"You changed notebooks of an earlier version, which stay as they are; as they are "
                f"now, they lie beside them: {names(self.beside)}."
            )
        return sentences


def notebooks():
    """Return the shipped notebooks, by name."""
    return sorted(shipped("notebooks").glob("*.ipynb"))


def pages_of(folder):
    """Return the names of our pages that a folder holds, the one opened first at the head."""
    return [name for name in PAGES if (Path(folder) / name).is_file()]


def records_in(folder):
    """Return what in a folder holds the records: ``"."``, the name of a workbook, or None.

    Notes
    -----
    A table of blocks as a CSV file comes first, then ``records.xlsx``, then a workbook that is
    alone; of several others none is guessed at.
    """
    try:
        names = sorted(entry.name for entry in Path(folder).iterdir())
    except OSError:
        return None
    if "blocks.csv" in (name.lower() for name in names):
        return "."
    books = [name for name in names if name.lower().endswith(".xlsx") and name[0] not in "~."]
    if "records.xlsx" in books:
        return "records.xlsx"
    return books[0] if len(books) == 1 else None


def fingerprint(data):
    """Return what tells one version of a notebook from another, or None for no notebook.

    Parameters
    ----------
    data : bytes
        The file.

    Notes
    -----
    The kinds and sources of its cells count; outputs, metadata and the line that says which
    records it shows do not.
    """
    try:
        cells = [
            [cell["cell_type"], _SETTING.sub("FOLDER", "".join(cell["source"]))]
            for cell in json.loads(data)["cells"]
        ]
    except (ValueError, KeyError, TypeError):
        return None
    return hashlib.sha256(json.dumps(cells).encode()).hexdigest()[:16]


def bring_notebooks(folder):
    """Copy the shipped notebooks into a folder, and bring unchanged older ones up to date.

    Parameters
    ----------
    folder : str or path
        The folder.

    Returns
    -------
    Brought

    Notes
    -----
    A notebook whose cells are those of a released version is replaced by the present one, its
    setting kept.  One that its user changed stays; when it comes from an earlier version, a
    fresh one is laid beside it.
    """
    folder, records = Path(folder), records_in(folder)
    new, refreshed, beside = {}, [], {}
    released = json.loads(RELEASED.read_text("utf-8"))
    for source in notebooks():
        target, now = folder / source.name, fingerprint(source.read_bytes())
        fresh = _ready(source, now, records)
        if not target.exists():
            if not target.is_symlink():
                new[target] = fresh
            continue
        held = target.read_bytes()
        if fingerprint(held) == now:
            continue
        if fingerprint(held) in released.get(source.name, ()):
            with changing(target) as change:
                change.put(_with_setting(fresh, held), held)
            refreshed.append(target)
        elif _came_from(held) != now:
            place = folder / _FRESH.format(stem=source.stem)
            if not place.exists():
                beside[place] = fresh
    if new or beside:
        write_new(new | beside)
    return Brought(list(new), refreshed, list(beside))


def _ready(source, version, records):
    """Return the bytes of a shipped notebook for a folder: its version, and its records."""
    book = json.loads(source.read_bytes())
    book["metadata"]["cropload"] = {"version": version}
    data = (json.dumps(book, indent=1, ensure_ascii=False) + "\n").encode()
    if records is None:
        return data
    return _set(data, f"FOLDER = {json.dumps(records)}")


def _set(data, line):
    """Return a notebook with another line that says which records it shows."""
    book = json.loads(data)
    for cell in book["cells"]:
        if cell["cell_type"] == "code" and _SETTING.search("".join(cell["source"])):
            text = _SETTING.sub(lambda _: line, "".join(cell["source"]))
            cell["source"] = text.splitlines(keepends=True)
            break
    return (json.dumps(book, indent=1, ensure_ascii=False) + "\n").encode()


def _with_setting(fresh, held):
    """Return a fresh notebook with the setting of the one that it takes the place of."""
    for cell in json.loads(held)["cells"]:
        found = _SETTING.search("".join(cell["source"]))
        if cell["cell_type"] == "code" and found:
            return _set(fresh, found[0])
    return fresh


def _came_from(data):
    """Return the version that a notebook was copied from, or None when it does not say."""
    try:
        return json.loads(data)["metadata"]["cropload"]["version"]
    except (ValueError, KeyError, TypeError):
        return None
