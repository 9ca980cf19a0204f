"""How a vineyard's report looks and what it counts: ``report.toml`` beside the records."""

import base64
import datetime
import tomllib
from argparse import ArgumentTypeError
from contextlib import suppress
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd

from cropload.errors import CroploadError, near
from cropload.owner.commands.report import limits_of
from cropload.owner.costs import Span, middle_of, read_amount, read_costs, written
from cropload.owner.mix import Limits
from cropload.records.contracts import NAMES, deliveries, in_full
from cropload.records.example import own_folder
from cropload.records.reading.faults import Fault, RecordsError
from cropload.records.writing.gate import changing, write_new
from cropload.show.languages import LANGUAGES, Speech
from cropload.show.options import number
from cropload.units import METRIC

#: Name of the file, beside the records.
FILE = "report.toml"
PAPERS = ("A4", "Letter")
#: How numbers can be written -> signs between thousands and before decimals.
NUMBERS = {
    "1,234.5": (",", "."),
    "1.234,5": (".", ","),
    "1 234,5": ("\u00a0", ","),
    "1 234.5": ("\u00a0", "."),
    "1'234.5": ("’", "."),
}
#: How a language writes them where the settings do not say.
_USUAL = {"en": "1,234.5", "fr": "1 234,5"}
#: Parts of the appendix, in their order, and what they are called.
PARTS = {
    "changes": "What changed since the last report kept",
    "plans": "Plan by plan",
    "why": "Why",
    "crop": "Crop",
    "balance": "Balance",
    "frost": "Frost",
    "money": "Money",
    "risks": "Risks",
    "assumed": "What was assumed, and from which source",
    "cautions": "Cautions",
}
#: Blocks up to which the report has its appendix where the settings do not say.
FEW = 12
#: Largest logo [bytes] and longest words of one's own [letters].
_LARGEST, _LONGEST = 2_000_000, 3000
_PICTURES = {b"\x89PNG\r\n\x1a\n": "image/png", b"\xff\xd8\xff": "image/jpeg"}
_LIMITS = tuple(each.name for each in fields(Limits) if each.name != "ceilings")

TEMPLATE = f"""\
# The owner's report of your vineyard: whose it is, how it looks, what it counts.
# cropload reads this file beside your records. A line that begins with # is not read:
# take the # away to use it. Delete the file to go back to what is usual.

vineyard = ""  # whose vineyard, on top of page 1
author = ""  # who made the report
# date = 2027-01-15  # the day on the report; the day it is made when left out
# logo = "logo.png"  # a PNG or JPEG picture; its place is seen from this file
before = \"\"\"\"\"\"  # your own words over the recommendation; a blank line parts paragraphs
after = \"\"\"\"\"\"  # your own words below the blocks

language = "en"  # of the first two pages: {", ".join(LANGUAGES)}; the appendix is in English
# numbers = "1,234.5"  # or {", ".join(f'"{each}"' for each in list(NUMBERS)[1:])}
# currency = "EUR 1"  # how a sum of 1 is written, like "1 EUR", "€1" or "1 €"
paper = "A4"  # or "Letter"
# Parts of the appendix; [] is none. When left out: all up to {FEW} blocks, none above.
# appendix = [{", ".join(f'"{part}"' for part in PARTS)}]

# What a season costs, in the currency of your prices; what is left out is not counted.
[costs]
# pruning_per_vine = 0.8
# picking_per_t = 120

# Prices a tonne by variety or block, in the place of those in your tables contracts and prices
# (where a contract has price steps: of all).
[prices]
# "Riesling" = 1600

# What you can bear. Ceilings in t/ha, area_out and discount in per cent.
[limits]
# worst_year = 10000
# hours = 400
# area_out = 10
# discount = 3
# ceilings = {{ "Riesling" = 9 }}
"""


@dataclass(frozen=True, kw_only=True)
class ReportSettings:
    """How a report looks and what it counts.

    Attributes
    ----------
    vineyard, author, before, after : str
        Whose vineyard, who made the report, and own words before and after.
    date : date or None
        The day on it; None is the day it is made.
    logo : str
        The picture as a ``data:`` address; empty for none.
    speech : Speech
        Language, and how numbers and sums are written.
    currency : str
        What stands for the currency; empty is the name in the table of prices.
    paper : str
        One of ``PAPERS``.
    appendix : tuple of str or None
        Some of ``PARTS``; None is all up to ``FEW`` blocks, none above.
    costs, prices, limits : dict
        As typed: {cost, or "block:cost": text} [metric], {variety or block: text} [currency/t] and
        {limit: text}.
    written : dict
        All of it as it stands in the file.
    """

    vineyard: str = ""
    author: str = ""
    date: datetime.date | None = None
    logo: str = ""
    before: str = ""
    after: str = ""
    speech: Speech = field(default_factory=Speech)
    currency: str = ""
    paper: str = "A4"
    appendix: tuple | None = None
    costs: dict = field(default_factory=dict)
    prices: dict = field(default_factory=dict)
    limits: dict = field(default_factory=dict)
    written: dict = field(default_factory=dict)

    def parts(self, blocks):
        """Return the parts of the appendix of a report of so many blocks [1]."""
        if self.appendix is None:
            return tuple(PARTS) if blocks <= FEW else ()
        return self.appendix

    def costs_with(self, lines=()):
        """Return the Costs of the settings; ``lines`` like ``picking_per_t=120`` go before them."""
        named = {line.partition("=")[0].strip().lower().replace("-", "_") for line in lines}
        own = [f"{k}={v}" for k, v in self.costs.items() if k.lower() not in named]
        return read_costs([*own, *lines], number)

    def limits_with(self, given=None, units=METRIC):
        """Return the Limits and the discount; what a command line was given goes before them."""
        texts = {name: self.limits.get(name) for name in (*_LIMITS, "discount")}
        asked = SimpleNamespace(**texts, ceiling=[])
        for name, most in self.limits.get("ceilings", {}).items():
            with suppress(ArgumentTypeError):  # what is no number is told with the other limits
                most = f"{units.convert('t_ha', number(most)):.10g}"
            asked.ceiling.append(f"{name}={most}")
        for name in (*texts, "ceiling"):
            if getattr(given, name, None):
                setattr(asked, name, getattr(given, name))
        return limits_of(asked, units)


def contracts_named(records, name):
    """Return which rows of table contracts hold the first price of a variety or block [bool].

    A contract counts that is for the whole variety (of a grower or of all), or for the block alone.
    """
    book = records.contracts
    first = (book["from_t"].fillna(0.0) == 0) & (book["group"] == "")
    whole = (book["variety"] == name) & (book["blocks"] == "")
    return first & (whole | (book["blocks"] == name))


def prices_named(records):
    """Return {variety or block: price} [currency/t] of tables prices and contracts.

    A variety whose contracts differ in price is left out.
    """
    found = {
        row.block or row.variety: row.price_per_t
        for row in records.prices.itertuples() if not (row.block and row.variety)
    }  # fmt: skip
    for name in dict.fromkeys([*records.blocks["variety"], *records.blocks["block"]]):
        told = records.contracts.loc[contracts_named(records, name), "price_per_t"].unique()
        if len(told) == 1:
            found[str(name)] = float(told[0])
    return found


def with_prices(records, prices):
    """Return records with prices of one's own in the place of those in their tables.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    prices : dict
        {variety or block: price} [currency/t].

    Raises
    ------
    CroploadError
        For what is neither a variety nor a block, for no price, and for a variety whose contract
        takes other fruit too, all together.

    Notes
    -----
    In table contracts every step of the contract that takes this fruit has the price; a block that
    shares its contract gets one of its own.
    """
    blocks = set(map(str, records.blocks["block"]))
    known = [*dict.fromkeys(map(str, records.blocks["variety"])), *blocks]
    faults, table, contracts = [], records.prices.copy(), records.contracts.copy()
    for name, price in prices.items():
        if name not in known:
            faults.append(f"Price of '{name}': no variety or block is called so. "
                          f"{near(name, known)}".strip())  # fmt: skip
            continue
        try:
            value = read_amount(str(price), number)
            if middle_of(value) < 0:
                raise CroploadError(f"'{price}' is below 0")
        except CroploadError as fault:
            faults.append(f"Price of {name}: {str(fault).rstrip('.')}.")
            continue
        wide = np.log(value.high / value.low) if isinstance(value, Span) else np.nan
        kind, other = ("block", "variety") if name in blocks else ("variety", "block")
        here = (table[kind] == name) & (table[other] == "")
        if len(contracts) and not here.any():
            try:
                contracts = _in_contracts(contracts, records.blocks, name, middle_of(value), wide)
            except CroploadError as fault:
                faults.append(f"Price of {name}: {fault}")
            continue
        if not here.any():
            row = dict.fromkeys(table.columns, np.nan) | {"block": "", "variety": ""}
            row["currency"] = next(iter(table["currency"]), "")
            table = pd.concat([table, pd.DataFrame([row | {kind: name}])], ignore_index=True)
            here = (table[kind] == name) & (table[other] == "")
        table.loc[here, "price_per_t"] = middle_of(value)
        table.loc[here, "price_per_t_range"] = wide
    if faults:
        raise CroploadError("\n".join(faults))
    return replace(records, prices=table, contracts=contracts) if prices else records


def _in_contracts(contracts, blocks, name, price, wide):
    """Return rows of table contracts with a price of a block or variety [currency/t].

    ``wide`` is its range, as in column ``price_per_t_range``.
    """
    whole = in_full(contracts)
    places, _ = deliveries(whole, blocks)
    block = name in set(blocks["block"])
    mine = set(blocks.loc[blocks["block" if block else "variety"] == name, "block"])
    taken = {places[each] for each in mine if each in places}
    others = [b for b, contract in places.items() if contract in taken and b not in mine]
    if others and not block:
        shared = sorted({places[each] for each in others})
        raise CroploadError(
            f"contract {', '.join(map(repr, shared))} takes the fruit of {', '.join(others)} too. "
            "Change the price in table contracts, or give the prices of blocks."
        )
    if taken and not others:
        here = whole["contract"].isin(taken)
        whole.loc[here, ["price_per_t", "price_per_t_range"]] = price, wide
    if others or mine - set(places):
        sign = "" if name not in set(whole["contract"]) else " (own price)"
        row = dict.fromkeys(whole.columns, np.nan) | dict.fromkeys(NAMES, "")
        row |= {"contract": name + sign, "blocks" if block else "variety": name, "from_t": 0.0}
        row |= {"price_per_t": price, "price_per_t_range": wide}
        row["currency"] = next(iter(whole["currency"]), "")
        whole = pd.concat([whole, pd.DataFrame([row])], ignore_index=True)
    return whole


def settings_path(path):
    """Return where ``report.toml`` lies: in the records' folder, or by their workbook."""
    path = Path(path)
    return (path if path.is_dir() else path.parent) / FILE


def read_settings(path, must=False):
    """Return the settings of a report.

    Parameters
    ----------
    path : path
        The file itself, or the records' folder or workbook that it lies beside.
    must : bool
        Whether a file that is not there is a fault, and not simply what is usual.

    Returns
    -------
    ReportSettings

    Raises
    ------
    RecordsError
        With every key, value and path that is wrong.
    """
    file = Path(path).expanduser()
    file = file if must or file.suffix.lower() == ".toml" else settings_path(file)
    if not file.is_file():
        if file.exists():
            mend = "Give a file like the one that --new-settings makes."
            raise _refused([Fault(str(file), None, None, None, "is no plain file", mend)])
        if must:
            mend = "Give another, or make one with --new-settings."
            raise _refused([Fault(str(file), None, None, None, "does not exist", mend)])
        return ReportSettings()
    return _parsed(file, file.read_bytes())


def _parsed(file, data):
    """Return the settings in the bytes of the file, or raise every fault of them."""
    try:
        told = tomllib.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        rule = f"is no TOML that can be read: {error}"
        raise _refused([Fault(file.name, None, None, None, rule, "Mend that line.")]) from None
    reader = _Reader(file)
    found = reader.settings(told)
    if reader.faults:
        raise _refused(reader.faults)
    return found


def read_text(path):
    """Return what ``report.toml`` beside records says, key by key as it is written there."""
    file = settings_path(path)
    return tomllib.loads(file.read_bytes().decode("utf-8-sig")) if file.is_file() else {}


def _refused(faults):
    return RecordsError(faults, "The settings of the report cannot be used")


class _Reader:
    """Turns the keys of the file into settings, and gathers every fault on the way."""

    def __init__(self, file):
        self.file, self.faults = file, []

    def fault(self, key, value, rule, mend):
        text = None if value is None else str(value)
        self.faults.append(Fault(f"{self.file.name}, {key}", None, None, text, rule, mend))

    def settings(self, told):
        read = {
            "vineyard": self.text, "author": self.text, "before": self.text, "after": self.text,
            "date": self.date, "logo": self.logo, "language": self.language,
            "numbers": self.numbers, "currency": self.currency, "paper": self.paper,
            "appendix": self.appendix, "costs": self.costs, "limits": self.limits,
            "prices": lambda key, value: dict(self.amounts(key, value)),
        }  # fmt: skip
        found = {}
        for key, value in told.items():
            if key not in read:
                mend = near(key, read) or f"There are: {', '.join(read)}."
                self.fault(key, None, "there is no such setting", mend)
            else:
                found[key] = read[key](key, value)
        language = found.pop("language", None) or "en"
        style = found.pop("numbers", None) or _USUAL.get(language, "1.234,5")
        sign, after = found.pop("currency", None) or ("", language != "en")
        speech = Speech(language, *NUMBERS[style], money_after=after)
        return ReportSettings(speech=speech, currency=sign, written=told, **found)

    def text(self, key, value):
        if not isinstance(value, str):
            self.fault(key, value, "must be text", f'Write it like {key} = "...".')
            return ""
        if len(value) > _LONGEST:
            rule = f"has {len(value):,} letters; {_LONGEST:,} fit"
            self.fault(key, f"{value[:30]}...", rule, "Shorten it.")
        return value.strip()

    def date(self, key, value):
        if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
            return value
        self.fault(key, value, "is no day", "Write it without quotes, like 2027-01-15.")
        return None

    def among(self, key, value, allowed):
        if isinstance(value, str) and value in allowed:
            return value
        hint = near(str(value), allowed) or f"There are: {', '.join(allowed)}."
        self.fault(key, value, "is not one of those that can be chosen", hint)
        return None

    def language(self, key, value):
        return self.among(key, value, LANGUAGES)

    def numbers(self, key, value):
        return self.among(key, value, NUMBERS)

    def paper(self, key, value):
        return self.among(key, value, PAPERS) or "A4"

    def currency(self, key, value):
        text = value.strip() if isinstance(value, str) else ""
        sign = text.replace("1", "", 1).strip()
        if not sign or "1" not in text or any(letter.isdigit() for letter in sign):
            mend = 'Write how a sum of 1 looks, like "EUR 1", "1 EUR" or "€1".'
            self.fault(key, value, "does not tell how a sum is written", mend)
            return None
        return sign, text.startswith("1")

    def appendix(self, key, value):
        if not isinstance(value, list):
            mend = f'Write it like {key} = ["crop", "money"], or {key} = [] for none.'
            self.fault(key, value, "must be a list of parts", mend)
            return None
        chosen = {part for part in value if self.among(key, part, PARTS)}
        return tuple(part for part in PARTS if part in chosen)

    def logo(self, key, value):
        if not isinstance(value, str) or not value.strip():
            return self.text(key, value)
        place = self.file.parent / Path(value).expanduser()
        try:
            if not place.is_file():  # a device never ends
                raise FileNotFoundError
            data = place.read_bytes() if place.stat().st_size <= _LARGEST else None
        except (OSError, ValueError):
            mend = f"It is looked for from the folder {self.file.parent.resolve().name}."
            self.fault(key, value, "there is no such file", mend)
            return ""
        kinds = [kind for mark, kind in _PICTURES.items() if data and data.startswith(mark)]
        if not kinds:
            rule = "is larger than 2 MB" if data is None else "is no PNG or JPEG picture"
            self.fault(key, value, rule, "Save it as a PNG or JPEG picture, not too large.")
            return ""
        return f"data:{kinds[0]};base64,{base64.b64encode(data).decode()}"

    def table(self, key, value):
        if isinstance(value, dict):
            return value
        self.fault(key, value, "must be a table", f"Write [{key}] on a line of its own.")
        return {}

    def amounts(self, key, table):
        for name, value in self.table(key, table).items():
            if isinstance(value, str | int | float) and not isinstance(value, bool):
                yield name, value.strip() if isinstance(value, str) else f"{value:.10g}"
            else:
                self.fault(f"{key}, {name}", value, "must be a number", "Write it like 0.8.")

    def costs(self, key, value):
        lines = {}
        for name, each in self.table(key, value).items():
            if isinstance(each, dict):
                own = self.amounts(f"{key}, {name}", each)
                lines |= {f"{name}:{cost}": text for cost, text in own}
            else:
                lines |= dict(self.amounts(key, {name: each}))
        self.tried(key, lambda: ReportSettings(costs=lines).costs_with())
        return lines

    def limits(self, key, value):
        table = dict(self.table(key, value))
        ceilings = dict(self.amounts(f"{key}, ceilings", table.pop("ceilings", {})))
        for name in [name for name in table if name not in (*_LIMITS, "discount")]:
            known = (*_LIMITS, "discount", "ceilings")
            hint = near(name, known) or f"There are: {', '.join(known)}."
            self.fault(f"{key}, {name}", None, "there is no such limit", hint)
            del table[name]
        lines = dict(self.amounts(key, table)) | ({"ceilings": ceilings} if ceilings else {})
        self.tried(key, lambda: ReportSettings(limits=lines).limits_with())
        return lines

    def tried(self, key, make):
        try:
            make()
        except (CroploadError, ValueError) as error:
            for line in str(error).split("\n"):
                self.fault(key, None, line.rstrip("."), "Mend it, or take it out.")


def new_settings(path):
    """Write a ``report.toml`` that explains every setting, and return where it is.

    Raises
    ------
    CroploadError
        When there is one, for the shipped sample, or when it cannot be written.
    """
    file = settings_path(own_folder(path, "keep settings of a report"))
    write_new({file: TEMPLATE.encode()})
    return file


def keep_settings(records, **told):
    """Keep settings in the user's ``report.toml``, and return where the one before it lies.

    Parameters
    ----------
    records : Records or path
        Beside which it lies.
    told
        New values of its keys; those of a table, like ``costs``, as a dict. An empty value takes
        the key out. All else in the file stays, comments too.

    Raises
    ------
    CroploadError
        For the shipped sample, or when the file cannot be read or written.
    """
    import tomlkit

    file = settings_path(own_folder(records, "keep settings of a report"))
    with changing(file) as change:
        before = change.read()
        if before is not None:
            read_settings(file)
        text = TEMPLATE if before is None else before.decode("utf-8-sig")
        document = tomlkit.parse(text)
        for key, value in told.items():
            if isinstance(value, dict):
                table = document.setdefault(key, tomlkit.table())
                for name in [name for name in table if name not in value]:
                    del table[name]
                table.update(value)
            elif value in ("", None):
                document.pop(key, None)
            else:
                document[key] = value
        data = tomlkit.dumps(document).encode()
        _parsed(file, data)
        if data == before:
            return None
        return change.put(data, before, copied=True)


def cost_lines(costs):
    """Return Costs as they are kept, {cost, or block or variety: {cost}: amount} [metric]."""
    lines = {}
    for whose, name, amount in costs.told():
        told = written(amount) if isinstance(amount, Span) else float(amount)
        (lines.setdefault(whose, {}) if whose else lines)[name] = told
    return lines


def limit_lines(limits, discount):
    """Return Limits and the discount as they are kept, {limit: amount}; shares in per cent."""
    lines = {name: getattr(limits, name) for name in _LIMITS}
    lines |= {"area_out": round(100 * limits.area_out, 6), "discount": round(100 * discount, 6)}
    lines = {name: value for name, value in lines.items() if value}
    return lines | ({"ceilings": limits.ceilings} if limits.ceilings else {})
