"""The last report that was kept: what went into it and what it said, to tell what changed since."""

import datetime
import json
from dataclasses import dataclass

import numpy as np

from cropload.errors import CroploadError
from cropload.owner.costs import COSTS, written
from cropload.owner.money import price_told
from cropload.owner.report_settings import limit_lines, settings_path
from cropload.owner.words import more_text
from cropload.records.example import own_folder
from cropload.records.writing.gate import changing
from cropload.show import wording
from cropload.show.languages import day_words, language_now, say
from cropload.show.table import Column, Table
from cropload.units import METRIC

#: Name of the file, beside the records; the reports kept before stay beside it under numbers.
FILE = "report_kept.json"
#: Changes that the first page names; the appendix lists all of them.
_NAMED = 4

#: What can change, in the order it is told -> what it is of, in words.
KINDS = {
    "season": "season %(what)s",
    "plan": "plan of %(what)s",
    "price": "price of %(what)s",
    "cost": "cost of %(what)s",
    "limit": "limit %(what)s",
    "harvest": "harvest of %(what)s",
    "count": "vines counted in %(what)s",
    "pruning": "pruning of %(what)s",
    "block": "area of %(what)s",
}

#: Kind -> quantity of its numbers.
_QUANTITIES = {"harvest": "tonnes", "block": "area_ha"}


def inputs_of(records, found):
    """Return what a report rests on, {kind: {what: value}}; a value is text or a number [metric].

    Parameters
    ----------
    records, found : Records, Scenarios
        As for ``report``.
    """
    blocks = set(found.block_names)

    def seasons(frame, column):
        rows = frame[frame["block"].isin(blocks)]
        if column is None:
            return rows.groupby(["block", "season"]).size().items()
        each = rows.groupby(["block", "season"])[column]
        # Rounded, as a sum must not change with the order of the loads.
        return (each.sum().round(6) if column == "tonnes" else each.last()).items()

    def by_season(frame, column=None):
        return {f"{block} {season}": value for (block, season), value in seasons(frame, column)}

    facts = found.frame.drop_duplicates("block")
    costs = {
        ", ".join(filter(None, [COSTS[name].words, whose])): written(amount)
        for whose, name, amount in found.costs.told()
    }
    told = {
        "season": {"": found.season},
        "plan": {
            f"{block}, '{name}'": str(plan)
            for name, plans in found.plans.items() for block, plan in plans.items()
        },
        "price": {**_terms(records.prices, ("block", "variety")),
                  **_terms(records.contracts, ("contract", "from_t"))},
        "cost": costs,
        "limit": limit_lines(found.decision.limits, found.decision.discount),
        "harvest": by_season(records.harvest, "tonnes"),
        "count": by_season(records.counts),
        "pruning": by_season(records.pruning[records.pruning["plan"] != ""], "plan"),
        "block": dict(zip(facts["block"], facts["area_ha"], strict=True)),
    }  # fmt: skip
    return {kind: {what: _plain(value) for what, value in each.items()}
            for kind, each in told.items()}  # fmt: skip


def _terms(frame, keys):
    """Return each term of each row of prices or contracts, named by its keys."""
    found = {}
    for row in frame.to_dict("records"):
        name = " ".join(_plain(row[key]) if isinstance(row[key], str) else f"{row[key]:g} t"
                        for key in keys if row[key] not in ("", 0.0))  # fmt: skip
        for column, value in row.items():
            if column == "price_per_t":
                found[name] = written(price_told(row))
            elif column not in keys and not column.endswith("_range") and _is_told(value):
                found[f"{name}, {column.replace('_', ' ')}"] = value
    return found


def _is_told(value):
    return value not in ("", None) and value == value


def _plain(value):
    """Return a value as it is kept: text, or a number to ten figures."""
    if isinstance(value, int | float | np.number):
        return float(f"{float(value):.10g}")
    return str(value)


def page_one(found):
    """Return what the first page says, as it is kept."""
    decision = found.decision
    row = decision.row()
    by = "money_all" if decision.by == "margin" else "crop_all"
    return {
        "by": decision.by,
        "prune": dict(zip(decision.changed["block"], decision.changed["plan"], strict=True)),
        "more": [float(row[f"{by}_{end}"]) for end in wording.ENDINGS],
        "chance_worse": float(row["chance_worse"]),
        "cost_if_worse": float(row["cost_if_worse"]),
        "worst_year": float(decision.worst[decision.chosen]),
        "currency": found.currency,
    }


def keep_report(records, found, day):
    """Keep what a report rests on and what it says, beside the records.

    Parameters
    ----------
    records, found : Records, Scenarios
        As for ``report``.
    day : date
        The day on the report.

    Returns
    -------
    (pathlib.Path, pathlib.Path or None)
        The file, and where the one kept before lies now.

    Raises
    ------
    CroploadError
        For the shipped sample, or when it cannot be written.
    """
    file = settings_path(own_folder(records, "keep a report")).with_name(FILE)
    told = {"format": 1, "made": f"{day:%Y-%m-%d}", "inputs": inputs_of(records, found)}
    data = json.dumps(told | {"page_one": page_one(found)}, indent=1, ensure_ascii=False).encode()
    with changing(file) as change:
        before = change.read()
        return file, None if data == before else change.put(data, before, copied=True)


@dataclass(frozen=True)
class Since:
    """What changed since the last report kept.

    day : the day on that report; rows : (kind, what, was, is) with None where there is none;
    before : its first page, as from ``page_one``.
    """

    day: datetime.date
    rows: tuple
    before: dict


def since_kept(records, found):
    """Return what changed since the last report kept, or None where none is.

    Raises
    ------
    CroploadError
        When the file is not what was written.
    """
    file = settings_path(records.path).with_name(FILE)
    if not file.is_file():
        return None
    try:
        told = json.loads(file.read_text(encoding="utf-8"))
        day = datetime.date.fromisoformat(told["made"])
        was, before = {kind: dict(told["inputs"].get(kind, {})) for kind in KINDS}, told["page_one"]
        before["by"], before["more"] = str(before["by"]), [float(each) for each in before["more"]]
        if len(before["more"]) != len(wording.ENDINGS):
            raise ValueError("page_one tells no range")
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise CroploadError(
            f"{file.name}, the report kept last, cannot be read ({error}). Put the latest "
            "report_kept.N.json in its place, or delete it."
        ) from None
    now = inputs_of(records, found)
    rows = []
    for kind in KINDS:
        for what in dict.fromkeys([*now[kind], *was[kind]]):
            pair = was[kind].get(what), now[kind].get(what)
            if pair[0] != pair[1]:
                rows.append((kind, what, *pair))
    return Since(day, tuple(rows), before)


def _shown(value, kind="", units=METRIC):
    quantity = _QUANTITIES.get(kind)
    if quantity and value is not None:
        value = float(units.convert(quantity, value))
        return f"{_shown(value)} {units.label(quantity)}"
    if isinstance(value, float):
        return wording.number(value, 0 if value.is_integer() else 2)
    return str(value)


def since_text(since, found, units):
    """Return what changed in a sentence or two, in the language spoken now."""
    day = day_words(since.day, language_now())
    if not since.rows:
        return say("Nothing it rests on has changed since the report of %(day)s.", day=day)
    items = []
    for kind, what, was, now in since.rows[:_NAMED]:
        name = (say(KINDS[kind], what=what)).strip()
        then, here = (_shown(value, kind, units) for value in (was, now))
        if kind == "season" or None not in (was, now):
            items.append(f"{name} {here} ({say('before')} {then})")
        else:
            items.append(f"{name} {here} ({say('new')})" if was is None
                         else f"{name} ({say('no longer there')})")  # fmt: skip
    more = len(since.rows) - _NAMED
    if more > 0:
        items.append(say("%(number)s further changes", number=more))
    text = say("Since the report of %(day)s: %(changes)s.", day=day, changes="; ".join(items))
    before = since.before
    if before.get("by") == found.decision.by and "season" not in {row[0] for row in since.rows}:
        then = more_text(found, tuple(before["more"]), units)
        text += " " + say("The advice then was to bring %(more)s over five seasons.", more=then)
    return text


def since_table(since):
    """Return every change since the last report kept as a table; None where there is none."""
    if since is None or not since.rows:
        return None
    rows = [
        (
            (KINDS[kind] % {"what": what}).strip(),
            *("-" if value is None else _shown(value, kind) for value in pair),
        )
        for kind, what, *pair in since.rows
    ]
    heads = (Column("what"), Column("then"), Column("now"))
    caption = f"What changed since the report of {since.day:%Y-%m-%d}"
    return Table("changes", caption, heads, tuple(rows))
