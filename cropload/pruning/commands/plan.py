"""The command ``plan``: which pruning plan lands on the crop that is wanted."""

from cropload.errors import CroploadError
from cropload.show import options
from cropload.show.command import Command


def _arguments(parser):
    options.add_records(parser)
    options.add_block(parser)
    target = parser.add_mutually_exclusive_group(required=True)
    target.add_argument(
        "--target-t-ha", metavar="X", type=options.number, help="wanted crop at the scale, t/ha"
    )
    target.add_argument(
        "--target-ton-ac",
        metavar="X",
        type=options.number,
        help="wanted crop at the scale, short tons/acre",
    )
    options.add_season(parser)
    options.add_units(parser)
    limits = parser.add_argument_group("limits on the plans searched")
    limits.add_argument(
        "--canes", metavar="LEAST-MOST", type=options.span, help="canes a vine, like 2-4"
    )
    limits.add_argument(
        "--buds-per-cane", metavar="LEAST-MOST", type=options.span, help="like 6-12"
    )
    limits.add_argument(
        "--spurs", metavar="LEAST-MOST", type=options.span, help="spurs a vine, like 0-6"
    )
    limits.add_argument(
        "--buds-per-spur", metavar="N", type=options.whole, help="buds on every spur, 1 to 3"
    )
    limits.add_argument(
        "--no-renewal-spur",
        action="store_true",
        help="allow canes without a renewal spur of their own",
    )
    limits.add_argument(
        "--suitable-canes",
        metavar="N|counts|any",
        default="counts",
        help="most canes a vine offers: a number, what this season's counts say (the default), "
        "or any",
    )
    shoots = limits.add_mutually_exclusive_group()
    for name in ("--shoots-per-m", "--shoots-per-ft"):
        shoots.add_argument(
            name,
            metavar="LOW,HIGH|KEY",
            type=options.band,
            help=f"keep shoots {name[9:].replace('-', ' ')} of canopy within, or a handbook key",
        )
    limits.add_argument(
        "--ravaz",
        metavar="LOW,HIGH|KEY",
        type=options.band,
        help="keep yield to pruning weight within (kg/kg), or a handbook key",
    )
    parser.add_argument(
        "--dead-buds-pct",
        metavar="PCT",
        type=options.number,
        default=0.0,
        help="buds killed by winter, %%; plans are judged by their live buds",
    )
    parser.add_argument(
        "--tolerance-pct",
        metavar="PCT",
        type=options.number,
        help="on target means within this many %% of it; 10 by default",
    )
    parser.add_argument(
        "--settled",
        action="store_true",
        help="aim with the settled crop (third season on), not the first season's",
    )
    parser.add_argument(
        "--keep", metavar="N", type=options.whole, default=10, help="plans listed; 10 by default"
    )
    options.add_reference_plan(parser)
    options.add_draws(parser)
    options.add_csv(parser)


def _suitable_canes(text):
    if text in ("counts", "any"):
        return {"counts": "counts", "any": None}[text]
    if not text.isdecimal():
        raise CroploadError(
            f"--suitable-canes is '{text}'; write a whole number, or 'counts', or 'any'."
        )
    return int(text)


def _share(name, per_cent):
    if not 0 <= per_cent < 100:
        raise CroploadError(f"{name} is {per_cent:g}; it must be from 0 to below 100 %.")
    return per_cent / 100


def _run(given):
    from cropload.beliefs.meant import check_block
    from cropload.pruning.find_plan import find_plans
    from cropload.records.facts import block_facts
    from cropload.units import METRIC, US

    target = given.target_t_ha
    if target is None:
        target = US.to_metric("t_ha", given.target_ton_ac)
    if given.keep < 1:
        raise CroploadError(f"--keep is {given.keep}; list at least 1 plan.")
    suitable = _suitable_canes(given.suitable_canes)
    dead = _share("--dead-buds-pct", given.dead_buds_pct)
    tolerance = given.tolerance_pct
    tolerance = None if tolerance is None else _share("--tolerance-pct", tolerance)
    units, records = options.units_of(given), options.records_of(given)
    block = check_block(records, given.block)
    facts = block_facts(records)
    kind = facts.kind(facts.place(block))
    asked = given.shoots_per_m if given.shoots_per_ft is None else given.shoots_per_ft
    density = options.density_band_of(asked, kind, METRIC if given.shoots_per_ft is None else US)
    found = find_plans(
        records,
        block,
        target_t_ha=target,
        season=given.season,
        shoots_per_m=None if asked is None else density,
        ravaz=given.ravaz,
        canes=given.canes,
        buds_per_cane=given.buds_per_cane,
        spurs=given.spurs,
        buds_per_spur=given.buds_per_spur,
        renewal_spur=not given.no_renewal_spur,
        suitable_canes=suitable,
        dead_buds=dead,
        tolerance=tolerance,
        settled=given.settled,
        draws=given.draws,
        seed=given.seed,
        keep=given.keep,
        reference_plan=given.reference_plan,
        units=units,
    )
    if len(found):
        from cropload.pruning.words import export

        options.save(given, export(found, units))
    elif given.csv:
        options.note(f"No plan fits, so {given.csv} is not written.")
    season = options.season_text(records, given.season, found.season)
    return "\n\n".join(part for part in _parts(found, units, season) if part)


def _parts(found, units, season):
    from cropload.beliefs.meant import load_first
    from cropload.pruning import words
    from cropload.pruning.tables import OUTSIDE
    from cropload.show.terminal import paragraph, points

    load, notes = load_first(found.notes)
    yield from map(paragraph, load)
    yield paragraph(words.search_heading(found, units))
    yield season
    yield paragraph(found.message)
    yield found.table(units).without(OUTSIDE).text(units)
    yield "\n".join(
        paragraph(f"{row['plan']} is outside: {row['outside']}", "- ") for row in found.nearest
    )
    yield paragraph(f"Each range in brackets is the {found.interval}; other figures are middles.")
    dropped = words.dropped_sentences(found)
    if dropped:
        yield f"Layouts dropped (one may break several limits):\n{points(dropped)}"
    yield points(notes)
    yield paragraph(options.CAUTION)


COMMANDS = (
    Command(
        name="plan",
        group="Winter pruning",
        summary="find the pruning plans that land on a wanted crop",
        details="Ranks every layout of canes and spurs within limits by its chance of landing "
        "within 10 % of a target crop (t/ha, or short tons/acre), and says which limit dropped "
        "the others. Around the block's own way of pruning unless you set the spans.",
        example="""
            cropload plan my_season --block "Long Acre" --target-t-ha 9
            cropload plan --example --block "Long Acre" --target-ton-ac 3.5 --units us
        """,
        arguments=_arguments,
        run=_run,
    ),
)
