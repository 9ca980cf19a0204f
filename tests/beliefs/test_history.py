"""Pooling of past seasons: loads, fallbacks, gaps, and estimates against a stated truth."""

import tomllib

import numpy as np
import pytest
from helpers import block_row, make_records, steady_counts
from simulated_estate import Loads, Seen, believe

from cropload import handbook
from cropload.beliefs.history import build_estate, estate_before_season
from cropload.beliefs.spreads import prior_logs
from cropload.records.example import example_records, shipped
from cropload.vine.growth import COMPONENTS, OWN, STAGES
from cropload.vine.plan import PruningPlan

AT = {name: place for place, name in enumerate(COMPONENTS)}


def pruned(block, **plans):
    return [
        {"season": int(season.strip("y")), "block": block, "plan": plan}
        for season, plan in plans.items()
    ]


def picked(block, **tonnes):
    return [
        {"season": int(season.strip("y")), "block": block, "tonnes": t}
        for season, t in tonnes.items()
    ]


def estate(season=2026, blocks=None, **tables):
    more = {
        name: tables.pop(name)
        for name in ("reference_plans", "season_plans", "this_season")
        if name in tables
    }
    return build_estate(make_records(blocks=blocks or [block_row()], **tables), season, **more)


def carried(found, at=0):
    return np.exp(found.log_carried[at])


def usual(found, at=0):
    return np.exp(found.log_reference[at])


# Loads


def test_nothing_on_record_takes_the_handbooks_load():
    found = estate()
    assert usual(found) == pytest.approx(1.5 * handbook.value("load.reference_buds_per_m"))
    assert carried(found) == pytest.approx(usual(found))
    assert not found.load_known[0]
    mean, *_ = prior_logs("Anyvine")
    np.testing.assert_allclose(found.beliefs.centre[0], [*mean, *np.zeros(len(OWN))], atol=1e-15)


def test_a_block_without_plans_takes_its_sisters_load_per_metre():
    blocks = [
        block_row(),
        block_row("Sister", vine_spacing_m=3.0),
        block_row("Other", variety="Othervine"),
    ]
    plans = pruned("Sister", y2024="4x10+4x2") + pruned("Other", y2024="1x8")
    found = estate(blocks=blocks, pruning=plans)
    # 48 buds on 3 m are 16 a metre: 24 buds on 1.5 m.
    assert usual(found) == pytest.approx(24)
    assert list(found.load_known) == [False, True, True]


def test_a_reference_plan_makes_the_load_known():
    found = estate(
        harvest=picked("North", y2025=4.0), reference_plans={"North": PruningPlan(2, 10)}
    )
    assert found.load_known[0]
    assert usual(found) == pytest.approx(20)


def test_buds_counted_stand_in_for_a_plan_that_was_not_written_down():
    found = estate(counts=steady_counts(2025, "North", buds=26))
    assert usual(found) == pytest.approx(26, rel=0.01)
    # They cannot also judge themselves: nothing is learnt of buds left to buds planned.
    spread = found.beliefs.spread()[0, AT["buds_left"]]
    assert spread == pytest.approx(estate().beliefs.spread()[0, AT["buds_left"]], rel=0.01)


def test_a_load_is_carried_through_seasons_in_which_nothing_was_measured():
    """Measured in 2022 only; the plan changed in 2024."""
    found = estate(
        pruning=pruned("North", y2022="2x8", y2023="2x8", y2024="3x10", y2025="3x10"),
        harvest=picked("North", y2022=4.0),
    )
    assert usual(found) == pytest.approx(16)
    assert carried(found) == pytest.approx(30)


def test_a_season_without_records_keeps_the_load_before_it():
    found = estate(
        pruning=pruned("North", y2022="2x8", y2023="3x10"),
        harvest=picked("North", y2022=4.0, y2023=6.0),
    )
    # 2024 and 2025 are blank: the vines are taken to have kept the load of 2023.
    assert carried(found) == pytest.approx(30)


def test_the_plan_about_to_be_chosen_is_not_a_load_carried():
    found = estate(pruning=pruned("North", y2025="2x8", y2026="4x12"))
    assert usual(found) == pytest.approx(16)
    assert carried(found) == pytest.approx(16)
    new = estate(pruning=pruned("North", y2026="4x12"))
    assert carried(new) == pytest.approx(usual(new)) != pytest.approx(48)


def test_later_seasons_do_not_speak():
    early = {
        "pruning": pruned("North", y2023="2x10", y2024="2x10"),
        "harvest": picked("North", y2023=4.0, y2024=5.0),
    }
    later = {
        "pruning": [*early["pruning"], *pruned("North", y2025="4x12")],
        "harvest": [*early["harvest"], *picked("North", y2025=0.5)],
    }
    one, two = estate(season=2025, **early), estate(season=2025, **later)
    np.testing.assert_allclose(one.beliefs.centre, two.beliefs.centre)
    assert carried(two) == pytest.approx(20)


def test_clusters_refer_to_the_usual_load():
    """Counted only in the season with the bigger load: 60 clusters on 30 buds are 46 on 23."""
    found = estate(
        pruning=pruned("North", y2024="2x9", y2025="3x10"),
        counts=steady_counts(2024, "North", shoots=17) + steady_counts(2025, "North", clusters=60),
    )
    true_clusters = 60 / handbook.value("prior.counting_bias")
    assert np.exp(found.log_clusters_reference[0]) == pytest.approx(
        true_clusters / 30 * usual(found), rel=0.01
    )


# Learning


def full_history(block="North", seasons=(2023, 2024, 2025), clusters=44.0):
    buds, shoots, weight = 24, 21.6, 120.0
    counts, weights, harvest, pruning = [], [], [], []
    for season in seasons:
        counts += steady_counts(
            season, block, buds=buds, shoots=shoots, noncount_shoots=2, clusters=clusters * 0.95
        )
        weights.append(
            {"season": season, "block": block, "stage": "harvest", "clusters": 200}
            | {"weight_g": 200 * weight, "date": f"{season}-09-20"}
        )
        harvest += picked(block, **{f"y{season}": clusters * weight * 0.95 / 1000})
        pruning += pruned(block, **{f"y{season}": "2x10+2x2"})
    return {"counts": counts, "weights": weights, "harvest": harvest, "pruning": pruning}


def test_a_measured_block_is_believed_near_its_measurements():
    found = estate(**full_history())
    centre = np.exp(found.beliefs.centre[0])
    assert centre[AT["shoots_per_bud"]] == pytest.approx(0.9, rel=0.03)
    assert centre[AT["clusters_per_shoot"]] == pytest.approx(44 / (21.6 + 0.4 * 2), rel=0.06)
    assert centre[AT["cluster_weight_g"]] == pytest.approx(120, rel=0.06)
    # Tonnes over clusters counted, which is what was measured of both.
    assert centre[AT["recovery"]] / centre[AT["counting_bias"]] == pytest.approx(1, rel=0.01)
    assert centre[AT["recovery"]] == pytest.approx(0.95, rel=0.05)


def test_more_seasons_narrow_what_is_believed():
    spreads = [
        estate(**full_history(seasons=range(2026 - n, 2026))).beliefs.spread()[0] for n in (1, 3, 6)
    ]
    for name in ("clusters_per_shoot", "cluster_weight_g"):
        one, three, six = (s[AT[name]] for s in spreads)
        assert prior_logs("Anyvine")[1][AT[name]] > six * 0.5
        assert one > three > six


def test_a_sister_block_learns_from_the_block_that_is_counted():
    blocks = [block_row(), block_row("Sister"), block_row("Other", variety="Othervine")]
    found = estate(blocks=blocks, **full_history(clusters=70.0))
    per_shoot = np.exp(found.beliefs.centre[:, AT["clusters_per_shoot"]])
    prior = handbook.value("prior.clusters_per_shoot")
    assert per_shoot[0] > per_shoot[1] > per_shoot[2] > prior * 0.99
    spread = found.beliefs.spread()[:, AT["clusters_per_shoot"]]
    assert spread[0] < spread[1] < spread[2]


def test_tonnes_alone_hold_the_product_and_leave_its_parts_open():
    plans = pruned("North", y2024="2x10+2x2", y2025="2x10+2x2")
    blind = estate(pruning=plans)
    found = estate(pruning=plans, harvest=picked("North", y2024=2.0, y2025=2.2))
    chain = [
        AT[name]
        for name in ("shoots_per_bud", "clusters_per_shoot", "cluster_weight_g", "recovery")
    ]
    before, after = (e.beliefs.covariance(0)[np.ix_(chain, chain)] for e in (blind, found))
    assert after.sum() < 0.6 * before.sum()
    assert after.sum() < 0.65 * np.trace(after)
    # Learnt on 24 buds at 2.1 kg a vine: about as much again at the same load.
    crop = np.exp(found.beliefs.centre[0][chain].sum()) * 24 / 1000
    assert crop == pytest.approx(2.1, rel=0.2)


def test_a_zero_crop_does_not_break_or_move_what_is_believed():
    whole = full_history()
    hail = dict(whole, harvest=[*whole["harvest"], *picked("North", y2022=0.0)])
    hail["counts"] = whole["counts"] + steady_counts(2022, "North", clusters=0)
    hail["pruning"] = whole["pruning"] + pruned("North", y2022="2x10+2x2")
    one, two = estate(**whole), estate(**hail)
    np.testing.assert_allclose(one.beliefs.centre, two.beliefs.centre, atol=1e-6)


def test_a_gap_season_works():
    history = full_history(seasons=(2021, 2024))
    found = estate(**history)
    assert np.isfinite(found.beliefs.centre).all()
    assert usual(found) == pytest.approx(24)


def test_old_seasons_are_left_out():
    found = estate(**full_history(seasons=(2005, 2025)))
    assert set(found.measured["season"]) == {2025}


def test_an_estate_is_learnt_once_for_each_set_of_records():
    records = make_records(blocks=[block_row()], **full_history())
    first = estate_before_season(records, 2026)
    assert estate_before_season(records, 2026) is first
    assert estate_before_season(records, 2025) is not first


def test_the_records_route_and_the_grid_route_believe_the_same():
    """What the simulation of honest ranges builds is what records give."""
    blocks = [block_row(), block_row("South"), block_row("East", vine_spacing_m=2.0)]
    north, south = full_history(seasons=range(2022, 2026)), full_history("South", (2025,), 30.0)
    tables = {name: north[name] + south[name] for name in north}
    found = estate(blocks=blocks, **tables)

    seasons = list(range(2022, 2027))
    values, precision = np.zeros((2, 3, 5, len(STAGES)))
    for row in found.measured.itertuples():
        cell = (
            found.facts.place(row.block), seasons.index(row.season), STAGES.index(row.stage)
        )  # fmt: skip
        values[cell], precision[cell] = row.log_value, 1 / row.log_variance
    loads = Loads(
        buds=np.tile(found.log_reference[:, None], 4),
        usual=found.log_reference,
        carried=np.tile(found.log_reference[:, None], 5),
        clusters=found.log_clusters_reference,
        now=found.log_reference,
    )
    metres, days = found.facts.canopy_length_m, np.zeros((3, 5))
    known = np.array([True, True, False])
    other = believe(Seen(loads, np.zeros(3, int), values, precision, known, days, metres)).beliefs
    np.testing.assert_allclose(found.beliefs.centre, other.centre, atol=1e-9)
    for block in range(3):
        np.testing.assert_allclose(
            found.beliefs.covariance(block), other.covariance(block), atol=1e-9
        )


# The sample estate, whose truth is stated


@pytest.fixture(scope="module")
def truth():
    return tomllib.loads((shipped("sample_data") / "truth.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def quillfoot():
    return estate_before_season(example_records(), 2027)


#: Component -> the stages that measure it directly.
COUNTED = ("shoots_per_bud", "clusters_per_shoot", "cluster_weight_g", "noncount_shoots",
           "pruning_weight_kg_per_m", "increase_factor")  # fmt: skip


def errors_in_spreads(truth, found):
    """True lasting centre less the believed one, in believed spreads, blocks with counts."""
    off = {}
    for name, block in truth["block"].items():
        if name in ("Upper Knoll", "Fox Hollow"):
            continue  # nothing counted there
        at = found.facts.place(name)
        spread = found.beliefs.spread()[at]
        for component in COUNTED:
            k = AT[component]
            off[name, component] = (
                block["log_centre"][component] - found.beliefs.centre[at, k]
            ) / spread[k]
    return off


def test_estimates_of_the_sample_estate_are_near_its_truth(truth, quillfoot):
    off = errors_in_spreads(truth, quillfoot)
    assert len(off) == 6 * len(COUNTED)
    far = {key: value for key, value in off.items() if abs(value) > 3}
    assert not far
    # A forecast's spread holds a season too, so a lasting centre lies well inside it on the whole.
    assert 0.1 < np.sqrt(np.mean(np.square(list(off.values())))) < 1.1


def test_true_crops_of_the_sample_estate_lie_where_earlier_seasons_put_them(truth):
    """2023 to 2026, each from the seasons before it, at the plan that was carried."""
    from cropload.beliefs.plan_draws import plan_draws

    scores = []
    for season in range(2023, 2027):
        found = estate_before_season(example_records(), season)
        for name, block in truth["block"].items():
            at = found.facts.place(name)
            if season not in block["season"] or not found.load_known[at]:
                continue
            here = block["season"].index(season)
            plan = PruningPlan.parse(block["plan"][here])
            drawn = plan_draws(found, [at], [plan], draws=2000, seed=1)
            logs = drawn.first.log_kg_picked[0, 0]
            true = block["true"]["tonnes"][here] * 1000 / block["bearing_vines"]
            scores.append((np.log(true) - logs.mean()) / logs.std())
    assert len(scores) >= 24
    assert np.max(np.abs(scores)) < 3.5
    # Seasons are shared by all blocks, so the scores are worth far fewer than their number.
    assert 0.5 < np.sqrt(np.mean(np.square(scores))) < 1.6
    assert abs(np.mean(scores)) < 1.0
