"""Counts entered on a page: in memory until they are saved, each entry to be taken back."""

from dataclasses import replace
from pathlib import Path

from cropload.season.panels.entered_rows import added
from cropload.show.panels import saving


class EnteredCounts:
    """What was entered and is not saved yet.

    Parameters
    ----------
    desk : Desk
        Holds the records that it is added to; told ``entered`` after every change.

    Attributes
    ----------
    entries : list of (str, list of dict)
        Each entry: its table, ``"counts"`` or ``"weights"``, and rows by canonical column names,
        metric.
    version : int
        Counts the changes [1].
    """

    def __init__(self, desk):
        self.desk, self.entries, self.version = desk, [], 0
        self._held = (None, None, None)

    @property
    def records(self):
        """The records with what was entered."""
        base, version, held = self._held
        if base is not self.desk.records or version != self.version:
            held = self.desk.records
            for name in dict(self.entries):
                held = replace(held, **{name: added(getattr(held, name), self._rows(name))})
            self._held = (self.desk.records, self.version, held)
        return held

    def until(self, day):
        """Return what of it was known at the end of a day, as a key; all of it for None."""
        known = (
            (table, rows)
            for table, rows in self.entries
            if day is None or any(row["date"] <= day for row in rows)
        )
        return tuple((table, *(tuple(row.items()) for row in rows)) for table, rows in known)

    @property
    def number(self):
        """How many rows wait to be saved."""
        return sum(len(rows) for _, rows in self.entries)

    def add(self, table, rows, day):
        """Add an entry; the day looked at moves to its latest one when it lies before."""
        self.entries.append((table, rows))
        # Another day is looked at with the entry in it.
        self.version += 1
        if self.desk.as_of is not None and self.desk.as_of < day:
            self.desk.as_of = day
        self._changed()

    def take_back(self):
        """Take the last entry away, and return how many rows it had."""
        gone = len(self.entries.pop()[1])
        self._changed()
        return gone

    def waiting(self):
        """Return how many rows wait to be saved in words, blank where none does."""
        rows = "row" if self.number == 1 else "rows"
        return f"{self.number} {rows} not saved yet." if self.number else ""

    def save(self):
        """Add the entries to the user's own tables, and return what was added in words.

        Raises
        ------
        CroploadError
            For the sample records, or when a file cannot be written; what was saved before that
            no longer waits.
        """
        saving.own_folder(self.desk.records, "keep counts")
        from cropload.records.writing.append import append_rows

        number, files = self.number, []
        for name in dict(self.entries):
            rows = self._rows(name)
            files.append(append_rows(self.desk.records.path, name, rows, widen=True))
            if not isinstance(self.desk.given, (str, Path)):
                held = self.desk.records
                self.desk.given = replace(held, **{name: added(getattr(held, name), rows)})
            self.entries = [each for each in self.entries if each[0] != name]
            self.version += 1
            # Every part follows the records, so nothing else needs to be told.
            self.desk.read()
        return f"{number} rows were added to {', '.join(map(str, files))}."

    def _rows(self, name):
        return [row for table, entry in self.entries if table == name for row in entry]

    def _changed(self):
        self.version += 1
        self.desk.follow("entered")
