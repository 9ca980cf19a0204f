"""Published sums, indices, samples and rules that are computed here too."""

import math

from cropload import handbook
from cropload.outside.figure import Figure, source
from cropload.outside.ours import REACH, about, errors, span, thinned
from cropload.season.sampling import sample_size, sample_size_for_proportion
from cropload.units import ACRE_HA, FOOT_M, vines_per_hectare
from cropload.vine.balance import ravaz_index
from cropload.vine.balanced_pruning import balanced_buds
from cropload.vine.plan import PruningPlan
from cropload.winery.capacity import tank_volume

POUND, POUND_TON = 0.45359237, 2000.0


def _per_acre(vine_ft, row_ft):
    return vines_per_hectare(row_ft * FOOT_M, vine_ft * FOOT_M) * ACRE_HA


@source("BC guide", "BC Wine Grape Council. Best Practices Guide, chapter on crop estimation.")
def _bc_guide():
    """Its metre columns are rounded and do not give its own vines/ha, so feet are taken."""
    return [
        Figure("3 x 7 ft, vines/ac", "2074", _per_acre(3, 7)),
        Figure("3 x 7 ft, vines/ha", "5126", _per_acre(3, 7) / ACRE_HA),
        Figure("4 x 8 ft, vines/ac", "1361", _per_acre(4, 8)),
        Figure("4 x 8 ft, vines/ha", "3364", _per_acre(4, 8) / ACRE_HA),
    ]


@source("Handbook ch. 30", "Wine-grape-growing handbook, chapter 30, on crop estimation.")
def _growing_handbook():
    return [Figure("8 x 9 ft, vines/ac", "605", _per_acre(8, 9))]


@source("Dami", "Dami, I. Ohio State University. How to estimate grape yields.")
def _dami():
    return [Figure("9 x 6 ft less 5 % missing, vines/ac", "767", round(_per_acre(6, 9)) * 0.95)]


@source("Lake Erie", "Lake Erie Regional Grape Program. Rows of a hundredth of an acre.")
def _lake_erie():
    row = ACRE_HA * 100 / (7.5 * FOOT_M) / FOOT_M
    return [Figure("row of 1/100 acre, rows 7.5 ft apart, ft", "58.1", row)]


@source("Strickland", "Strickland, Forster and Vasey 1932. Vine uniformity trial, Rutherglen.")
def _strickland():
    return [Figure("8 x 10 ft, places/ac", "544.5", _per_acre(8, 10))]


@source("Cortell", "Cortell. Fruit by the Foot. Oregon Wine Press.", "trade")
def _cortell():
    def tons(row_ft):
        clusters = 3 * 6 * 1.5
        return _per_acre(6, row_ft) * clusters * 0.22 / POUND_TON

    what = "3 shoots/ft x 1.5 clusters x 0.22 lb, rows {} ft, short tons/ac"
    return [Figure(what.format(10), "2.16", tons(10)), Figure(what.format(5), "4.31", tons(5))]


@source("Grower 2009", "A grower's published example of 2009, trade press.", "trade")
def _grower_2009():
    return [
        Figure(
            "24 buds x 0.8 x 2 clusters x 0.25 lb, lb/vine",
            "9",
            24 * 0.8 * 2 * 0.25,
            missed="the source drops the decimals of 9.6",
        )
    ]


@source("Hanumangirl", "A grower's published sums of February 2021, three blocks.", "trade")
def _grower_2021():
    what = "{} vines x 20 clusters x 3 oz, lb"
    cut = "the source drops the decimals of 1,818.75"
    return [
        Figure(what.format(n), printed, n * 20 * 3 / 16, missed=cut if n == 485 else "")
        for n, printed in ((485, "1,818"), (676, "2,535"), (945, "3,544"))
    ]


@source("Clone trials 7", "Evaluation of winegrape clones, Davis, report 7: Pinot noir 1994.")
def _clones_of_1994():
    """The spacing, 5 x 10 ft, is what both rows of the report agree on."""
    return [
        Figure(f"{lb} lb/vine at 5 x 10 ft, short tons/ac", tons, lb * _per_acre(5, 10) / POUND_TON)
        for lb, tons in ((11.7, "5.1"), (22.3, "9.7"))
    ]


@source("Veraison 2016", "Cornell University 2016. Veraison to Harvest 1: a drought, Concord.")
def _veraison_to_harvest():
    pounds = 80 * 30 * 0.5 / 1000 / POUND
    return [
        Figure("80 clusters x 30 berries x 0.5 g less, lb/vine", "2.6", pounds),
        Figure("the same at 605 vines/ac, short tons/ac", "0.8", 605 * pounds / POUND_TON),
    ]


@source(
    "Epee 2024", "Epee and others 2024. Sauvignon blanc at rising load. OENO One 58(3).", "abstract"
)
def _epee_2024():
    why = "a product of means is not the mean of products"
    return [
        Figure("1.8 clusters of 82.0 g, g/shoot", "153.5", 1.8 * 82.0, why),
        Figure("1.6 clusters of 67.7 g, g/shoot", "106.7", 1.6 * 67.7, why),
    ]


@source("Oakville", "Kliewer and Dokoozlian 2005. AJEV 56:170, Table 4, Cabernet Sauvignon 1992.")
def _oakville():
    return [
        Figure("24 two-bud spurs, yield to prunings", "7.5", ravaz_index(9.8, 1.30)),
        Figure("hedged, yield to prunings", "13.2", ravaz_index(20.2, 1.53)),
        Figure("minimal, yield to trimmings", "54.8", ravaz_index(15.9, 0.29)),
        Figure("24 two-bud spurs, leaf to crop, m2/kg", "1.65", 16.2 / 9.8),
    ]


@source("West Virginia", "West Virginia Department of Agriculture. Balanced pruning, worked.")
def _west_virginia():
    return [Figure("30+10 at 3 lb, buds", "50", balanced_buds(3 * POUND, 30, 10, POUND))]


@source("98905", "A grower's page on balanced pruning, 98905.com.", "trade")
def _grower_30_10():
    return [Figure("30+10 at 4 lb, buds", "60", balanced_buds(4 * POUND, 30, 10, POUND))]


@source("WineSkills", "WineSkills, Plumpton College, UK. Charge of grown vines.")
def _wineskills():
    more = 100 * (1 / handbook.value("prior.shoots_per_bud") - 1)
    return [Figure("buds added for those that will not break, %", "5-15", more)]


@source("VineWorks", "VineWorks. Planning a UK vineyard; a bumper year.", "trade")
def _vineworks():
    low, high = about(1.0, errors()["winter"][1])
    return [
        Figure("double Guyot, 2x8+2x2, buds", "20", PruningPlan.parse("2x8+2x2").buds),
        Figure("bumper year, crop over the plan's 12 t/ha", "1.5", (low, high)),
    ]


@source("Walter-Peterson", "Walter-Peterson, Cornell. Vine balance, growingproduce.com.", "trade")
def _walter_peterson():
    low, high = handbook.band("band.ravaz.general")
    leaf = tuple(10 * end for end in handbook.band("band.leaf_area_m2_per_kg.single"))
    return [
        Figure("balanced crop over 1 lb of prunings, lb", "5-10", (low, high)),
        Figure("balanced crop over 4 lb of prunings, lb", "20-40", (4 * low, 4 * high)),
        Figure("leaf area to fruit, cm2/g", "10-15", leaf),
    ]


@source("Uvasapiens", "Italian consultants, uvasapiens.com. Yield to prunings by vigour.", "trade")
def _uvasapiens():
    single = handbook.band("band.ravaz.single")
    return [
        Figure("yield to prunings, vigorous varieties", "6-10", single),
        Figure("yield to prunings, weaker varieties", "4-6", single),
    ]


@source("Icon Pinot", "Pinot noir of the highest aim. OENO One, article 5436.", "abstract")
def _icon_pinot():
    leaf = tuple(10 * end for end in handbook.band("band.leaf_area_m2_per_kg.single"))
    return [Figure("leaf area to fruit wanted, over, cm2/g", "11", leaf)]


@source("East Europe", "17 East European cultivars: yield to prunings.", "abstract")
def _east_europe():
    return [
        Figure(
            "yield to prunings, 17 cultivars",
            "13-18",
            handbook.band("band.ravaz.general"),
            missed="table and local grapes carry more than the band allows",
        )
    ]


@source("WSU 2006", "Washington State University 2006. Vines to sample in a block.")
def _washington():
    return [
        Figure(
            "260 of 800 vines for 5 %, a formula for shares",
            "260",
            sample_size_for_proportion(0.05, population=800),
        )
    ]


@source("ITV vines", "ITV Midi-Pyrenees. Vines that stand for a block.")
def _itv_vines():
    cv = handbook.value("sampling.cv_clusters")
    return [Figure("vines for a block, +-10 %", "40-60", sample_size(cv, 0.10, population=800))]


@source("Bramley", "Bramley. Yield inside vineyard blocks varies 8- to 10-fold.", "abstract")
def _bramley():
    spread = math.sqrt(math.log1p(handbook.value("sampling.cv_yield_kg") ** 2))
    return [Figure("highest over lowest place of 100 to 1,000", "8-10", span(spread, 100, 1000))]


@source(
    "Oger 2023", "Oger and others 2023. Missing vines sampled apart. OENO One 57(3).", "abstract"
)
def _oger_2023():
    """On the vines of Rutherglen: 125 of 155 places bear."""
    cv, bearing = handbook.value("sampling.cv_yield_kg"), 125 / 155
    as_zeros = math.sqrt((cv**2 + 1) / bearing - 1)
    return [
        Figure(
            "error with the missing as zeros, times",
            "2",
            as_zeros / cv,
        )
    ]


@source(
    "Badier", "Badier, M. Chambre d'agriculture Loir-et-Cher. Clusters counted, hl/ha.", "trade"
)
def _badier():
    entry = handbook.entry("prior.counting_bias")
    few, many = about(1 / entry.value, entry.spread)
    there = (100 * (few - 1), 100 * (many - 1))
    low, _ = tank_volume(21.6 * 0.120 * 5000 / 1000, (130, 140))
    return [
        Figure("added to counts over 15 a vine, %", "20", there),
        Figure("added to counts of 10 to 15 a vine, %", "10", there),
        Figure("added to counts under 10 a vine, %", "0", there),
        Figure("21.6 clusters of 120 g x 5,000 vines, red, hl/ha", "92.6", low),
    ]


@source("Intake guide", "Planning figures of a published guide of intake.")
def _intake_guide():
    return [
        Figure(
            "1 t/ac, about, hl/ha", "17.5", tank_volume(1 / ACRE_HA), "rounded: 17.65 at 140 kg/hl"
        )
    ]


@source("Wine glossary", "glossar.wein.plus. Must of 100 kg of grapes.")
def _wine_glossary():
    low, high = (100 * end for end in tank_volume(0.1))
    return [
        Figure(
            "litres of must from 100 kg",
            "55-75",
            (low, high),
            missed="must run off, not wine; our range counts the press as well",
        )
    ]


@source("Remstal", "Remstalkellerei. Litres that 100 kg of grapes are taken for.")
def _remstal():
    low, high = (100 * end for end in tank_volume(0.1))
    return [
        Figure("litres from 100 kg, until the change", "75", (low, high)),
        Figure("litres from 100 kg, since", "78", (low, high)),
    ]


@source("Le Rouge", "A glossary of lerougeetleblanc.com: t/ha x 0.63 is hl/ha.", "read")
def _le_rouge():
    return [
        Figure(
            "10 t/ha by its factor of 0.63, hl/ha",
            "6.3",
            tank_volume(10.0),
            missed="the source's factor is ten times too small",
            set_by=True,
        )
    ]


@source("Seyval", "Thinning of Seyval blanc: crop not lower. OENO One, article 7719.", "abstract")
def _seyval():
    why = "fruit set rose after early thinning, which our answer does not count on"
    return [
        Figure("70 % of clusters kept, crop relative", "1.0", thinned(0.7), why),
        Figure("40 % of clusters kept, crop relative", "1.0", thinned(0.4), why),
        Figure("Vandal-Cliche at 40 %, crop", "less", "less" if thinned(0.4)[1] < 1 else "more"),
    ]


@source(
    "Vidal 2013",
    "Dami and others 2013. Vidal blanc at 40 and 60 clusters. HortScience 48:1358.",
    "abstract",
)
def _vidal():
    low, high = thinned(40 / 60)
    word = "less" if high < 1 else "more" if low > 1 else "either"
    return [
        Figure("crop of 40 clusters against 60", "less", word),
        Figure("crop to prunings of 40 against 60", "less", word),
    ]


@source(
    "Tarara 2013",
    "Tarara and others 2013. When observers see the lag phase. HortScience 48:453.",
    "abstract",
)
def _tarara():
    away = handbook.value("lag_phase.day_unknown")
    ours = (-REACH * away, REACH * away)
    return [
        Figure("days late, the least", "2", ours, set_by=True),
        Figure("days late, the most", "15", ours, "rarely so late; enter a flowering date", True),
    ]


@source("Bates 30 days", "Bates, T. Thinning Concord thirty days after bloom.", "trade")
def _bates_thirty_days():
    entry, day = handbook.entry("prior.increase_factor"), handbook.value("lag_phase.day")
    growth = handbook.entry("lag_phase.growth_a_day")
    early = day - 30
    value = entry.value * math.exp(-growth.value * early)
    spread = math.hypot(entry.spread, growth.spread * early)

    def told(one, other):
        apart = math.log(other / one) / math.sqrt(2)
        return "yes" if apart > REACH * errors()["lag"][1] else "no"

    return [
        Figure("weight at harvest over that at 30 days, about", "2", about(value, spread)),
        Figure("5.5 told from 8.5 short tons/ac, picked clean", "yes", told(5.5, 8.5)),
        Figure("8.0 told from 8.2 short tons/ac, picked clean", "no", told(8.0, 8.2)),
    ]
