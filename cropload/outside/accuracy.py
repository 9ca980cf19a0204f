"""How far published estimates were out, by stage, beside what our ranges own up to.

Ours are errors of the invented sample estate: of its total, the low end, and of one of its blocks,
the high end. A published error inside says that the ranges promise neither wonders nor too little.
"""

import math

from cropload import handbook
from cropload.outside.figure import Figure, source
from cropload.outside.ours import REACH, SEASON, SIZE, error, errors, variances, weight_errors

_NARROW = "images of whole rows, calibrated on the same vineyard, beat counts of a sample"


@source(
    "Cubillas 2026", "Cubillas and others 2026. Crop of a province, Cadiz, 12 years.", "abstract"
)
def _cubillas():
    wide = "a province averages out more than an estate of eight blocks"
    return [
        Figure("mean error in December, %", "13.9", error("winter", SIZE), wide),
        Figure("mean error in June, %", "10.9", error("clusters", SIZE), wide),
    ]


@source(
    "Cuevas 2021", "Cuevas-Valenzuela 2021. Block forecasts of a large Chilean winery.", "abstract"
)
def _cuevas():
    return [Figure("error of a block as forecast today, %", "20-30", error("winter", SIZE))]


@source("Dunn 2016", "Dunn 2016, after Dunn and Martin 2003. Best practice, Australia.")
def _dunn():
    return [
        Figure("error from bunch counts, %", "20", error("clusters")),
        Figure("error from berry counts after set, %", "15", error("lag")),
    ]


@source(
    "De la Fuente", "De la Fuente and others 2015. Errors by stage, Madrid. OENO One.", "abstract"
)
def _de_la_fuente():
    known = "theirs knows no past of the vines; the estate has six seasons of its own"
    return [
        Figure("error at fruit set, %", "30", error("clusters"), known),
        Figure("error at lag phase, %", "30", error("lag"), known),
        Figure("error at veraison, %", "16-17", error("veraison"), known),
    ]


@source("Champagne", "Comite Champagne in reussir.fr. Pollen at bloom, 1992-2014.", "trade")
def _champagne():
    shares = (100 * math.erf(0.1 / each / math.sqrt(2)) for each in errors()["clusters"])
    few, many = sorted(shares)
    why = "a region averages out more than an estate of eight blocks"
    return [Figure("15 of 22 years within 10 %, %", "68", (few, many), why)]


@source("ITV 2005", "ITV France 2005. Cluster volume, 19 varieties, south-west France.", "abstract")
def _itv_2005():
    low, high = (100 * SIZE * each for each in weight_errors())
    return [
        Figure(
            "error from bunch closure on, within, %",
            "20",
            (0.0, error("lag")[1]),
            "our ranges promise a little less",
        ),
        Figure("error of cluster weight, under, %", "10", (low, high)),
    ]


@source("Nuske 2011", "Nuske and others 2011. Images of whole rows at veraison, 224 vines.")
def _nuske_2011():
    return [Figure("error of a row at veraison, %", "9.8", error("veraison", SIZE))]


@source("Nuske 2012", "Nuske and others 2012. Images, several hundred vines.", "abstract")
def _nuske_2012():
    return [Figure("error of the total in mid season, %", "4", error("veraison", SIZE), _NARROW)]


@source("Nuske 2014", "Nuske and others 2014. Images, four seasons. J. Field Robotics.", "abstract")
def _nuske_2014():
    return [Figure("error of the total, %", "3-11", error("veraison", SIZE))]


@source(
    "Olenskyj 2022",
    "Olenskyj and others 2022. Images, 23,581 places. arXiv 2208.02394.",
    "abstract",
)
def _olenskyj():
    return [Figure("mean error of a place in the season, %", "18", error("clusters", SIZE))]


@source(
    "Tuscany 2021",
    "Matese and Di Gennaro 2021. Canopy from the air, Tuscany. Sci. Rep.",
    "abstract",
)
def _tuscany():
    return [Figure("mean error, years apart, %", "14.05", error("clusters", SIZE))]


@source(
    "New York 2021", "Frontiers in Agronomy 2021, 10.3389/fagro.2021.648080. Clusters.", "abstract"
)
def _new_york():
    entry = handbook.entry("prior.counting_bias")
    known = math.sqrt(sum(handbook.value(f"sd.counting_bias.{g}") ** 2 for g in ("block", *SEASON)))
    ours = (100 * SIZE * known, 100 * SIZE * entry.spread)
    return [
        Figure("mean error of counts by hand, %", "7.9", ours),
        Figure("mean error of counts from video, %", "4.9", ours, "ours are counts by eye"),
    ]


def _share_of_clusters():
    """Return the share of the season's variation of the crop that clusters carry [1]."""
    clusters, weight = variances(SEASON)
    power = 1 + handbook.value("load.weight.first")
    return 100 * power * clusters / (power**2 * clusters + weight)


@source("AWRI 2022", "Australian Wine Research Institute 2022. Technical Review 259.")
def _awri():
    """A mean, not a law; read by us as what a review would find."""
    share = _share_of_clusters()
    return [Figure("variation carried by clusters, about, %", "60", round(share, -1))]


@source("Buds 2009", "Practical Winery and Vineyard, Nov/Dec 2009. Bud dissection.", "trade")
def _bud_dissection():
    return [Figure("variation told by buds in winter, %", "50-90", _share_of_clusters())]


def _tied(power, clusters, weight):
    """Return the correlations of clusters with yield, weight with yield, clusters with weight."""
    lean = power * clusters
    heavy = power**2 * clusters + weight
    crop = (1 + power) ** 2 * clusters + weight
    return (
        (1 + power) * clusters / math.sqrt(clusters * crop),
        (lean + heavy) / math.sqrt(heavy * crop),
        lean / math.sqrt(clusters * heavy),
    )


def _tied_ends(key, clusters, weight):
    """Return each correlation over the range of the answer of cluster weight to clusters."""
    entry = handbook.entry(key)
    found = zip(
        *(
            _tied(entry.value + times * REACH * entry.spread, clusters, weight)
            for times in (-1, -0.5, 0, 0.5, 1)
        ),
        strict=True,
    )
    return [(min(each), max(each)) for each in found]


@source("Ohana-Levi", "Ohana-Levi and others. Four long irrigation trials, Israel.", "abstract")
def _ohana_levi():
    """Correlations over seasons, with the answer of the first season."""
    strong = "their vines answered more to their load than ours do in a first season"
    crop, weight, both = _tied_ends("load.weight.first", *variances(SEASON))
    return [
        Figure("correlation, clusters and yield", "0.67-0.77", crop),
        Figure("correlation, cluster weight and yield, at most", "0.73", weight, strong),
        Figure("correlation, clusters and weight, at least", "-0.61", both, strong),
    ]


def _shared():
    """Return the variation that all blocks of an estate share in a season [%]."""
    clusters, weight = variances(("season",))
    power = 1 + handbook.value("load.weight.first")
    return 100 * math.sqrt(power**2 * clusters + weight)


@source("FAOSTAT", "FAOSTAT (CC BY 4.0). National grape yields 2000-23, computed by us.")
def _faostat():
    """A nation's vines average out what an estate's share, so ours must lie above."""
    return [
        Figure(f"variation of seasons, {where}, below ours, %", printed, (0.0, _shared()))
        for where, printed in (
            ("France", "8.1"),
            ("Spain", "13.2"),
            ("Europe's middle", "17.8"),
            ("Greece", "20.4"),
        )
    ]


@source("Cornell July", "Cornell, Appellation newsletter 2021. 182 Concord blocks in July.")
def _cornell_july():
    """Half the blocks over 9 short tons/ac; the share of 16 and more by our spreads of blocks."""
    from statistics import NormalDist

    def share(groups):
        clusters, weight = variances(groups)
        away = math.sqrt((1 + handbook.value("load.weight.settled")) ** 2 * clusters + weight)
        return 100 * (1 - NormalDist().cdf(math.log(16 / 9) / away))

    clusters, weight = variances((*SEASON, "block"))
    wide = math.sqrt(clusters + weight)
    why = "growers of a district leave loads that differ; an estate's blocks differ less"
    most = 100 * (1 - NormalDist().cdf(math.log(16 / 9) / wide))
    return [Figure("blocks of 16 short tons/ac and more, %", "19", (share(("block",)), most), why)]


@source(
    "Zhu 2020", "Zhu and others 2020. Weather and crop, Marlborough. OENO One 2926.", "abstract"
)
def _zhu():
    return [
        Figure(
            "variation told by winter and spring weather, %",
            "60-85",
            0.0,
            missed="no crop is forecast from weather here, but for frost",
        )
    ]


@source("Douro 2020", "Santos and others 2020. Low, middle or high season, Douro.", "abstract")
def _douro():
    return [
        Figure(
            "seasons put into the right third before spring, %",
            "67",
            100 / 3,
            missed="no crop is forecast from weather here, but for frost",
        )
    ]
