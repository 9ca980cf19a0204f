"""Winter bud damage: published step rules, their gaps, and sample ranges."""

import pytest

from cropload.vine.bud_damage import replacement_buds, step_rule_buds, wilson_interval


def by_rule(dead, wanted=40):
    table = step_rule_buds(wanted, dead).set_index("rule")
    short = {name.split(",")[0].lower(): name for name in table.index}
    return {word: table.loc[name] for word, name in short.items()}


def test_half_the_buds_dead_is_eighty_by_arithmetic_and_sixty_by_step():
    # Our arithmetic on the published rules.
    assert replacement_buds(40, 0.5) == 80
    rules = by_rule(0.5)
    assert rules["live-bud arithmetic"]["buds"] == 80
    assert rules["cornell"]["buds"] == 60
    assert rules["purdue"]["buds"] == 60
    assert rules["purdue"]["live_buds"] == 30, "ten short of what was wanted"


@pytest.mark.parametrize(
    ("dead", "buds"),
    [(0.0, 40), (0.19, 40), (0.20, 48), (0.35, 54), (0.80, 72)],
)
def test_cornell_adds_the_same_percentage(dead, buds):
    # Cornell University, Northern New York 2014: under 20 % none; 20-80 % the same percentage.
    assert by_rule(dead)["cornell"]["buds"] == pytest.approx(buds)


@pytest.mark.parametrize(("dead", "buds"), [(0.0, 40), (0.15, 40), (0.20, 50), (0.50, 80)])
def test_michigan_makes_up_from_twenty_to_fifty(dead, buds):
    # Michigan extension guide.
    assert by_rule(dead)["michigan"]["buds"] == pytest.approx(buds)


@pytest.mark.parametrize(
    ("dead", "buds"), [(0.15, 40), (0.25, 54), (0.35, 54), (0.36, 60), (0.50, 60)]
)
def test_purdue_adds_in_two_steps(dead, buds):
    # Purdue University; its third band is printed 25-50 and read as 35-50.
    assert by_rule(dead)["purdue"]["buds"] == pytest.approx(buds)


@pytest.mark.parametrize(("rule", "dead"), [("michigan", 0.17), ("cornell", 0.85)])
def test_what_a_source_leaves_open_is_said_and_not_filled(rule, dead):
    row = by_rule(dead)[rule]
    assert row["answer"] == "not defined by the source"
    assert row[["buds", "live_buds"]].isna().all()


@pytest.mark.parametrize("rule", ["michigan", "purdue"])
def test_past_half_the_rules_say_to_wait_and_give_no_number(rule):
    row = by_rule(0.6)[rule]
    assert row["answer"] == "prune as little as possible, finish after budbreak"
    assert row[["buds", "live_buds"]].isna().all()


@pytest.mark.parametrize(
    ("dead", "sampled", "low", "high"), [(3, 10, 10.8, 60.3), (35, 100, 26.4, 44.7)]
)
def test_wilson_ranges_of_the_worked_samples(dead, sampled, low, high):
    # Wilson's formula, 95 %; the digits agree with scipy's own in tests of the function.
    found = wilson_interval(dead, sampled, 0.95)
    assert [100 * each for each in found] == pytest.approx([low, high], abs=0.05)
