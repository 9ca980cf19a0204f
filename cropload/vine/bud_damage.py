"""Winter bud damage: how sure a sample is, and how many buds to leave for the dead ones."""

from statistics import NormalDist

import numpy as np

from cropload import arguments, handbook
from cropload.errors import CroploadError
from cropload.vine.checking import number, numbers, plain, together


@arguments.check_arguments(target_live_buds=arguments.present, dead_fraction=arguments.present)
def replacement_buds(target_live_buds, dead_fraction):
    """Return the buds to leave so that the wanted number of live ones remains [1/vine].

    Parameters
    ----------
    target_live_buds : float or array
        Live buds wanted on a vine [1/vine].
    dead_fraction : float or array
        Share of buds found dead [1], from 0 to below 1.

    Returns
    -------
    float or array
        Buds to leave, not rounded [1/vine].

    Raises
    ------
    CroploadError
        When a share is not from 0 to below 1, or a number of buds is negative.

    Notes
    -----
    Plain arithmetic: wanted / (1 - dead).  Published step rules ask for fewer at heavy damage, see
    `step_rule_buds`.  A share from a small sample has a wide range, see `wilson_interval`.  Dead
    canes and trunks are not in it. Valid for shares below 1; above about a half, growers finish
    after budburst instead.

    Examples
    --------
    >>> replacement_buds(40, [0.0, 0.2, 0.5])
    array([40., 50., 80.])
    """
    target = numbers("target_live_buds", target_live_buds, "1/vine")
    dead = numbers("dead_fraction", dead_fraction, "1")
    if np.any(dead >= 1):
        raise CroploadError(
            f"dead_fraction is {np.nanmax(dead):g}; it must be a share from 0 to below 1. "
            "Write 35 % as 0.35; with every bud dead no number of buds is enough."
        )
    target, dead = together(target_live_buds=target, dead_fraction=dead)
    return plain(target / (1 - dead))


def _step(rule, dead):
    """Return (words, factor on the wanted buds or nan) of one published step rule."""
    fields = rule.extra
    for low, high, is_open, answer, add in zip(
        *(fields[name] for name in ("from", "to", "upper_open", "answer", "add")), strict=True
    ):
        if not (low <= dead < high if is_open else low <= dead <= high):
            continue
        if answer == "none":
            return "no change", 1.0
        if answer == "same":
            return f"add {100 * dead:.3g} %", 1.0 + dead
        if answer == "add":
            return f"add {100 * add:.3g} %", 1.0 + add
        if answer == "make up":
            return "make up for the dead buds", 1 / (1 - dead)
        return "prune as little as possible, finish after budbreak", np.nan
    return "not defined by the source", np.nan


def step_rule_buds(target, dead_fraction):
    """Return what published step rules say beside the live-bud arithmetic.

    Parameters
    ----------
    target : float
        Live buds wanted on a vine [1/vine].
    dead_fraction : float
        Share of buds found dead [1], from 0 to below 1.

    Returns
    -------
    DataFrame
        One row a rule, the live-bud arithmetic first: ``rule``, ``answer`` (words), ``buds`` to
        leave [1/vine] (missing where the rule gives no number), ``live_buds`` of them expected
        alive [1/vine], ``source`` (citation) and ``key`` of the handbook.

    Raises
    ------
    CroploadError
        As `replacement_buds`; also when a figure is missing or more than one.

    Notes
    -----
    The rules differ and leave gaps, which are said and not filled: 17 % dead has no answer in the
    Michigan rule.  Valid for buds killed in winter, judged on cut buds before pruning.

    Examples
    --------
    >>> step_rule_buds(40, 0.5)[["rule", "buds"]]
                                   rule  buds
    0               live-bud arithmetic  80.0
    1  Cornell, Northern New York 2014  60.0
    2                          Michigan  80.0
    3                            Purdue  60.0
    """
    import pandas as pd

    target = number("target", target, "1/vine")
    dead = number("dead_fraction", dead_fraction, "1")
    live = replacement_buds(target, dead)
    rows = [("live-bud arithmetic", "replace every dead bud", live, "arithmetic", "")]
    for key in handbook.keys("bud_damage."):
        rule = handbook.entry(key)
        if "answer" not in rule.extra:
            continue
        words, factor = _step(rule, dead)
        cited = " ".join(handbook.citation(source) for source in rule.sources)
        rows.append((rule.extra["label"], words, target * factor, cited, key))
    table = pd.DataFrame(rows, columns=["rule", "answer", "buds", "source", "key"])
    table.insert(3, "live_buds", table["buds"] * (1 - dead))
    return table


def wilson_interval(dead, sampled, confidence=None):
    """Return the Wilson range of a share from a count [1].

    Parameters
    ----------
    dead : int or array
        Buds found dead [1].
    sampled : int or array
        Buds cut open [1].
    confidence : float, optional
        Confidence level [1]; 0.95 from the handbook when not given.

    Returns
    -------
    (float or array, float or array)
        Low and high end of the share [1].

    Raises
    ------
    CroploadError
        When nothing was sampled, more are dead than sampled, or the confidence is not between
        0 and 1.

    Notes
    -----
    Wilson's score range, without continuity correction.  Valid for buds drawn independently; buds
    of one cane freeze together, so take few from each vine.

    Examples
    --------
    >>> low, high = wilson_interval(3, 10)
    >>> f"{low:.3f} to {high:.3f}"
    '0.108 to 0.603'
    """
    level = handbook.value("interval.sample_confidence") if confidence is None else confidence
    level = number("confidence", level, "1", above_zero=True)
    if level >= 1:
        raise CroploadError(f"confidence is {confidence}; it must be one number between 0 and 1.")
    killed = numbers("dead", dead, "1")
    taken = numbers("sampled", sampled, "1", above_zero=True)
    killed, taken = together(dead=killed, sampled=taken)
    if np.any(killed > taken):
        raise CroploadError(
            f"dead is {dead} of {sampled} sampled; more cannot be dead than were cut open."
        )
    z = NormalDist().inv_cdf(0.5 + level / 2)
    share, spread = killed / taken, z * z / taken
    middle = (share + spread / 2) / (1 + spread)
    half = z * np.sqrt(share * (1 - share) / taken + spread / (4 * taken)) / (1 + spread)
    # None dead and all dead end exactly at 0 and 1; rounding must not step outside.
    low = np.where(killed == 0, 0.0, middle - half)
    high = np.where(killed == taken, 1.0, middle + half)
    return plain(low), plain(high)
