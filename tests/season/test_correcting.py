"""The fold of corrections on the season page, worked without a browser."""

import html
import re

import pytest
from helpers import LEARNT_FROM, sample_copy

from cropload import forecast, read_records
from cropload.records.tables import WHOLE_ROW
from cropload.season.panels.counting_and_forecast import CountingAndForecast


@pytest.fixture
def folder(tmp_path):
    return sample_copy(tmp_path / "mine", *LEARNT_FROM)


def said(widget):
    return html.unescape(re.sub(r"<[^>]+>", " ", widget.value)).strip()


def opened(given):
    page = CountingAndForecast(given, season=2026, as_of="2026-08-20", draws=300)
    (fold,) = (each for each in page.children[-1].children if "correct" in each.words)
    fold.turn()
    part = fold.inside.children[0]
    part.block.value = "Long Acre"
    return page, part


def choose(part, table, column, **cells):
    part.table.value = table
    part.row.value = next(
        row
        for _, row in part.row.options
        if row and all(row.cells[name] == text for name, text in cells.items())
    )
    part.column.value = column


def test_a_count_is_corrected_from_the_page_and_the_forecast_follows(folder):
    before = (folder / "counts.csv").read_bytes()
    page, part = opened(folder)
    plain = page.forecast()
    row = next(row for _, row in part.row.options if row.cells["clusters"])
    choose(part, "counts", "clusters", **row.cells)
    old = row.cells["clusters"]
    assert part.new.value == old
    part.new.value, part.why.value = str(10 * int(old)), "a nought too few"
    part.save_button.click()
    told = said(part.said)
    assert f"{old} -> {10 * int(old)}" in told
    assert "a nought too few" in told
    assert (folder / "counts.csv").read_bytes() == before
    assert said(part.listed).startswith("counts.csv, row ")
    now = page.forecast()
    apart = forecast(read_records(folder), 2026, "2026-08-20", draws=300)
    assert list(now.frame["tonnes_p50"]) == pytest.approx(list(apart.frame["tonnes_p50"]))
    assert any("1 count of Long Acre corrected on" in note for note in now.notes)
    assert now.frame["tonnes_p50"][4] > plain.frame["tonnes_p50"][4]


def test_a_pick_in_the_wrong_block_is_moved_and_one_entered_twice_taken_out(folder):
    page, part = opened(folder)
    choose(part, "harvest", "block", date="2026-10-02")
    part.new.value = "Lyre Field"
    part.save_button.click()
    assert len(part.row.options) == 1
    part.block.value = "Lyre Field"
    choose(part, "harvest", WHOLE_ROW, date="2026-10-02")
    assert part.new.disabled
    part.save_button.click()
    assert "row taken out" in said(part.said)
    rows = page.desk.records.harvest
    assert not (rows["date"] == "2026-10-02").any()
    assert [each.change for each in page.desk.records.corrected] == ["row taken out"]


def test_what_cannot_be_saved_is_said_and_nothing_is_written(folder):
    _, part = opened(folder)
    choose(part, "harvest", "tonnes", date="2026-10-02")
    part.save_button.click()
    assert "Type the value that holds" in said(part.said)
    part.new.value = "-3"
    part.save_button.click()
    assert "not below 0" in said(part.said)
    assert not (folder / "corrections.csv").exists()
    _, part = opened(None)
    choose(part, "harvest", "tonnes", date="2026-10-02")
    part.new.value = "3"
    part.save_button.click()
    assert "make a folder of your own first" in said(part.said)
