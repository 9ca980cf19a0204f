"""Seasons that cannot be used are told of together where the reason is one."""

import shutil

from cropload.pages.cli import main
from cropload.records.example import shipped
from cropload.vine.weather.heat import seasons_left_out


def test_each_reason_is_told_once_with_its_seasons():
    reasons = {2019: "no sum", 2020: "season 2020: no weather", 2021: "season 2021: no weather"}
    assert seasons_left_out(reasons) == [
        "season 2019 left out: no sum",
        "seasons 2020-2021 left out: no weather",
    ]
    assert seasons_left_out({}) == []


def test_a_replay_without_the_month_of_frost_says_so_in_few_lines(tmp_path, capsys):
    estate = shutil.copytree(shipped("sample_data") / "quillfoot", tmp_path / "mine")
    for name in ("weather.csv", "dates.csv"):
        lines = (estate / name).read_text(encoding="utf-8").splitlines()
        kept = [line for line in lines if "-05-" not in line]
        (estate / name).write_text("\n".join(kept) + "\n", encoding="utf-8")
    asked = ["--block", "Long Acre", "--plans", "3x8+3x2", "--draws", "200", "--frost"]
    main(["compare", str(estate), *asked])
    told = capsys.readouterr()
    lines = [line for line in (told.out + told.err).splitlines() if "left out: " in line]
    assert lines
    assert len(lines) <= 3
    assert not any("left out: season" in line for line in lines)
