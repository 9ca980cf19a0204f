"""The pocket page: one HTML file for a phone between the rows, without server or network."""

import base64
import hashlib
import re
from pathlib import Path

import numpy as np

from cropload import arguments, clock, handbook
from cropload.beliefs import ranges
from cropload.beliefs.forecast import forecast
from cropload.beliefs.meant import check_block, check_season
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.pruning.cards import card_parts, of_plan
from cropload.pruning.compare import compare_plans, estate_for
from cropload.records.example import is_sample
from cropload.records.facts import bearing_vines
from cropload.season.count_plan import sample_vines
from cropload.season.crew_check import NoPlan, planned_for
from cropload.season.next_counts import next_counts, vine_minutes
from cropload.season.sampling import quantile_of
from cropload.season.vine_picking import block_of
from cropload.show.languages import LANGUAGES, catalogue, day_words, number_words, template
from cropload.units import POUND_KG, unit_system
from cropload.vine.balanced_pruning import balanced_table, parse_formula, usual_formula
from cropload.vine.plan import SPUR_MOST_BUDS, PruningPlan
from cropload.vine.training import first_levels, longest_cane

#: What the page counts on a vine, in the order of its fields.
MEASURES = ("buds", "shoots", "noncount_shoots", "clusters", "shoots_dead", "shoots_alive")
#: Those that a crew's hour is weighed for, each with a walk of its own.
_WALKED = ("buds", "shoots", "clusters")
#: Columns of the file that is saved, all of table counts.
COLUMNS = (
    "season", "date", "block", "row", "vine", "buds", "shoots", "noncount_shoots", "clusters",
    "counter", "missing", "shoots_dead", "shoots_alive",
)  # fmt: skip
#: What the slider reads -> column of ``compare_plans``, its quantity.
READINGS = {
    "shoots": ("shoots_per_m", "per_m"),
    "crop": ("t_ha", "t_ha"),
    "crop_settled": ("t_ha_settled", "t_ha"),
    "balance": ("ravaz", None),
    "balance_settled": ("ravaz_settled", None),
}
#: Plans computed beforehand for a block at most, between half and twice its buds [1].
_MOST_PLANS = 30
#: Degrees of freedom for which the page holds quantiles [1].
_FREEDOM = (*range(1, 21), 24, 30, 40, 60, 120)
#: Cautions of the crew's cards, in their catalogue's words.
CARE = (
    "Wear eye protection; canes under tension whip back.",
    "Wear gloves; keep the other hand away from the cut; close tools when not cutting.",
    "Stand firmly; mind wires, ladders and machines.",
    "Keep to local codes and to the advice of licensed practitioners.",
)


@arguments.check_arguments(
    records=arguments.records,
    season=arguments.optional(arguments.season),
    blocks=arguments.optional(arguments.each(arguments.block)),
    language=arguments.one_of(*LANGUAGES),
    draws=arguments.draws,
    seed=arguments.seed,
)
def pocket_page(
    records,
    season=None,
    *,
    blocks=None,
    language="en",
    units="metric",
    draws=DEFAULT_DRAWS,
    seed=0,
):
    """Return one HTML file for a phone between the rows: a block's plan, counting, the crew.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int, optional
        Year of the harvest; the next one when left out.
    blocks : iterable of str, optional
        Names of the blocks; all of them when left out.
    language : str
        Language of whoever holds the phone, such as ``"es"``, as for the crew's cards.
    units : {"metric", "us"} or UnitSystem
        Units to show.
    draws, seed : int
        Draws [1] and their seed [1].

    Returns
    -------
    str
        HTML that asks no network for anything: crop [t/ha], shoots [1/m] and balance [kg/kg] by
        the buds of a vine, from ``compare_plans``; the walk of ``sample_vines``; what an hour of
        counting takes off the range of the estate [t], from ``next_counts``; the verdict of
        ``crew_check`` for vines picked at random. Counts are saved as a CSV file of table counts.

    Raises
    ------
    CroploadError
        For a block, season, language or units that cannot be.

    Notes
    -----
    Between the plans computed beforehand, of half to twice the buds of a block's plan, figures run
    straight in the logs. A block without rows on record has no walk: row and vine are typed.
    Counts are kept under the name of the records' folder.
    Valid as of the records it was made from; what is counted on the phone narrows the range of the
    estate by that count alone.

    Examples
    --------
    >>> from cropload import example_records
    >>> page = pocket_page(example_records(), blocks=["Long Acre"], draws=100)
    >>> page.startswith("<!doctype html>")
    True
    """
    units = unit_system(units)
    season = check_season(records, season)
    names = records.blocks["block"] if blocks is None else blocks
    names = list(dict.fromkeys(check_block(records, str(name)) for name in names))
    data, drawings = page_data(records, season, names, language, units, draws, seed)
    script, style = _beside("pocket_figures.js") + _beside("pocket.js"), _beside("pocket.css")
    cards = catalogue(language)
    return template("pages", "pocket.html.j2", language, "pocket").render(
        data=data,
        drawings=drawings,
        crops=[_crop_words(each, language) for each in data["blocks"]],
        policy=(
            f"default-src 'none'; script-src {_hash(script)}; style-src {_hash(style)}; "
            "connect-src 'none'; form-action 'none'; base-uri 'none'"
        ),
        script=script,
        style=style,
        care=[cards.gettext(line) for line in CARE],
        invented=is_sample(records),
        often=number_words(10 * ranges.level(), language),
        today=day_words(clock.today(), language),
        weight=number_words(0.75, language, 2),
    )


def page_data(records, season, names, language, units, draws, seed):
    """Return what the page's script computes with, and the drawing of each block.

    Parameters
    ----------
    records, season, names, language, units, draws, seed
        As for ``pocket_page``, checked.

    Returns
    -------
    (dict, list of str)
    """
    now, worth = _worth(records, season, units, draws, seed)
    made = [
        _block(records, season, name, language, units, draws, seed, worth.get(name, {}))
        for name in names
    ]
    confidence = handbook.value("interval.sample_confidence")
    spread = [*map(float, _FREEDOM), np.inf]
    data = {
        "estate": records.path.stem,
        "season": season,
        "language": language,
        "columns": COLUMNS,
        "measures": MEASURES,
        "readings": list(READINGS),
        "minutes": {name: vine_minutes(name) for name in (*_WALKED, "noncount_shoots")},
        "range": now,
        "made": clock.today().isoformat(),
        "unit": {
            "length": units.label("length_m"),
            "crop": units.label("t_ha"),
            "tonnes": units.label("tonnes"),
            "weight": units.label("pruning_weight_kg"),
        },
        "t": {
            "at": _FREEDOM,
            "often": [_short(quantile_of(ranges.level(), df), 7) for df in spread],
            "sure": [_short(quantile_of(confidence, df), 7) for df in spread],
        },
        "z": _short(quantile_of(confidence, np.inf), 7),
        "crew": {
            name: handbook.value(f"sampling.crew_{key}")
            for name, key in (
                ("least", "least_vines"),
                ("near", "mean_tolerance"),
                ("tell", "tell"),
            )
        },
        "blocks": [block for block, _ in made],
    }
    return data, [drawing for _, drawing in made]


def _block(records, season, name, language, units, draws, seed, worth):
    """Return what the script knows of one block, and its drawing."""
    plan, source, of = _plan(records, name, season)
    facts = block_of(records, name)
    card = card_parts(of_plan(records, name, plan, season), language, units)
    formula = parse_formula(usual_formula(str(facts["variety"])))
    lookup = balanced_table(formula, vine_spacing_m=float(facts["vine_spacing_m"]))
    return {
        "name": name,
        "variety": str(facts["variety"]),
        "plan": str(plan),
        "buds": plan.buds,
        "low": card["low"],
        "high": card["high"],
        "wood": {"canes": plan.canes, "spurs": plan.spurs, "each": plan.buds_per_spur},
        "source": source,
        "of": of,
        "bearing": int(bearing_vines(facts)),
        "formula": {
            "text": str(formula),
            "first": formula.first,
            "further": formula.further,
            "unit": formula.unit_kg / (POUND_KG if units.name == "us" else 1.0),
        },
        "cap": lookup.cap_buds,
        "reading": _reading(records, name, plan, season, units, draws, seed),
        "walk": _walks(records, name, season),
        "worth": worth,
        # The page's policy lets no style through but its own sheet.
    }, re.sub(r' style="[^"]*"', "", card["drawing"])


def _plan(records, name, season):
    """Return the plan of a block, where it is from, and the harvest it was made for."""
    try:
        text, _ = planned_for(records, name, season)
    except NoPlan:
        estate = estate_for(records, name, season)
        at = estate.facts.place(name)
        (plan, *_), _ = first_levels(
            None,
            float(np.exp(estate.log_reference[at])),
            estate.facts.training[at],
            longest_cane(estate.facts.vine_spacing_m(at)),
        )
        return plan, "usual", season
    mine = records.pruning[(records.pruning["block"] == name) & (records.pruning["plan"] == text)]
    of = int(mine.loc[mine["season"] <= season, "season"].max())
    return PruningPlan.parse(text), "season" if of == season else "last", of


def plans_around(plan, spacing_m):
    """Return plans of half to twice a plan's buds: its canes longer or shorter, or its spurs.

    Parameters
    ----------
    plan : PruningPlan
        What the block is pruned to.
    spacing_m : float
        Distance between vines in the row [m].

    Returns
    -------
    list of PruningPlan
        By buds a vine, the plan itself among them.
    """
    least, middle = (SPUR_MOST_BUDS + 1, plan.buds_per_cane) if plan.canes else (1, plan.spurs)
    most = max(middle, min(2 * middle, longest_cane(spacing_m))) if plan.canes else 2 * middle
    spread = np.geomspace(max(least, middle / 2), most, _MOST_PLANS)
    numbers = sorted({middle, *(int(number) for number in np.round(spread))})
    if plan.canes:
        return [
            PruningPlan(plan.canes, number, plan.spurs, plan.buds_per_spur) for number in numbers
        ]
    return [PruningPlan(0, 0, number, plan.buds_per_spur) for number in numbers]


def _reading(records, name, plan, season, units, draws, seed):
    """Return crop, shoots and balance by the buds of a vine; None where no crop can be told."""
    spacing = float(block_of(records, name)["vine_spacing_m"])
    try:
        found = compare_plans(
            records, name, plans_around(plan, spacing), season, draws=draws, seed=seed
        )
    except CroploadError:
        return None

    def shown(values, quantity):
        return [_short(units.convert(quantity, v) if quantity else v) for v in values]

    reading = {
        name: [shown(found[f"{column}_{end}"], quantity) for end in ranges.ENDINGS]
        for name, (column, quantity) in READINGS.items()
    }
    density = [units.convert("per_m", end) for end in (found.density.low, found.density.high)]
    return reading | {
        "buds": [int(buds) for buds in found["buds_per_vine"]],
        "density": [_short(end, 3) for end in density],
        "band": [_short(found.balance.low, 3), _short(found.balance.high, 3)],
    }


def _walks(records, name, season):
    """Return the vines to count for each measure, ``row:vine`` in walking order."""
    walks = {}
    for measure in _WALKED:
        try:
            stops = sample_vines(records, name, measure, season=season).frame
        except CroploadError:
            continue
        walks[measure] = " ".join(
            f"{row}:{vine}" for row, vine in zip(stops["row"], stops["vine"], strict=True)
        )
    return walks


def _worth(records, season, units, draws, seed):
    """Return the range of the estate [t], and what counting takes off it, by block and measure.

    Notes
    -----
    After ``n`` vines the squared range is smaller by ``1 / (a + c / n)``: the Gaussian update of
    ``next_counts``, whose noise goes with 1/n. Two of its answers settle ``a`` and ``c``.
    """
    found = forecast(records, season, draws=draws, seed=seed)
    factor = units.convert("tonnes", 1.0)
    few, many = (
        next_counts(found, hours=hours, what=_WALKED).frame.set_index(["block", "what"])
        for hours in (0.5, 6.0)
    )
    now, worth = None, {}
    for (name, measure), row in few.iterrows():
        more = many.loc[(name, measure)]
        now = row["range_now_t"]
        if more["vines"] <= row["vines"] or row["removed_t"] <= 0:
            continue
        one, other = (1 / (now**2 - each["range_after_t"] ** 2) for each in (row, more))
        c = (one - other) / (1 / row["vines"] - 1 / more["vines"])
        a = other - c / more["vines"]
        worth.setdefault(name, {})[measure] = [_short(each / factor**2, 9) for each in (a, c)]
    return None if now is None else _short(now * factor, 9), worth


def _crop_words(block, language):
    """Return a block's crop at its plan for whoever has no script."""
    reading = block["reading"]
    if reading is None:
        return "–"
    at = reading["buds"].index(block["buds"])
    low, middle, high = (number_words(ends[at], language, 1) for ends in reading["crop"])
    return f"{middle} ({low}–{high})"


def _short(value, figures=5):
    return float(f"{value:.{figures}g}")


def _beside(name):
    return Path(__file__).with_name(name).read_text("utf-8")


def _hash(text):
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
