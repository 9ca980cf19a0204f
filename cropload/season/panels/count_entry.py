"""What a user types into a form of counts: numbers checked and turned into rows of records."""

import re

import numpy as np
import pandas as pd

from cropload.errors import CroploadError
from cropload.season.words import MEASURES
from cropload.units import POUND_KG

#: More on one vine than anybody has counted: a slip of the pen [1].
_MOST = 1000


def read_numbers(text):
    """Return numbers pasted with blanks, commas, semicolons or line breaks between.

    Raises
    ------
    CroploadError
        When something is no number of 0 or more, or nothing is there.
    """
    words = [word for word in re.split(r"[\s,;]+", text.strip()) if word]
    if not words:
        raise CroploadError(
            "No numbers are entered. Write one number a vine, with blanks between: 23 31 18."
        )
    numbers, wrong = [], []
    for word in words:
        try:
            value = float(word)
        except ValueError:
            value = np.nan
        if not np.isfinite(value) or value < 0:
            wrong.append(word)
        numbers.append(value)
    if wrong:
        listed = ", ".join(f"'{word}'" for word in wrong[:5])
        raise CroploadError(
            f"{listed}: not a number of 0 or more. A vine with nothing on it is 0; leave a place "
            "without a vine out."
        )
    return numbers


def count_rows(records, season, block, measures, day, numbers, counter=""):
    """Return rows for ``counts`` from numbers counted on vines whose places were not noted.

    Parameters
    ----------
    measures : sequence of str
        What was counted on each vine, in the order of its numbers.
    counter : str
        Who counted, where told.

    Raises
    ------
    CroploadError
        For a number that is not whole, that no vine carries, or that is left over.
    """
    each = len(measures)
    if len(numbers) % each:
        raise CroploadError(
            f"{len(numbers)} numbers are no whole vines: each has {each}, "
            f"{', then '.join(MEASURES[name] for name in measures)}."
        )
    wrong = [n for n in numbers if n != int(n)]
    if wrong:
        raise CroploadError(
            f"{wrong[0]:g} is not a whole number. Counts are whole; separate vines by blanks."
        )
    for at, measure in enumerate(measures):
        most = max(numbers[at::each])
        if most > _MOST:
            raise CroploadError(
                f"{most:g} {MEASURES[measure]}: no vine carries that. Check the number."
            )
    # Places of their own, so that these vines are taken for none of those counted before.
    label = f"not noted {day:%Y-%m-%d}"
    counts = records.counts
    there = counts[
        (counts["season"] == season) & (counts["block"] == block) & (counts["row"] == label)
    ]
    first = len(there) + 1
    return [
        {
            "season": int(season),
            "date": day,
            "block": block,
            "row": label,
            "vine": str(first + at),
            "counter": counter,
        }
        | dict(zip(measures, map(float, numbers[at * each : (at + 1) * each]), strict=True))
        for at in range(len(numbers) // each)
    ]


def weight_rows(season, block, measure, day, numbers, units):
    """Return rows for ``weights`` from pairs: clusters of a lot, weight of the lot [g or lb].

    Raises
    ------
    CroploadError
        For a number without its pair, or a lot that cannot be.
    """
    unit = "lb" if units.name == "us" else "g"
    if len(numbers) % 2:
        raise CroploadError(
            f"Weights are pairs: clusters of the lot, then its weight in {unit}, like 40 2045 for "
            "one lot. One number is left without its pair."
        )
    rows = []
    for clusters, weight in zip(numbers[::2], numbers[1::2], strict=True):
        grams = weight * POUND_KG * 1000 if unit == "lb" else weight
        if clusters < 1 or clusters != int(clusters):
            raise CroploadError(
                f"{clusters:g} clusters in a lot: it must be a whole number above 0."
            )
        if not 1 <= grams / clusters <= 5000:
            raise CroploadError(
                f"{clusters:g} clusters of {weight:g} {unit} together are {grams / clusters:.3g} g "
                "each, which no cluster weighs. Clusters come first, then the weight of the lot."
            )
        rows.append(
            {
                "season": int(season),
                "date": day,
                "block": block,
                "stage": measure.removeprefix("weight_"),
                "clusters": float(clusters),
                "weight_g": float(grams),
            }
        )
    return rows


def check_day(records, season, block, day):
    """Raise CroploadError when a count on a day cannot be of that season and block."""
    start, end = pd.Timestamp(season - 1, 5, 1), pd.Timestamp(season, 12, 31)
    if not start <= day <= end:
        raise CroploadError(
            f"{day:%Y-%m-%d} is outside season {season} ({start:%Y-%m-%d} to {end:%Y-%m-%d}). "
            "Check the year."
        )
    harvest = records.harvest
    mine = harvest[(harvest["season"] == season) & (harvest["block"] == block)]
    last = mine["date"].max() if len(mine) else pd.NaT
    if not pd.isna(last) and day > last:
        raise CroploadError(
            f"Block {block} was picked by {last:%Y-%m-%d}; nothing can be counted there on "
            f"{day:%Y-%m-%d}."
        )
