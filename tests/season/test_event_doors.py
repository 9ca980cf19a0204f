"""What befell a crop, told by the command, by the page, and after a frost; then found again."""

from datetime import date

import numpy as np
import pytest
from helpers import sample_copy

from cropload import example_records, forecast, read_records, record_event, split_miss
from cropload.errors import CroploadError
from cropload.pages.cli import main
from cropload.records.writing.append import append_rows
from cropload.review.picked import on_the_scale
from cropload.season.forecast_log import log_forecast, read_log
from cropload.season.panels.counting_and_forecast import CountingAndForecast
from cropload.season.take import take_sheets
from cropload.season.what_moved import what_moved
from cropload.winery.intake import intake_schedule

DRAWS = 800
#: Tables of what comes after the count -> place of their day in a row.
LATER = {"weights": 1, "harvest": 2, "dates": 3}


@pytest.fixture
def folder(tmp_path):
    """Return a copy of the invented estate as it stood in June 2026, so that the season is open."""
    copy = sample_copy(tmp_path / "season", "blocks", "pruning", "counts", *LATER)
    for name, column in (("counts", 1), *LATER.items()):
        file = copy / f"{name}.csv"
        head, *rows = file.read_text("utf-8-sig").splitlines()
        rows = [row for row in rows if row.split(",")[column] < "2026-06-10"]
        file.write_text("\n".join([head, *rows]) + "\n", "utf-8")
    (copy / "events.csv").write_text(
        "block,date,kind,share_pct,of,dead,alive,counts_that_day,note\n", "utf-8"
    )
    return copy


@pytest.fixture
def run(capsys):
    def call(*arguments, code=0):
        assert main([str(each) for each in arguments]) == code
        told = capsys.readouterr()
        assert max(len(line) for line in told.out.splitlines() or [""]) <= 80
        return " ".join((told.out if code == 0 else told.err).split())

    return call


def hail(folder, *more):
    where = ("--block", "Long Acre", "--date", "2026-06-20", "--kind", "hail")
    return ("event", folder, *where, "--draws", DRAWS, *more)


def test_the_command_writes_it_down_and_tells_what_it_leaves(folder, run):
    before = forecast(read_records(folder), 2026, draws=DRAWS).frame_by().set_index("block")
    told = run(*hail(folder, "--share", 35))
    after = forecast(read_records(folder), 2026, draws=DRAWS).frame_by().set_index("block")
    was, now = (f.loc["Long Acre", "tonnes_p50"] for f in (before, after))
    assert now == pytest.approx(0.65 * was, rel=0.04)
    assert f"{was:.1f} t" in told
    assert f"{now:.1f} t" in told
    assert "takes about 35 % of the crop" in told
    # The same day and kind again is told, and not added.
    assert "may not repeat" in run(*hail(folder, "--share", 35), code=2)
    assert len((folder / "events.csv").read_text("utf-8").splitlines()) == 2


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (("--share", "0.35"), "write 35"),
        (("--share", "135"), "100"),
        (("--share", "35", "--dead", "3", "--alive", "9"), "not both"),
        (("--dead", "3"), "both"),
        (("--share", "35", "--of", "leaves"), "clusters"),
        (("--share", "35", "--counts", "then"), "before"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_written(folder, run, more, told):
    assert told in run(*hail(folder, *more), code=2)
    assert len((folder / "events.csv").read_text("utf-8").splitlines()) == 1


def test_a_day_to_come_and_the_sample_are_refused(folder):
    records = read_records(folder)
    with pytest.raises(CroploadError, match="after today"):
        record_event(records, "Long Acre", "2199-06-20", "hail", share_pct=35)
    with pytest.raises(CroploadError, match="invented sample"):
        record_event(example_records(), "Long Acre", "2026-06-20", "hail", share_pct=35)


def test_dead_shoots_are_saved_by_the_command_after_a_frost(folder, run):
    where = ("--block", "Mill Meadow", "--frost-date", "2026-05-09", "--season", 2026)
    counts = ("--dead", 90, "--alive", 90, "--draws", DRAWS)
    assert "Written down in" in run("after-frost", folder, *where, *counts, "--save")
    found = forecast(read_records(folder), 2026, draws=DRAWS)
    assert found.events.blocks == ["Mill Meadow"]
    assert found.events.taken[0].event.dead == (90,)


def test_the_page_writes_it_down_and_its_forecast_holds_it(folder):
    page = CountingAndForecast(folder, season=2026, draws=DRAWS)
    page.desk.as_of = "2026-07-01"
    (fold,) = (
        each for each in page.children[-1].children if each.words == "frost, hail and other losses"
    )
    fold.turn()
    (part,) = fold.inside.children
    before = page.forecast().middle_t()
    part.block.value, part.kind.value, part.share.value = "Long Acre", "hail", "35 %"
    part.day.value = date(2026, 6, 20)
    part.save.click()
    page.desk.settle()
    assert "Written down in events.csv" in part.answer.value
    assert "hail of 2026-06-20, 35 % of the crop" in part.told.value
    assert page.forecast().middle_t() < 0.95 * before


def test_a_season_from_plan_to_review_agrees_with_itself(folder, tmp_path):
    """Hail, a count, tonnes: forecast, intake, log and review tell the same crop at every step."""

    def now(day):
        return forecast(read_records(folder), 2026, day, draws=DRAWS)

    def told(found):
        arrivals = intake_schedule(found, dict.fromkeys(found.blocks, "2026-09-20"))
        total = arrivals.frame["tonnes_mean"].sum()
        assert total == pytest.approx(found.draws.sum(0).mean(), rel=1e-6)
        log_forecast(found, folder)
        kept = read_log(folder)[0].tail(len(found.blocks))
        assert kept["tonnes_p50"].tolist() == found.frame["tonnes_p50"].tolist()
        return found.frame.set_index("block").loc["Long Acre", "tonnes_p50"]

    start = now("2026-06-15")
    usual = told(start)
    record_event(read_records(folder), "Long Acre", "2026-06-20", "hail", share_pct=35)
    hit = now("2026-06-25")
    moved = what_moved(hit, read_log(folder)[0]).frame_by("component").set_index("component")
    assert told(hit) == pytest.approx(0.65 * usual, rel=0.05)
    assert moved["change_t"]["events"] == pytest.approx(
        hit.centre_tonnes().sum() - start.centre_tonnes().sum(), rel=0.02
    )
    # Vines counted in July show the hail, and nothing is taken off twice.
    clusters = 0.65 * np.median(start.growth.clusters[start.blocks.index("Long Acre")])
    vines = [round(clusters) + step for step in (-4, -2, 0, 2, 4) * 6]
    sheet = tmp_path / "july.csv"
    rows = [f"2026,2026-07-08,Long Acre,{1 + at // 6},{10 + at},{n}" for at, n in enumerate(vines)]
    sheet.write_text("season,date,block,row,vine,clusters\n" + "\n".join(rows) + "\n", "utf-8")
    take_sheets([sheet], folder)
    counted = now("2026-07-10")
    assert told(counted) == pytest.approx(0.65 * usual, rel=0.12)
    picked = round(0.65 * usual, 2)
    row = {"season": 2026, "block": "Long Acre", "date": "2026-09-28", "tonnes": picked}
    append_rows(folder, "harvest", [row])
    records = read_records(folder)
    notes = on_the_scale(records, 2026).notes
    assert any("35 % of its crop" in note and "hail of 2026-06-20" in note for note in notes)
    parts = split_miss(records, 2026, start).frame.query("component == 'lost'")
    assert parts["log_miss"].iloc[0] == pytest.approx(-np.log(0.65), abs=0.02)
    # The coming season is not taught a crop that hail had taken.
    late = forecast(records, 2027, draws=DRAWS).frame.set_index("block")
    assert late.loc["Long Acre", "tonnes_p50"] > 1.2 * picked
