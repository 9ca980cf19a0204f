"""The commands ``buds`` and ``damage``: rules that need no records, only a scale and a knife."""

from cropload.errors import CroploadError
from cropload.show import options
from cropload.show.command import Command


def _buds_arguments(parser):
    parser.add_argument(
        "--pruning-weight",
        metavar="WEIGHT",
        type=options.number,
        help="prunings of this vine, in kg (lb with --unit lb)",
    )
    parser.add_argument(
        "--formula",
        metavar="FORMULA",
        required=True,
        help="30+10 (per lb, as the trade writes it), '33+11 per 500 g', or a name such as "
        "american; `cropload source balanced` lists them",
    )
    parser.add_argument(
        "--unit",
        metavar="UNIT",
        choices=("kg", "lb"),
        default="kg",
        help="kg (the default) or lb: unit of the prunings given and of the table",
    )
    parser.add_argument(
        "--vine-spacing",
        metavar="DISTANCE",
        type=options.number,
        help="distance between vines in the row, m (ft with --unit lb): adds the cap by space",
    )
    parser.add_argument(
        "--table",
        action="store_true",
        help="print the lookup: prunings of this vine, buds to leave",
    )
    options.add_csv(parser)


def _buds(given):
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
    options.save(given, table)
    parts = []
    if given.pruning_weight is not None:
        parts.append(_one_vine(given.pruning_weight, formula, units, table.attrs.get("cap_buds")))
    if given.table:
        parts.append(_lookup(table, units, formula))
    parts.append(paragraph(table.attrs["note"]))
    parts.append(paragraph(options.PRUNING_CAUTION))
    return "\n\n".join(parts)


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


def _one_vine(weight, formula, units, cap):
    import math

    from cropload.show.terminal import paragraph
    from cropload.units import METRIC, US

    weight_kg = float(units.to_metric("pruning_weight_kg", weight))
    buds = float(formula.buds(weight_kg))
    other = US if units is METRIC else METRIC
    shown, also = (
        f"{system.convert('pruning_weight_kg', weight_kg):.3g} {system.label('pruning_weight_kg')}"
        for system in (units, other)
    )
    text = f"Prunings of {shown} ({also}), {formula}: leave {math.floor(buds + 0.5)} buds"
    text += f" ({buds:.1f} before rounding)." if buds != round(buds) else "."
    if cap:
        text += f" Space for the vine caps it at {cap[0]} to {cap[1]} buds."
    else:
        text += (
            " No cap by space is in it: a strong vine may be asked for more buds than it has room "
            f"for. --vine-spacing ({units.label('length_m')}) adds the cap."
        )
    return paragraph(text)


def _lookup(table, units, formula):
    from cropload.show.terminal import Column, text_table

    label = units.label("pruning_weight_kg")
    columns = [Column("prunings", label), Column("buds to leave")]
    shown = [[f"{weight:.4g}" for weight in table.iloc[:, 0]], table["buds"]]
    if "buds_low_cap" in table:
        columns += [Column("low cap"), Column("high cap")]
        shown += [table["buds_low_cap"], table["buds_high_cap"]]
    return f"{formula}\n" + text_table(columns, zip(*shown, strict=True))


def _damage_arguments(parser):
    parser.add_argument(
        "--dead", metavar="N", type=options.whole, required=True, help="buds found dead"
    )
    parser.add_argument(
        "--sampled", metavar="N", type=options.whole, required=True, help="buds cut open"
    )
    parser.add_argument(
        "--wanted",
        metavar="N",
        type=options.number,
        required=True,
        help="live buds wanted on a vine",
    )
    options.add_csv(parser)


def _damage(given):
    from cropload import handbook
    from cropload.show.terminal import Column, paragraph, text_table, words
    from cropload.vine.bud_damage import replacement_buds, step_rule_buds, wilson_interval

    _check_damage(given)
    low, high = wilson_interval(given.dead, given.sampled)
    share = given.dead / given.sampled
    level = handbook.value("interval.sample_confidence")
    parts = [
        paragraph(
            f"{given.dead} of {given.sampled} buds dead: {share:.0%}, and with this sample "
            f"anything from {low:.1%} to {high:.1%} ({level:.0%} range).".replace("%", " %")
        )
    ]
    rules = step_rule_buds(given.wanted, share)
    options.save(given, rules)
    table = text_table(
        [
            words("rule"),
            words("answer"),
            Column("buds to leave", "a vine"),
            Column("live of them", "a vine"),
        ],
        (
            (
                row.rule,
                row.answer,
                None if row.buds != row.buds else f"{row.buds:.0f}",
                None if row.buds != row.buds else f"{row.live_buds:.0f}",
            )
            for row in rules.itertuples()
        ),
    )
    parts.append(f"For {given.wanted:g} live buds a vine\n{table}")
    ends = [
        "no number is enough" if end >= 1 else f"{replacement_buds(given.wanted, end):.0f} buds"
        for end in (low, high)
    ]
    parts.append(
        paragraph(
            f"Across the range of the sample the live-bud arithmetic asks for {ends[0]} to "
            f"{ends[1]}. The rules differ; which fits is for local practice to say."
        )
    )
    keys = [key for key in rules["key"] if key]
    parts.append(
        "\n".join(paragraph(f"cropload source {key}", "Source: ") for key in keys)
        + "\n"
        + paragraph("Buds of one cane freeze together: take few from each vine.")
    )
    parts.append(paragraph(options.PRUNING_CAUTION))
    return "\n\n".join(parts)


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
        arguments=_buds_arguments,
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
        arguments=_damage_arguments,
        run=_damage,
    ),
)
