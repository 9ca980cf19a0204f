"""Guard against a crop that is no number, or that no vineyard bears."""

import numpy as np

from cropload import handbook
from cropload.errors import CroploadError

#: Names that a message gives.
_NAMES = 5
_MEND = "check its spacing, vines, plan, counts and weights"


def guard_crops(names, t_ha):
    """Stop at a crop that is no number, and return a note on each that no hectare bears.

    Parameters
    ----------
    names : sequence of str
        What each crop is of: a block, or a plan.
    t_ha : array_like
        Middle of each crop [t/ha].

    Returns
    -------
    list of str
        One sentence, or none.

    Raises
    ------
    CroploadError
        When a crop is infinite, negative or no number.

    Notes
    -----
    A crop above ``plausible.t_ha`` (its end ``refused_above``) is taken for a slip of the records.
    """
    t_ha = np.asarray(t_ha, float)
    broken = ~np.isfinite(t_ha) | (t_ha < 0)
    if broken.any():
        raise CroploadError(
            f"The crop of {_listed(names, broken)} comes out as {t_ha[broken][0]:g} t/ha, which is "
            f"no crop. Something on record must be far out: {_MEND}."
        )
    most = handbook.entry("plausible.t_ha").extra["refused_above"]
    absurd = t_ha > most
    if not absurd.any():
        return []
    return [
        f"The crop of {_listed(names, absurd)} comes to {t_ha[absurd].max():,.0f} t/ha in the "
        f"middle, above the {most:g} t/ha that any vineyard bears. Do not use these figures: "
        f"{_MEND}."
    ]


def _listed(names, chosen):
    return named([str(name) for name, yes in zip(names, chosen, strict=True) if yes], _NAMES)


def named(names, most=12):
    """Return a list of names for a sentence, cut short where nobody would read on."""
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")
