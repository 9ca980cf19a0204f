"""The posterior held against the same model written anew in a Bayesian package, by hand.

``pip install -e ".[second-eyes]"`` and ``python tests/beliefs/second_eyes.py`` write
``cropload/pages/methods_second_eyes.csv``: means and spreads of the engine beside those that PyMC
samples. The model is written here from its words on the methods page and from the figures of the
handbook; nothing of the engine's algebra is used. Of the engine it takes the measurements (logs and
their sampling errors) and, in the first run, the spreads that it plugs in. In the second run these
are unknown too, each with the handbook's prior.
"""

import sys
from datetime import date
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pandas as pd
from helpers import block_row, make_records, steady_counts

from cropload import forecast, handbook
from cropload.vine.growth import COMPONENTS, OWN, STAGES

KEPT = Path(handbook.__file__).parents[1] / "pages" / "methods_second_eyes.csv"
SEASON, SEASONS = 2026, (2023, 2024, 2025)
#: Block -> variety, clusters a vine, g a cluster and kg a vine of its seasons: invented.
BORE = {
    "Ash": ("Riesling", (27, 33, 24), (104, 96, 118), (2.6, 3.0, 2.5)),
    "Birch": ("Riesling", (31, 35, 29), (99, 92, 109), (2.9, 2.8, 2.9)),
    "Cedar": ("Pinot noir", (20, 29, 19), (88, 81, 97), (1.5, 2.2, 1.7)),
    "Dale": ("Pinot noir", (24, 30, 20), (84, 86, 90), (1.9, 2.4, 1.5)),
}
#: Fourteen buds on a metre, the load that the handbook's figures are told at.
PLAN, SPACING_M, BUDS = "1x10+2x2", 1.0, 14
#: Parts of the chain that something here was measured of.
PARTS = [name for name in COMPONENTS if not name.startswith(("pruning", "increase"))]
GROUPS = ("block", "season", "variety_season", "residual")


def records():
    """Return three seasons of an invented estate, and a count of one block in the fourth."""
    tables = {"pruning": [], "counts": [], "weights": [], "harvest": []}
    for at, season in enumerate((*SEASONS, SEASON)):
        for block, (_, clusters, grams, kilos) in BORE.items():
            tables["pruning"].append({"season": season, "block": block, "plan": PLAN})
            if season == SEASON:
                continue
            found = {"clusters": clusters[at]} | ({"shoots": 13 + at} if block == "Ash" else {})
            tables["counts"] += steady_counts(season, block, 12, **found)
            lot = {"stage": "veraison", "clusters": 40, "weight_g": 40 * grams[at] / 1.3}
            row = {"season": season, "block": block}
            tables["weights"].append(row | lot | {"date": f"{season}-08-20"})
            tables["harvest"].append(row | {"date": f"{season}-09-25", "tonnes": kilos[at]})
    tables["counts"] += steady_counts(SEASON, "Ash", 12, clusters=36)
    blocks = [block_row(n, bore[0], vine_spacing_m=SPACING_M) for n, bore in BORE.items()]
    return make_records(blocks=blocks, **tables)


def engine(draws=40_000):
    """Return the engine's forecast, with the lost crops left aside, and its figures.

    Returns
    -------
    made : Forecast
    given : dict
        {what: draws of its log} with the exponents of the load at their centres.
    told : dict
        {what: draws of tonnes [t]}, as the forecast tells them.
    """
    made = forecast(records(), SEASON, draws=draws)
    rows, offset = made.estate.season_rows, made.estate.season_offset
    lines = np.einsum("bsk,kbn->sbn", rows, made.log_components) + offset.T[..., None]
    crop = lines[STAGES.index("harvest")]
    given = {f"crop {b}": crop[at] for at, b in enumerate(BORE)}
    tonnes = made.growth.kg_picked * made.bearing[:, None] / 1000
    told = dict(zip((f"crop {b}" for b in BORE), tonnes, strict=True))
    one = made.bearing[:, None] / 1000
    return (
        made,
        given | {"crop estate": np.log((np.exp(crop) * one).sum(0))},
        told | {"crop estate": tonnes.sum(0)},
    )


def model(made, full):
    """Return the PyMC model; ``full`` leaves spreads, exponents, trends and scatter unknown."""
    import pymc as pm
    import pytensor.tensor as pt

    estate = made.estate
    blocks, varieties = list(BORE), list(dict.fromkeys(bore[0] for bore in BORE.values()))
    of = np.array([varieties.index(BORE[b][0]) for b in blocks])
    n, years, k = len(blocks), len(SEASONS) + 1, len(PARTS)
    own = [{p: handbook.variety(v).get(p) for p in PARTS} for v in varieties]
    prior = [
        [e[p] if e[p] is not None and e[p].value else handbook.entry(f"prior.{p}") for p in PARTS]
        for e in own
    ]
    middle = np.log([[entry.value for entry in row] for row in prior])
    apart = np.array([[entry.spread for entry in row] for row in prior])
    together = [max(handbook.entry(f"prior.{p}").extra["estate"], 1e-6) for p in PARTS]
    # Years from the middle of the seasons measured.
    since = np.arange(years) - (years - 2) / 2

    with pm.Model() as found:

        def normal(name, *shape):
            return pm.Normal(name, shape=shape)

        if full:
            spread = []
            for group in GROUPS:
                entries = [handbook.entry(f"sd.{p}.{group}") for p in PARTS]
                dof = np.array([entry.extra["dof"] for entry in entries], float)
                # A factor common to the parts of a group, beside each part's own.
                weight = handbook.value("learning.common_seasons") / 2
                common = pm.Gamma(f"common_{group}", weight, weight)
                square = dof * common * np.array([entry.value for entry in entries]) ** 2
                each = pm.Gamma(f"precision_{group}", dof / 2, 0.5, shape=k)
                spread.append(pt.sqrt(square / each))
            block, season, both, rest = spread
            now = [1.0] * 3
            swing = handbook.entry("sd.own_scatter").extra["dof"]
            scatter = pt.sqrt(swing / pm.ChiSquared("swing", swing, shape=n))
            share = [handbook.value(f"trend.{who}_share") for who in ("strong", "estate")]
            sizes = [handbook.value(f"trend.{how}_spread") for how in ("strong", "none")]
            trend, common_trend = (
                pm.NormalMixture(f"trend_{at}", [s, 1 - s], 0.0, sigma=sizes, shape=shape)
                for at, (s, shape) in enumerate(zip(share, ((n,), ()), strict=True))
            )
            z, zb = normal("answer", 4), normal("own_answer", n) * handbook.value("load.own_answer")
        else:
            learned, at = estate.beliefs.learned, [COMPONENTS.index(p) for p in PARTS]
            block, season, both, rest = learned.spreads.sd[:, at]
            widen = learned.widen[:, at]
            block, now = block * widen[0], widen[1:]
            scatter = np.sqrt(estate.own.scatter)
            trend = normal("trend", n) * np.sqrt(estate.own.variances[:, OWN.index("trend")])
            common_trend = normal("trend_all") * estate.own.estate_trend
            z, zb = np.zeros(4), np.zeros(n)
        last = np.arange(years)[:, None] == years - 1
        wide = [np.where(last, each, 1.0) for each in now]
        swing = np.ones((n, years))
        if not full:
            swing[:, -1] = estate.own.widen
        x = (
            middle[of][:, None]
            + (normal("estate", k) * together)
            + (normal("variety", len(varieties), k) * apart)[of][:, None]
            + (normal("block", n, k) * block)[:, None]
            + normal("season", years, k) * season * wide[0]
            + (normal("both", len(varieties), years, k) * both * wide[1])[of]
            + normal("rest", n, years, k) * rest * wide[2] * (scatter[:, None] * swing)[..., None]
        )
        x = {p: x[..., at] for at, p in enumerate(PARTS)}
        moved = 0.5 * (trend[:, None] * since + common_trend * since)
        x["clusters_per_shoot"] = x["clusters_per_shoot"] + moved
        x["cluster_weight_g"] = x["cluster_weight_g"] + moved

        def exponent(name, at, own=0.0):
            entry = handbook.entry(f"load.{name}.first")
            return entry.value + entry.spread * (z[at] + own)

        more, mine = x["buds_left"], zb[:, None]
        shoots = np.log(BUDS) + more + x["shoots_per_bud"] + exponent("burst", 0, mine) * more
        wild = x["noncount_shoots"] + exponent("noncount", 3) * more
        bearing = pt.log(pt.exp(shoots) + handbook.value("noncount.fertility") * pt.exp(wild))
        clusters = x["clusters_per_shoot"] + bearing + exponent("fertility", 1, mine) * more
        # Weight is stated at the clusters that were usual in the block.
        seen = made.estate.measured
        past = seen[(seen["stage"] == "clusters") & (seen["season"] < SEASON)]
        usual = past.groupby("block")["log_value"].mean().reindex(blocks).to_numpy()
        usual = usual - np.log(handbook.value("prior.counting_bias"))
        surplus = clusters - usual[:, None]
        weight = x["cluster_weight_g"] + exponent("weight", 2, mine) * surplus
        crop = clusters + weight + x["recovery"] - np.log(1000)
        stages = {
            "shoots": shoots,
            "clusters": clusters + x["counting_bias"],
            "weight_veraison": weight - x["ripening_factor"],
            "harvest": crop,
        }
        assert set(seen["stage"]) == set(stages)
        for stage, rows in seen.groupby("stage"):
            b, t = (
                rows["block"].map(blocks.index).to_numpy(),
                rows["season"].to_numpy() - SEASONS[0],
            )
            error = np.sqrt(rows["log_variance"].to_numpy())
            pm.Normal(f"seen_{stage}", stages[stage][b, t], error, observed=rows["log_value"])
        pm.Deterministic("log_crop", crop[:, -1])
        tonnes = pt.exp(crop[:, -1]) * made.bearing / 1000
        pm.Deterministic("log_total", pt.log(tonnes.sum()))
    return found


def curvature(found):
    """Return the inverse of the curvature about the mode: a scale for the steps, no result."""
    import jax
    import jax.numpy as jnp
    from jax.flatten_util import ravel_pytree
    from pymc.sampling.jax import get_jaxified_logp
    from scipy.optimize import minimize

    start = found.initial_point()
    flat, back = ravel_pytree([jnp.asarray(start[each.name]) for each in found.value_vars])
    density = get_jaxified_logp(found)
    slope = jax.jit(jax.value_and_grad(lambda at: -density(back(at))))
    mode = minimize(lambda at: tuple(map(np.asarray, slope(at))), flat, jac=True).x
    values, axes = np.linalg.eigh(np.asarray(jax.hessian(lambda at: -density(back(at)))(mode)))
    return (axes / np.clip(values, 0.3, None)) @ axes.T


def sampled(made, full):
    """Return {what: (chains, draws)} of logs as PyMC samples them."""
    import pymc as pm

    found = model(made, full)
    steps = {"dense_mass": True, "adapt_mass_matrix": False}
    with found:
        trace = pm.sample(
            1500,
            tune=500,
            chains=2,
            random_seed=19,
            target_accept=0.95 if full else 0.99,
            nuts_sampler="numpyro",
            nuts_sampler_kwargs={
                "chain_method": "sequential",
                "nuts_kwargs": steps | {"inverse_mass_matrix": curvature(found)},
            },
            progressbar=False,
            compute_convergence_checks=False,
        )
    print("divergences", int(trace.sample_stats["diverging"].sum()), flush=True)
    after = trace.posterior
    out = {f"crop {b}": after["log_crop"].values[..., at] for at, b in enumerate(BORE)}
    return out | {"crop estate": after["log_total"].values}


def main():
    """Write the file."""
    import arviz as az
    import pymc as pm

    made, given, told = engine()
    plugged, whole = sampled(made, False), sampled(made, True)
    rows = []
    for what, ours in given.items():
        theirs = plugged[what]
        row = {
            "what": what,
            "mean": ours.mean(),
            "mean_package": theirs.mean(),
            "mean_error": np.ravel(az.mcse(theirs, method="mean"))[0],
            "sd": ours.std(),
            "sd_package": theirs.std(),
            "sd_error": theirs.std() / np.sqrt(2 * np.ravel(az.ess(theirs, method="sd"))[0]),
        }
        for of, crops in (("", told[what]), ("_full", np.exp(whole[what]))):
            ends = np.quantile(crops, (0.1, 0.5, 0.9))
            row |= dict(zip((f"p10{of}", f"p50{of}", f"p90{of}"), ends, strict=True))
        rows.append(row)
    frame = pd.DataFrame(rows).assign(made=str(date.today()), package=f"PyMC {pm.__version__}")
    frame.to_csv(KEPT, index=False, float_format="%.5g", lineterminator="\n")
    print(frame.to_string())


if __name__ == "__main__":
    main()
