"""The day it is, told in one place, so that every answer has the same one and tests can set it."""

import datetime

#: The day the shipped sample was last written.  A clock that shows an earlier day is wrong, and
#: must not turn the sample's last harvest into one that is still to come.
MADE_ON = datetime.date(2026, 11, 25)


def today():
    """Return the day it is: by the machine's clock, yet not before this version was made.

    Returns
    -------
    datetime.date

    Notes
    -----
    Call it as ``clock.today()``, not by a name of your own, so that a test can set the day.
    """
    return max(datetime.date.today(), MADE_ON)
