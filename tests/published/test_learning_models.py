"""What is learned against general-purpose statistics: statsmodels, scipy, and closed forms.

The frames are the invented sample estate's (Quillfoot) or made here; nothing is a published trial.
"""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf
from helpers import block_row, make_records
from scipy.special import polygamma

from cropload import example_records, handbook
from cropload.beliefs.spreads import prior_spreads
from cropload.beliefs.trend import block_lines, own_lines, scatter
from cropload.records.facts import block_facts
from cropload.review.bud_fertility import fit_nodes
from cropload.review.counter_bias import counter_effects
from cropload.vine.plan_shape import NodeProfile

# ------------------------------------------------------------------ bud fertility by node


@pytest.fixture(scope="module")
def quillfoot_riesling_canes():
    """Table fertility of the sample estate: canes of the blocks of Riesling."""
    records = example_records()
    blocks = records.blocks.loc[records.blocks["variety"] == "Riesling", "block"]
    rows = records.fertility
    rows = rows[rows["block"].isin(blocks) & (rows["wood"] == "cane")].reset_index(drop=True)
    rows["node"] = rows["node"].astype(int)
    rows["cell"] = "season " + rows["season"].astype(str) + ", " + rows["block"].astype(str)
    return rows


def formula_fit(rows, what):
    """The same model by statsmodels' formulas, treatment coding, no handbook."""
    if what == "fertility":
        rows = rows[rows["shoots"] > 0]
        model = smf.glm(
            "clusters ~ C(node) + C(cell)",
            rows,
            family=sm.families.Poisson(),
            offset=np.log(rows["shoots"]),
        )
        return model.fit()
    rows = rows.assign(blind=rows["buds"] - rows["shoots"])
    return smf.glm("shoots + blind ~ C(node) + C(cell)", rows, family=sm.families.Binomial()).fit()


@pytest.mark.parametrize("what", ["burst", "fertility"])
def test_counts_alone_give_the_plain_glm(quillfoot_riesling_canes, what):
    """Coefficients, standard errors and deviance of statsmodels' own summary."""
    rows = quillfoot_riesling_canes
    ours = fit_nodes(rows, what, np.ones(15), node_spread=np.inf)
    theirs = formula_fit(rows, what)
    nodes = [f"node {n}" for n in ours.nodes]
    first, rest = ours.result.params[nodes[0]], ours.result.params[nodes[1:]]
    other = theirs.params[[f"C(node)[T.{n}]" for n in ours.nodes[1:]]]
    assert first == pytest.approx(theirs.params["Intercept"], abs=1e-6)
    assert (rest - first).to_numpy() == pytest.approx(other.to_numpy(), abs=1e-6)
    assert ours.result.deviance * ours.dispersion == pytest.approx(theirs.deviance, rel=1e-6)
    # The dispersion widens as statsmodels' Pearson scale does ("X2"), but never narrows.
    scale = theirs.pearson_chi2 / theirs.df_resid
    assert ours.dispersion == pytest.approx(max(scale, 1.0), rel=1e-6)
    covariance = ours.result.covariance
    for n, node in zip(ours.nodes[1:], nodes[1:], strict=True):
        variance = (
            covariance.loc[node, node]
            + covariance.loc[nodes[0], nodes[0]]
            - 2 * covariance.loc[node, nodes[0]]
        )
        expected = theirs.bse[f"C(node)[T.{n}]"] * np.sqrt(ours.dispersion)
        assert np.sqrt(variance) == pytest.approx(expected, rel=1e-5)


def test_the_handbooks_rows_have_a_level_of_their_own(quillfoot_riesling_canes):
    fit = fit_nodes(
        quillfoot_riesling_canes, "fertility", NodeProfile.from_handbook().cane_fertility
    )
    assert {"node 1", "handbook"} <= set(fit.result.params.index)
    assert fit.family == "Poisson"


SPREAD = 0.15


def two_nodes(clusters, shoots=60):
    return pd.DataFrame(
        {"season": 2025, "block": "A", "node": [1, 2], "buds": 80, "shoots": shoots}
    ).assign(clusters=clusters)


@pytest.mark.parametrize("clusters", [(90, 60), (8, 3), (400, 420)])
def test_prior_rows_are_the_conjugate_prior_of_two_poisson_rates(clusters):
    """Given their sum, one of two counts of equal exposure is binomial, and its prior a beta.

    A beta of a = b = 1 / spread^2 counts, added to the counts, is the posterior; the log of the
    odds then has the sd sqrt(psi1(a + y1) + psi1(b + y2)).  (Data augmentation: Greenland 2006,
    Int. J. Epidemiol. 35:765, from memory.)
    """
    worth = 1 / SPREAD**2
    fit = fit_nodes(two_nodes(clusters), "fertility", np.ones(4), node_spread=SPREAD)
    first, second = (worth + y for y in clusters)
    assert fit.relative[1, 1] / fit.relative[1, 0] == pytest.approx(second / first, rel=1e-6)
    params, covariance = fit.result.params, fit.result.covariance
    found = np.sqrt(covariance.iloc[0, 0] + covariance.iloc[1, 1] - 2 * covariance.iloc[0, 1])
    assert params["node 2"] - params["node 1"] == pytest.approx(np.log(second / first), abs=1e-6)
    exact = np.sqrt(polygamma(1, first) + polygamma(1, second))
    assert found == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize(("share", "wider"), [(0.5, 1.03), (0.8, 1.10), (0.95, 1.25)])
def test_prior_rows_of_a_share_are_worth_the_spread_that_is_named(share, wider):
    """As many buds of the handbook's share as make the log of a beta's share spread so far.

    Near 1 a beta is skewed, and the rows then hold the fit a little less than the spread says.
    """
    worth = (1 - share) / (share * SPREAD**2)
    alive, blind = worth * share, worth * (1 - share)
    exact = np.sqrt(polygamma(1, alive) - polygamma(1, alive + blind))
    assert 0.97 * SPREAD < exact < wider * SPREAD


# ------------------------------------------------------------------ counters


class Plain:
    """The handbook's spreads."""

    sd = prior_spreads()[0]


@pytest.fixture(scope="module")
def balanced_counters():
    """Twelve counters, 100 vines each in four blocks and two seasons; biases of 10 %."""
    rng, rows = np.random.default_rng(12), []
    bias = 0.10 * rng.standard_normal(12)
    for season in (2024, 2025):
        for block in ("Alder", "Birch", "Cedar", "Elder"):
            mean = 30 * np.exp(0.2 * rng.standard_normal())
            for who, own in enumerate(bias):
                found = mean * np.exp(own) * rng.gamma(16, 1 / 16, 100)
                rows += [
                    {"season": season, "block": block, "date": f"{season}-06-20", "row": "1"}
                    | {"vine": f"{who}-{v}", "counter": f"C{who:02d}", "clusters": round(n)}
                    for v, n in enumerate(found)
                ]
    blocks = [block_row(b, "Riesling") for b in ("Alder", "Birch", "Cedar", "Elder")]
    return make_records(blocks=blocks, counts=rows)


@pytest.mark.filterwarnings("ignore:The MLE may be on the boundary")  # it is not: 0.095
def test_counter_biases_are_those_of_a_mixed_model(balanced_counters):
    """statsmodels MixedLM on the logs of the means: counters random, blocks and seasons fixed."""
    records = balanced_counters
    found = counter_effects(records, block_facts(records), 2025, Plain)
    ours = found.frame.set_index("counter")
    table = records.counts.groupby(["block", "season", "counter"])["clusters"].mean().reset_index()
    cells = table.groupby(["block", "season"]).ngroup()
    design = pd.get_dummies(cells, prefix="cell", dtype=float)
    model = sm.MixedLM(np.log(table["clusters"]), design, groups=table["counter"]).fit(reml=True)
    theirs = pd.Series({name: float(part.iloc[0]) for name, part in model.random_effects.items()})
    assert ours["log_bias"].to_numpy() == pytest.approx(theirs[ours.index], abs=0.006)
    # With twelve counters the handbook's prior (4 degrees of freedom) still pulls a little.
    between = float(np.sqrt(model.cov_re.iloc[0, 0]))
    assert handbook.value("learning.counter") < found.between < 1.05 * between


# ------------------------------------------------------------------ trend of the vines


def test_yearly_changes_are_those_of_generalized_least_squares():
    """statsmodels GLS, the priors as further rows: of levels, and of changes, alike in part."""
    rng, blocks, seasons = np.random.default_rng(3), 5, 6
    rows = pd.DataFrame(
        {
            "block": np.repeat([f"B{b}" for b in range(blocks)], seasons),
            "variety": np.repeat(["V0", "V1", "V0", "V1", "V0"], seasons),
            "season": np.tile(np.arange(2020, 2020 + seasons), blocks),
            "ravaz": np.exp(rng.normal(1.5, 0.3, blocks * seasons)),
            "ravaz_variance": rng.uniform(0.001, 0.02, blocks * seasons),
        }
    ).drop(index=[3, 17])
    found = own_lines(rows, "ravaz", Plain)
    names, mean, covariance = list(found.blocks), found.used, found.root @ found.root.T

    log = np.log(rows["ravaz"].to_numpy())
    season_var, prior_var = scatter("ravaz", Plain)
    same = np.equal.outer(rows["season"].to_numpy(), rows["season"].to_numpy())
    sampling = rows["ravaz_variance"].to_numpy()
    years = rows["season"].to_numpy(float)
    own, _, season_var, _, _ = block_lines(rows, log, years, sampling, prior_var, season_var)
    at = [names.index(name) for name in rows["block"]]
    noise = season_var * same + np.diag(own[at] + sampling)
    member = pd.get_dummies(rows["block"], dtype=float)[names].to_numpy()
    year = rows["season"].to_numpy(float) - rows["season"].mean()
    prior = np.zeros((2 * blocks, 2 * blocks))
    prior[:blocks, :blocks] = 100.0 * np.eye(blocks)
    prior[blocks:, blocks:] = handbook.value("trend.estate") ** 2
    prior[blocks:, blocks:] += handbook.value("trend.block") ** 2 * np.eye(blocks)
    whole = np.block([[noise, np.zeros((len(rows), 2 * blocks))],
                      [np.zeros((2 * blocks, len(rows))), prior]])  # fmt: skip
    design = np.vstack([np.hstack([member, member * year[:, None]]), np.eye(2 * blocks)])
    seen = np.concatenate([log - log.mean(), np.zeros(2 * blocks)])
    theirs = sm.GLS(seen, design, sigma=whole).fit(cov_type="nonrobust")
    assert mean == pytest.approx(theirs.params[blocks:], abs=1e-8)
    assert covariance == pytest.approx(theirs.normalized_cov_params[blocks:, blocks:], abs=1e-10)

    # Told is a block's line in ordinary least squares with levels of blocks and of seasons, beside
    # the mean of the other lines but the steepest and the flattest of them.
    when = pd.get_dummies(rows["season"], dtype=float).to_numpy()[:, 1:-1]
    lines = sm.OLS(log, np.hstack([member, member * year[:, None], when])).fit()
    slopes = lines.params[blocks : 2 * blocks]
    for at, slope in enumerate(slopes):
        others = np.sort(np.delete(slopes, at))[1:-1]
        assert found.told[0, at] == pytest.approx(slope - others.mean(), abs=1e-4)
    # The lines leave what theirs leave; the handbook weighs as one season.
    free = lines.df_resid
    whole = (prior_var + sampling.mean() + lines.ssr) / (1 + free)
    assert own == pytest.approx(whole - sampling.mean(), rel=1e-3)
