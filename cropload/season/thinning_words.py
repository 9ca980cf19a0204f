"""Thinning put into words, for the panel and the command line."""

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs import ranges
from cropload.show import wording
from cropload.units import METRIC


def thinning_sentence(found, target_t_ha=None, units=METRIC):
    """Return what to leave on a vine, in words with the reader's units.

    Parameters
    ----------
    found : Thinning
        Of ``thin_to``.
    target_t_ha : float, optional
        The target asked for, when it was a crop [t/ha].
    units : UnitSystem
        Units to show.
    """
    text = found.message
    if target_t_ha is not None and units.name != "metric":
        text = text.replace(f"{target_t_ha:g} t/ha", wording.amount("t_ha", target_t_ha, units), 1)
    low, middle, high = found.clusters_now
    return (
        f"{found.block}: {text} Clusters on a vine now: {middle:.0f} "
        f"({low:.0f} to {high:.0f}, {ranges.label()})."
    )


def around(found, each_way=3):
    """Return the choices next to the one advised, and leaving all fruit, as a table.

    Parameters
    ----------
    found : Thinning
        Of ``thin_to``.
    each_way : int
        Whole numbers shown on each side of the one advised [1].

    Returns
    -------
    DataFrame
        As ``found.options``, with ``keep`` as text and leaving all fruit as the last row. Empty
        where the fruit is best left: there is then nothing to choose between.

    Notes
    -----
    Choices that drop less than the handbook's ``thin.least_drop`` per vine are left out: they
    differ from leaving all by nothing but the walk. Valid for any advice.
    """
    options = found.options
    near = np.abs(options["keep"].to_numpy() - found.keep) <= each_way
    worth = options["drop"].to_numpy() >= handbook.value("thin.least_drop")
    shown = options[near & worth & (found.drop > 0)]
    rows = [row | {"keep": f"{row['keep']:.0f}"} for row in shown.to_dict("records")]
    if rows:
        rows.append(found.hanging | {"keep": "all"})
    return pd.DataFrame(rows, columns=list(options.columns))
