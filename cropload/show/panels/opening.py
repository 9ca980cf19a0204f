"""Whose records a page shows: as given, read, or those of the sample."""

from pathlib import Path


def given_records(given=None):
    """Return records as they are given, read from a folder or workbook, or those of the sample.

    Parameters
    ----------
    given : Records, str or path, optional
        The invented sample estate when left out.

    Raises
    ------
    CroploadError
        With every fault of records that cannot be read.
    """
    if given is None:
        from cropload.records.example import example_records

        return example_records()
    if isinstance(given, (str, Path)):
        from cropload.records.records import read_records

        return read_records(given)
    return given
