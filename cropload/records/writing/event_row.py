"""Write down what befell a crop: a row of the user's own table ``events``."""

import pandas as pd

from cropload import arguments, clock
from cropload.errors import CroploadError
from cropload.records.example import own_folder
from cropload.records.tables import EVENT_KINDS
from cropload.records.writing.append import append_rows


@arguments.check_arguments(
    records=arguments.records,
    block=arguments.block,
    day=arguments.day,
    kind=arguments.one_of(*EVENT_KINDS),
    share_pct=arguments.optional(arguments.number(0, 100, unit="%")),
    of=arguments.optional(arguments.one_of("crop", "shoots", "clusters", "vines")),
    dead=arguments.optional(arguments.whole()),
    alive=arguments.optional(arguments.whole()),
    counts_that_day=arguments.optional(arguments.one_of("before", "after")),
    note=arguments.optional(arguments.text),
)
def record_event(
    records,
    block,
    day,
    kind,
    *,
    share_pct=None,
    of=None,
    dead=None,
    alive=None,
    counts_that_day=None,
    note=None,
):
    """Write down what befell a block's crop; forecasts from then on hold it.

    Parameters
    ----------
    records : Records
        The user's own, as read by ``read_records``.
    block : str
        The block.
    day : str or date
        The day on which it happened.
    kind : str
        frost, hail, drought, birds, thinning, shoot thinning, fruit left or other.
    share_pct : float, optional
        Share that was lost [%].
    of : str, optional
        What it is a share of: crop (when left out), shoots, clusters or vines.
    dead, alive : int, optional
        Shoots found dead and alive on sampled vines, in the place of a share [1].
    counts_that_day : str, optional
        Whether counts of that day were made ``"before"`` or ``"after"`` it.
    note : str, optional
        A remark.

    Returns
    -------
    pathlib.Path
        The file that was added to.

    Raises
    ------
    CroploadError
        For the sample records, a day to come, a share that looks like a fraction or stands beside
        counts, and one count without the other.
    RecordsError
        For a block that is not there, values that cannot be, or an event that is told already.
        Nothing is written in either case.

    Notes
    -----
    Valid for the table as ``read_records`` reads it: its day tells the season.
    Where no share is known yet the event is kept, and nothing is taken off until it is.
    """
    path = own_folder(records, "keep an event")
    if day > pd.Timestamp(clock.today()):
        raise CroploadError(f"{day:%Y-%m-%d} lies after today, so nothing can have happened yet.")
    if share_pct is not None and 0 < share_pct < 1:
        raise CroploadError(
            f"{share_pct:g} is less than one percent. For 35 percent write 35, not 0.35."
        )
    if share_pct is not None and (dead is not None or alive is not None):
        raise CroploadError("Give a share, or shoots counted dead and alive, not both.")
    if (dead is None) != (alive is None):
        raise CroploadError("Give both dead and living shoots: the share needs both counts.")
    row = {
        "block": block,
        "date": day,
        "kind": kind,
        "share_pct": share_pct,
        "of": of,
        "dead": dead,
        "alive": alive,
        "counts_that_day": counts_that_day,
        "note": note,
    }
    return append_rows(path, "events", [row])
