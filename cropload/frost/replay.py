"""What past springs would have done to each pruning plan, and what longer wood is worth there."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.ranges import ENDINGS
from cropload.errors import CroploadError
from cropload.frost.survival import as_cases, as_plans, rung_weights
from cropload.frost.years import FrostYears, frost_years
from cropload.random_streams import stream
from cropload.units import METRIC
from cropload.vine.bud_damage import wilson_interval
from cropload.vine.checking import numbers
from cropload.vine.weather.settings import CASES


def break_even(normal, frost, other_normal, other_frost):
    """Return the yearly frost chance above which the other plan gives more crop.

    Parameters
    ----------
    normal, frost : array_like
        Crop of the plan at hand in a year without frost and in a frost year, any unit.
    other_normal, other_frost : array_like
        The same of the other plan (longer wood, a late cut).

    Returns
    -------
    ndarray
        Chance [1]; 0 when the other plan gains in both kinds of year, inf when in neither, and nan
        when it gives more without frost but less with it, so that more frost speaks against it.

    Notes
    -----
    Valid for the mean crop over many years, with one kind of frost year.
    With r the loss over the gain times the frost-year crop this is r / (1 + r).
    """
    price = np.asarray(normal, float) - other_normal
    payout = np.asarray(other_frost, float) - frost
    both = price + payout
    chance = np.divide(price, both, out=np.full(np.shape(both), np.nan), where=both != 0)
    return np.where(
        (price <= 0) & (payout >= 0),
        0.0,
        np.where((price >= 0) & (payout <= 0), np.inf, np.where(price < 0, np.nan, chance)),
    )


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class FrostReplay(Answer):
    """Past springs replayed for each plan; its frame has a row a plan, over all of them.

    Attributes
    ----------
    frame : DataFrame
        plan, case, years; frost_free, mean_crop and worst_crop [unit], and mean_share and
        worst_share of a frost-free crop [1], as ``_p10 _p50 _p90``; frost_years (seen, a mean over
        draws), chance, chance_low, chance_high of losing more than ``heavy_loss`` in a year [1],
        best_chance: how often the plan has the highest mean crop [1].
    plans, cases : tuple of str
        The plans and how their wood stands.
    seasons : tuple of int
        Seasons replayed [1].
    crop_left : ndarray
        Share of the count buds' crop that frost left [1], shape (plans, seasons, draws).
    crop : ndarray
        Crop with frost and the cost of a late cut, in the unit given, same shape.
    frost_free : ndarray
        Crop without frost, cost of a late cut taken off, (plans, draws).
    unit : str
        Unit of the crop.
    heavy_loss : float
        Loss above which a year counts as a frost year [1].
    years : FrostYears
        The seasons behind it.
    weights : ndarray
        How each plan's crop is spread over cases and rungs [1].
    doubts : tuple of SpringDoubt
        Springs that the harvest of their year contradicts, where harvests are known.

    Notes
    -----
    The chance runs from the Wilson low of the fewest to the Wilson high of the most frost years
    that the settings' range leaves likely, so it holds both the few years and what is not known of
    the frost model; it is at least as wide as its name says.
    The crops are ranges over the draws and over years drawn anew with replacement, longer wood
    charged for its frost-free crop and a late cut for its cost.
    The worst year in ten is the mean of the worst tenth of the years. With fewer years than the
    handbook's ``frost.few_years`` the worst year seen stands for it, and ``worst`` says so.
    """

    frame: Any = field(init=False)
    plans: tuple
    cases: tuple
    seasons: tuple
    crop_left: np.ndarray
    crop: np.ndarray
    frost_free: np.ndarray
    unit: str
    heavy_loss: float
    years: FrostYears
    weights: np.ndarray
    doubts: tuple = ()

    def __post_init__(self):
        object.__setattr__(self, "frame", self._over_the_years())

    @property
    def worst(self):
        """What the worst crop is that of: the worst year in ten, or seen when years are few."""
        return "worst year seen" if self._few() else "worst year in ten"

    @property
    def years_doubted(self):
        """The seasons that count as frost years although a full crop was picked, as years."""
        heavy = 1 - self.heavy_loss
        return [each.season for each in self.doubts if each.full and each.left < heavy]

    def heading(self, units=METRIC):
        """Return what was replayed, in two sentences."""
        from cropload.frost import words

        return words.replay_heading(self)

    def tables(self, units=METRIC):
        """Return two tables a case: plans over the years, and the springs that hurt."""
        from cropload.frost import tables

        return tables.replay_tables(self)

    def plot(self, ax=None, units=METRIC):
        """Draw each plan's crop with and without frost on axes, and return them."""
        from cropload.frost.charts import crop_rows

        return crop_rows(self, units).plot(ax)

    def frame_by(self, group):
        """Return the frame, a row a plan (``"plan"``), or a row a season and plan (``"season"``).

        Columns by season: season, plan, case, budburst, nights (number that hurt), worst_night,
        block_c [C], stage_first and stage_last (modified E-L, that night), killed [1], then
        crop_left [1] and crop [unit] as ``_p10 _p50 _p90``.

        Raises
        ------
        CroploadError
            For any other group.
        """
        if group == "plan":
            return self.frame
        if group != "season":
            raise CroploadError(f"Springs are told by 'plan' or 'season', not by '{group}'.")
        rows = []
        left, crop = ranges.quantiles(self.crop_left), ranges.quantiles(self.crop)
        for year, nodes in enumerate(self.years.seasons):
            for at, plan in enumerate(self.plans):
                nights = nodes.nights_of(self.weights[at])
                row = {
                    "season": nodes.season,
                    "plan": plan,
                    "case": self.cases[at],
                    "budburst": nodes.burst,
                    "nights": len(nights),
                    "worst_night": pd.NaT,
                }
                worst = {} if nights.empty else nights.loc[nights["killed"].idxmax()].to_dict()
                row["worst_night"] = worst.get("date", pd.NaT)
                for name in ("block_c", "stage_first", "stage_last", "killed"):
                    row[name] = worst.get(name, 0.0 if name == "killed" else np.nan)
                for name, held in (("crop_left", left), ("crop", crop)):
                    row |= {
                        f"{name}_{word}": held[place, at, year]
                        for place, word in enumerate(ENDINGS)
                    }
                rows.append(row)
        return pd.DataFrame(rows)

    def _few(self):
        return len(self.seasons) < handbook.value("frost.few_years")

    def _over_the_years(self):
        """Return one row a plan over all seasons."""
        years, draws = len(self.seasons), self.crop.shape[2]
        picks = stream(self.years.seed, self.years.block, "years", years).integers(
            0, years, (draws, years)
        )

        def over(crop):
            # One set of years for all plans, so that their difference is no luck of the draw.
            again = np.take_along_axis(crop, picks.T[None], axis=1)
            worst = crop.min(axis=1) if self._few() else ranges.worst_tenth(again.swapaxes(1, 2))
            return again.mean(axis=1), worst

        late = np.array([case != "laid_down" for case in self.cases])[:, None, None]
        cost = self.years.seasons[0].late_cut_cost
        (mean, worst), (mean_share, worst_share) = map(
            over, (self.crop, self.crop_left * (1 - late * cost))
        )
        out = pd.DataFrame({"plan": self.plans, "case": self.cases, "years": years})
        for name, held in (
            ("frost_free", self.frost_free),
            ("mean_crop", mean),
            ("worst_crop", worst),
            ("mean_share", mean_share),
            ("worst_share", worst_share),
        ):
            for word, column in zip(ENDINGS, ranges.quantiles(held), strict=True):
                out[f"{name}_{word}"] = column
        hits = (self.crop_left < 1 - self.heavy_loss).sum(axis=1)
        out["frost_years"] = hits.mean(axis=1)
        out["chance"] = out["frost_years"] / years
        tail = (1 - ranges.level()) / 2
        few, many = np.quantile(hits, [tail, 1 - tail], axis=1)
        out["chance_low"] = wilson_interval(few, years, ranges.level())[0]
        out["chance_high"] = wilson_interval(many, years, ranges.level())[1]
        # Ties are shared, so that plans that are alike are not told apart.
        best = mean >= mean.max(axis=0) * (1 - 1e-12)
        out["best_chance"] = (best / best.sum(axis=0)).mean(axis=1)
        return out

    def columns(self):
        """Return what a comparison of plans adds of the springs, a row a plan.

        Columns: frost_mean_share and frost_worst_in_ten [1] and t_ha_settled_with_frost [t/ha] as
        ``_p10 _p50 _p90``, after the first two frost_loss_chance_low and _high [1].
        """
        names = {}
        for name, held in (
            ("frost_mean_share", "mean_share"),
            ("frost_worst_in_ten", "worst_share"),
            ("t_ha_settled_with_frost", "mean_crop"),
        ):
            names |= {f"{held}_{end}": f"{name}_{end}" for end in ENDINGS}
        names |= {f"chance_{end}": f"frost_loss_chance_{end}" for end in ("low", "high")}
        return self.frame[list(names)].rename(columns=names)

    def break_even(self, reference=0):
        """Return, per plan, the yearly frost chance above which it beats a reference plan.

        Parameters
        ----------
        reference : int
            Place of the plan to beat, from 0.

        Returns
        -------
        DataFrame
            plan, case, chance_p10, chance_p50, chance_p90 [1], always, never, backward: shares of
            the draws in which the plan is better at any frost chance, at none, or only while
            frost is rare [1]; words.  The quantiles are over the draws that have a turning point,
            and missing when fewer than one in a hundred do.

        Notes
        -----
        A frost year is one in which the reference loses more than ``heavy_loss``; other years
        count as frost-free.
        Without a frost year in the record there is nothing to weigh, and the words say so.
        """
        if not 0 <= reference < len(self.plans):
            raise CroploadError(
                f"there is no plan number {reference}: name 0 to {len(self.plans) - 1}."
            )
        frost = self.crop_left[reference] < 1 - self.heavy_loss
        seen = frost.any(axis=0)
        in_frost = np.divide(
            (self.crop * frost).sum(axis=1),
            frost.sum(axis=0),
            out=np.zeros_like(self.frost_free),
            where=seen,
        )
        rows = []
        for at, plan in enumerate(self.plans):
            row = {
                "plan": plan,
                "case": self.cases[at],
                "always": np.nan,
                "never": np.nan,
                "backward": np.nan,
                **{f"chance_{word}": np.nan for word in ENDINGS},
            }
            if at == reference:
                row["words"] = "the plan to beat"
            elif seen.mean() < 0.01:
                row["words"] = "no frost year in this record: nothing to weigh"
            else:
                chance = break_even(
                    self.frost_free[reference],
                    in_frost[reference],
                    self.frost_free[at],
                    in_frost[at],
                )[seen]
                row |= {
                    "always": float((chance == 0).mean()),
                    "never": float(np.isinf(chance).mean()),
                    "backward": float(np.isnan(chance).mean()),
                }
                turning = chance[np.isfinite(chance) & (chance > 0)]
                if turning.size >= 0.01 * chance.size:
                    row |= dict(
                        zip(
                            (f"chance_{word}" for word in ENDINGS),
                            ranges.quantiles(turning),
                            strict=True,
                        )
                    )
                row["words"] = _break_even_words(row)
            rows.append(row)
        order = [
            "plan",
            "case",
            *(f"chance_{word}" for word in ENDINGS),
            "always",
            "never",
            "backward",
            "words",
        ]
        return pd.DataFrame(rows)[order]


def _break_even_words(row):
    """Say which kind of answer most draws give."""
    kinds = {
        "gives no less crop without frost and no less with it": row["always"],
        "gives no more crop without frost and no more with it": row["never"],
        "gives more crop only while frost is rare": row["backward"],
    }
    kinds["turns"] = 1.0 - sum(kinds.values())
    kind = max(kinds, key=kinds.get)
    if kind == "turns":
        return (
            f"pays above {100 * row['chance_p50']:.0f} frost years in a hundred "
            f"({100 * row['chance_p10']:.0f} to {100 * row['chance_p90']:.0f})"
        )
    return f"{kind} in {100 * kinds[kind]:.0f} of 100 cases"


def _frost_free(crop, count, draws, unit, notes):
    """Return the frost-free crop as (plans, draws)."""
    if crop is None:
        notes.append(
            "no frost-free crop was given: every plan counts as 1, so longer wood is not "
            "credited or charged for its load"
        )
        return np.ones((count, draws)), "of a frost-free crop"
    crop = numbers("crop", crop, unit)
    crop = crop[:, None] if crop.ndim == 1 else crop
    if crop.ndim != 2 or crop.shape[0] != count or crop.shape[1] not in (1, draws):
        raise CroploadError(
            f"the frost-free crop has shape {crop.shape}; it needs one row for "
            f"each of {count} plans and {draws} draws (or one column)."
        )
    if not np.isfinite(crop).all() or (crop < 0).any():
        raise CroploadError("the frost-free crop must be 0 or more, with no value missing.")
    return np.broadcast_to(crop, (count, draws)), unit


@arguments.check_arguments(
    unit=arguments.text,
    heavy_loss=arguments.optional(arguments.part),
    profile=arguments.optional(arguments.kind("NodeProfile")),
)
def replay_frost(
    weather,
    plans,
    budburst=None,
    *,
    crop=None,
    unit="t/ha",
    cases="laid_down",
    heavy_loss=None,
    profile=None,
    **options,
):
    """Replay the springs of a weather record for several plans.

    Parameters
    ----------
    weather : DataFrame or FrostYears
        Daily date, tmin_c, tmax_c [C], or seasons already worked out by `frost_years`, with which
        another plan costs next to nothing.
    plans : sequence of PruningPlan or str
        Up to any number of plans.
    budburst : mapping, DataFrame, BudburstSum or float
        Dates by season, or the heat sum [C d], as in `frost_years`; not needed when ``weather`` is
        a FrostYears.
    crop : array_like, optional
        Crop in a year without frost with the load response in it, (plans, draws) or (plans,), in
        ``unit``; 1 for every plan when not given.
    unit : str
        Unit of ``crop``.
    cases : str or sequence of str
        ``laid_down`` or ``upright_until_final_cut``, one for all plans or one each.
    heavy_loss : float, optional
        Loss above which a year is a frost year [1]; the handbook's when not given.
    profile : NodeProfile, optional
        Burst and fertility by node.
    **options
        Passed to `frost_years`: hemisphere, settings, variety, offset, seasons, draws, seed,
        block, method.

    Returns
    -------
    FrostReplay

    Raises
    ------
    CroploadError
        For weather, plans, dates, sums or crops that cannot be used.

    Notes
    -----
    Valid for the climate of the record; a few years of weather show what may happen, not how often.
    The late final cut bears its yield cost in every year, and is credited with the published delay
    and no more.
    The load response is the caller's: what survives is not taken to make up for what died.
    """
    plans = as_plans(plans)
    cases = as_cases(cases, len(plans))
    if isinstance(weather, FrostYears):
        if options or budburst is not None:
            raise CroploadError(
                "these seasons are worked out already: give budburst, draws and "
                "the like to frost_years."
            )
        years = weather
    else:
        if crop is not None and np.ndim(crop) == 2 and np.shape(crop)[1] > 1:
            options.setdefault("draws", np.shape(crop)[1])
        years = frost_years(weather, budburst, cases=sorted(set(cases)), **options)
    notes = list(years.notes)
    heavy = handbook.value("frost.heavy_loss") if heavy_loss is None else float(heavy_loss)
    if not 0 < heavy < 1:
        raise CroploadError(f"heavy_loss is a share between 0 and 1, such as 0.3; got {heavy}.")
    weights = rung_weights(plans, cases, years.settings, profile)
    lacking = [
        case for case in set(cases) if np.isnan(years.seasons[0].primary[CASES.index(case)]).all()
    ]
    if lacking:
        raise CroploadError(
            f"these seasons were worked out without the case {lacking[0]}: name it "
            "in the cases of frost_years."
        )
    left = np.stack([nodes.crop_left(weights) for nodes in years.seasons], axis=1)
    free, unit = _frost_free(crop, len(plans), left.shape[2], unit, notes)
    cost = np.array([case != "laid_down" for case in cases])[:, None]
    free = free * (1 - cost * years.seasons[0].late_cut_cost)
    count = len(years.seasons)
    if count == 1:
        notes.append("one season only: its nights say nothing about how often frost comes")
    elif count < handbook.value("frost.few_years"):
        notes.append(
            f"{count} seasons only: chances are wide ranges, and the worst year seen "
            "stands for the worst in ten"
        )
    return FrostReplay(
        notes=tuple(notes),
        plans=tuple(map(str, plans)),
        cases=tuple(cases),
        seasons=tuple(nodes.season for nodes in years.seasons),
        crop_left=left,
        crop=left * free[:, None, :],
        frost_free=free,
        unit=unit,
        heavy_loss=heavy,
        years=years,
        weights=weights,
    )
