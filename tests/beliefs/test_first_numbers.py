"""First numbers that hold: what a forecast must say of records that leave no doubt.

The estates are invented; the limits are this project's own aims, common practice, no source.
"""

from dataclasses import replace

import numpy as np
import pytest
from helpers import block_row, make_records
from season_records import count_rows, weight_row

import cropload

SEASON = 2026


def settled(records, block, plan, reference=None):
    """Return the middle of a plan's settled crop [t/ha]."""
    given = {} if reference is None else {"reference_plan": reference}
    answer = cropload.compare_plans(records, block, [plan], SEASON, **given)
    return float(answer.frame["t_ha_settled_p50"].iloc[0])


def test_naming_another_habit_hardly_moves_the_crop_of_a_plan():
    records = make_records(blocks=[block_row("Alder", "Riesling")])
    crops = [settled(records, "Alder", "14x2", habit) for habit in ("7x2", None, "14x2", "21x2")]
    assert max(crops) / min(crops) < 1.25


def steady(seasons, counted, own=0.3):
    """Return an estate in which one block bears ``own`` of what its neighbours bear, steadily."""
    names = ["Alder", "Birch", "Cedar", "Elder", "Fir", "Gorse"]
    rng = np.random.default_rng(1)
    tables = {"blocks": [block_row(name, "Riesling") for name in names]}
    tables |= {"pruning": [], "counts": [], "weights": [], "harvest": []}
    for season in range(SEASON - seasons, SEASON):
        for at, name in enumerate(names):
            level = own if at == 0 else np.exp(0.1 * (at - 3))
            stray = np.exp(rng.normal(0, 0.02))
            clusters, grams = 40 * level**0.5 * stray, 120 * level**0.5
            tables["pruning"].append({"season": season, "block": name, "plan": "2x10+2x2"})
            if counted:
                tables["counts"] += count_rows(name, clusters, season=season)
                tables["weights"].append(weight_row(name, grams, "harvest", 50, season, "09-10"))
            tonnes = clusters * grams * 0.95 / 1000
            date = f"{season}-09-20"
            row = {"season": season, "block": name, "date": date, "tonnes": tonnes}
            tables["harvest"].append(row)
    return make_records(**tables)


@pytest.mark.parametrize("counted", [False, True], ids=["tonnes", "tonnes, counts and weights"])
@pytest.mark.parametrize(("seasons", "most"), [(4, 0.08), (10, 0.04)])
def test_a_weak_block_that_bears_steadily_keeps_its_own_mean(seasons, most, counted):
    records = steady(seasons, counted)
    harvest = records.harvest[records.harvest["block"] == "Alder"]
    found = cropload.forecast(records, SEASON, f"{SEASON}-01-31")
    middle = found.frame["tonnes_p50"][0]
    assert middle == pytest.approx(harvest["tonnes"].mean(), rel=most)


def without_plans(records):
    """Return the same records with no plan on record."""
    return replace(records, pruning=records.pruning.iloc[:0])


def log_width(records, **asked):
    found = cropload.forecast(records, SEASON, f"{SEASON}-01-31", **asked)
    return np.log(found.frame["tonnes_p90"] / found.frame["tonnes_p10"]).to_numpy() / 2


def test_a_habit_that_nobody_wrote_down_cancels_where_it_is_kept():
    """One latent load a block: only another plan carries what is not known of it."""
    known = steady(6, counted=True, own=0.8)
    blind = without_plans(known)
    day = f"{SEASON}-01-31"
    kept, as_before = (cropload.forecast(r, SEASON, day) for r in (blind, known))
    np.testing.assert_allclose(kept.frame["tonnes_p50"], as_before.frame["tonnes_p50"], rtol=0.02)
    np.testing.assert_allclose(log_width(blind), log_width(known), rtol=0.10)
    asked = dict.fromkeys(blind.blocks["block"], "4x8+4x2")
    assert (log_width(blind, plans=asked) > 1.1 * log_width(known, plans=asked)).all()


def test_a_block_without_a_plan_is_pulled_to_no_load():
    """Whatever load stands in for it, the crop of its habit is its own mean."""
    blind = without_plans(steady(8, counted=True, own=1.0))
    found = cropload.forecast(blind, SEASON, f"{SEASON}-01-31").frame.set_index("block")
    own = blind.harvest.groupby("block")["tonnes"].mean()
    assert np.abs(np.log(found["tonnes_p50"] / own.reindex(found.index))).max() < 0.06


def test_the_order_of_the_plans_changes_nothing():
    blind = without_plans(steady(4, counted=False))
    plans = ["2x10+2x2", "1x10+2x2", "14x2"]
    there, back = (
        cropload.compare_plans(blind, "Birch", each, SEASON).frame.set_index("plan")
        for each in (plans, plans[::-1])
    )
    columns = [name for name in there if name.endswith(("_p10", "_p50", "_p90"))]
    columns = [name for name in columns if "diff" not in name and "change" not in name]
    np.testing.assert_allclose(there[columns], back.loc[there.index, columns], rtol=1e-9)
