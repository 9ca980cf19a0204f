"""Node profiles, moved by what was counted node by node."""

import numpy as np
from helpers import block_row, make_records

from cropload.beliefs.node_profiles import node_profile, shape_of
from cropload.records.facts import block_facts
from cropload.vine.plan import PruningPlan
from cropload.vine.plan_shape import NodeProfile


def fertility(shoots, clusters, block="North", wood="cane"):
    return [
        {"season": 2024, "block": block, "wood": wood, "node": node + 1, "buds": shoots}
        | {"shoots": shoots, "clusters": n}
        for node, n in enumerate(clusters)
    ]


def profile(rows, blocks=None):
    records = make_records(blocks=blocks or [block_row()], fertility=rows)
    return node_profile(records, "Anyvine", block_facts(records))


def test_without_counts_by_node_the_handbooks_profile_stands():
    found, shoots = profile([])
    assert shoots == 0
    np.testing.assert_array_equal(found.cane_fertility, NodeProfile.from_handbook().cane_fertility)


def test_many_shoots_make_the_profile_the_users_own():
    """Invented counts in the shape of Sultana: barren at the base, best at nodes 8 to 10."""
    own = np.array([1, 5, 10, 20, 40, 60, 80, 100, 100, 100]) * 100
    found, shoots = profile(fertility(10_000, own))
    assert shoots == 100_000
    ratio = found.cane_fertility[:10] / found.cane_fertility[9]
    np.testing.assert_allclose(ratio, own / 10_000, atol=0.02)
    # Spurs were not examined.
    np.testing.assert_array_equal(found.spur_fertility, NodeProfile.from_handbook().spur_fertility)


def test_few_shoots_move_the_profile_a_little():
    few, _ = profile(fertility(2, [0, 1, 2, 4, 4, 4]))
    many, _ = profile(fertility(200, [0, 100, 200, 400, 400, 400]))
    base = NodeProfile.from_handbook().cane_fertility[0]
    assert many.cane_fertility[0] < few.cane_fertility[0] < base


def test_the_profile_of_another_variety_is_left_alone():
    blocks = [block_row(), block_row("South", variety="Othervine")]
    found, shoots = profile(fertility(1000, [0, 0, 0, 900], block="South"), blocks)
    assert shoots == 0
    assert found.cane_fertility[0] == NodeProfile.from_handbook().cane_fertility[0]


def test_shapes_are_worked_once_for_each_plan():
    cache, base = {}, NodeProfile.from_handbook()
    plan = PruningPlan(2, 10, 2, 2)
    assert shape_of(plan, base, cache) == shape_of(PruningPlan(2, 10, 2, 2), base, cache)
    assert len(cache) == 1
