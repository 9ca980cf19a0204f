"""A variety that the handbook does not know is told, and a likely slip is asked about."""

import pytest

from cropload.pages.cli import main
from cropload.records.known_varieties import unknown_varieties
from cropload.records.records import read_records

BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,{},2,1.2,1000\n"


@pytest.mark.parametrize("name", ["Reisling", "riessling", "Chardonay"])
def test_a_likely_slip_is_asked_about(write, name):
    (doubt,) = read_records(write(blocks=BLOCKS.format(name))).warnings
    assert (doubt.row, doubt.column, doubt.value) == (2, "variety", name)
    assert "Did you mean" in doubt.mend


@pytest.mark.parametrize("name", ["Riesling", "RIESLING", "Müller Thurgau", "Cabernet Franc"])
def test_a_known_or_plainly_other_variety_is_not(write, name):
    assert read_records(write(blocks=BLOCKS.format(name))).warnings == ()


def test_two_unknown_names_that_are_alike():
    assert unknown_varieties(["Solaris", "Solariss"]) == {"Solaris": "", "Solariss": "Solaris"}


def test_check_tells_of_a_variety_without_an_entry(write, capsys):
    assert main(["check", str(write(blocks=BLOCKS.format("Solaris")))]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "No entry for Solaris in the handbook: general values are used" in out


def test_the_sources_of_a_comparison_tell_it_too(write, capsys):
    folder = write(blocks=BLOCKS.format("Solaris"))
    asked = ["--block", "North", "--plans", "2x8", "--reference-plan", "2x8", "--sources"]
    assert main(["compare", str(folder), *asked, "--draws", "200"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "the handbook has no entry for Solaris" in told


def test_a_blank_cell_of_a_known_variety_is_told(write, capsys):
    folder = write(blocks=BLOCKS.format("Viognier"))
    assert main(["check", str(folder)]) == 0
    assert "neither clusters per shoot nor cluster weight of Viognier" in " ".join(
        capsys.readouterr().out.split()
    )
    asked = ["--block", "North", "--plans", "2x8", "--reference-plan", "2x8", "--sources"]
    assert main(["compare", str(folder), *asked, "--draws", "200"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "no figure for Viognier: general values, of any variety, are used for" in told
    assert "the handbook has none for Viognier" in told


def test_check_tells_that_tonnes_alone_inform_the_yield(write, capsys):
    harvest = "season,block,tonnes\n2024,North,2.4\n2025,North,2.2\n"
    assert main(["check", str(write(blocks=BLOCKS.format("Riesling"), harvest=harvest))]) == 0
    out = capsys.readouterr()
    words = " ".join(out.out.split())
    assert "Of North only tonnes tell of the crop. Those do inform its yield" in words
    assert "\nNorth\n  own 2: yield\n" in out.out
    lines = [line for line in out.out.splitlines() if not line.startswith("Records in ")]
    assert max(map(len, lines)) <= 80
    assert out.err == ""
