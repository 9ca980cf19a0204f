"""The table of evidence: one case a source; each figure is held, or missed for a reason told."""

import pytest

from cropload import evidence
from cropload.handbook import GRADES
from cropload.outside.evidence import SOURCES
from cropload.outside.figure import Figure
from cropload.pages.cli import main


@pytest.mark.parametrize("held", SOURCES, ids=lambda held: held.name)
def test_what_a_source_prints_is_held_or_missed_for_a_reason(held):
    assert held.grade in GRADES
    for figure in held.figures():
        assert figure.inside == (not figure.missed), (figure.what, figure.printed, figure.ours)


def test_a_miss_whose_reason_is_forgotten_is_found():
    assert not Figure("tons", "2.16", 2.166).inside
    assert Figure("tons", "2.16", 2.1649).inside
    assert not Figure("range", "3.0-5.2", (3.2, 8.0)).inside
    assert Figure("range", "40-60", 47).inside
    assert Figure("negative", "-0.61", (-0.7, 0.1)).inside
    assert not Figure("word", "more", "less").inside


@pytest.fixture(scope="module")
def found():
    return evidence()


def test_there_are_120_figures_of_50_sources_at_most_four_of_each(found):
    own = found.frame[found.frame["independent"]]
    each = own["source"].value_counts()
    assert len(own) >= 120
    assert len(each) >= 50
    assert each.max() <= 4
    assert found.frame["source"].nunique() == len(SOURCES)
    assert not found.frame.duplicated(["figure", "source", "printed"]).any()


def test_conversions_of_units_are_no_evidence(found):
    said = " ".join(found.frame["figure"]).casefold()
    assert not any(words in said for words in ("in kg/hl", "lb in kg", "t/ha in"))


def test_the_table_fits_a_screen_and_tells_what_is_missed(found):
    text = found.text()
    assert max(map(len, text.splitlines())) <= 80
    told = " ".join(text.split())
    for reason in found.frame.loc[~found.frame["inside"], "missed"]:
        assert reason.split(",")[0].split()[0] in told
    assert "What is missed, and why" in told


def test_a_factor_ten_times_too_small_is_not_taken_over(found):
    """A published glossary's t/ha x 0.63 would make 6.3 hl of 10 t/ha."""
    row = found.frame.set_index("source").loc["Le Rouge"]
    assert not row["inside"]
    assert row["low"] > 10 * float(row["printed"])


def test_the_command_prints_the_table_and_its_sources(capsys):
    assert main(["evidence", "--sources"]) == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= 80
    assert "published figures from" in out
    assert "Simonoff: Simonoff 1996, page 146." in out
