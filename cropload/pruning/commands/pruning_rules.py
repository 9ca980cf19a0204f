"""The commands ``buds`` and ``damage``: rules that need no records, only a scale and a knife."""

from cropload.errors import CroploadError
from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_BUDS_ARGUMENTS = (
    option(
        "--pruning-weight",
        "WEIGHT",
        "prunings of this vine, in kg (lb with --unit lb)",
        options.number,
    ),
    option(
        "--formula",
        "FORMULA",
        "30+10 (per lb, as the trade writes it), '33+11 per 500 g', or a name such as "
        "american; `cropload source balanced` lists them",
        required=True,
    ),
    option(
        "--unit",
        "UNIT",
        "kg (the default) or lb: unit of the prunings given and of the table",
        default="kg",
        choices=("kg", "lb"),
    ),
    option(
        "--vine-spacing",
        "DISTANCE",
        "distance between vines in the row, m (ft with --unit lb): adds the cap by space",
        options.number,
    ),
    option("--table", help="print the lookup: prunings of this vine, buds to leave"),
    options.CSV,
)


def _buds(given):
    from cropload.pruning.rules import lookup_table, prunings_sentence
    from cropload.show.terminal import paragraph
    from cropload.units import METRIC, US

    if given.pruning_weight is None and not given.table:
        raise CroploadError(
            "Give the prunings of this vine with --pruning-weight, or ask for --table."
        )
    from cropload.vine.balanced_pruning import balanced_table, parse_formula

    formula = parse_formula(given.formula)
    if given.pruning_weight is not None:
        _check_weight(given.pruning_weight, given.unit)
    units = US if given.unit == "lb" else METRIC
    spacing = given.vine_spacing
    spacing = None if spacing is None else units.to_metric("length_m", spacing)
    table = balanced_table(formula, units.name, vine_spacing_m=spacing)
    options.save(given, table.frame)
    parts = []
    if given.pruning_weight is not None:
        weight_kg = float(units.to_metric("pruning_weight_kg", given.pruning_weight))
        parts.append(paragraph(prunings_sentence(weight_kg, formula, units, table.cap_buds)))
    if given.table:
        parts.append(lookup_table(table).text(units))
    parts.append(paragraph(" ".join(table.notes)))
    parts.append(paragraph(options.PRUNING_CAUTION))
    return parts


def _check_weight(weight, unit):
    """Stop at prunings that no vine has: most often grams, or the weight of a row."""
    from cropload import handbook
    from cropload.units import METRIC, US

    units = US if unit == "lb" else METRIC
    most = units.convert("pruning_weight_kg", handbook.value("plausible.pruning_weight_kg"))
    if not 0 <= weight <= most:
        raise CroploadError(
            f"--pruning-weight is {weight:g} {unit}; prunings of one vine are 0 or more, at most "
            f"{most:.3g} {unit} (handbook plausible.pruning_weight_kg). Give the prunings of one "
            f"vine, in {unit}, not in grams and not of a row."
        )


_DAMAGE_ARGUMENTS = (
    option("--dead", "N", "buds found dead", options.whole, required=True),
    option("--sampled", "N", "buds cut open", options.whole, required=True),
    option("--wanted", "N", "live buds wanted on a vine", options.number, required=True),
    options.CSV,
)


def _damage(given):
    from cropload.pruning.rules import damage_sentences, rules_table
    from cropload.show.terminal import paragraph
    from cropload.vine.bud_damage import step_rule_buds

    _check_damage(given)
    rules = step_rule_buds(given.wanted, given.dead / given.sampled)
    options.save(given, rules)
    sentences = damage_sentences(given.dead, given.sampled, given.wanted)
    sources = "\n".join(
        paragraph(f"cropload source {key}", "Source: ") for key in rules["key"] if key
    )
    parts = [
        *map(paragraph, sentences[:1]),
        f"For {given.wanted:g} live buds a vine\n{rules_table(rules).text()}",
        *map(paragraph, sentences[1:]),
        f"{sources}\n{paragraph('Buds of one cane freeze together: take few from each vine.')}",
        paragraph(options.PRUNING_CAUTION),
    ]
    return parts


def _check_damage(given):
    from cropload.vine.plan import MOST_BUDS

    if given.sampled < 1:
        raise CroploadError(f"--sampled is {given.sampled}; at least 1 bud must be cut open.")
    if not 0 <= given.dead <= given.sampled:
        raise CroploadError(
            f"--dead is {given.dead}; it must be from 0 to the {given.sampled} buds cut open."
        )
    if given.dead == given.sampled:
        raise CroploadError(
            f"All {given.sampled} buds cut open are dead, so no number of buds is enough. Cut "
            "more of them open, on other vines too, and ask for local advice before pruning."
        )
    if given.wanted <= 0:
        raise CroploadError(f"--wanted is {given.wanted:g}; it must be above 0 live buds a vine.")
    if given.wanted > MOST_BUDS:
        raise CroploadError(
            f"--wanted is {given.wanted:g}; a vine bears at most {MOST_BUDS} buds. Give the live "
            "buds wanted on one vine."
        )


COMMANDS = (
    Command(
        name="buds",
        group="Winter pruning",
        summary="buds to leave by the prunings of a vine (balanced pruning)",
        details="Says how many buds to leave on a vine by the weight of the prunings just cut "
        "from it, in kg or lb, and prints a lookup to take to the vines.",
        example="""
            cropload buds --pruning-weight 0.9 --formula 20+20
            cropload buds --formula 30+10 --unit lb --table --vine-spacing 6
        """,
        arguments=_BUDS_ARGUMENTS,
        run=_buds,
    ),
    Command(
        name="damage",
        group="Winter pruning",
        summary="buds to leave after winter kill, and how sure the sample is",
        details="Says how many buds to leave when some were killed by winter: live-bud "
        "arithmetic beside the published step rules, and the range that the sample allows. "
        "All figures are counts of buds.",
        example="""
            cropload damage --dead 35 --sampled 100 --wanted 40
        """,
        arguments=_DAMAGE_ARGUMENTS,
        run=_damage,
    ),
)
