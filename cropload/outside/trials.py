"""Trials of loads, clones and rows: measured crops beside ranges that were not fitted to them.

Rows that the handbook was set by are shown, and said to be no independent check.
"""

import csv
import math
from pathlib import Path

import numpy as np

from cropload import handbook
from cropload.beliefs.dates.heat_days import heat_sums
from cropload.outside.figure import Figure, source
from cropload.outside.ours import (
    BLOCK,
    REACH,
    about,
    answer,
    ends,
    first_number,
    goes,
    settled_range,
    span,
    variances,
)


@source("Bragato 2023", "Bragato Research Institute 2023. Pinot noir programme.")
def _bragato():
    row = first_number("Pinot noir", 2.0, 1.2, "2x8")
    low, high = settled_range(row, "kg_per_vine")
    return [
        Figure("Pinot noir, two canes of 8, kg/vine", "2.1", (low, high)),
        Figure("the same, kg/m of row", "1.75", (low / 1.2, high / 1.2)),
    ]


@source("Clone trials 4", "Evaluation of winegrape clones, Davis, report 4: 13 Chardonnays 1999.")
def _clones_of_1999():
    row = first_number("Chardonnay", 2.1336, 1.524, "12x2", "cordon")
    clusters, weight = variances(BLOCK, buds=False)
    power = 1 + handbook.value("load.weight.settled")
    crop = math.sqrt(power**2 * clusters + weight)
    return [
        Figure("Chardonnay clones, kg/vine", "3.0-5.2", settled_range(row, "kg_per_vine")),
        Figure(
            "Chardonnay clones, clusters/vine", "30-44", settled_range(row, "clusters_per_vine")
        ),
        Figure("best over least of 20 Pinot clones, kg", "2.14", span(crop, 20, 20)),
        Figure("most over fewest of 20, clusters", "1.74", span(math.sqrt(clusters), 20, 20)),
    ]


@source("Clone trials 5", "Evaluation of winegrape clones, Davis, report 5: 1991.")
def _clones_of_1991():
    clusters, weight = variances((*BLOCK, "residual"), buds=False)
    power = 1 + handbook.value("load.weight.settled")
    wood = sum(handbook.value(f"sd.pruning_weight_kg_per_m.{g}") ** 2 for g in (*BLOCK, "residual"))
    ours = span(math.sqrt(power**2 * clusters + weight + wood), 13, 20)
    return [
        Figure("yield to prunings, 7.8 over 1.5, cane-pruned", "5.2", ours),
        Figure("yield to prunings, 13.3 over 2.8, cordon", "4.8", ours),
    ]


@source("Napa clones", "Chardonnay clones at two Napa sites, 1988-91.", "abstract")
def _napa():
    clusters, weight = variances(BLOCK, buds=False)
    power = 1 + handbook.value("load.weight.settled")
    wood = handbook.value("sd.pruning_weight_kg_per_m.block")
    return [
        Figure(
            "most over least wood of 6 clones, 3 over 1 kg",
            "3.0",
            span(wood, 6, 6),
            missed="clones of two sites, and a heavy crop takes from the wood",
        ),
        Figure(
            "heaviest over lightest cluster, 200 over 100 g",
            "2.0",
            span(math.sqrt(weight), 6, 6),
        ),
        Figure(
            "best over least crop, 13 over 4.5 kg",
            "2.9",
            span(math.sqrt(power**2 * clusters + weight), 6, 6),
            missed="one of the six clones had clusters of under 100 g",
        ),
    ]


@source("Pinot clones", "Evaluation of winegrape clones, Davis: Pinot noir, three years.")
def _pinot_clones():
    cps = handbook.value("sd.clusters_per_shoot.block") ** 2
    clusters, weight = variances(BLOCK, buds=False)
    entry, found = handbook.entry("load.weight.settled"), []
    for times in (-REACH, 0, REACH):
        power = 1 + entry.value + times * entry.spread
        crop = power**2 * clusters + weight
        found.append(power * cps / math.sqrt(cps * crop))
    clones = (10, 20)
    crop = math.sqrt((1 + entry.value) ** 2 * clusters + weight)
    return [
        Figure(
            "correlation, clusters a shoot and yield",
            "0.59",
            (min(found), max(found)),
            missed="clones differ more in clusters than in weight, our blocks less",
        ),
        Figure("most over fewest clusters a shoot, 2.2 over 1.5", "1.47", span(cps**0.5, *clones)),
        Figure("best over least crop, 8.7 over 5.3 kg", "1.64", span(crop, *clones)),
    ]


@source("Plovdiv", "Pandeliev and Angelov 2005. Tempranillo at Plovdiv.", "abstract")
def _plovdiv():
    row = first_number("Tempranillo", 2.2, 1.2, "9x2", "cordon")
    low, high = (100 * end for end in settled_range(row, "t_ha"))
    return [
        Figure("Tempranillo, 18 buds, kg/decare", printed, (low, high))
        for printed in ("1,268.80", "1,098.24")
    ]


@source("Mississippi", "Young Villard blanc in Mississippi. J. Amer. Pomol. Soc.")
def _mississippi():
    entry = handbook.variety("Villard blanc")["cluster_weight_g"]
    return [
        Figure(
            "Villard blanc, young vines, g/cluster",
            "58",
            about(entry.value, entry.spread),
            missed="young vines: a variety's mean is of grown ones",
        )
    ]


@source("Variety sheet", "Sheet of Ottavianello and Moscatello selvatico, Italy.")
def _variety_sheet():
    spread = math.hypot(
        *(handbook.entry(f"prior.{n}").spread for n in ("shoots_per_bud", "clusters_per_shoot"))
    )
    value = handbook.value("prior.shoots_per_bud") * handbook.value("prior.clusters_per_shoot")
    row = first_number("Moscatello selvatico", 2.5, 1.0, "1x10+1x2")
    return [
        Figure("clusters a bud", "1.78", about(value, spread)),
        Figure("12 buds at 2.5 x 1 m, kg/vine", "3-4", settled_range(row, "kg_per_vine")),
    ]


@source("Glera", "Bud fertility of Glera by node, Veneto.")
def _glera():
    burst, fruit = (np.array(handbook.value(f"profile.cane.{n}")) for n in ("burst", "fertility"))
    nodes = burst * fruit
    return [
        Figure(
            "first two nodes over the first ten",
            "0.6",
            float(nodes[:2].mean() / nodes[:10].mean()),
            missed="a variety of long wood; the handbook says so, a fertility table tells",
        )
    ]


@source("Brazil 2019", "Cabernet Sauvignon in Brazil, 2019. SciELO S0100-29452019000600204.")
def _brazil():
    """Days at the best temperature are the fewest; an estate's own may lie 5 d away."""
    away = REACH * handbook.value("dates.variety_sd_days")
    least = heat_sums("Cabernet Sauvignon")["flowering_to_veraison"]
    return [Figure("flowering to veraison by heat, d", "64.3", (least - away, least + away))]


@source("Plumpton", "Plumpton College, UK. Guide to vine balance.")
def _plumpton():
    row = first_number("Chardonnay", 2.0, 1.2, "2x8+2x2")
    return [
        Figure("double Guyot on 1.2 m, shoots/m", "15", settled_range(row, "shoots_per_m")),
        Figure("cane weight, g", "30-40", _cane_weight()),
    ]


def _cane_weight():
    """Return the range of a cane's weight before any record [g]."""
    wood = handbook.entry("prior.pruning_weight_kg_per_m")
    buds, burst = (
        handbook.value("load.reference_buds_per_m"),
        handbook.entry("prior.shoots_per_bud"),
    )
    spread = math.hypot(wood.spread, burst.spread)
    return about(1000 * wood.value / (buds * burst.value), spread)


@source("Oregon canes", "Trade press on Pinot noir in Oregon.", "trade")
def _oregon_canes():
    return [Figure("cane weight, g", "28-54", _cane_weight())]


@source("Balance 2017", "Practical Winery and Vineyard, June 2017. On vine balance.", "trade")
def _balance():
    wood = "our usual vine grows a little more wood than these for its crop"
    row = first_number("Chardonnay", 2.1336, 1.524, "12x2", "cordon")
    return [Figure("yield to prunings of usual vines", "5-10", float(row["ravaz_p50"]), wood)]


@source("Shoots per foot", "Rule of the trade, no source.", "common practice")
def _shoots_per_foot():
    row = first_number("Chardonnay", 2.1336, 1.524, "12x2", "cordon")
    return [
        Figure(
            "cordon of 12 spurs on 5 ft, shoots/ft", "3-5", float(row["shoots_per_m_p50"]) * 0.3048
        )
    ]


@source(
    "Catalyst", "Pinot noir, cane and spur or six spurs, Oregon. ASEV Catalyst 4(1).", "abstract"
)
def _catalyst():
    cane = first_number("Pinot noir", 2.0, 1.2, "1x10+1x2")
    spurs = first_number("Pinot noir", 2.0, 1.2, "6x2", "cordon")
    low, high = settled_range(cane, "kg_per_vine")
    middle = float(spurs["kg_per_vine_p50"])
    return [Figure("crop of a cane and spur over six spurs", "1.0", (low / middle, high / middle))]


@source(
    "Northern hybrids",
    "Frontenac gris, Marquette at 20-40 nodes. Horticulturae 2020, 6:18.",
    "abstract",
)
def _northern_hybrids():
    doubled = answer(2.0)
    return [
        Figure("crop of 40 nodes against 20", "more", goes(doubled["crop"])),
        Figure("prunings of 40 nodes against 20", "less", goes(doubled["prunings"])),
    ]


@source(
    "Bobal", "Light mechanical pruning of Bobal and Tempranillo. OENO One, article 88.", "abstract"
)
def _bobal():
    more = answer(1.5)
    return [
        Figure("crop under more buds", "more", goes(more["crop"])),
        Figure("cluster weight under more buds", "less", goes(more["weight"])),
    ]


def _rows():
    path = Path(__file__).parent / "data" / "simonoff_vineyard.csv"
    with path.open(encoding="utf-8") as file:
        lines = list(csv.reader(file))[1:]
    return np.array(lines, float)[:, 1:]


@source("Simonoff", "Simonoff 1996, page 146. Lugs of 52 rows, 1989-91; computed by us.")
def _simonoff():
    """What 52 of our blocks would show: spreads of blocks against those of their own seasons."""
    clusters, weight = variances(BLOCK, buds=False)
    power = 1 + handbook.value("load.weight.settled")
    between = power**2 * clusters + weight
    clusters, weight = variances(("residual",))
    power = 1 + handbook.value("load.weight.first")
    own = power**2 * clusters + weight
    kept = between / (between + own)
    away = REACH / math.sqrt(52 - 3)
    ours = tuple(math.tanh(math.atanh(kept) + side * away) for side in (-1, 1))
    cv = 100 * math.sqrt(math.expm1(between + own))
    cvs = tuple(cv * (1 + side * REACH / math.sqrt(2 * 51)) for side in (-1, 1))
    lugs = _rows()
    seen = 100 * lugs.std(0, ddof=1) / lugs.mean(0)
    why = "young or weak rows in 1989: more uneven than the handbook has blocks"
    return [
        Figure("rows keep their rank 1990-91, correlation", f"{_r(lugs, 1, 2):.2f}", ours),
        Figure("rows keep their rank 1989-90, correlation", f"{_r(lugs, 0, 1):.2f}", ours),
        Figure("variation between rows 1991, %", f"{seen[2]:.0f}", cvs),
        Figure("variation between rows 1989, %", f"{seen[0]:.0f}", cvs, missed=why),
    ]


def _r(lugs, one, other):
    return float(np.corrcoef(lugs[:, one], lugs[:, other])[0, 1])


@source("Marlborough", "Sauvignon blanc, 24 to 72 nodes. AJGWR, doi 10.1111/ajgw.12074.", "trade")
def _marlborough():
    return [Figure("doubled nodes, crop, year 1", "1.76", ends(answer(2.0)["crop"]), "", True)]


@source("Mendoza", "Cabernet Sauvignon bud load, season 2. OENO One, article 7475.", "abstract")
def _mendoza():
    return [Figure("88 % more buds, crop", "1.39", ends(answer(1.88, 0.5)["crop"]), "", True)]


@source("Sunmuscat", "Sunmuscat, 6 to 15 canes. AJGWR 2023, article 7786501.")
def _sunmuscat():
    times = answer(258 / 119, 1.0)
    early = "three seasons on the new load, not yet settled"
    return [
        Figure("258 nodes against 119, bunches", "1.85", ends(times["clusters"]), early, True),
        Figure("258 nodes against 119, crop", "1.16", ends(times["crop"]), "", True),
    ]


@source("Chambourcin", "Kurtural and others 2006. Chambourcin thinned.", "abstract")
def _chambourcin():
    entry = handbook.entry("thin.weight_response")

    def heavier(left):
        powers = (entry.value - REACH * entry.spread, entry.value + REACH * entry.spread)
        return tuple(sorted(left**power for power in powers))

    why = "the stronger of its two answers lies at our 95 % end"
    return [
        Figure("63 % of clusters kept, weight", "1.38", heavier(0.63), "", True),
        Figure("77 % of clusters kept, weight", "1.25", heavier(0.77), why, True),
    ]
