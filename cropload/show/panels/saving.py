"""Keep results: new files beside the records, never over something that is there."""

import re
from pathlib import Path

from cropload.errors import CroploadError
from cropload.records.example import is_shipped as is_sample
from cropload.records.example import own_folder
from cropload.records.writing.gate import make_folder, write_new
from cropload.records.writing.results import write_frame
from cropload.show.result_units import in_units

#: Tries at a free name before giving up.
_MOST_NAMES = 1000


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


def new_file(folder, stem, suffix):
    """Return a file that is not there yet, in a folder that is made when it has to be."""
    make_folder(folder)
    for number in range(1, _MOST_NAMES):
        path = folder / (f"{stem}{suffix}" if number == 1 else f"{stem}_{number}{suffix}")
        if not path.exists():
            return path
    raise CroploadError(f"{folder} holds {_MOST_NAMES} files named {stem}; clear some away.")


def save_frame(frame, folder, stem, suffix, units):
    """Write a result as a new .csv or .xlsx file in a unit system, and return the file."""
    return write_frame(new_file(folder, stem, suffix), in_units(frame, units))


def save_page(text, folder, stem):
    """Write an HTML page as a new file, and return the file."""
    path = new_file(folder, stem, ".html")
    write_new({path: text.encode("utf-8")})
    return path


def plan_on_record(records, season, block):
    """Return where the user's own records hold a plan of a block and season, or None."""
    if is_sample(records) or not Path(records.path).exists():
        # Records made in memory, or moved since they were read: nothing to point at.
        return None
    from cropload.records.writing.plan_row import plan_row

    return plan_row(records.path, season, block)


def save_chosen_plan(records, season, block, plan, day):
    """Save a plan into the user's own table ``pruning``, and return what was done in words.

    Raises
    ------
    CroploadError
        For the shipped sample, or when the table already holds a plan of a later day.

    Notes
    -----
    A plan that is there already stays, and the later one holds.
    """
    path = own_folder(records, "keep a plan")
    there = plan_on_record(records, season, block)
    if there is not None and there.plan.replace(" ", "") == str(plan):
        return f"nothing to do, {block} has {there.words()} on record for season {season}."
    if there is not None and there.day is not None and there.day > day:
        raise CroploadError(
            f"{block} has {there.words()} on record for season {season}, of {there.day}, which is "
            f"later than {day}: it would still hold. Take the later day, or correct that row in "
            "your spreadsheet program."
        )
    from cropload.records.writing.append import save_plan

    file = save_plan(path, season, block, str(plan), day)
    done = f"plan {plan} of {block} for season {season} is in {file}."
    if there is None:
        return done
    of = "" if there.day is None else f" of {there.day}"
    return f"{done} {plan} of {day} holds; {there.plan}{of} stays in the table."


def shown_path(records):
    """Return the records' folder or workbook by its own name, also when it was given as a dot."""
    return records.path.resolve().name or str(records.path)
