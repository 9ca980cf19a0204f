"""What a decision hangs on: turns by hand, and inputs worked out again by independent code."""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from owner_cases import COSTS, compared, prices, reported, scenarios
from season_records import small_estate
from two_blocks import hand_case

from cropload import handbook
from cropload.beliefs.later_seasons import lasting_state
from cropload.beliefs.plan_draws import block_shapes, states_of
from cropload.owner.break_even import crop_break_even, line_break_even
from cropload.owner.costs import Costs, Span, Unsure, read_amount, read_costs
from cropload.owner.why_tables import break_even_table, input_rows, inputs_table, why_text
from cropload.vine.growth import COMPONENTS, RESPONSES

#: What the five seasons of the hand-worked case count together.
SEASONS = 1 + 0.8 + 0.64 + 0.512 + 0.4096


def turns(**more):
    return {(row["block"], row["scenario"]): row for row in hand_case(**more).break_evens()}


def test_the_price_at_which_a_plan_pays_by_hand():
    # A bears 2, 1.5 and then 1 t more, in one of ten draws 1 t less: 1.7, 1.25 and 0.8 t in the
    # mean, for 200 a season and 100 a tonne; B 0.9 - 0.4 t more, for 1000 a season.
    more = {"A": 1.7 + 0.8 * 1.25 + 0.8 * (SEASONS - 1.8), "B": 0.5 * SEASONS}
    costs = {"A": 200 * SEASONS + 100 * more["A"], "B": 1000 * SEASONS + 100 * more["B"]}
    found = turns()
    a, b, both = (found[key]["price"] for key in (("A", "longer"), ("B", "longer"), ("", "longer")))
    assert (a.kind, a.pays, a.now) == ("from", True, 1000)
    assert a.low == pytest.approx(costs["A"] / more["A"]) == pytest.approx(270.24, abs=0.01)
    assert (b.kind, b.pays, b.low) == ("from", False, pytest.approx(2100))
    assert both.low == pytest.approx(sum(costs.values()) / sum(more.values()))
    assert found["A", "longer"]["mean"] == pytest.approx(1000 * more["A"] - costs["A"])
    # What is recommended is longer wood in A alone.
    assert found["", "recommended"]["price"] == a


def test_the_crop_at_which_a_plan_pays_by_hand():
    """A tonne leaves 900, so 200 of cost a season need 0.2222 t more than today's 10 t each."""
    row = turns()["A", "longer"]
    crop = [11.7, 11.25, 10.8, 10.8, 10.8]
    counted = np.dot([1, 0.8, 0.64, 0.512, 0.4096], crop)
    needed = (10 + 200 / 900) * SEASONS / counted
    assert (row["crop"].kind, row["crop_before"]) == ("from", pytest.approx(10))
    assert row["crop"].now == pytest.approx(np.mean(crop))
    assert row["crop"].low == pytest.approx(needed * np.mean(crop), rel=1e-5)
    # B, of 3 ha, leaves 900 more for a tonne and needs 1000 more: 21.11 t at least, 20.5 drawn.
    b = turns()["B", "longer"]["crop"]
    assert (b.kind, b.pays, b.now) == ("from", False, pytest.approx(20.5 / 3))
    assert b.low == pytest.approx((20 + 1000 / 900) / 3, rel=1e-5)


def test_beyond_a_contract_more_crop_pays_no_longer():
    """Fruit beyond 30 t earns 50 and costs 100: A's longer wood pays at no crop at all."""
    assert turns(above=50.0)["A", "longer"]["crop"].kind == "never"
    row = turns(above=700.0)["A", "longer"]["crop"]
    seasons = [(1, 12), (0.8, 11.5), (0.64, 11), (0.512, 11), (0.4096, 11)]

    def left_more(times):
        total = 0.0
        for weight, good in seasons:
            for crop, share in ((times * good, 0.9), (times * 9, 0.1)):
                earned = 1000 * min(crop - 10, 0) + 700 * max(crop - 10, 0)
                total += weight * share * (earned - 100 * (crop - 10) - 200)
        return total

    assert left_more(row.low / 11.07) == pytest.approx(0, abs=0.1)
    assert left_more(1.0) > 0


def test_the_frost_chance_at_which_a_plan_pays_by_hand():
    # Without frost A leaves 3613.12 more, in springs that take half 3697.76 less.
    frost = turns(times=10)["A", "longer"]["frost"]
    assert (frost.kind, frost.pays, frost.now) == ("to", True, pytest.approx(0.1))
    assert frost.high == pytest.approx(3613.12 / (3613.12 + 3697.76))
    # Too few draws of such a spring tell nothing.
    assert turns()["A", "longer"]["frost"] is None


amount = st.floats(-1e3, 1e3).filter(lambda value: abs(value) > 1e-3)


@given(amount, amount, st.floats(0, 100))
def test_a_straight_difference_turns_where_it_is_nothing(start, slope, now):
    found = line_break_even(start, slope, now)
    assert found.pays == (start + slope * now > 0)
    near = abs(start / slope)
    asked = np.array([0.0, now, 200.0, near * 0.99, near * 1.01])
    inside = (asked > found.low) & (asked < found.high) | (found.kind == "always")
    assert (inside == (start + slope * asked > 0)).all()


@given(st.floats(0.1, 0.9), st.floats(1.1, 3.5))
def test_between_two_turns_a_crop_is_neither_too_small_nor_too_large(low, high):
    found = crop_break_even(lambda times: (times - low) * (high - times), 8.0)
    assert found.kind == "between"
    assert (found.low, found.high) == pytest.approx((8 * low, 8 * high), rel=1e-4)


@pytest.fixture(scope="module")
def found():
    records = small_estate(prices=prices())
    return compared(records, scenarios(plans=("2x10+2x2", "2x12+2x2")))


def own_chain(estate, place, plan, x, carried, e):
    """Return the crop of a vine [kg], the chain written down again; x, e by name."""
    shape = block_shapes(estate, [plan], [place])
    logs = [float(each[0, 0, 0]) for each in (shape.log_buds, shape.log_burst, shape.log_fertility)]
    buds = logs[0] + x["buds_left"]
    settled = carried - estate.log_reference[place]
    changed = buds - carried
    shoots = np.exp(
        buds + x["shoots_per_bud"] + logs[1] * x["strength"]
        + e("burst", "settled") * settled + e("burst", "first") * changed
    )  # fmt: skip
    old = np.exp(
        x["noncount_shoots"] + e("noncount", "settled") * settled + e("noncount", "first") * changed
    )
    clusters = (
        np.log(shoots + handbook.value("noncount.fertility") * old)
        + x["clusters_per_shoot"] + logs[2] * x["strength"]
        + e("fertility", "settled") * settled + e("fertility", "first") * changed
    )  # fmt: skip
    usual = (1 + e("burst", "settled") + e("fertility", "settled")) * settled
    weight = (
        x["cluster_weight_g"] + e("weight", "settled") * usual
        + e("weight", "first") * (clusters - estate.log_clusters_reference[place] - usual)
    )  # fmt: skip
    return np.exp(clusters + weight + x["recovery"]) / 1000


def own_difference(found, component=None, response=None, end=None, price=1000.0):
    """Return the mean difference with one input held at a quantile of its mean over the blocks."""
    estate, draws = found.why.found.estate, found.draws
    places = [estate.facts.place(block) for block in found.block_names]
    states = states_of(estate, places, draws=draws, seed=found.seed, later_seasons=4)
    lasting = lasting_state(estate, places, draws, found.seed)
    weight = found.why.crops.seasons[:, 0].mean((0, 2))
    weight = weight / weight.sum()
    shift, normals = np.zeros(draws), states.responses.copy()
    answers = estate.answers(states.first, states.responses)
    if component:
        level = weight @ lasting[COMPONENTS.index(component)]
        shift = np.quantile(level, end) - level
    if response:
        level = weight @ answers[RESPONSES.index(response)]
        normals[RESPONSES.index(response)] += np.quantile(level, end) - level
    total = 0.0
    for at, place in enumerate(places):
        own = estate.answers(states.first, normals)[:, at]

        def e(name, phase, own=own):
            entry = handbook.entry(f"load.{name}.{phase}")
            return entry.value + entry.spread * own[RESPONSES.index(name)]

        plans = [found.plans[name][found.block_names[at]] for name in found.names]
        for season, state in enumerate((states.first, *states.later)):
            x = {"strength": states.strength[at]}
            for n, name in enumerate(COMPONENTS):
                x[name] = state[n, at] + shift * (name == component)
            kept = estate.loss.kept(estate.facts.names, [place], draws, found.seed, season)[0]
            crop = []
            for plan in plans:
                new, was = np.log(plan.buds), estate.log_carried[place]
                carried = (was, (was + new) / 2, new)[min(season, 2)]
                vine = own_chain(estate, place, plan, x, carried, e)
                crop.append(vine * kept * estate.facts.bearing[place] / 1000)
            more = (crop[1] - crop[0]).mean()
            buds = estate.facts.bearing[place] * (plans[1].buds - plans[0].buds)
            total += (price - COSTS.picking_per_t) * more - COSTS.pruning_per_bud * buds
    return total


def test_bars_are_what_independent_code_makes_of_each_end(found):
    base = found.decision.row("longer")["money_all_mean"]
    assert own_difference(found) == pytest.approx(base)
    bars = found.why.inputs("longer").set_index("input")
    for key, asked in (
        (("clusters_per_shoot",), {"component": "clusters_per_shoot"}),
        (("cluster_weight_g",), {"component": "cluster_weight_g"}),
        (("weight",), {"response": "weight"}),
        (("burst",), {"response": "burst"}),
    ):
        for column, end in (("money_low", 0.1), ("money_high", 0.9)):
            want = own_difference(found, **asked, end=end)
            assert bars.loc[[key], column].iloc[0] == pytest.approx(want), key
            assert abs(want - base) > 1
    # Both contracts pay 1000: a price of 800 for both moves as much as each of them alone.
    names = [("Riesling",), ("Pinot noir",)]
    both = sum(bars.loc[[name], "money_low"].iloc[0] - base for name in names)
    assert both == pytest.approx(own_difference(found, price=800.0) - base)
    width = (bars["money_high"] - bars["money_low"]).abs().tolist()
    assert width == sorted(width, reverse=True)


def test_costs_move_it_by_their_range_or_by_the_assumed_one():
    records = small_estate(prices=prices())
    costs = Costs(pruning_per_bud=Span(0.01, 0.04), picking_per_t=100)
    made = compared(records, scenarios(plans=("2x10+2x2", "2x12+2x2")), costs=costs)
    bars = made.why.inputs("longer").set_index("input")
    keys = (("pruning_per_bud", ""), ("picking_per_t", ""))
    told, assumed = (bars.loc[[key]].iloc[0] for key in keys)
    estate = made.why.found.estate
    vines = sum(estate.facts.bearing[estate.facts.place(block)] for block in made.block_names)
    assert (told["low"], told["high"]) == pytest.approx((0.01, 0.04))
    # Four buds more a vine, in each of five seasons.
    assert told["money_low"] - told["money_high"] == pytest.approx(vines * 4 * 5 * 0.03)
    more = made.decision.row("longer")["crop_all_mean"]
    usual = handbook.entry("money.unsure")
    assert assumed["assumed"]
    assert assumed["money_low"] - assumed["money_high"] == pytest.approx(
        100 * (usual.high - usual.low) * more
    )


def test_a_range_of_no_width_is_the_single_value():
    assert read_amount("100-100", float) == 100
    costs = (Costs(picking_per_t=100.0), Costs(picking_per_t=Span(100.0, 100.0)))
    one, other = (compared(costs=each, frost=False).decision for each in costs)
    assert one.estate.equals(other.estate)
    assert one.blocks.equals(other.blocks)


@settings(max_examples=15)
@given(st.floats(0.1, 1e4), st.floats(1.01, 5), st.integers(0, 5))
def test_eight_in_ten_of_a_range_lie_inside_and_nothing_else_is_drawn_anew(low, times, seed):
    span = Span(low, low * times)
    drawn = Unsure(seed, 4000).draw(span.middle, span.spread, "price", "Riesling")
    assert ((drawn > span.low) & (drawn < span.high)).mean() == pytest.approx(0.8, abs=0.03)
    # Twice as wide, and beside another one: the same luck.
    wide = Unsure(seed, 4000).draw(span.middle, 2 * span.spread, "price", "Riesling")
    assert np.log(wide / span.middle) == pytest.approx(2 * np.log(drawn / span.middle))
    fewer = Unsure(seed, 100).draw(span.middle, span.spread, "price", "Riesling")
    assert (fewer == drawn[:100]).all()


def test_a_range_changes_no_crop_and_no_other_price():
    plain = compared(small_estate(prices=prices()), frost=False)
    rows = prices()
    rows[0] = rows[0] | {"price_per_t_range": float(np.log(1200 / 800))}
    ranged = compared(small_estate(prices=rows), frost=False)
    assert (plain.why.crops.seasons == ranged.why.crops.seasons).all()
    gains = [each.decision.blocks.set_index(["block", "scenario"]) for each in (plain, ranged)]
    assert gains[0].loc["Fir"].equals(gains[1].loc["Fir"])
    wide = [each.loc["Alder"].eval("money_settled_p90 - money_settled_p10") for each in gains]
    assert (wide[1] != wide[0]).all()


def test_costs_that_differ_by_block_count_there_alone():
    costs = read_costs(["picking_per_t=100", "Fir:picking_per_t=0", "Fir:picking_per_ha=600-900"])
    made = compared(costs=costs, frost=False)
    plain = compared(costs=Costs(picking_per_t=100), frost=False)
    gains = [each.decision.blocks.set_index("block")["money_all_mean"] for each in (made, plain)]
    assert gains[0]["Alder"].tolist() == pytest.approx(gains[1]["Alder"].tolist())
    assert (gains[0]["Fir"] != gains[1]["Fir"]).all()
    assert read_costs(costs.lines()) == costs
    table = next(each for each in made.tables() if each.key == "costs")
    assert ["picking, by area", "Fir", "734.85", "600-900", "EUR/ha"] in table.cells()[2]


def test_an_hour_of_pruning_costs_what_its_minutes_take():
    """2 minutes a vine and 0.1 for each of 20 buds are 4 minutes, 1.50 at 22.50 an hour."""
    costs = Costs(minutes_per_vine=2, minutes_per_bud=0.1, rate_per_hour=22.5)
    fixed, _ = costs.of_season(
        ("A",), ("Riesling",), np.array([[20.0]]), np.array([1000.0]), np.array([1.0]), Unsure(0, 1)
    )
    assert fixed.ravel() == pytest.approx([1500])
    assert costs.hours(("A",), ("Riesling",), np.array([[20.0]]), np.array([1000.0])) == (
        pytest.approx(np.array([[4000 / 60]]))
    )


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        (["picking_per_t=90 to 140"], "neither a number nor a range like 0.9-1.3"),
        (["picking_per_t=140-90"], "from a low end above 0 to a high end"),
        (["picking_per_t=0-90"], "from a low end above 0 to a high end"),
        (["Fir:piking_per_t=9"], "Did you mean 'picking_per_t'"),
        (["Fir:picking_per_t=9", "Fir:picking_per_t=8"], "picking_per_t of Fir is given twice"),
        (["Fur:picking_per_t=9"], "called 'Fur', which costs name. Did you mean 'Fir'"),
    ],
)
def test_costs_that_cannot_be_are_told(lines, told):
    from cropload.errors import CroploadError

    with pytest.raises(CroploadError, match=re.escape(told)):
        compared(costs=read_costs(lines), frost=False)


def test_report_and_command_tell_why(tmp_path, capsys):
    from cropload.pages import cli

    asked = ["report", "--example", "--draws", "200", "--no-frost", "--why"]
    asked += ["--scenario", "today=Long Acre:last", "--scenario", "longer=Long Acre:3x10+3x2"]
    assert cli.main(asked) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "When each plan leaves more than 'today' over five seasons" in said
    assert "What moves 'longer' beside 'today' over five seasons most" in said


def test_page_of_the_report_and_its_picture_say_the_same(found):
    html = reported(given=scenarios(plans=("2x10+2x2", "2x12+2x2"))).html()
    assert '<details class="part" id="why">' in html
    text = input_rows(found, name="longer").text()
    table = inputs_table(found, name="longer")
    for name, _, low, high in table.cells()[2][:3]:
        assert f"{name}: at its low end {low}; at its high end {high}." in text
    assert table.cells()[2][0][0] in why_text(found)


def test_without_prices_the_crop_alone_is_moved():
    made = compared(small_estate(), scenarios(plans=("2x10+2x2", "2x12+2x2")))
    assert break_even_table(made) is None
    assert set(made.why.inputs("longer")["kind"]) <= {"vines", "answer", "season"}
