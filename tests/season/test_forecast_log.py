"""The forecast log: nothing in it is ever lost or rewritten, and a cut line breaks no other."""

import csv
import io
import os

import numpy as np
import pandas as pd
import pytest
from season_records import BLOCKS, SEASON, count_rows, small_estate

from cropload import __version__
from cropload.beliefs.forecast import forecast
from cropload.errors import CroploadError
from cropload.season.forecast_log import (
    FILE,
    HEAD,
    append_log,
    log_forecast,
    log_path,
    models,
    read_log,
)
from cropload.vine.growth import COMPONENTS

EXTRA = ["cluster_weight_g_centre", "cluster_weight_g_spread"]


def row(block="North", **more):
    texts = {"logged_at": "2026-07-15T06:00:00+00:00", "version": "0.1.0", "as_of": "2026-07-15"}
    texts |= {"stage": "before any count", "interval": "80 % range, equal tails"}
    texts["plan"] = "2x10+2x2"
    numbers = {name: 4.25 for name, kind in HEAD.items() if kind is float}
    numbers |= {"season": 2026, "seed": 7, "draws": 4000}
    extra = {"cluster_weight_g_centre": 123.456789012345, "cluster_weight_g_spread": 0.1}
    return texts | numbers | extra | {"block": block} | more


def test_what_is_logged_reads_back_equal(tmp_path):
    append_log(tmp_path, [row("North"), row("South", tonnes_p10=1 / 3)], EXTRA)
    log, faults = read_log(tmp_path)
    assert faults == ()
    assert log.to_dict("records") == [
        {name: row("North")[name] for name in [*HEAD, *EXTRA]},
        {name: row("South", tonnes_p10=1 / 3)[name] for name in [*HEAD, *EXTRA]},
    ]
    assert log["season"].dtype.kind == "i"


@pytest.mark.parametrize(
    "name",
    ["=Low", "+1", "-", "@x", "'quoted'", "''", "<b>bold</b>", 'the "top", left', "a;b", "=1,2\"",
     "Ünterer Weingarten", "下の畑", "Виноградник", "كرمة", " spaced ", "100 %"],
)  # fmt: skip
def test_any_name_reads_back_equal(tmp_path, name):
    append_log(tmp_path, [row(name), row("after")], EXTRA)
    log, faults = read_log(tmp_path)
    assert faults == ()
    assert log["block"].tolist() == [name, "after"]


@pytest.mark.parametrize("name", ["=Low", "+1", "-1+2", "@x"])
def test_no_name_becomes_a_formula_in_a_spreadsheet(tmp_path, name):
    target = append_log(tmp_path, [row(name)], EXTRA)
    line = target.read_text(encoding="utf-8").splitlines()[1]
    assert f",'{name}," in line


def test_appending_leaves_every_byte_that_was_there(tmp_path):
    target = append_log(tmp_path, [row("North")], EXTRA)
    before = target.read_bytes()
    append_log(tmp_path, [row("South")], EXTRA)
    assert target.read_bytes().startswith(before)
    assert target.read_bytes().count(b"logged_at") == 1
    assert read_log(tmp_path)[0]["block"].tolist() == ["North", "South"]


@pytest.mark.parametrize("keep", [0.3, 0.9, -1])
def test_a_last_line_cut_short_is_skipped_and_reported(tmp_path, keep):
    target = append_log(tmp_path, [row("North"), row('the "top", left')], EXTRA)
    whole = target.read_bytes()
    last = whole.rstrip(b"\n").rfind(b"\n") + 1
    # Down to the last digit of the last number: still a number, but not the one written.
    end = len(whole) - 2 if keep == -1 else last + int(keep * (len(whole) - last))
    target.write_bytes(whole[:end])
    log, faults = read_log(tmp_path)
    assert log["block"].tolist() == ["North"]
    assert len(faults) == 1
    assert faults[0].row == 3
    assert "broken" in faults[0].rule


@pytest.mark.parametrize("cut", range(2, 180, 7))
def test_lines_written_after_a_cut_one_are_all_read(tmp_path, cut):
    target = append_log(tmp_path, [row("North"), row('the "top", left')], EXTRA)
    target.write_bytes(target.read_bytes()[:-cut])
    append_log(tmp_path, [row("East"), row("West")], EXTRA)
    log, faults = read_log(tmp_path)
    assert log["block"].tolist()[-2:] == ["East", "West"]
    assert log["block"].tolist()[0] == "North"
    assert len(log) == 3
    assert len(faults) == 1


def test_a_log_begun_with_other_columns_is_left_alone(tmp_path):
    target = append_log(tmp_path, [row()], EXTRA)
    before = target.read_bytes()
    with pytest.raises(CroploadError, match="other columns"):
        append_log(tmp_path, [row() | {"more": 1.0}], [*EXTRA, "more"])
    assert target.read_bytes() == before


def test_a_log_saved_by_a_spreadsheet_is_still_read_and_added_to(tmp_path):
    target = append_log(tmp_path, [row("Ürzig")], EXTRA)
    text = target.read_text(encoding="utf-8").replace("\n", "\r\n")
    target.write_bytes(b"\xef\xbb\xbf" + text.encode())
    append_log(tmp_path, [row("South")], EXTRA)
    log, faults = read_log(tmp_path)
    assert faults == ()
    assert log["block"].tolist() == ["Ürzig", "South"]


def saved_again(target, separator, newline="\r\n", encoding="utf-8-sig", told=False):
    """Save a log as a spreadsheet program does: its separator, decimal commas, the day first."""
    with open(target, encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    for line in rows[1:]:
        year, month, day = line[3].split("-")
        line[3] = f"{day}/{month}/{year}"
        if separator != ",":
            line[10:] = [cell.replace(".", ",") for cell in line[10:]]
    text = io.StringIO(newline="")
    text.write(f"sep={separator}{newline}" * told)
    csv.writer(text, delimiter=separator, lineterminator=newline).writerows(rows)
    target.write_bytes(text.getvalue().encode(encoding))


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("told", [False, True])
@pytest.mark.parametrize(
    ("newline", "encoding"),
    [("\r\n", "utf-8-sig"), ("\r", "cp1252"), ("\n", "utf-16")],
)
def test_a_log_saved_again_in_any_dialect_is_read_and_added_to(
    tmp_path, separator, told, newline, encoding
):
    target = append_log(tmp_path, [row("Ürzig"), row("South", tonnes_p10=1 / 3)], EXTRA)
    before, _ = read_log(tmp_path)
    saved_again(target, separator, newline, encoding, told)
    log, faults = read_log(tmp_path)
    assert faults == ()
    pd.testing.assert_frame_equal(log, before)
    if encoding != "utf-16":
        append_log(tmp_path, [row("East", tonnes_p10=0.125)], EXTRA)
        log, faults = read_log(tmp_path)
        assert faults == ()
        assert log["block"].tolist() == ["Ürzig", "South", "East"]
        assert log["tonnes_p10"].iloc[-1] == 0.125


@pytest.mark.parametrize("change", [("tonnes_p50", "middle"), ("season", "block"), ("block,", "")])
def test_a_foreign_header_is_told_and_nothing_is_read_or_added(tmp_path, change):
    target = append_log(tmp_path, [row("North")], EXTRA)
    head, rest = target.read_text(encoding="utf-8").split("\n", 1)
    target.write_text(f"{head.replace(*change, 1)}\n{rest}", encoding="utf-8")
    log, faults = read_log(tmp_path)
    assert log.empty
    assert list(log.columns) == list(HEAD)
    assert (faults[0].row, len(faults)) == (1, 1)
    assert "is not the header of the log" in faults[0].rule
    with pytest.raises(CroploadError, match="other columns"):
        append_log(tmp_path, [row()], EXTRA)


@pytest.mark.parametrize(("as_of", "words"), [("3/4/2026", "day/month"), ("spring", "YYYY-MM-DD")])
def test_a_row_with_a_day_that_cannot_be_read_is_skipped_and_told(tmp_path, as_of, words):
    append_log(tmp_path, [row("North"), row("South", as_of=as_of), row("East")], EXTRA)
    log, faults = read_log(tmp_path)
    assert log["block"].tolist() == ["North", "East"]
    (fault,) = faults
    assert (fault.row, fault.column, fault.value) == (3, "as_of", as_of)
    assert words in fault.rule
    assert "skipped" in fault.rule


def test_bytes_that_are_no_text_are_reported_with_their_line(tmp_path):
    target = append_log(tmp_path, [row("North")], EXTRA)
    with open(target, "ab") as file:
        file.write(b"\xff\xfe\x00garbage\n")
    append_log(tmp_path, [row("South")], EXTRA)
    log, faults = read_log(tmp_path)
    assert log["block"].tolist() == ["North", "South"]
    assert [fault.row for fault in faults] == [3]


def test_no_log_yet_is_an_empty_table(tmp_path):
    log, faults = read_log(tmp_path)
    assert log.empty
    assert list(log.columns) == list(HEAD)
    assert faults == ()


def test_the_log_of_a_workbook_lies_beside_it(tmp_path):
    workbook = tmp_path / "season.xlsx"
    workbook.touch()
    assert log_path(workbook) == tmp_path / FILE
    assert log_path(tmp_path) == tmp_path / FILE


@pytest.mark.skipif(os.name == "nt", reason="folders have no such permission there")
@pytest.mark.skipif(getattr(os, "geteuid", int)() == 0, reason="the superuser may write anywhere")
def test_a_folder_that_may_not_be_written_to_says_so(tmp_path):
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(CroploadError, match="cannot be written"):
            append_log(tmp_path, [row()], EXTRA)
    finally:
        tmp_path.chmod(0o700)


def test_a_log_that_cannot_be_opened_says_so(tmp_path):
    (tmp_path / FILE).mkdir()
    with pytest.raises(CroploadError, match="is a folder"):
        append_log(tmp_path, [row()], EXTRA)
    with pytest.raises(CroploadError, match="cannot be read"):
        read_log(tmp_path)


def test_a_disk_that_is_full_says_so(tmp_path, monkeypatch):
    def full(handle, data):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(CroploadError, match="No space left"):
        append_log(tmp_path, [row()], EXTRA)


def test_a_disk_that_takes_a_little_at_a_time_gets_all(tmp_path, monkeypatch):
    whole = os.write
    monkeypatch.setattr(os, "write", lambda handle, data: whole(handle, data[:11]))
    append_log(tmp_path, [row("North"), row("South")], EXTRA)
    assert read_log(tmp_path)[0]["block"].tolist() == ["North", "South"]


# ---- keeping a forecast


def test_a_line_a_block_holds_ranges_centres_and_spreads(tmp_path):
    crop = {"season": SEASON, "block": "Gorse", "date": f"{SEASON}-06-28", "tonnes": 2.0}
    records = small_estate(counts=count_rows("Alder", 40), harvest=[crop | {"picked_pct": 50}])
    found = forecast(records, SEASON, f"{SEASON}-07-01", draws=500, seed=11)
    log_forecast(found, tmp_path)
    log, faults = read_log(tmp_path)
    assert faults == ()
    assert log["block"].tolist() == list(BLOCKS)
    assert set(log["as_of"]) == {f"{SEASON}-07-01"}
    assert set(log["stage"]) == {"while picking"}
    assert set(log["seed"]) == {11}
    assert set(log["draws"]) == {500}
    assert set(log["version"]) == {f"{__version__}, model 2"}
    assert set(log["interval"]) == {"80 % range, equal tails"}
    assert log["plan"].tolist() == list(found.plans)
    table = found.frame
    for end in ("p10", "p50", "p90"):
        np.testing.assert_array_equal(log[f"tonnes_{end}"], table[f"tonnes_{end}"])
    np.testing.assert_array_equal(log["tonnes_centre"], found.centre_tonnes())
    assert log["picked_tonnes"].tolist() == [0, 0, 0, 0, 0, 2.0]
    assert log["picked_share"].tolist() == [0, 0, 0, 0, 0, 0.5]
    components = found.components.set_index(["block", "component"])
    for name in COMPONENTS:
        for block, centre, spread in zip(
            log["block"], log[f"{name}_centre"], log[f"{name}_spread"], strict=True
        ):
            assert centre == pytest.approx(components.loc[(block, name), "centre"], rel=1e-12)
            assert spread == pytest.approx(components.loc[(block, name), "spread"], rel=1e-9)


def test_every_forecast_kept_stands_below_the_earlier_ones(tmp_path):
    for day in ("03-01", "07-01"):
        log_forecast(forecast(small_estate(), SEASON, f"{SEASON}-{day}", draws=100), tmp_path)
    log, _ = read_log(tmp_path)
    assert log["as_of"].tolist() == [f"{SEASON}-03-01"] * 6 + [f"{SEASON}-07-01"] * 6


def test_the_kept_centre_is_the_chain_of_the_kept_components(tmp_path):
    """Where the load has not changed, the crop is the product of the components and the buds."""
    found = forecast(small_estate(), SEASON, draws=100)
    log_forecast(found, tmp_path)
    line = read_log(tmp_path)[0].set_index("block").loc["Alder"]
    shoots = 24 * line["buds_left_centre"] * line["shoots_per_bud_centre"]
    clusters = line["clusters_per_shoot_centre"] * (shoots + 0.4 * line["noncount_shoots_centre"])
    kg = clusters * line["cluster_weight_g_centre"] / 1000 * line["recovery_centre"]
    # Within the node profile and the weight response at clusters a little off the usual.
    assert kg == pytest.approx(line["tonnes_centre"], rel=0.03)


@pytest.mark.parametrize(
    ("more", "column"),
    [
        ({"season": 20266}, "season"),
        ({"tonnes_p10": 9.0}, "tonnes_p50"),
        ({"tonnes_p90": np.inf}, "tonnes_p50"),
        ({"tonnes_centre": -1.0}, "tonnes_centre"),
        ({"picked_share": -0.5}, "picked_share"),
        ({"cluster_weight_g_centre": 0.0}, "cluster_weight_g_centre"),
        ({"cluster_weight_g_spread": np.nan}, "cluster_weight_g_spread"),
    ],
)
def test_a_line_that_no_forecast_can_be_is_skipped_and_told(tmp_path, more, column):
    append_log(tmp_path, [row("North"), row("South", **more), row("East")], EXTRA)
    log, faults = read_log(tmp_path)
    assert log["block"].tolist() == ["North", "East"]
    assert [(fault.row, fault.column) for fault in faults] == [(3, column)]
    assert "so the line is skipped" in faults[0].rule


def test_a_model_without_end_is_read_as_the_first_one(tmp_path):
    append_log(tmp_path, [row(version="0.1.0, model " + "9" * 40)], EXTRA)
    assert models(read_log(tmp_path)[0]).tolist() == [1]
