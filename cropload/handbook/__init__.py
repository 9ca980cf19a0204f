"""The handbook: every default, band and prior with its unit, range, source and grade."""

from cropload.handbook.reader import (
    GRADES,
    Entry,
    HandbookError,
    band,
    citation,
    describe,
    entry,
    keys,
    most_moving,
    moves,
    same_variety,
    source_keys,
    told,
    value,
    variety,
    variety_names,
)

__all__ = [
    "GRADES",
    "Entry",
    "HandbookError",
    "band",
    "citation",
    "describe",
    "entry",
    "keys",
    "most_moving",
    "moves",
    "same_variety",
    "source_keys",
    "told",
    "value",
    "variety",
    "variety_names",
]
