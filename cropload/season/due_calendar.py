"""Reminders of what is due, as an iCalendar file (RFC 5545) that any calendar takes."""

from hashlib import sha256

import pandas as pd

from cropload.show import wording
from cropload.units import METRIC


def reminders(found, units=METRIC):
    """Return what is still to be done as an iCalendar file: an all-day event for each task.

    Parameters
    ----------
    found : Due
        Of ``due``.
    units : UnitSystem
        Units of the tonnes told.

    Returns
    -------
    bytes

    Notes
    -----
    An event keeps its name (UID) by season, block and task, so that a file made later moves the
    event in a calendar that has it already.
    """
    from icalendar import Calendar, Event

    book, season = Calendar(), found.forecast.season
    book.add("prodid", "-//cropload//what is due//EN")
    book.add("version", "2.0")
    stamp = found.day.tz_localize("UTC").to_pydatetime()
    for row in found.frame.to_dict("records"):
        if row["state"] not in ("now", "later"):
            continue
        event = Event()
        # A frost's task bears its day; the words of the others are those of the task.
        key = "\n".join((str(season), row["block"], row["what"], row["words"]))
        event.add("uid", f"{sha256(key.encode()).hexdigest()[:32]}@cropload")
        event.add("dtstamp", stamp)
        event.add("summary", f"{wording.capital(row['words'])}: {row['block']}")
        event.add("dtstart", row["starts"].date())
        # The end of an all-day event is the day after its last one.
        last = max(row["until"], row["starts"])
        event.add("dtend", (last + pd.Timedelta(days=1)).date())
        event.add("description", _details(row, found, units))
        event.add("transp", "TRANSPARENT")
        book.add_component(event)
    return book.to_ical()


def _details(row, found, units):
    text = f"Harvest {found.forecast.season}; about {row['minutes'] / 60:.1f} crew hours"
    if row["vines"]:
        text += f" on {row['vines']} vines"
    if row["removed_t"] > 0:
        off, whole = (
            wording.amount("tonnes", value, units)
            for value in (row["removed_t"], found.range_now_t)
        )
        text += f"; takes {off} off the range of {whole}"
    return f"{text}. Days are usual ones, told on {found.day:%Y-%m-%d}."
