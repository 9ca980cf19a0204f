"""The command ``report``: pruning scenarios for an owner, as HTML, PDF and Excel."""

from cropload.errors import CroploadError
from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import group, option

_ARGUMENTS = (
    options.RECORDS,
    group(
        "scenarios, two to five; the first one is today's",
        option(
            "--scenarios",
            "FILE",
            "CSV file with the columns scenario, block and plan; the plan 'last' is what the "
            "block carried last",
        ),
        option(
            "--scenario",
            "TEXT",
            'one scenario, repeated for each: "longer=Long Acre:3x10+3x2,Lyre Field:4x12+4x2"; a '
            "name alone is a scenario that was kept, and today the plans carried last",
            default=[],
            action="append",
        ),
    ),
    options.SEASON,
    options.UNITS,
    group(
        "files",
        option("--html", "FILE", "write the report as one HTML page"),
        option("--pdf", "FILE", 'write it as a PDF; needs the extra "cropload[pdf]"'),
        option("--xlsx", "FILE", "write its tables as an Excel workbook"),
        option("--csv", "FILE", "write every figure of each block to a .csv or .xlsx file"),
        option("--replace", help="let these replace files that exist"),
        option("--keep", help="keep this report beside the records; the next says what changed"),
    ),
    group(
        "how it looks: report.toml beside the records",
        option("--settings", "FILE", "another file in its place"),
        option("--new-settings", help="write report.toml with every setting explained, and stop"),
        option("--no-appendix", help="the decision and the blocks alone"),
    ),
    option(
        "--cost",
        "NAME=AMOUNT",
        "a cost of yours, repeated: pruning_per_vine, pruning_per_bud, thinning_per_ha, "
        "picking_per_t, picking_per_ha, other_per_ha (or ..._per_ac, ..._per_ton), in the "
        "currency of your prices; or the time, minutes_per_vine and minutes_per_bud, at "
        'rate_per_hour. A range of 8 in 10, "picking_per_t=90-140"; of a block or variety alone, '
        '"Long Acre:picking_per_ha=600"',
        default=[],
        action="append",
    ),
    group(
        "what you can bear, and what counts",
        option("--worst-year", "AMOUNT", "least that may be left in the worst year in ten"),
        option("--hours", "HOURS", "pruning hours there are, by the minutes told with --cost"),
        option(
            "--ceiling",
            "NAME=CROP",
            "most that a block or variety may bear in the mean, t/ha or ton/ac; repeated",
            default=[],
            action="append",
        ),
        option("--area-out", "PERCENT", "area that may move out of its bands, of all"),
        option("--discount", "PERCENT", "by how much each later season counts less"),
        option("--no-frost", help="leave out past springs"),
        option(
            "--why",
            help="tell when each plan pays, by price, crop and frost, and what moves it most",
        ),
    ),
    options.BANDS,
    options.DRAWS,
)


def limits_of(given, units):
    """Return the Limits of a command line and the discount; every fault of them at once."""
    from cropload.owner.mix import Limits

    found, faults = {}, []

    def read(name, text, factor=1.0):
        try:
            return options.number(text.strip()) * factor
        except Exception:
            faults.append(f"{name}: '{text.strip()}' is not a number.")

    for name in ("worst_year", "hours"):
        if getattr(given, name) is not None:
            found[name] = read(f"--{name.replace('_', '-')}", getattr(given, name))
    if given.area_out is not None:
        found["area_out"] = read("--area-out", given.area_out, 0.01)
    discount = 0.0 if given.discount is None else read("--discount", given.discount, 0.01)
    for text in given.ceiling:
        name, sign, most = text.rpartition("=")
        if not sign:
            faults.append(f'--ceiling {text}: write it like "Riesling=9".')
            continue
        value = read(f"--ceiling {name}", most)
        found.setdefault("ceilings", {})[name.strip()] = (
            None if value is None else units.to_metric("t_ha", value)
        )
    if faults:
        raise CroploadError("\n".join(faults))
    return Limits(**found), discount


def scenarios_of(given, records):
    """Return the scenarios of a command line, from a file or from lines."""
    from cropload.owner.scenario_input import HOW, read_scenario_file, read_scenario_lines

    if given.scenarios and given.scenario:
        raise CroploadError("Give --scenarios FILE or --scenario TEXT, not both.")
    if given.scenarios:
        return read_scenario_file(given.scenarios, records, given.season)
    if not given.scenario:
        raise CroploadError(
            "Which scenarios? Give --scenarios FILE (columns scenario, block, plan), or --scenario "
            f"twice or more. {HOW}"
        )
    return read_scenario_lines(given.scenario, records, given.season)


def _run(given):
    from dataclasses import replace

    from cropload.owner.kept_report import keep_report
    from cropload.owner.report import report, report_files, save_report
    from cropload.owner.report_settings import new_settings, read_settings, with_prices
    from cropload.owner.scenarios import compare_scenarios
    from cropload.records.example import own_folder
    from cropload.records.writing.gate import check_results

    if given.new_settings:
        file = new_settings(options.records_of(given, doubts=False))
        given.opening = None
        return f"{file} explains every setting. Edit it; the next report goes by it."
    files = {kind: getattr(given, kind) for kind in ("html", "pdf", "xlsx", "csv")}
    check_results(report_files(**files).values(), given.replace)
    records, units = options.records_of(given), options.units_of(given)
    if given.keep:
        own_folder(records, "keep a report")
    settings = read_settings(given.settings or records.path, must=bool(given.settings))
    records = with_prices(records, settings.prices)
    if given.no_appendix:
        settings = replace(settings, appendix=())
    costs, scenarios = settings.costs_with(given.cost), scenarios_of(given, records)
    limits, discount = settings.limits_with(given, units)
    found = compare_scenarios(
        records,
        scenarios,
        given.season,
        costs=costs,
        draws=given.draws,
        seed=given.seed,
        density_band=options.density_band_of(given.density_band, {}, units),
        ravaz_band=given.ravaz_band,
        frost=not given.no_frost,
        limits=limits,
        discount=discount,
    )
    made = report(records, found, units, settings=settings)
    frame = options.rounded(export(found, units))
    written = save_report(made, **files, frame=frame, replace=given.replace)
    if given.keep:
        written.append(keep_report(records, found, made.made_on))
    options.tell_written(written)
    return _parts(made, given.why)


def export(found, units):
    """Return every figure of each block as it is written to a file, in the units asked for."""
    from cropload.show.result_units import in_units

    shown = found.frame.copy()
    shown.insert(0, "season", found.season)
    shown["interval"] = found.interval
    if units.name == "us":
        shown["area_ha"] = units.convert("area_ha", shown["area_ha"])
        shown = shown.rename(columns={"area_ha": "area_ac"})
    return in_units(shown, units)


def _parts(report, why=False):
    from cropload.owner.why_tables import why_tables, why_text
    from cropload.owner.words import MONEY_CAUTION
    from cropload.show.terminal import paragraph

    found = report.found
    parts = [paragraph(f"Pruning scenarios ({found.interval})")]
    if report.invented:
        parts.append(paragraph("Sample records: all of these data are invented."))
    parts += [paragraph(f"{name}: {text}") for name, text in report.sentences()]
    tables = {table.key: table for table in report.tables()}
    by = "money_change" if found.decision.by == "margin" else "crop_change"
    for key in ("do", "beside", by):
        if key in tables:
            parts.append(tables[key].text(report.units))
    if why:
        parts.append(paragraph(why_text(found, report.units)))
        parts += [table.text(report.units) for table in why_tables(found, report.units)]
    how = dict(report.settings()).get("plans recommended")
    notes = [f"Plans recommended: {how}." if how else "", found.money_missing, *found.notes]
    parts += [paragraph(note, "- ") for note in notes if note]
    if found.money_settled is not None:
        parts.append(paragraph(MONEY_CAUTION))
    return [*parts, paragraph(options.CAUTION)]


COMMANDS = (
    Command(
        name="report",
        group="Winter pruning",
        summary="report on pruning scenarios for an owner: HTML, PDF, Excel",
        details="Compares two to five scenarios, a pruning plan for each of some blocks, and says "
        "which plan to take where: what it brings over five seasons on your own prices (tables "
        "contracts and prices) and costs, frost and lost crops counted, and what if it goes "
        "wrong. Writes a page an owner can read.",
        example="""
            cropload report my_season --scenarios plans.csv --html report.html
            cropload report --example --scenario "today=Long Acre:last" \\
                --scenario "shorter=Long Acre:3x6+3x2" --html report.html
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
