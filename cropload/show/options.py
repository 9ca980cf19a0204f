"""Arguments that several commands share, and what is made of them."""

import argparse
import math
import re
import sys

from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError

PRUNING_CAUTION = (
    "Prune with eye protection, gloves, closed tools and firm footing, and keep to local codes "
    "and licensed practice."
)
CAUTION = f"A forecast is decision support, not a guarantee. {PRUNING_CAUTION}"


def number(text):
    """Read a finite number; a decimal comma is understood, one that may part thousands is not."""
    if re.fullmatch(r"\s*[+-]?[1-9]\d{0,2},\d{3}\s*", text):
        plain = text.strip().replace(",", "")
        raise argparse.ArgumentTypeError(
            f"'{text}' may mean {text.strip().replace(',', '.')} or {plain}; write it without a "
            "comma"
        )
    try:
        value = float(text.replace(",", ".")) if text.count(",") <= 1 else math.nan
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"'{text}' is not a number")
    return value


def whole(text):
    """Read a whole number."""
    if not re.fullmatch(r"\s*[+-]?\d{1,18}\s*", text):
        raise argparse.ArgumentTypeError(f"'{text}' is not a whole number")
    return int(text)


def year(text):
    """Read a season, the calendar year of harvest."""
    if not re.fullmatch(r"(19|20|21)\d\d", text):
        raise argparse.ArgumentTypeError(f"'{text}' is not a season; write the year of harvest")
    return int(text)


def band(text):
    """Read a band: two numbers like ``12,15``, or the name of a handbook entry."""
    ends = [end.strip() for end in text.split(",")]
    try:
        low, high = (float(end) for end in ends)
    except ValueError:
        if re.search("[A-Za-z]", ends[0]) and len(ends) == 1:
            return ends[0]
        raise argparse.ArgumentTypeError(
            f"'{text}' is not a band; write LOW,HIGH like 12,15 or a handbook key like "
            "band.ravaz.general"
        ) from None
    return low, high


def span(text):
    """Read a span of whole numbers: ``2-4``, ``2,4`` or ``3``."""
    found = re.fullmatch(r"\s*(\d{1,4})\s*(?:[-,]\s*(\d{1,4}))?\s*", text)
    if not found:
        raise argparse.ArgumentTypeError(f"'{text}' is not a span; write LEAST-MOST like 2-4")
    return int(found[1]), int(found[2] or found[1])


def option(name, metavar=None, help="", read=None, default=None, **more):
    """Return an argument of a command: a function that adds it to a parser.

    Parameters
    ----------
    name : str
        What the user types; a name without dashes goes by its place.
    metavar : str, optional
        What stands for the value in the help; a switch, without choices, takes none.
    help : str
        One line for the help of the command.
    read : callable, optional
        Reads the text, like ``number``.
    default : object
        What an option that is not given stands for.
    **more
        As ``argparse`` takes them.
    """
    if metavar is None and "choices" not in more:
        return lambda parser: parser.add_argument(name, action="store_true", help=help)
    more |= {"metavar": metavar, "help": help, "type": read, "default": default}
    return lambda parser: parser.add_argument(name, **more)


def together(*members):
    """Return several arguments as one."""

    def add(parser):
        for member in members:
            member(parser)

    return add


def either(*members, required=False):
    """Return arguments of which a user gives one at most, or just one when it is required."""

    def add(parser):
        together(*members)(parser.add_mutually_exclusive_group(required=required))

    return add


def group(title, *members):
    """Return arguments that the help lists under a title of their own."""
    return lambda parser: together(*members)(parser.add_argument_group(title))


def by(default):
    """Return what the rows of a table are as an argument."""
    others = " or ".join(each for each in ("block", "variety", "estate") if each != default)
    return option(
        "--by",
        "WHAT",
        f"rows of the table: {default} (the default), {others}",
        default=default,
        choices=("block", "variety", "estate"),
    )


def block(required=True):
    """Return the name of one block as an argument."""
    return option("--block", "NAME", "name of the block, as in table blocks", required=required)


#: The folder of records, or the sample estate in its place.
RECORDS = together(
    option(
        "folder",
        "FOLDER",
        "folder of CSV files, or an .xlsx workbook, with your records",
        nargs="?",
    ),
    option("--example", help="use the invented sample estate instead"),
)
BLOCK = block()
SEASON = option("--season", "YEAR", "year of harvest; the next one by default", year)
#: The day up to which records speak.
AS_OF = option(
    "--as-of",
    "DATE",
    "use only records up to this day, like 2026-07-15; all of them by default",
)
#: The wanted crop, in either unit system.
TARGETS = (
    option("--target-t-ha", "X", "wanted crop at the scale, t/ha", number),
    option("--target-ton-ac", "X", "wanted crop at the scale, short tons/acre", number),
)
#: The plan that a block without one on record has carried.
REFERENCE_PLAN = option(
    "--reference-plan",
    "PLAN",
    "the plan the block has carried, when none is on record, like 2x10+2x2",
)
#: The bands that shoots per length and the Ravaz index are held against.
BANDS = together(
    option(
        "--density-band",
        "LOW,HIGH|KEY",
        "band for shoots per m of canopy (per ft with --units us), or a handbook key; "
        "`cropload source band` lists them",
        band,
    ),
    option(
        "--ravaz-band",
        "LOW,HIGH|KEY",
        "band for yield to pruning weight (kg/kg, the same in lb/lb), or a handbook key",
        band,
    ),
)
#: The unit system of what is printed and exported.
UNITS = option(
    "--units",
    "SYSTEM",
    "metric (the default) or us: units of what is printed and exported",
    default="metric",
    choices=("metric", "us"),
)
#: The seed and the number of draws.
DRAWS = together(
    option("--seed", "N", "seed of the draws; 0 by default", whole, 0),
    option(
        "--draws",
        "N",
        f"draws behind the ranges, 100 to 1,000,000; {DEFAULT_DRAWS} by default",
        whole,
        DEFAULT_DRAWS,
    ),
)
#: The file that the whole result is exported to.
CSV = together(
    option("--csv", "FILE", "also write every column to a new .csv or .xlsx file"),
    option("--replace", help="let --csv replace a file that exists"),
)


#: Of a command that takes many folders.
MANY = together(
    option("--into", "PLACE", "of many folders: the new folder for their rows, as Parquet"),
    option(
        "--workers",
        "ADDRESS",
        "of many folders: a dask scheduler, like tcp://host:8786; else this machine",
    ),
)


def records_of(options, doubts=True, season=None, as_of=None):
    """Return the records that a command is asked about, and say what is doubtful in them.

    Where the command takes a season, ``options.season`` is filled in when none was named, and
    ``options.opening`` is the line that says so over the answer.

    Parameters
    ----------
    options : Namespace
        What the command was given.
    doubts : bool
        Whether doubts are told.
    season : callable, optional
        Takes the records known on the day and returns the season meant when none is named, and
        why; the next one when left out.
    as_of : str or date, optional
        The day up to which records speak; that of ``--as-of`` when left out.
    """
    records = _records(options)
    if doubts and not options.example:
        tell_doubts(records.warnings, getattr(options, "units", "metric") == "us")
    if "season" in options:
        as_of = getattr(options, "as_of", None) if as_of is None else as_of
        options.opening = _opening(options, records, season, as_of)
    return records


def _records(options):
    if options.example and options.folder:
        raise CroploadError("Give a folder or --example, not both.")
    if options.example:
        from cropload.records.example import example_records

        return example_records()
    if not options.folder:
        raise CroploadError(
            "Which records? Give the folder that holds them, or --example for the invented "
            "sample estate. `cropload new FOLDER` starts a folder of your own."
        )
    from pathlib import Path

    from cropload.records.reading.files import bytes_to_read
    from cropload.records.records import read_records
    from cropload.show.terminal import working

    size = bytes_to_read(options.folder)
    if size < _LONG_READ:
        return read_records(options.folder)
    with working(f"Reading {Path(options.folder).name}, {size / 1e6:.0f} MB"):
        return read_records(options.folder)


#: Records that take long enough to read for a line that says so [bytes].
_LONG_READ = 1_000_000
#: Doubts told before a result; `check` lists them all.
MOST_DOUBTS = 5


def tell_doubts(doubts, us=False):
    """Say on the side what is doubtful in the records that a result is about to use."""
    if not doubts:
        return
    import sys

    from cropload.records.reading.faults import fault_list, how_many

    told = doubts[:MOST_DOUBTS]
    if us:
        from cropload.show.us_beside import faults_with_us

        told = faults_with_us(told)
    number = how_many(doubts)
    one = number == 1
    used = f"used as {'it stands' if one else 'they stand'}"
    if any("left out" in doubt.rule for doubt in doubts):
        used += ", or left out where that is said"
    print(
        f"{number:,} value{'' if one else 's'} of these records {'is' if one else 'are'} doubtful, "
        f"and {used}:\n\n"
        f"{fault_list(told)}\n\n`cropload check` lists them all.\n",
        file=sys.stderr,
    )


def _opening(options, records, season, as_of):
    """Return the first line of a command's answer, and have the season it names be the one asked.

    Parameters
    ----------
    options : Namespace
        What the command was given; ``season`` is filled in.
    records : Records
        As read by ``read_records``.
    season : callable, optional
        As for ``records_of``.
    as_of : str, date or None
        The day up to which records speak.
    """
    from cropload import clock
    from cropload.beliefs.meant import check_block
    from cropload.records.as_of import records_until
    from cropload.show.command import Opening

    limit, place = clock.day(as_of), getattr(options, "block", None)
    day = ("from all records" if limit is None else f"as of {limit:%Y-%m-%d}") * (
        "as_of" in options
    )
    place = check_block(records, place) if isinstance(place, str) else ""
    why = ""
    if options.season is None:
        known = records_until(records, limit)
        options.season, why = _usual_season(known, limit) if season is None else season(known)
        why += " --season YEAR asks another."
    return None if options.season is None else Opening(options.season, place, day, why)


def _usual_season(records, limit):
    """Return which season is meant when none was named, and why, with a warning when it is past."""
    from cropload import clock
    from cropload.beliefs.meant import coming_harvest, next_season, why_season

    day = clock.today() if limit is None else limit
    season, coming = next_season(records, day), coming_harvest(records, day)
    why = f"{why_season(records, season, day)}."
    if season < coming and limit is None:
        why += (
            f" Today is {day:%Y-%m-%d}, so that harvest is past; harvests after it are not on "
            f"record. Add them, or ask for --season {coming}."
        )
    return season, why


def share(name, per_cent):
    """Return a share [1] from an option in per cent; None for one that is not given."""
    if per_cent is None:
        return None
    if not 0 <= per_cent < 100:
        raise CroploadError(f"{name} is {per_cent:g}; it must be from 0 to below 100 %.")
    return per_cent / 100


def target_of(options):
    """Return the wanted crop [t/ha] of ``TARGETS``, or None."""
    from cropload.units import US

    if options.target_ton_ac is None:
        return options.target_t_ha
    return US.to_metric("t_ha", options.target_ton_ac)


def units_of(options):
    """Return the unit system asked for."""
    from cropload.units import unit_system

    return unit_system(options.units)


def save(options, frame):
    """Write a result to the file asked for, if any, and say so on standard error."""
    if hasattr(options, "caught"):
        options.caught.append(rounded(frame))
        return
    if options.csv is None:
        return
    from cropload.records.writing.gate import write_results
    from cropload.records.writing.results import frame_result

    tell_written(write_results([frame_result(options.csv, rounded(frame))], options.replace))


def tell_written(files):
    """Say on standard error which files were written, and where the versions before them lie."""
    for path, before in files:
        note(f"Written: {path}")
        if before is not None:
            note(f"The version before: {before}")


#: Significant figures of a number in a file: more than any range supports, and none of noise.
FIGURES = 6


def rounded(frame):
    """Return a result with its broken numbers to ``FIGURES`` significant figures."""
    import numpy as np

    frame = frame.copy()
    for place, kind in enumerate(frame.dtypes):
        if getattr(kind, "kind", "") != "f":
            continue
        values = frame.iloc[:, place].to_numpy(float)
        frame.isetitem(place, np.array([float(f"{value:.{FIGURES}g}") for value in values]))
    return frame


def note(message):
    """Write a message to standard error."""
    from cropload.show.terminal import printable

    print(printable(message), file=sys.stderr, flush=True)


def density_band_of(given, kind, units):
    """Return the band of shoots per metre [1/m] from an option given in some units.

    ``kind`` is what ``BlockFacts.kind`` tells of the block; nothing for several blocks.
    """
    from cropload.vine import bands

    if given is None:
        return None
    if not isinstance(given, tuple) or units.name == "metric":
        return bands.density_band(given, **kind)
    low, high = (float(f"{units.to_metric('per_m', end):.4g}") for end in given)
    checked = bands.density_band((low, high))
    named = f"your own band, {given[0]:g} to {given[1]:g} {units.label('per_m')}"
    return bands.Band(checked.low, checked.high, named)
