"""Keep results: new files beside the records, never over something that is there."""

import re
from pathlib import Path

from cropload.errors import CroploadError
from cropload.records.example import shipped
from cropload.records.safe_files import put_bytes
from cropload.records.writing import write_frame
from cropload.views.result_units import in_units

#: Tries at a free name before giving up.
_MOST_NAMES = 1000


def is_sample(records):
    """Return whether records are the invented ones that ship with the package."""
    try:
        return Path(records.path).resolve().is_relative_to(shipped("sample_data").resolve())
    except CroploadError:
        return False


def results_folder(records, given=None):
    """Return the folder for results: the given one, or ``results`` beside the user's records.

    The shipped sample is never written into; its results go to ``results`` in the working folder.
    """
    if given is not None:
        return Path(given).expanduser()
    if is_sample(records):
        return Path.cwd() / "results"
    path = Path(records.path)
    return (path if path.is_dir() else path.parent) / "results"


def file_stem(kind, block, season):
    """Return a file name without ending, in any alphabet, that every system takes.

    Examples
    --------
    >>> file_stem("plans", "Long/Acre: <b>", 2027)
    'plans_Long-Acre-b_2027'
    """
    safe = re.sub(r"[^\w]+", "-", block).strip("-")[:60] or "block"
    return f"{kind}_{safe}_{season}"


def _each_name(folder, stem, suffix):
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise CroploadError(f"The folder {folder} cannot be made ({fault.strerror}).") from None
    for number in range(1, _MOST_NAMES):
        path = folder / (f"{stem}{suffix}" if number == 1 else f"{stem}_{number}{suffix}")
        if not path.exists():
            return path
    raise CroploadError(f"{folder} holds {_MOST_NAMES} files named {stem}; clear some away.")


def save_frame(frame, folder, stem, suffix, units):
    """Write a result as a new .csv or .xlsx file in a unit system, and return the file."""
    return write_frame(_each_name(folder, stem, suffix), in_units(frame, units))


def save_page(text, folder, stem):
    """Write an HTML page as a new file, and return the file."""
    path = _each_name(folder, stem, ".html")
    put_bytes(path, text.encode("utf-8"))
    return path


def save_chosen_plan(records, season, block, plan, day):
    """Save a plan into the user's own table ``pruning``, and return the file.

    Raises
    ------
    CroploadError
        For the shipped sample, or when the table already holds a plan for that season.
    """
    if is_sample(records):
        raise CroploadError(
            "These are the invented sample records, which stay as they are. To keep a plan, make "
            "a folder of your own first (cropload new FOLDER, or cropload new FOLDER --example "
            "for a copy of the sample) and set FOLDER in the first cell to it."
        )
    from cropload.records.append import save_plan

    return save_plan(records.path, season, block, str(plan), day)


def shown_path(records):
    """Return the records' folder or workbook by its own name, also when it was given as a dot."""
    return records.path.resolve().name or str(records.path)
