"""The sample estate that ships with the package, and where to find it."""

import functools
from importlib.resources import files
from pathlib import Path

from cropload.errors import CroploadError


def shipped(name):
    """Return the folder of shipped notebooks or sample data, in a wheel or in a checkout.

    Parameters
    ----------
    name : str
        ``"notebooks"`` or ``"sample_data"``.

    Raises
    ------
    CroploadError
        When the installation is not whole.
    """
    package = Path(str(files("cropload")))
    for folder in (package / "_shipped" / name, package.parent / name):
        if folder.is_dir():
            return folder
    raise CroploadError(
        f"This installation of cropload lacks its folder '{name}'. Install the package again."
    )


@functools.cache
def example_records():
    """Return the records of the invented estate Quillfoot, read once.

    Returns
    -------
    Records
        Everything in it is invented.
    """
    from cropload.records.records import read_records

    return read_records(shipped("sample_data") / "quillfoot")


def is_sample(records):
    """Whether records are those of the invented estate, or a copy: each region says so."""
    regions = records.blocks["region"]
    return len(regions) > 0 and bool(regions.str.endswith("(invented)").all())


def is_shipped(records):
    """Whether records (or their path) are the ones that ship with the package, where they lie."""
    try:
        return (
            Path(getattr(records, "path", records))
            .resolve()
            .is_relative_to(shipped("sample_data").resolve())
        )
    except CroploadError:
        return False


def own_folder(records, purpose):
    """Return the user's folder or workbook, of records or as it is given.

    Raises
    ------
    CroploadError
        For the sample records, which stay as they are.
    """
    if is_shipped(records):
        raise CroploadError(
            f"These are the invented sample records, which stay as they are. To {purpose}, make "
            "a folder of your own first (cropload new FOLDER, or cropload new FOLDER --example "
            "for a copy of the sample) and set FOLDER in the first cell to it."
        )
    return getattr(records, "path", records)
