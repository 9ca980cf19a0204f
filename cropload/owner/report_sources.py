"""Tables of what an owner's report rests on: components, their origin, and the handbook."""

from cropload import handbook
from cropload.show.report_cells import KEY, NUMBER, SHARE, Column, ReportTable
from cropload.units import METRIC

#: Component unit -> quantity of the unit system, for those that differ between systems.
_QUANTITY = {"g": "cluster_weight_g", "kg/m": "pruning_weight_kg_per_m"}

#: What the frost replay of canes that are laid down takes from the handbook.
FROST_KEYS = (
    "frost.lt50_c",
    "frost.steepness",
    "frost.delay_laid_down",
    "frost.gradient_nodes",
    "frost.secondary_burst_days",
    "frost.offset_spread_c",
    "frost.heavy_loss",
    "frost.few_years",
    "phenology.leaf_interval",
    "phenology.swell_interval",
)


def _shown_component(part, units):
    quantity = _QUANTITY.get(part["unit"])
    if quantity:
        return units.convert(quantity, part["centre"]), units.label(quantity)
    # The words of a component already say "per vine".
    return part["centre"], "" if part["unit"] in ("1", "1/vine") else part["unit"]


def _words(part, units):
    return part["words"].replace("per metre", "per foot") if units.name == "us" else part["words"]


def components_table(found, units=METRIC):
    """Return every component of every block and where it came from."""
    rows = []
    for block, parts in found.components.items():
        for part in parts:
            centre, label = _shown_component(part, units)
            rows.append(
                (
                    block,
                    _words(part, units),
                    centre,
                    label,
                    part["spread"],
                    part["came_from"],
                    part["detail"],
                    part["key"],
                )
            )
    columns = (
        Column("block"),
        Column("component"),
        Column("centre", "", NUMBER, 3),
        Column("unit"),
        Column("spread (one standard deviation)", "", SHARE),
        Column("came from"),
        Column("detail"),
        Column("handbook key", kind=KEY),
    )
    return ReportTable("components", "Where each component came from", columns, tuple(rows), 2)


def origins_table(found, units=METRIC):
    """Return the components in brief: one row a component and origin, with the blocks' span."""
    grouped = {}
    for block, parts in found.components.items():
        for part in parts:
            grouped.setdefault((part["component"], part["came_from"]), []).append((block, part))
    order = {part["component"]: at for at, part in enumerate(next(iter(found.components.values())))}
    rows = []
    for (_, origin), members in sorted(grouped.items(), key=lambda g: order[g[0][0]]):
        part = members[0][1]
        shown = [_shown_component(each, units) for _, each in members]
        low, high = (f"{end([value for value, _ in shown]):.3g}" for end in (min, max))
        label = shown[0][1]
        text = low if low == high else f"{low} to {high}"
        blocks = [block for block, _ in members]
        everywhere = len(blocks) == len(found.components) > 1
        rows.append(
            (
                _words(part, units),
                origin,
                f"all {len(blocks)} blocks" if everywhere else ", ".join(blocks),
                f"{text} {label}".strip(),
                ", ".join(dict.fromkeys(each["key"] for _, each in members)),
            )
        )
    columns = (
        Column("component"),
        Column("came from"),
        Column("blocks"),
        Column("middle"),
        Column("handbook entry it is drawn towards", kind=KEY),
    )
    return ReportTable("origins", "What each part of the chain rests on", columns, tuple(rows))


def used_keys(found):
    """Return the handbook keys that a report rests on, each once, in the order they are told."""
    keys = ["interval.level"]
    for parts in found.components.values():
        keys += [part["key"] for part in parts]
    for pair in found.bands.values():
        keys += [band.key for band in pair if band.key]
    keys += [*handbook.keys("load."), "noncount.fertility", *handbook.keys("wood.")]
    if found.frost_about:
        shares = {key.rsplit(".", 1)[1]: key for key in handbook.keys("frost.secondary_share.")}
        known = [_folded(name) for name in found.blocks["variety"].unique()]
        keys += FROST_KEYS
        keys += [key for name, key in shares.items() if _folded(name) in (*known, "default")]
    return list(dict.fromkeys(keys))


def _folded(name):
    return "".join(letter for letter in str(name).casefold() if letter.isalnum())


def _figure(entry):
    def text(value):
        return ", ".join(f"{v:g}" for v in value) if isinstance(value, list) else f"{value:g}"

    if entry.value is not None:
        shown = text(entry.value)
        if entry.low is not None and entry.high is not None:
            shown += f" ({entry.low:g} to {entry.high:g})"
    elif entry.low is not None and entry.high is not None:
        shown = f"{entry.low:g} to {entry.high:g}"
    else:
        shown = "–"
    return shown if entry.unit == "1" else f"{shown} {entry.unit}"


def handbook_table(found):
    """Return the handbook's figures behind a report, their grade and who said so."""
    rows = []
    for key in used_keys(found):
        entry = handbook.entry(key)
        said = "; ".join(handbook.citation(source) for source in entry.sources)
        rows.append((key, _figure(entry), handbook.GRADES[entry.grade], said or "no source"))
    columns = (
        Column("handbook entry", kind=KEY),
        Column("figure (metric)"),
        Column("how well it is known"),
        Column("source"),
    )
    return ReportTable("handbook", "Figures of the handbook that were used", columns, tuple(rows))
