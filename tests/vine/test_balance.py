"""Balance, balanced pruning and bud damage: arithmetic against libraries, and faults in words."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants, stats

from cropload.errors import CroploadError
from cropload.vine import balance, balanced_pruning, bud_damage

weights = st.floats(0.01, 20)
shares = st.floats(0, 0.99)


class TestRavaz:
    def test_is_the_ratio_of_sums_and_not_the_mean_of_ratios(self):
        crop, wood = np.array([8.0, 2.0]), np.array([0.4, 1.0])
        assert balance.ravaz_index(crop, wood) == pytest.approx(10 / 1.4)
        assert np.mean(crop / wood) == pytest.approx(11.0)

    @given(st.lists(st.tuples(weights, weights), min_size=1, max_size=8))
    def test_lies_between_the_smallest_and_the_largest_ratio(self, pairs):
        crop, wood = np.array(pairs).T
        found = balance.ravaz_index(crop, wood)
        ratios = crop / wood
        assert ratios.min() * (1 - 1e-12) <= found <= ratios.max() * (1 + 1e-12)

    def test_a_vine_with_one_figure_missing_is_left_out_of_both_sums(self):
        crop, wood = [4.0, np.nan, 3.0, 2.0], [0.5, 0.7, np.nan, 0.5]
        assert balance.ravaz_index(crop, wood) == balance.ravaz_index([4.0, 2.0], [0.5, 0.5])

    def test_takes_columns_of_a_frame_with_missing_values(self):
        frame = pd.DataFrame({"crop": [4.0, None, 2.0], "wood": [0.5, 0.5, None]})
        assert balance.ravaz_index(frame["crop"], frame["wood"]) == 8.0
        nullable = frame.astype("Float64")
        assert balance.ravaz_index(nullable["crop"], nullable["wood"]) == 8.0

    def test_sums_along_one_axis_leave_the_draws_apart(self):
        crop = np.array([[4.0, 6.0], [2.0, np.nan]])
        assert balance.ravaz_index(crop, np.ones((2, 2)), axis=0) == pytest.approx([3.0, 6.0])

    @pytest.mark.parametrize(
        ("crop", "wood", "says"),
        [
            (-1.0, 1.0, "yield_kg is -1"),
            (1.0, math.inf, "pruning_weight_kg is inf"),
            (1.0, 0.0, "adds up to 0 kg"),
            (math.nan, 1.0, "No vine or block has both"),
            ([], [], "No vine or block has both"),
            ([1.0, 2.0], [1.0, 2.0, 3.0], "yield_kg has 2 and pruning_weight_kg has 3 values"),
            ("heavy", 1.0, "yield_kg is 'heavy'"),
        ],
    )
    def test_what_cannot_be_used_is_said(self, crop, wood, says):
        with pytest.raises(CroploadError, match=says):
            balance.ravaz_index(crop, wood)


class TestBalancedPruning:
    @given(
        weights,
        st.floats(0, 0.5),
        st.floats(0, 80),
        st.floats(0, 80),
        st.sampled_from([0.45359237, 0.5, 1.0]),
    )
    def test_more_prunings_never_leave_fewer_buds(self, wood, more, first, further, unit):
        few = balanced_pruning.balanced_buds(wood, first, further, unit)
        assert balanced_pruning.balanced_buds(wood + more, first, further, unit) >= few - 1e-9

    @given(st.floats(0, 80), st.floats(0, 80), st.integers(1, 9), st.floats(0.1, 2))
    def test_whole_units_give_the_formula_itself(self, first, further, count, unit):
        found = balanced_pruning.balanced_buds(count * unit, first, further, unit)
        assert found == pytest.approx(first + (count - 1) * further, abs=1e-9)

    def test_parts_of_a_unit_are_taken_proportionally_below_the_first_unit_too(self):
        assert balanced_pruning.balanced_buds(0.0, 30, 10, 1.0) == 0.0
        assert balanced_pruning.balanced_buds([0.5, 1.5], 30, 10, 1.0).tolist() == [15.0, 35.0]

    @pytest.mark.parametrize(
        ("text", "first", "further", "unit_kg"),
        [
            ("30+10", 30, 10, constants.pound),
            (" 30 + 10 per lb ", 30, 10, constants.pound),
            ("33+11 per 500 g", 33, 11, 0.5),
            ("33+11/500g", 33, 11, 0.5),
            ("22,5+11,5 per 0,5 kg", 22.5, 11.5, 0.5),
            ("60+20 per kg", 60, 20, 1.0),
            ("American", 30, 10, constants.pound),
            ("balanced.concord_metric", 33, 11, 0.5),
            ("french hybrids", 20, 10, constants.pound),
        ],
    )
    def test_a_formula_is_read_as_the_trade_writes_it(self, text, first, further, unit_kg):
        found = balanced_pruning.parse_formula(text)
        assert (found.first, found.further) == (first, further)
        assert found.unit_kg == pytest.approx(unit_kg, rel=1e-12)
        assert balanced_pruning.parse_formula(str(found)).unit_kg == pytest.approx(
            unit_kg, rel=1e-9
        )

    @pytest.mark.parametrize(
        "text", ["30", "30+", "-30+10", "30+10 per stone", "americn", "", None]
    )
    def test_another_text_is_refused_with_the_way_to_write_it(self, text):
        with pytest.raises(CroploadError, match=r"Write it like '30\+10'"):
            balanced_pruning.parse_formula(text)

    def test_a_near_name_is_suggested(self):
        with pytest.raises(CroploadError, match="Did you mean 'american'"):
            balanced_pruning.parse_formula("americn")

    def test_a_unit_of_nothing_is_refused(self):
        with pytest.raises(CroploadError, match="unit_kg is 0"):
            balanced_pruning.parse_formula("30+10 per 0 g")
        with pytest.raises(CroploadError, match="first is nan"):
            balanced_pruning.balanced_buds(1.0, math.nan, 10, 1.0)

    def test_the_table_holds_the_formula_line_by_line(self):
        table = balanced_pruning.balanced_table("33+11 per 500 g")
        assert table["pruning_weight_kg"].tolist() == [round(0.1 * n, 1) for n in range(1, 21)]
        line = dict(zip(table["pruning_weight_kg"], table["buds"], strict=True))
        assert (line[0.1], line[0.5], line[1.0], line[2.0]) == (7, 33, 44, 66)
        assert str(table.formula) == "33+11 per 500 g"

    def test_the_cap_cuts_off_at_both_ends_of_its_range(self):
        table = balanced_pruning.balanced_table(
            "30+10", "us", 1, 6, 1, vine_spacing_m=8 * constants.foot
        )
        assert table.cap_buds == (32, 48)
        assert table["buds"].tolist() == [30, 40, 50, 60, 70, 80]
        assert table["buds_low_cap"].tolist() == [30, 32, 32, 32, 32, 32]
        assert table["buds_high_cap"].tolist() == [30, 40, 48, 48, 48, 48]
        assert "4 to 6 per ft" in " ".join(table.notes)

    def test_one_cap_may_be_given(self):
        table = balanced_pruning.balanced_table("30+10", "us", 3, 3, 1, vine_spacing_m=2.0, cap=15)
        assert table["buds_low_cap"].tolist() == table["buds_high_cap"].tolist() == [30]

    @pytest.mark.parametrize(
        ("arguments", "says"),
        [
            (("metric", 2, 1, 0.1), "lines; it must have 1 to 1000"),
            (("metric", 0, 1000, 0.1), "lines; it must have 1 to 1000"),
            (("metric", 0, 1, 0), "step is 0"),
            (("metric", math.nan, 1, 1), "start is nan"),
            (("imperial", 0, 1, 1), "unit system"),
        ],
    )
    def test_a_table_that_cannot_be_printed_is_refused(self, arguments, says):
        with pytest.raises(CroploadError, match=says):
            balanced_pruning.balanced_table("30+10", *arguments)

    @pytest.mark.parametrize("spacing", [0, -1, math.nan, "wide", [1.0, 2.0]])
    def test_a_spacing_that_cannot_be_used_is_refused(self, spacing):
        with pytest.raises(CroploadError, match="vine_spacing_m is"):
            balanced_pruning.balanced_table("30+10", vine_spacing_m=spacing)


class TestBudDamage:
    @given(st.floats(0, 200), shares)
    def test_what_is_left_alive_is_what_was_wanted(self, wanted, dead):
        left = bud_damage.replacement_buds(wanted, dead)
        assert left * (1 - dead) == pytest.approx(wanted)
        assert left >= wanted

    @pytest.mark.parametrize("dead", [1.0, 35, -0.1, math.inf, "many"])
    def test_a_share_that_is_none_is_refused(self, dead):
        with pytest.raises(CroploadError, match="dead_fraction is"):
            bud_damage.replacement_buds(40, dead)

    def test_a_percentage_by_mistake_is_told_how_to_write_it(self):
        with pytest.raises(CroploadError, match=r"Write 35 % as 0\.35"):
            bud_damage.replacement_buds(40, 35)

    @pytest.mark.parametrize("dead", [0.0, 0.1, 0.17, 0.35, 0.5, 0.9])
    def test_rules_stand_beside_the_arithmetic_with_their_sources(self, dead):
        table = bud_damage.step_rule_buds(40, dead)
        assert table["rule"].iloc[0] == "live-bud arithmetic"
        assert table["buds"].iloc[0] == pytest.approx(40 / (1 - dead))
        assert len(table) == 4
        assert table["source"].str.len().min() > 5
        known = table["buds"].notna()
        assert table["live_buds"][known].to_numpy() == pytest.approx(
            table["buds"][known].to_numpy() * (1 - dead)
        )

    def test_the_rules_take_one_vine_at_a_time(self):
        for target, dead in (([40], 0.2), (40, [0.2]), (math.nan, 0.2), (40, math.nan)):
            with pytest.raises(CroploadError, match="must be one number"):
                bud_damage.step_rule_buds(target, dead)

    @pytest.mark.parametrize("confidence", [0.5, 0.8, 0.95, 0.999])
    @pytest.mark.parametrize(
        ("dead", "sampled"), [(0, 1), (1, 1), (0, 50), (3, 10), (35, 100), (99, 100)]
    )
    def test_the_range_agrees_with_scipy(self, dead, sampled, confidence):
        test = stats.binomtest(dead, sampled)
        wanted = test.proportion_ci(confidence_level=confidence, method="wilson")
        found = bud_damage.wilson_interval(dead, sampled, confidence)
        assert found == pytest.approx((wanted.low, wanted.high), abs=1e-9)

    @given(st.integers(1, 500), st.data())
    def test_the_range_holds_the_share_found_and_stays_a_share(self, sampled, data):
        dead = data.draw(st.integers(0, sampled))
        low, high = bud_damage.wilson_interval(dead, sampled)
        assert 0 <= low <= dead / sampled <= high <= 1
        other = bud_damage.wilson_interval(sampled - dead, sampled)
        assert other == pytest.approx((1 - high, 1 - low))

    def test_the_range_of_several_samples_at_once(self):
        low, high = bud_damage.wilson_interval([3, 35], [10, 100])
        assert low == pytest.approx([0.1078, 0.2636], abs=5e-4)
        assert high == pytest.approx([0.6032, 0.4474], abs=5e-4)

    @pytest.mark.parametrize(
        ("arguments", "says"),
        [
            ((3, 0), "sampled is 0"),
            ((-1, 10), "dead is -1"),
            ((11, 10), "11 of 10"),
            ((1, 10, 1.0), "between 0 and 1"),
            ((1, 10, 95), "between 0 and 1"),
            ((1, 10, 0), "confidence is 0"),
        ],
    )
    def test_a_count_that_cannot_be_is_refused(self, arguments, says):
        with pytest.raises(CroploadError, match=says):
            bud_damage.wilson_interval(*arguments)


def test_the_public_names_are_at_hand_at_the_top():
    import cropload

    assert cropload.ravaz_index(8.0, 1.0) == 8.0
    assert cropload.balanced_buds(1.0, 30, 10, 1.0) == 30.0
    assert cropload.replacement_buds(40, 0.5) == 80.0


@pytest.mark.parametrize(
    ("variety", "key"),
    [
        ("Cabernet Franc", "balanced.vinifera"),
        ("a grape nobody knows", "balanced.vinifera"),
        ("CONCORD", "balanced.american"),
        ("Vidal blanc", "balanced.french_hybrids"),
        ("Marechal Foch", "balanced.french_hybrids"),
        ("Traminette", "balanced.new_hybrids"),
        ("Norton", "balanced.cynthiana"),
    ],
)
def test_the_formula_to_start_from_is_that_of_the_variety(variety, key):
    # Which vines are American or hybrids is common practice, no source.
    assert balanced_pruning.usual_formula(variety) == key
