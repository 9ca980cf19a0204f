"""Did this pruning pay?  Strips of rows in one block with different plans, the strip the unit."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.meant import check_block
from cropload.errors import CroploadError
from cropload.records.contracts import deliveries, of_the_book
from cropload.records.facts import block_facts
from cropload.units import METRIC
from cropload.vine.plan import PruningPlan

#: How the strips were laid out.
PAIRS, GROUPS, APART, SINGLE, SWAPPED = "pairs", "groups", "apart", "single", "swapped"
#: Seasons beyond which nobody waits for a trial [1].
_MOST_SEASONS = 10
#: What is compared, each a column of the rows: crop, balance, money.
FIGURES = ("t_ha", "ravaz", "money_ha")


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class StripTrial(Answer):
    """What plans brought in strips of one block, beside one of them.

    Attributes
    ----------
    frame : DataFrame
        One row a plan, the one beside which the others stand first: plan, strips [1], vines [1] of
        a season on the mean, t_ha [t/ha], ravaz [kg/kg] (ratio of sums) and money_ha [currency/ha];
        change_t_ha, change_ravaz and change_money_ha with the endings of a range (NaN for the first
        plan, and where nothing is known); settled, whether the range of the crop leaves out 0;
        strips_needed and seasons_needed [1] of each plan, in all, that would settle it (NaN: none
        that a farm lays out).
    strips : DataFrame
        One row a strip (a strip and season, where plans changed over): strip, pair, plan, vines
        [1] and t_ha [t/ha], seasons taken out.
    block : str
        The block.
    seasons : tuple of int
        Years of harvest.
    design : str
        ``"pairs"``, ``"groups"``, ``"apart"``, ``"single"`` or ``"swapped"``.
    dof : int
        Degrees of freedom behind the ranges [1]; the handbook's for single strips.
    spread_t_ha : float
        Standard deviation of one strip about its plan, pair taken out [t/ha].
    price_per_t, hour_price : float
        What money was reckoned with [currency/t], [currency/h]; NaN where not known.
    currency : str
        Its name, or "".
    """

    strips: pd.DataFrame = field()
    block: str
    seasons: tuple
    design: str
    dof: int
    spread_t_ha: float
    price_per_t: float
    hour_price: float
    currency: str

    def heading(self, units=METRIC):
        """Return what each plan brought beside the first, in sentences."""
        from cropload.review.strip_words import trial_sentences

        return " ".join(trial_sentences(self, units))

    def tables(self, units=METRIC):
        """Return the plans beside each other, and the strips."""
        from cropload.review.strip_words import plans_table, strips_table

        return plans_table(self, units), strips_table(self)

    def plot(self, ax=None, units=METRIC):
        """Draw each pair or strip with the crop of its plans."""
        from cropload.review.strip_words import strip_rows

        return strip_rows(self, units).plot(ax)


@arguments.check_arguments(
    records=arguments.records,
    block=arguments.block,
    season=arguments.optional(arguments.season),
    price_per_t=arguments.optional(arguments.number(0, 1e12, unit="currency/t")),
    hour_price=arguments.optional(arguments.number(0, 1e12, unit="currency/h")),
)
def strip_trial(records, block, season=None, *, price_per_t=None, hour_price=None):
    """Return what different plans brought in strips of one block, with ranges the layout allows.

    Parameters
    ----------
    records : Records
        With table ``strips``.
    block : str
        Name of the block.
    season : int, optional
        Year of harvest; every season of the trial together when left out.
    price_per_t : float, optional
        Price of the fruit [currency/t]; that of the block's contract when left out.
    hour_price : float, optional
        What an hour of work costs [currency/h]; hours are then taken off, where all are known.

    Returns
    -------
    StripTrial

    Raises
    ------
    CroploadError
        When the block has no strips then, or all have one plan, or no season has strips of two.

    Notes
    -----
    The strip is the unit: vines inside it are not replicates, and make its mean alone surer.
    Seasons are taken out first; then strips side by side are compared within their pair or group
    (of two plans the paired t), else across the block, by least squares of statsmodels.
    One strip a plan shows no spread between strips: it is then that of rows of vines that were
    all treated alike (``trial.between_strips``).
    Strips and seasons needed: such that in ``trial.power`` of trials the range leaves out 0, were
    the difference as large as the one found.
    Valid for strips that lie alike in the block, plans given out by chance, of any number of vines;
    the range is of these strips' seasons, not of another's weather.

    Examples
    --------
    >>> from cropload import example_records
    >>> found = strip_trial(example_records(), "Long Acre")
    >>> found.design, found.dof, list(found["plan"])
    ('pairs', 4, ['3x8+3x2', '3x10+3x2'])
    """
    block = check_block(records, block)
    rows = _rows(records, block, season)
    reference = _reference(records, rows)
    price, currency = _price(records, block)
    price = price if price_per_t is None else float(price_per_t)
    hour = np.nan if hour_price is None else float(hour_price)
    timed = bool(rows["work_h_ha"].notna().all())
    work = hour * rows["work_h_ha"] if np.isfinite(hour) and timed else 0.0
    rows = rows.assign(money_ha=price * rows["t_ha"] - work, ravaz=_linear_ravaz(rows))
    layout = _layout(rows, reference)
    found = {name: _compare(layout, rows[name], name, price) for name in FIGURES}
    crop = found["t_ha"]
    means = rows.groupby("plan")
    frame = pd.DataFrame(
        {
            "plan": layout.plans,
            "strips": [rows.loc[rows["plan"] == plan, "strip"].nunique() for plan in layout.plans],
            "vines": means["vines"].mean().reindex(layout.plans).to_numpy(),
            **{name: means[name].mean().reindex(layout.plans).to_numpy() for name in FIGURES},
        }
    )
    for name, (ends, _, _) in found.items():
        nothing = np.full(1, np.nan)
        for ending, values in zip(ranges.ENDINGS, ends, strict=True):
            frame[f"change_{name}_{ending}"] = np.concatenate([nothing, values])
    low, middle, high = crop[0]
    frame["settled"] = [False, *((low > 0) | (high < 0)).tolist()]
    needed = [(np.nan, np.nan), *(_needed(layout, change, crop[1], crop[2]) for change in middle)]
    frame["strips_needed"], frame["seasons_needed"] = np.array(needed, float).T
    told = layout.units.assign(t_ha=layout.reduce(rows["t_ha"]))
    from cropload.review.strip_words import trial_notes

    trial = StripTrial(
        frame,
        sources=_sources(layout.design),
        strips=told.reset_index(drop=True),
        block=block,
        seasons=tuple(sorted({int(year) for year in rows["season"]})),
        design=layout.design,
        dof=int(crop[2]),
        spread_t_ha=float(crop[1]),
        price_per_t=price,
        hour_price=hour if timed else np.nan,
        currency=currency,
    )
    object.__setattr__(trial, "notes", trial_notes(trial, layout.notes, hour, timed))
    return trial


def trial_blocks(records):
    """Return the blocks that have strips of more than one plan, in the order of the records."""
    strips = records.strips
    plans = strips.groupby("block")["plan"].nunique()
    return [name for name in block_facts(records).names if plans.get(name, 0) > 1]


def _sources(design):
    single = ("trial.between_strips", "trial.within_strip") if design == SINGLE else ()
    return (*single, "trial.power", "trial.lasting", "interval.level")


def _rows(records, block, season):
    """Return the rows of the trial: per hectare, the plan in one spelling."""
    rows = records.strips[records.strips["block"] == block]
    when = "" if season is None else f" in {int(season)}"
    if season is not None:
        rows = rows[rows["season"] == int(season)]
    if rows.empty:
        others = trial_blocks(records)
        hint = f" Strips are on record of {', '.join(others)}." if others else ""
        raise CroploadError(
            f"No strips of {block} are on record{when}. Fill table strips: season, block, strip, "
            f"plan, vines and fruit_kg of each strip, weighed apart.{hint}"
        )
    rows = rows.assign(plan=[str(PruningPlan.parse(plan)) for plan in rows["plan"]])
    if rows["plan"].nunique() < 2:
        raise CroploadError(
            f"All strips of {block}{when} have one plan, {rows['plan'].iloc[0]}, so there is "
            "nothing to compare. Give some strips another plan next winter."
        )
    if (rows.groupby("season")["plan"].nunique() < 2).all():
        raise CroploadError(
            f"No season has strips of two plans in {block}: a plan cannot be told from its season. "
            "Leave strips of both plans in one winter."
        )
    facts = block_facts(records)
    at = facts.place(block)
    density = facts.bearing[at] / facts.area_ha[at]
    vines = rows["vines"].to_numpy(float)
    return rows.assign(
        t_ha=rows["fruit_kg"] / vines * density / 1000,
        work_h_ha=rows["work_h"] / vines * density,
    ).reset_index(drop=True)


def _reference(records, rows):
    """Return the plan beside which the others stand: the block's own, else that of most strips."""
    held = records.pruning[records.pruning["block"] == rows["block"].iloc[0]]
    held = held[(held["plan"] != "") & (held["season"] <= rows["season"].max())]
    tried = set(rows["plan"])
    for plan in held.sort_values("season", kind="stable")["plan"][::-1]:
        own = str(PruningPlan.parse(plan))
        if own in tried:
            return own
    return rows["plan"].value_counts(sort=True).index[0]


def _price(records, block):
    """Return the price of the block's first tonne and its currency; NaN where there is none."""
    book = of_the_book(records.contracts, records.prices)
    name = deliveries(book, records.blocks)[0].get(block)
    if not name:
        return np.nan, ""
    row = book[book["contract"] == name].sort_values("from_t", kind="stable").iloc[0]
    return float(row["price_per_t"]), str(row["currency"] or "")


def _linear_ravaz(rows):
    """Return a figure of each strip whose mean by plan is the ratio of the plan's sums.

    R + (Y - R W) / mean W, with fruit Y, prunings W [kg]: the linear form by which the spread of
    a ratio is told (Cochran 1977, from memory).
    """
    fruit = rows["fruit_kg"].where(rows["pruning_weight_kg"].notna())
    wood = rows["pruning_weight_kg"] * rows["vines"]
    by = rows["plan"]
    mean = wood.groupby(by).transform("mean")
    ratio = fruit.groupby(by).transform("sum") / wood.groupby(by).transform("sum")
    return ratio + (fruit - ratio * wood) / mean


@dataclass(frozen=True, eq=False)
class _Layout:
    """Units of the trial, and the columns that explain them.

    rows : table strips of the trial; units : strip, pair, plan, vines, a row a unit; plans : the
    reference first; x : columns, plans first; seasons : how many stand behind a unit [1].
    """

    rows: pd.DataFrame
    units: pd.DataFrame
    plans: tuple
    x: pd.DataFrame
    design: str
    seasons: int
    notes: tuple

    def reduce(self, values):
        """Return a figure of each unit, seasons taken out; NaN where a row has none."""
        if self.design == SWAPPED or self.seasons == 1:
            return values.to_numpy(float)
        return _without_seasons(self.rows, values.to_numpy(float))


def _dummies(labels, prefix, first=None):
    """Return a column for each value but the first."""
    columns = pd.get_dummies(labels, prefix=prefix, dtype=float)
    first = columns.columns[0] if first is None else f"{prefix}_{first}"
    return columns.drop(columns=first)


def _without_seasons(rows, values):
    """Return the mean of each strip over the seasons, as if each had every season."""
    if not np.isfinite(values).all():
        return np.full(rows["strip"].nunique(), np.nan)
    strips, years = (pd.get_dummies(rows[name], dtype=float) for name in ("strip", "season"))
    found = np.linalg.lstsq(np.column_stack([strips, years.iloc[:, 1:]]), values, rcond=None)[0]
    return found[: strips.shape[1]] + found[strips.shape[1] :].sum() / years.shape[1]


def _layout(rows, reference):
    """Return how the strips were laid out."""
    plans = (reference, *sorted(set(rows["plan"]) - {reference}))
    seasons, notes = rows["season"].nunique(), []
    if len(rows.drop_duplicates(["strip", "plan"])) > rows["strip"].nunique():
        parts = [_dummies(rows["plan"], "plan", reference), _dummies(rows["strip"], "strip")]
        parts += [_dummies(rows["season"], "season")] if seasons > 1 else []
        x, units, design = pd.concat(parts, axis=1), rows, SWAPPED
    else:
        _check_joined(rows)
        units = rows.sort_values("season", kind="stable").drop_duplicates("strip", keep="last")
        units = units.sort_values("strip") if seasons > 1 else units
        x = _dummies(units["plan"], "plan", reference)
        design = SINGLE if len(units) <= len(plans) else APART
        paired = units["pair"] != ""
        if paired.all() and design == APART:
            within = pd.concat([x, _dummies(units["pair"], "pair")], axis=1)
            if _free(within) > 0 and _full(within):
                x = within
                two = len(plans) == 2 and (units.groupby("pair").size() == 2).all()
                design = PAIRS if two else GROUPS
        elif paired.any() and design == APART:
            notes.append(
                f"{(~paired).sum()} of {len(units)} strips have no pair, so pairs are not used: "
                "fill column pair of every strip, or of none."
            )
    x = pd.concat([x, pd.Series(1.0, x.index, name="level")], axis=1)
    if not _full(x, level=True):
        raise CroploadError(
            f"The strips of {rows['block'].iloc[0]} do not tell their plans apart from strips and "
            "seasons. Leave strips of both plans in one winter."
        )
    if len(x) == x.shape[1]:
        design = SINGLE
    units = units[["strip", "pair", "plan", "vines", "season"]]
    behind = 1 if design == SWAPPED else seasons
    return _Layout(rows, units, plans, x, design, behind, tuple(notes))


def _check_joined(rows):
    """Raise where seasons have no strip in common that tells them apart from strips."""
    strips, years = (pd.get_dummies(rows[name], dtype=float) for name in ("strip", "season"))
    both = np.column_stack([strips, years.iloc[:, 1:]])
    if np.linalg.matrix_rank(both) < both.shape[1]:
        raise CroploadError(
            f"The seasons of the trial in {rows['block'].iloc[0]} share no strips, so they cannot "
            "be taken together. Ask for one of them, or keep the names of strips from year to year."
        )


def _full(x, level=False):
    x = x.to_numpy(float) if level else np.column_stack([x, np.ones(len(x))])
    return np.linalg.matrix_rank(x) == x.shape[1]


def _free(x):
    return len(x) - x.shape[1] - 1


def _compare(layout, values, name, price):
    """Return (low, middle, high) of each plan less the first, the spread of a strip, and the dof.

    A figure that some strip lacks is not compared.
    """
    import statsmodels.api as sm
    from scipy.stats import t as student

    y, count = layout.reduce(values), len(layout.plans) - 1
    if not np.isfinite(y).all():
        return np.full((3, count), np.nan), np.nan, 0
    fit = sm.OLS(y, layout.x.to_numpy(float)).fit()
    middle, dof = fit.params[:count], int(fit.df_resid)
    if layout.design == SINGLE:
        entry = handbook.entry("trial.between_strips")
        dof = int(entry.extra["dof"])
        within = handbook.value("trial.within_strip")
        crop = layout.reduce(layout.rows["t_ha"]).mean()
        scale = {"t_ha": 1.0, "money_ha": price}.get(name, np.nan) * crop
        each = scale * np.sqrt(entry.value**2 + within**2 / layout.units["vines"].to_numpy(float))
        weights = np.linalg.pinv(layout.x.to_numpy(float))[:count]
        error, spread = np.sqrt(weights**2 @ each**2), float(np.sqrt((each**2).mean()))
    else:
        error, spread = fit.bse[:count], float(np.sqrt(fit.scale))
    reach = student.ppf((1 + ranges.level()) / 2, dof) * error
    return np.array([middle - reach, middle, middle + reach]), spread, dof


def _needed(layout, change, spread, dof):
    """Return the strips of each plan, and the seasons of these strips, that would settle a change.

    Notes
    -----
    Power of the t test on a difference of two means of so many strips (statsmodels).
    """
    from statsmodels.stats.power import TTestPower

    if not change or not spread > 0:
        return np.nan, np.nan
    alpha, power = 1 - ranges.level(), handbook.value("trial.power")
    plans, lasting = len(layout.plans), handbook.value("trial.lasting")

    def first_enough(several, strips, free, share=1.0):
        """Return the first of several numbers with enough power."""
        effect = abs(change) / (spread * np.sqrt(2 * share))
        told = TTestPower().power(effect, strips, alpha, df=free, alternative="two-sided")
        return next(iter(several[told >= power].tolist()), np.nan)

    def of_one_season(seasons):
        """Return the variance of a strip's mean over some seasons, over that of one [1]."""
        return lasting + (1 - lasting) / seasons

    several = np.arange(2, int(handbook.value("trial.most_strips")) + 1)
    free = (several - 1) * (plans if layout.design == APART else plans - 1)
    strips = first_enough(several, several, free)
    if layout.design == SWAPPED:
        # Another season is no mean of the same: it makes units of its own.
        return strips, np.nan
    now, each = layout.seasons, layout.units.groupby("plan").size().min()
    several = np.arange(now, _MOST_SEASONS + 1)
    share = of_one_season(several) / of_one_season(now)
    return strips, first_enough(several, each, dof, share)
