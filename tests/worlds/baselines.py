"""What a grower or a statistician would say without our model: crops [t] from past crops alone.

Seasons without a crop are left out, as the figures are judged over seasons not lost.
"""

import warnings

import numpy as np
import pandas as pd
from statsmodels.regression.mixed_linear_model import MixedLM

#: Weight of the newest season in exponential smoothing [1].
ALPHA = 0.4


def baselines(records, season, blocks):
    """Return what each baseline expects of each block, a DataFrame by block.

    One column a baseline [t], for a season that is not lost, and ``bearing``, the share of past
    seasons that were not [1].
    """
    past = records.harvest[records.harvest["season"] < season].sort_values("season")
    bearing = (past["tonnes"] > 0).groupby(past["block"]).mean()
    past = past[past["tonnes"] > 0]
    logs = np.log(past["tonnes"])
    by_block = past.groupby("block")["tonnes"]
    answers = {
        "last": by_block.last(),
        "mean": by_block.mean(),
        "shrunk": np.exp(_shrunk(logs.groupby(past["block"]))),
        "mixed": np.exp(_mixed(past.assign(y=logs))),
        "bearing": bearing,
        "smooth": np.exp(
            logs.groupby(past["block"]).apply(
                lambda y: y.ewm(alpha=ALPHA, adjust=True).mean().iloc[-1]
            )
        ),
    }
    return pd.DataFrame(answers).reindex(blocks)


def _shrunk(groups):
    """Shrink block means [ln t] to the estate's by empirical Bayes (moments of a one-way table)."""
    mean, n = groups.mean(), groups.size()
    freedom = max(int((n - 1).sum()), 1)
    within = float(((n - 1) * groups.var(ddof=1).fillna(0.0)).sum()) / freedom
    between = max(float(mean.var(ddof=1)) - within * float((1 / n).mean()), 0.0)
    keep = between / (between + within / n) if between > 0 else 0.0 * n
    return mean.mean() + keep * (mean - mean.mean())


def _mixed(past):
    """Season fixed and block random, by REML; the next season is an average one [ln t]."""
    seasons = pd.get_dummies(past["season"].astype(str), dtype=float)
    # Sum-to-zero contrasts: the constant is then the mean of the seasons.
    design = seasons.iloc[:, :-1].sub(seasons.iloc[:, -1], axis=0)
    design.insert(0, "const", 1.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = MixedLM(past["y"].to_numpy(), design.to_numpy(), past["block"].to_numpy()).fit()
    own = {block: float(np.asarray(effect)[0]) for block, effect in fit.random_effects.items()}
    return fit.fe_params[0] + pd.Series(own)
