"""Days of a season, its figures and its words, against the records and plain arithmetic."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from helpers import block_row, make_records
from scipy import constants

from cropload import example_records, forecast
from cropload.errors import CroploadError
from cropload.season import charts, tables, words
from cropload.season.season_days import (
    forecast_fan,
    harvest_words,
    harvested,
    opening_day,
    opening_season,
    season_days,
)
from cropload.season.stage_errors import published_sources, seasons_to_judge, stage_errors
from cropload.season.thinning import thin_to
from cropload.show.drawing import svg
from cropload.units import US

SEASON = 2026


@pytest.fixture(scope="module")
def records():
    return example_records()


@pytest.fixture(scope="module")
def made(records):
    days = season_days(records, SEASON)
    return [(each, forecast(records, SEASON, each.day, draws=500)) for each in days]


def test_days_are_those_on_which_the_last_block_was_first_measured():
    records = make_records(
        blocks=[block_row("North"), block_row("South")],
        pruning=[
            {"season": 2024, "block": "North", "plan": "2x8+2x2", "date": "2024-02-01"},
            {"season": 2024, "block": "South", "plan": "2x8+2x2"},
        ],
        counts=[
            {"season": 2024, "date": day, "block": block, "row": "1", "vine": "1", "clusters": 20}
            for day, block in (
                ("2024-07-01", "North"),
                ("2024-07-09", "South"),
                ("2024-08-01", "North"),
            )
        ],
        harvest=[{"season": 2024, "block": "North", "date": "2024-09-20", "tonnes": 5.0}],
    )
    found = {each.stage: f"{each.day:%Y-%m-%d}" for each in season_days(records, 2024)}
    assert found == {"pruning": "2024-02-01", "clusters": "2024-07-09", "picking": "2024-09-19"}
    assert season_days(records, 2025) == []


def test_a_view_opens_at_the_latest_season_counted_and_before_its_lag_weights(records):
    assert opening_season(records) == SEASON
    opened = opening_day(records, SEASON)
    lag = records.weights.query("season == @SEASON and stage == 'lag'")["date"].min()
    assert opened < lag
    assert opening_day(records, 2027) is None  # not picked: everything on record


def test_fan_is_the_forecast_of_each_day_and_narrows(records, made):
    fan = forecast_fan(made)
    direct = forecast(records, SEASON, fan["day"].iloc[2], draws=500).frame_by("estate").iloc[0]
    assert fan["tonnes_p10"].iloc[2] == pytest.approx(direct["tonnes_p10"])
    assert fan["range_t"].iloc[-1] < 0.5 * fan["range_t"].iloc[0]
    assert list(fan["day"]) == sorted(fan["day"])
    with pytest.raises(CroploadError, match="no block 'Nowhere'"):
        forecast_fan(made, "block", "Nowhere")


def test_harvest_of_a_total_is_the_sum_on_the_tickets(records, made):
    tickets = records.harvest[records.harvest["season"] == SEASON]
    found = harvested(records, SEASON, made[0][1])
    assert found.tonnes == pytest.approx(tickets["tonnes"].sum())
    assert set(found.picked) == set(tickets["block"])
    assert found.missing == ("Fox Hollow",)
    one = harvested(records, SEASON, made[0][1], "block", "Long Acre")
    assert one.tonnes == pytest.approx(6.51 + 9.77)  # two picks of the block in its table
    assert harvested(records, SEASON, made[0][1], "block", "Fox Hollow") is None


def test_harvest_is_held_against_the_range_of_the_blocks_picked(records, made):
    known = harvested(records, SEASON, made[0][1])
    assert harvest_words(made[-1:], known) == ["inside"]
    assert harvest_words(made[-1:], replace(known, tonnes=2 * known.tonnes)) == ["above"]
    assert harvest_words(made[-1:], replace(known, tonnes=known.tonnes / 2)) == ["below"]
    # One block alone: its own table says the same.
    table = made[0][1].frame.set_index("block")
    low = table.loc["Long Acre", "tonnes_p10"]
    one = replace(known, picked=("Long Acre",), tonnes=low * 0.999)
    assert harvest_words(made[:1], one) == ["below"]
    assert harvest_words(made[:1], replace(one, tonnes=low * 1.001)) == ["inside"]


def test_fan_figure_draws_the_band_the_middle_and_the_harvest(records, made):
    fan, known = forecast_fan(made), harvested(records, SEASON, made[0][1])
    ax = charts.fan_panel(fan, known, US).plot()
    lines = {line.get_label(): line for line in ax.get_lines()}
    short_ton = constants.short_ton / 1000
    np.testing.assert_allclose(
        lines["middle of the forecast"].get_ydata(), fan["tonnes_p50"] / short_ton
    )
    line = next(line for label, line in lines.items() if label.startswith("harvest"))
    np.testing.assert_allclose(line.get_ydata(), known.tonnes / short_ton)
    assert "(7 of 8 blocks)" in line.get_label()
    assert "short ton" in ax.get_ylabel()
    labels = [text.get_text() for text in ax.get_legend().get_texts()]
    assert "80 % range, equal tails" in labels
    band = ax.collections[0].get_paths()[0].vertices[:, 1]
    assert band.min() == pytest.approx(fan["tonnes_p10"].min() / short_ton)
    assert band.max() == pytest.approx(fan["tonnes_p90"].max() / short_ton)


def test_fan_without_a_harvest_says_so_and_draws_no_line(made):
    fan = forecast_fan(made)
    ax = charts.fan_panel(fan).plot()
    assert not [line for line in ax.get_lines() if line.get_label().startswith("harvest")]
    assert "not known yet" in charts.fan_panel(fan).text()
    assert f"{fan['tonnes_p50'].iloc[0]:.1f}" in charts.fan_panel(fan).text()


def test_a_single_date_is_drawn_as_a_bar_that_can_be_seen(made):
    one = forecast_fan(made[:1])
    band = charts.fan_panel(one).plot().collections[0].get_paths()[0].get_extents()
    assert band.width > 0.1
    assert band.height == pytest.approx(one["tonnes_p90"].iloc[0] - one["tonnes_p10"].iloc[0])


def test_ranking_is_by_tonnes_or_by_range(made):
    table = made[2][1].frame
    by_range = tables.ranked(table, "range")
    assert list(by_range["range_t"]) == sorted(table["range_t"], reverse=True)
    ax = charts.ranking_rows(tables.ranked(table)).plot()
    middles = list(ax.lines[0].get_xdata())
    assert middles == sorted(table["tonnes_p50"], reverse=True)
    assert ax.get_yticklabels()[0].get_text() == "Long Acre"


def test_stacked_contributions_end_at_one_hundred_per_cent(made):
    contributions = made[1][1].contributions()
    shares = charts.shares_table(contributions, "block")
    # Fox Hollow is too young to bear: no crop, no range, no bar.
    assert shares.loc["Fox Hollow"].abs().sum() == 0
    np.testing.assert_allclose(shares.drop(index="Fox Hollow").sum(axis=1), 1.0)
    ax = charts.contribution_rows(contributions).plot()
    ends = pd.Series([bar.get_width() for bar in ax.patches]).groupby(
        [round(bar.get_y(), 3) for bar in ax.patches]
    )
    np.testing.assert_allclose(ends.sum().iloc[np.flatnonzero(ends.sum())], 100.0)
    assert "cluster weight" in charts.contribution_rows(contributions).text()


def test_steps_of_a_change_lead_from_before_to_now(made):
    earlier, now = made[0][1], made[3][1]
    change = now.explain(earlier)
    rows = charts.change_rows(change)
    ax = rows.plot()
    marks = next(line.get_xdata() for line in ax.get_lines() if line.get_marker() == "D")
    assert [mark for mark in marks if np.isfinite(mark)] == pytest.approx(
        [each.frame_by("estate")["tonnes_p50"][0] for each in (earlier, now)]
    )
    moves = sum(bar.get_width() for bar in ax.patches)
    # Steps under 5 kg are drawn together, or not at all when they cancel.
    assert moves == pytest.approx(change.change_t, abs=0.005)
    by_block = tables.change_blocks(change).frame()
    assert by_block["block"].iloc[-1] == "estate"
    assert by_block.iloc[-1, -1] == pytest.approx(change.change_t)
    assert "cluster weight: less -" in rows.text()


def test_a_change_of_nothing_is_told_and_not_drawn(made):
    now = made[1][1]
    rows = charts.change_rows(now.explain(now))
    assert rows.empty
    assert rows.text().endswith("nothing changed.")


def test_thinning_figure_marks_the_number_advised(made):
    found = thin_to(made[2][1], "Long Acre", target_t_ha=6.0)
    ax = charts.plot_thinning(found).axes[0]
    diamond = next(line for line in ax.get_lines() if line.get_marker() == "D")
    assert diamond.get_xdata()[0] == found.keep
    assert f"at {found.keep} clusters" in charts.thinning_text(found)


@pytest.mark.parametrize("name", ["<b>&", "葡萄园", "$x^2$ block", r"$\frac$", "a" * 200])
def test_figures_take_any_name(made, name):
    table = made[0][1].frame.head(2).copy()
    table["block"] = [name, "other"]
    text = svg(charts.ranking_rows(table).plot().figure)
    assert text.startswith("<?xml")
    # A letter the figure's font lacks is left to the reader's fonts.
    assert ("<text" in text) == (name == "葡萄园")


def test_signed_amounts_have_a_sign_only_where_there_is_a_change():
    assert words.moved(1.24) == "+1.24 t"
    assert words.moved(-1.24) == "-1.24 t"
    assert words.moved(-0.001) == "0.00 t"
    # 1 short ton is 907.18474 kg by definition
    assert words.moved(0.90718474, US) == "+1.00 short ton"


def test_errors_by_stage_are_the_root_mean_square_of_forecast_over_scale(records):
    assert seasons_to_judge(records, 1) == [2026]
    assert seasons_to_judge(make_records(blocks=[block_row()])) == []
    with pytest.raises(CroploadError, match="at least 3 seasons"):
        stage_errors(make_records(blocks=[block_row()]))


def test_one_season_of_errors_by_hand(records, monkeypatch, made):
    monkeypatch.setattr("cropload.season.stage_errors.seasons_to_judge", lambda _: [SEASON])
    steps = []
    table = stage_errors(records, draws=500, progress=lambda *told: steps.append(told))
    assert steps[-1] == (5, 5)
    row = table.frame.query("stage == 'veraison' and of == 'crop'").iloc[0]
    middle = made[4][1].frame.set_index("block")["tonnes_p50"]
    scale = records.harvest[records.harvest["season"] == SEASON].groupby("block")["tonnes"].sum()
    by_hand = np.sqrt(((middle[scale.index] / scale - 1) ** 2).mean())
    assert row["error"] == pytest.approx(by_hand)
    assert row["cases"] == len(scale)


def test_published_errors_are_those_of_the_sources(records, monkeypatch):
    # De la Fuente and others 2015, OENO One: 30 % at fruit set, 16 to 17 % at veraison.
    # ITV France 2005: cluster weight within 10 % from bunch closure on.
    sources = " ".join(published_sources())
    assert "30 %" in sources
    assert "16 to 17 %" in sources
    assert "De la Fuente" in sources
    assert "ITV" in sources


def test_what_is_still_to_be_expected_narrows_about_the_last_middle(made):
    fan = forecast_fan(made[:1])
    width = fan.frame["tonnes_p90"].iloc[-1] - fan.frame["tonnes_p10"].iloc[-1]
    ahead = pd.DataFrame(
        {
            "words": ["after clusters", "after lag weights"],
            "starts": pd.to_datetime(["2026-06-29", "2026-08-04"]),
            "range_after_t": [0.7 * width, 0.4 * width],
        }
    )
    panel = charts.season_panel(fan, {}, ahead=ahead)
    expected = panel.series[-1]
    low, middle, high = expected.ends
    np.testing.assert_allclose(middle, fan.frame["tonnes_p50"].iloc[-1])
    np.testing.assert_allclose((high - low)[1:], [0.7 * width, 0.4 * width])
    assert (high - low)[0] == pytest.approx(width)
    assert panel.ticks[-1].endswith("~04 Aug")
