"""Replayed springs as tables and sentences: year by year, over the years, and turning points."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs import ranges
from cropload.errors import CroploadError
from cropload.frost.frost_chance import break_even, wilson
from cropload.frost.frost_years import FrostYears
from cropload.random_streams import stream


@dataclass(frozen=True)
class FrostReplay:
    """Past springs replayed for each plan.

    Attributes
    ----------
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
    notes : tuple of str
        What a reader must know.
    """

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
    notes: tuple

    def by_year(self):
        """Return one row a season and plan: budburst, nights that hurt, stage then, crop left.

        Columns: season, plan, case, budburst, nights (number that hurt), worst_night, block_c [C],
        stage_first and stage_last (modified E-L, that night), killed [1], then crop_left [1] and
        crop [unit] as ``_p10 _p50 _p90``.
        """
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
                        for place, word in enumerate(ranges.ENDINGS)
                    }
                rows.append(row)
        return pd.DataFrame(rows)

    def _hits(self):
        """Return how many years lost more than `heavy_loss` to frost, (plans, draws)."""
        return (self.crop_left < 1 - self.heavy_loss).sum(axis=1)

    def _resampled(self):
        """Return mean and worst-in-ten crop of years drawn anew, each (plans, draws)."""
        _, years, draws = self.crop.shape
        rng = stream(self.years.seed, self.years.block, "years", years)
        picks = rng.integers(0, years, (draws, years))
        # One set of years for all plans, so that their difference is no luck of the draw.
        again = np.take_along_axis(self.crop, picks.T[None], axis=1)
        few = years < handbook.value("frost.few_years")
        worst = self.crop.min(axis=1) if few else np.quantile(again, 0.1, axis=1)
        return again.mean(axis=1), worst

    def table(self):
        """Return one row a plan over all seasons, longer wood charged for its frost-free crop.

        Columns
        -------
        plan, case, years, frost_free ``_p10 _p50 _p90``, mean_crop and worst_crop the same way
        [unit], frost_years (seen, a mean over draws), chance, chance_low, chance_high of losing
        more than ``attrs["heavy_loss"]`` in a year [1], best_chance: how often the plan has the
        highest mean crop [1].

        Notes
        -----
        The chance runs from the Wilson low of the fewest to the Wilson high of the most frost
        years that the settings' range leaves likely, so it holds both the few years and what is
        not known of the frost model; it is at least as wide as its name says.
        The crops are ranges over the draws and over years drawn anew with replacement.
        With fewer years than the handbook's ``frost.few_years`` the worst year seen stands for
        the worst in ten, and ``attrs["worst"]`` says so.
        """
        years = len(self.seasons)
        out = pd.DataFrame({"plan": self.plans, "case": self.cases, "years": years})
        mean, worst = self._resampled()
        for name, held in (
            ("frost_free", self.frost_free),
            ("mean_crop", mean),
            ("worst_crop", worst),
        ):
            for word, column in zip(ranges.ENDINGS, ranges.quantiles(held), strict=True):
                out[f"{name}_{word}"] = column
        hits = self._hits().mean(axis=1)
        out["frost_years"], out["chance"] = hits, hits / years
        tail = (1 - ranges.level()) / 2
        few, many = np.quantile(self._hits(), [tail, 1 - tail], axis=1)
        out["chance_low"], out["chance_high"] = wilson(few, years)[0], wilson(many, years)[1]
        # Ties are shared, so that plans that are alike are not told apart.
        best = mean >= mean.max(axis=0) * (1 - 1e-12)
        out["best_chance"] = (best / best.sum(axis=0)).mean(axis=1)
        level = ranges.level()
        out.attrs |= {
            "unit": self.unit,
            "heavy_loss": self.heavy_loss,
            "interval": f"{level:.0%} range, equal tails".replace("%", " %"),
            "worst": (
                "worst year seen"
                if years < handbook.value("frost.few_years")
                else "worst year in ten"
            ),
            "notes": self.notes,
        }
        return out

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
                **{f"chance_{word}": np.nan for word in ranges.ENDINGS},
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
                            (f"chance_{word}" for word in ranges.ENDINGS),
                            ranges.quantiles(turning),
                            strict=True,
                        )
                    )
                row["words"] = _break_even_words(row)
            rows.append(row)
        order = [
            "plan",
            "case",
            *(f"chance_{word}" for word in ranges.ENDINGS),
            "always",
            "never",
            "backward",
            "words",
        ]
        return pd.DataFrame(rows)[order]

    def sentences(self):
        """Return one plain sentence a plan, the chance as a range and never as a bare number."""
        held = self.table()
        return tuple(
            f"{row.plan} ({row.case.replace('_', ' ')}): more than {self.heavy_loss:.0%} lost in "
            f"about {row.frost_years:.1f} of {row.years} years, so between "
            f"{100 * row.chance_low:.0f} and {100 * row.chance_high:.0f} years in a hundred; "
            f"mean crop {row.mean_crop_p50:.2f} ({row.mean_crop_p10:.2f} to "
            f"{row.mean_crop_p90:.2f}) {self.unit}."
            for row in held.itertuples()
        )


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
