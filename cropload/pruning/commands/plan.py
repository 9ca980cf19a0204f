"""The command ``plan``: which pruning plan lands on the crop that is wanted."""

from cropload.errors import CroploadError
from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import either, group, option

_ARGUMENTS = (
    options.RECORDS,
    options.BLOCK,
    either(*options.TARGETS, required=True),
    options.SEASON,
    options.UNITS,
    group(
        "limits on the plans searched",
        option("--canes", "LEAST-MOST", "canes a vine, like 2-4", options.span),
        option("--buds-per-cane", "LEAST-MOST", "like 6-12", options.span),
        option("--spurs", "LEAST-MOST", "spurs a vine, like 0-6", options.span),
        option("--buds-per-spur", "N", "buds on every spur, 1 to 3", options.whole),
        option("--no-renewal-spur", help="allow canes without a renewal spur of their own"),
        option(
            "--suitable-canes",
            "N|counts|any",
            "most canes a vine offers: a number, what this season's counts say (the default), "
            "or any",
            default="counts",
        ),
        either(
            *(
                option(
                    f"--shoots-per-{length}",
                    "LOW,HIGH|KEY",
                    f"keep shoots per {length} of canopy within, or a handbook key",
                    options.band,
                )
                for length in ("m", "ft")
            )
        ),
        option(
            "--ravaz",
            "LOW,HIGH|KEY",
            "keep yield to pruning weight within (kg/kg), or a handbook key",
            options.band,
        ),
    ),
    option(
        "--dead-buds-pct",
        "PCT",
        "buds killed by winter, %%; plans are judged by their live buds",
        options.number,
        0.0,
    ),
    option(
        "--tolerance-pct",
        "PCT",
        "on target means within this many %% of it; 10 by default",
        options.number,
    ),
    option("--settled", help="aim with the settled crop (third season on), not the first season's"),
    option("--keep", "N", "plans listed; 10 by default", options.whole, 10),
    options.REFERENCE_PLAN,
    options.DRAWS,
    options.CSV,
)


def _suitable_canes(text):
    if text in ("counts", "any"):
        return {"counts": "counts", "any": None}[text]
    if not text.isdecimal():
        raise CroploadError(
            f"--suitable-canes is '{text}'; write a whole number, or 'counts', or 'any'."
        )
    return int(text)


def _run(given):
    from cropload.beliefs.meant import check_block
    from cropload.pruning.find_plan import find_plans
    from cropload.records.facts import block_facts
    from cropload.units import METRIC, US

    if given.keep < 1:
        raise CroploadError(f"--keep is {given.keep}; list at least 1 plan.")
    suitable = _suitable_canes(given.suitable_canes)
    dead = options.share("--dead-buds-pct", given.dead_buds_pct)
    tolerance = options.share("--tolerance-pct", given.tolerance_pct)
    units, records = options.units_of(given), options.records_of(given)
    block = check_block(records, given.block)
    facts = block_facts(records)
    kind = facts.kind(facts.place(block))
    asked = given.shoots_per_m if given.shoots_per_ft is None else given.shoots_per_ft
    density = options.density_band_of(asked, kind, METRIC if given.shoots_per_ft is None else US)
    found = find_plans(
        records,
        given.block,
        target_t_ha=options.target_of(given),
        season=given.season,
        shoots_per_m=density,
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
    return _parts(found, units)


def _parts(found, units):
    from cropload.beliefs.meant import load_first
    from cropload.pruning import words
    from cropload.pruning.tables import OUTSIDE
    from cropload.show.terminal import paragraph, points

    load, notes = load_first(found.notes)
    yield from map(paragraph, load)
    yield paragraph(words.search_heading(found, units))
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
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
