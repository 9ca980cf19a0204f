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


def add_records(parser):
    """Add the folder of records, or the sample estate in its place."""
    parser.add_argument(
        "folder",
        metavar="FOLDER",
        nargs="?",
        help="folder of CSV files, or an .xlsx workbook, with your records",
    )
    parser.add_argument(
        "--example", action="store_true", help="use the invented sample estate instead"
    )


def records_of(options, doubts=True):
    """Return the records that a command is asked about, and say what is doubtful in them."""
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
    from cropload.records.records import read_records

    records = read_records(options.folder)
    if doubts:
        _tell_doubts(records.warnings, getattr(options, "units", "metric") == "us")
    return records


#: Doubts told before a result; `check` lists them all.
MOST_DOUBTS = 5


def _tell_doubts(doubts, us=False):
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
    print(
        f"{number:,} value{'' if one else 's'} of these records {'is' if one else 'are'} doubtful, "
        f"and used as {'it stands' if one else 'they stand'}:\n\n"
        f"{fault_list(told)}\n\n`cropload check` lists them all.\n",
        file=sys.stderr,
    )


def add_block(parser, required=True):
    """Add the name of one block."""
    parser.add_argument(
        "--block", metavar="NAME", required=required, help="name of the block, as in table blocks"
    )


def add_season(parser):
    """Add the season."""
    parser.add_argument(
        "--season", metavar="YEAR", type=year, help="year of harvest; the next one by default"
    )


def season_text(records, given, season):
    """Return which season is meant when none was named, why, and a warning when it is past.

    Parameters
    ----------
    records : Records
        What the default was told from.
    given : int or None
        The season asked for.
    season : int
        The season that was taken.
    """
    if given is not None:
        return ""
    from cropload import clock
    from cropload.beliefs.meant import why_season
    from cropload.show.terminal import paragraph

    today = clock.today()
    text = f"Season {season} is meant: {why_season(records, season)}. --season YEAR asks another."
    # After October no harvest of the year is still to come, north or south.
    if season < today.year or (season == today.year and today.month > 10):
        text += (
            f" Today is {today:%Y-%m-%d}, so that harvest is past; harvests after it are not on "
            f"record. Add them, or ask for --season {today.year + (today.month > 10)}."
        )
    return paragraph(text)


def add_reference_plan(parser):
    """Add the plan that a block without one on record has carried."""
    parser.add_argument(
        "--reference-plan",
        metavar="PLAN",
        help="the plan the block has carried, when none is on record, like 2x10+2x2",
    )


def add_bands(parser):
    """Add the bands that shoots per length and the Ravaz index are held against."""
    parser.add_argument(
        "--density-band",
        metavar="LOW,HIGH|KEY",
        type=band,
        help="band for shoots per m of canopy (per ft with --units us), or a handbook key; "
        "`cropload source band` lists them",
    )
    parser.add_argument(
        "--ravaz-band",
        metavar="LOW,HIGH|KEY",
        type=band,
        help="band for yield to pruning weight (kg/kg, the same in lb/lb), or a handbook key",
    )


def add_units(parser):
    """Add the unit system of what is printed and exported."""
    parser.add_argument(
        "--units",
        metavar="SYSTEM",
        choices=("metric", "us"),
        default="metric",
        help="metric (the default) or us: units of what is printed and exported",
    )


def units_of(options):
    """Return the unit system asked for."""
    from cropload.units import unit_system

    return unit_system(options.units)


def add_draws(parser):
    """Add the seed and the number of draws."""
    parser.add_argument(
        "--seed", metavar="N", type=whole, default=0, help="seed of the draws; 0 by default"
    )
    parser.add_argument(
        "--draws",
        metavar="N",
        type=whole,
        default=DEFAULT_DRAWS,
        help=f"draws behind the ranges, 100 to 1,000,000; {DEFAULT_DRAWS} by default",
    )


def add_csv(parser):
    """Add the file that the whole result is exported to."""
    parser.add_argument(
        "--csv", metavar="FILE", help="also write every column to a new .csv or .xlsx file"
    )
    parser.add_argument(
        "--replace", action="store_true", help="let --csv replace a file that exists"
    )


def save(options, frame):
    """Write a result to the file asked for, if any, and say so on standard error."""
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

    if not isinstance(given, tuple) or units.name == "metric":
        return bands.density_band(given, **kind)
    low, high = (float(f"{units.to_metric('per_m', end):.4g}") for end in given)
    checked = bands.density_band((low, high))
    named = f"your own band, {given[0]:g} to {given[1]:g} {units.label('per_m')}"
    return bands.Band(checked.low, checked.high, named)
