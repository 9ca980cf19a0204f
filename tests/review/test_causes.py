"""Planted causes are named, in one line each, and few where there is none."""

import re
from dataclasses import replace

import numpy as np
import pytest
from length import repeats, widened
from statsmodels.stats.proportion import proportion_confint
from worlds.causes import KINDS, LAST, estate

from cropload import example_records
from cropload.beliefs.events import happened
from cropload.records.facts import block_facts
from cropload.review import causes
from cropload.review.causes import find_causes, why_lines

#: Seeds other than those that chances and spreads were tuned on.
SEEDS = range(1000, 1080)


def found(seed, *planted):
    """The causes found in an estate, its loads being steady: (kind, name) of each."""
    records, crops = estate(seed, *planted)
    facts, events = block_facts(records), happened(records, block_facts(records))
    counted = causes._counted(records, facts, LAST, set())
    return causes._looked_for(records, LAST, crops, counted, events)


def share(hits):
    """A share, printed with its interval (Wilson, 95 %)."""
    low, high = proportion_confint(sum(hits), len(hits), method="wilson")
    print(f"{np.mean(hits):.2f} ({low:.2f} to {high:.2f})")
    return np.mean(hits)


def judged(planted, seeds):
    """Whether one of those planted is named first, and whether another is named, by seed."""
    wanted = [KINDS[kind] for kind in planted]
    told = [[(c.kind, c.name) for c in found(seed, *planted)] for seed in seeds]
    first = [bool(each) and each[0] in wanted for each in told]
    return first, [any(name not in wanted for name in each) for each in told]


@pytest.mark.simulation
@pytest.mark.long
@pytest.mark.parametrize("kind", ["counter", "after count", "night", "own season", "odd season"])
def test_a_planted_cause_is_named_first(kind):
    first, other = judged([kind], SEEDS[: repeats(len(SEEDS), 8)])
    assert share(first) >= 0.8 - widened(0.1, 8)
    assert share(other) <= 0.1 + widened(0.06, 8)


@pytest.mark.simulation
@pytest.mark.long
def test_where_nothing_is_planted_hardly_anything_is_named():
    assert share(judged([], SEEDS[: repeats(len(SEEDS), 8)])[1]) <= 0.1 + widened(0.06, 8)


def test_two_causes_are_told_a_line_each_with_chance_and_what_to_do():
    told = found(1003, "counter", "night")
    assert {("counter", "K2"), ("night", "Frost of 2026-05-02")} <= {(c.kind, c.name) for c in told}
    counter = next(cause for cause in told if cause.kind == "counter")
    few = int(re.search(r"K2 counts (\d+) % too few clusters, in \d+ blocks", counter.line)[1])
    assert few == pytest.approx(12, abs=3)
    assert "chance " in counter.line
    assert "accept counter:K2" in counter.line.lower().replace("k2", "K2")
    night = next(cause for cause in told if cause.kind == "night")
    assert "Block E, Block F, Block G, Block H" in night.line


def test_what_cannot_be_told_apart_is_said_so():
    """Of two counters nobody knows which is wrong: only how far they are from each other."""
    records, crops = estate(1001, "counter")
    who = records.counts["counter"].replace("K3", "K1")
    records = replace(records, counts=records.counts.assign(counter=who))
    facts = block_facts(records)
    counted = causes._counted(records, facts, LAST, set())
    told = causes._looked_for(records, LAST, crops, counted, happened(records, facts))
    (line,) = (cause.words for cause in told if cause.kind == "counter")
    assert re.search(r"K1 counts \d+ % too many", line)
    assert re.search(r"K2 counts \d+ % too few", line)
    assert "cannot tell them apart" in line


def test_few_blocks_name_nothing_and_the_sample_says_that_chance_is_likelier():
    records = example_records()
    lines = why_lines(find_causes(records, 2026), 2026)
    assert len(lines) == 1
    assert "No cause stands out in 2026" in lines[0]
