"""Make rows of the records from one found table: read its cells, fill what is said once."""

from collections import Counter

import pandas as pd

from cropload import handbook
from cropload.records.importing.cells import Cells
from cropload.records.importing.find import letters
from cropload.records.importing.values import (
    is_nothing,
    season_of_text,
    tidy_name,
)
from cropload.records.reading.trade_words import (
    says,
    seasons_in,
    variety_of,
)
from cropload.records.tables import TABLES

_COUNTED = ("buds", "shoots", "clusters", "noncount_shoots")
#: A cluster lighter than this [g], and prunings of a vine heavier than this [kg], are asked about
#: (common practice, no source).
_LIGHTEST, _HEAVIEST = 15.0, 3.0
_STAGES = ("budburst", "flowering", "veraison", "harvest")


class Rows:
    """Rows of the records from found tables.

    Parameters
    ----------
    notation : Notation
        How the files write numbers, days and units.
    blocks : BlockNames
        The blocks that are known.
    questions : Questions
        Asks what is left open.

    Attributes
    ----------
    cells : Cells
        Reads columns, and notes what is left out.
    told : Counter
        What was done to many cells alike -> how often.
    """

    def __init__(self, notation, blocks, questions):
        self.notation, self.blocks, self.questions = notation, blocks, questions
        self.told, self._voids = Counter(), {}
        self.cells = Cells(notation, questions, self.told)

    def frames(self, part):
        """Yield (table, frame) of one part; a frame has the columns ``_row`` and ``_cells``."""
        for table in dict.fromkeys(target.table for target in part.meaning.targets):
            slots = {}
            for target in part.targets(table):
                if target.season is not None or target.vine or target.column in _STAGES:
                    stage = target.column if target.column in _STAGES and table == "dates" else ""
                    season = (target.season, target.two_years) if target.season else None
                    slots.setdefault((season, target.vine, stage), []).append(target)
            keyed = [t for t in part.targets(table) if not any(t in s for s in slots.values())]
            keyed += part.keys_for(table)
            for (season, vine, stage), targets in (slots or {(None, "", ""): []}).items():
                frame = self._frame(part, table, [*keyed, *targets], season, vine, stage)
                if frame is not None and len(frame):
                    yield table, frame

    def _frame(self, part, table, targets, season, vine, stage):
        spec = TABLES[table]
        frame = pd.DataFrame({"_row": part.rows})
        by_name = {}
        for target in targets:
            name = "date" if stage and target.column == stage else target.column
            by_name.setdefault(name, target)
        if "block" in spec.names:
            frame["block"] = self._blocks(part, by_name.get("block"), table)
        if "season" in spec.names:
            own = by_name.get("season")
            years = self._seasons(part, own) if own else None
            frame["season"] = years if years is not None else None
        for name, target in by_name.items():
            if name not in ("block", "season"):
                self.cells.read(part, spec, name, target, frame)
        mark = part.missing_mark if table == "counts" else None
        if mark and "missing" not in frame:
            marked = [False] * len(frame)
            for target in targets:
                if target.vine or target.column in _COUNTED:
                    cells = part.values(target.source)
                    marked = [
                        told or str(v).strip().lower() == mark
                        for told, v in zip(marked, cells, strict=True)
                    ]
            frame["missing"] = [1 if each else None for each in marked]
        if stage:
            frame["stage"] = stage
        if vine:
            frame["vine"] = vine
        self._from_titles(part, spec, frame, by_name)
        if "season" in spec.names:
            self._fill_seasons(part, table, frame, season)
        if season is None and {"season", "date"} <= set(by_name) and table != "pruning":
            self._tell_other_harvests(part, table, frame)
        self._made(part, spec, frame)
        frame["_cells"] = " ".join(
            f"{name} {letters(target.source)}" for name, target in by_name.items()
        )
        return self._with_values(part, spec, frame, by_name)

    # What a row is of -----------------------------------------------------------------------

    def _blocks(self, part, target, table):
        if target is None:
            return self._block_around(part)
        names, last = [], None
        column = target.source
        known = {}
        for row, value in zip(part.rows, part.values(column), strict=True):
            if is_nothing(value):
                if last is None:
                    names.append(None)
                    continue
                value = last
                self.told[f"{part.region.shown}: the block named above holds"] += 1
            last = value
            key = (type(value), value)
            if key not in known:
                known[key] = (
                    self.blocks.add(tidy_name(value))
                    if table == "blocks" and self.defining(part)
                    else self.blocks.read(value, part.place(row, column), self.questions)
                )
            names.append(known[key])
        return names

    @staticmethod
    def defining(part):
        """Whether a part defines blocks: it tells spacings or vines beside their names."""
        told = {target.column for target in part.targets("blocks")}
        return part.meaning.main == "blocks" and bool(
            told & {"row_spacing_m", "vine_spacing_m", "spacing", "vines"}
        )

    def _block_around(self, part):
        """Return the blocks of rows that name none: from sub-headings, titles or the sheet."""
        groups = part.region.group
        if groups and all(self._is_block(groups.get(row, "")) for row in part.rows):
            first = {}
            for row in part.rows:
                first.setdefault(groups[row], row)
            read = {
                text: self.blocks.read(text, part.place(row, 0), self.questions)
                for text, row in first.items()
            }
            return [read[groups[row]] for row in part.rows]
        for text in part.texts:
            for name in sorted(self.blocks.known.values(), key=len, reverse=True):
                if name.casefold() in text.casefold():
                    return [name] * len(part.rows)
        return [None] * len(part.rows)

    def _is_block(self, text):
        from cropload.records.importing.names import likely_blocks
        from cropload.records.importing.values import same_name

        form = same_name(text)
        return form in self.blocks.known or bool(likely_blocks(form, self.blocks.known))

    def _seasons(self, part, target):
        years, last = [], None
        for row, value in zip(part.rows, part.values(target.source), strict=True):
            if is_nothing(value):
                years.append(last)
                continue
            found = season_of_text(value)
            if found is None:
                self.cells.blank(part, row, target, value, "names no one season")
            last = found[0] if found else None
            years.append(last)
        return years

    def _fill_seasons(self, part, table, frame, told):
        """Fill the seasons of rows: the header's, else those of sub-headings, titles or days."""
        blank = frame["season"].isna()
        if told:
            year, two = told
            sure = two or table != "pruning"
            frame["season"] = year if sure else self._cut(part, year, frame)
            return
        groups = part.region.group
        if groups:
            years = [season_in(groups.get(row, "")) for row in frame["_row"]]
            frame["season"] = frame["season"].where(~blank, pd.Series(years, frame.index))
            blank = frame["season"].isna()
        if not blank.any():
            return
        year, sure = part.season
        if year and sure:
            frame.loc[blank, "season"] = year
            return
        if "date" in frame and frame["date"].notna().any():
            days = frame["date"]
            years = [None if pd.isna(d) else self._season_of(d, table, part) for d in days]
            frame["season"] = frame["season"].where(~blank, pd.Series(years, frame.index))
            blank = frame["season"].isna()
        if blank.any() and year:
            frame.loc[blank, "season"] = (
                self._cut(part, year, frame) if table == "pruning" else year
            )

    def _tell_other_harvests(self, part, table, frame):
        """Tell of days that belong to another harvest than the one beside them."""
        told = frame.dropna(subset=["season", "date"])
        if self.notation.hemisphere is None:
            return
        for row, season, day in zip(told["_row"], told["season"], told["date"], strict=True):
            if self._season_of(day, table, part) != season:
                place = f"{part.region.grid.shown}, row {row + 1}"
                self.told[f"{place}: {day:%Y-%m-%d} is no day of season {int(season)}"] += 1

    def _cut(self, part, year, frame):
        """Return the season of a pruning that bears one year and no day."""
        if "date" in frame and frame["date"].notna().any():
            days = frame["date"].dropna()
            return self._season_of(days.iloc[0], "pruning", part)
        where = part.region.shown
        choices = {
            "harvest": f"pruned for harvest {year}",
            "winter": f"pruned in the winter that began in {year}, for harvest {year + 1}",
        }
        answer = self.questions.ask(
            "year of pruning",
            f"Which harvest is a pruning of '{year}' for?",
            f"{where}, and no day tells",
            choices,
        )
        return year if answer == "harvest" else year + 1

    def _season_of(self, day, table, part):
        """Return the year of harvest that a day belongs to."""
        if table == "pruning":
            turn = 4 if self._south(part, day) else 8
            return day.year + (day.month >= turn)
        if day.month >= 7 and self._south(part, day):
            return day.year + 1
        return day.year

    def _south(self, part, day):
        told = self.notation.hemisphere
        if told is None and part.season[0] in (day.year, day.year + 1):
            # Titles bear the year of harvest: what they say of a day tells the hemisphere.
            return part.season[0] == day.year + 1
        if told is None:
            answer = self.questions.ask(
                "hemisphere",
                "Is the vineyard north or south of the equator?",
                f"{part.region.shown}: a day like {day:%Y-%m-%d} belongs to another harvest there",
                {"north": "picked from July on", "south": "picked up to May"},
            )
            return answer == "south"
        return told == "south"

    def _from_titles(self, part, spec, frame, by_name):
        """Fill what the surroundings say once for all rows: day, stage, variety."""
        if "date" in spec.names and "date" not in by_name and part.day:
            frame["date"] = pd.Timestamp(part.day)
        if spec.name == "events" and "of" not in frame and "share_pct" in frame:
            frame["of"] = self._share_of(part)
        if spec.name == "prices" and "currency" not in by_name and frame["price_per_t"].any():
            frame["currency"] = self._currency(part, by_name.get("price_per_t"))
        if spec.name == "weights" and "stage" not in by_name:
            frame["stage"] = part.stage or self._stage(part)
        if spec.name == "blocks" and "variety" not in by_name and part.region.group:
            texts = [part.region.group.get(row) for row in frame["_row"]]
            known = {text: _variety_in(text) for text in set(texts) if text}
            if known and all(known.values()):
                frame["variety"] = [known.get(text) for text in texts]
        if spec.name == "counts" and "row" not in by_name and "vine" in frame:
            frame["row"] = self._row_told(part, frame)

    def _row_told(self, part, frame):
        return ["1"] * len(frame)

    def _share_of(self, part):
        choices = {
            "crop": "of what would have been picked",
            "shoots": "of the shoots that stood",
            "vines": "of the vines",
        }
        asks = "What is a loss a share of?"
        answer = self.questions.ask("what a loss is a share of", asks, part.region.shown, choices)
        return None if answer == "crop" else answer

    def _currency(self, part, target):
        name = target.unit.name.split("/")[0].upper() if target and target.unit else ""
        known = {"€": "EUR", "£": "GBP", "EURO": "EUR"}
        if name != "$":
            return known.get(name, name if len(name) == 3 else None)
        choices = dict.fromkeys(("USD", "AUD", "NZD", "CAD"), "")
        asks = "Which dollars are the prices in?"
        return self.questions.ask("currency", asks, part.region.shown, choices)

    def _stage(self, part):
        choices = {
            "harvest": "at picking",
            "lag": "in the lag phase, berries pea-sized and hard",
            "veraison": "when berries soften",
        }
        return self.questions.ask(
            "stage of cluster weights",
            "At which stage were the clusters weighed?",
            part.region.shown,
            choices,
        )

    # Rows -----------------------------------------------------------------------------------

    def _made(self, part, spec, frame):
        """Make columns of the records from those that people keep apart."""
        if spec.name == "pruning" and "plan" not in frame and {"canes", "spurs"} & set(frame):
            frame["plan"] = [_plan_from(row) for row in frame.to_dict("records")]
            told = frame[[name for name in ("canes", "spurs") if name in frame]].notna().any(axis=1)
            for row in frame["_row"][told & frame["plan"].isna()]:
                place = f"{part.region.grid.shown}, row {row + 1}"
                self.cells.left_out.append((place, "canes and spurs", "make no pruning plan"))
        if spec.name == "weights" and "clusters" in frame:
            self._lots(part, frame)
        if spec.name == "pruning" and {"pruning_weight_kg", "vines_weighed"} <= set(frame):
            self._prunings(part, frame)

    def _lots(self, part, frame):
        """Make the weight of a lot from that of its clusters, or ask which of the two is told."""
        if "weight_g" in frame:
            _of_one_by_one(frame)
        number = frame["clusters"].astype(float)
        if "mean_weight_g" in frame and "weight_g" not in frame:
            frame["weight_g"] = number * frame["mean_weight_g"].astype(float)
        elif "weight_g" in frame:
            weight = frame["weight_g"].astype(float)
            each = (weight / number).median()
            if each < _LIGHTEST <= weight.median():
                answer = self.questions.ask(
                    "weight of a lot",
                    "Is a weight that of all clusters of the lot, or the mean of one?",
                    f"{part.region.shown}: {weight.iloc[0]:g} g of {number.iloc[0]:g} clusters",
                    {"mean": "of one cluster", "lot": "of all clusters together"},
                )
                if answer == "mean":
                    frame["weight_g"] = weight * number

    def _prunings(self, part, frame):
        """Ask whether prunings are those of one vine, where they are heavy for one."""
        weight, vines = frame["pruning_weight_kg"].astype(float), frame["vines_weighed"]
        vines = vines.astype(float)
        if not (weight.median() > _HEAVIEST >= (weight / vines).median()):
            return
        answer = self.questions.ask(
            "prunings of a vine",
            "Are prunings the mean of a vine, or those of all vines weighed?",
            f"{part.region.shown}: {weight.iloc[0]:g} kg, {vines.iloc[0]:g} vines weighed",
            {"all": "of all vines weighed together", "mean": "of one vine"},
        )
        if answer == "all":
            frame["pruning_weight_kg"] = weight / vines

    def _with_values(self, part, spec, frame, by_name):
        """Return the rows that tell something, each of a block where the table needs one."""
        keys = {"block", "season", "date", "stage", "row", "vine", "variety", "counter", "_row"}
        keys |= {"_cells", "ticket", "note"}
        telling = [c for c in frame.columns if c not in keys]
        if spec.name == "dates":
            telling = ["date"]
        elif spec.name == "events":
            telling = ["kind"]
        elif spec.name in ("capacity", "prices", "weather"):
            telling = [c for c in spec.names if c in frame and spec[c].kind == "number"]
        elif spec.name == "blocks":
            telling = [c for c in frame.columns if c not in ("_row", "_cells", "block")]
        told = frame[[c for c in telling if c in frame]].notna().any(axis=1)
        kept = frame[told & ~frame["_row"].isin(self._void(part))]
        if "block" in spec.names and spec["block"].required:
            lost = kept[kept["block"].isna()]
            self._without_block(part, lost, telling)
            kept = kept[kept["block"].notna()]
        return kept.assign(_part=id(part)) if len(kept) else None

    def _void(self, part):
        """Return the rows that a column marks as void, told once as left out."""
        if id(part) not in self._voids:
            marked = {}
            for column in part.meaning.unread:
                for row, value in zip(part.rows, part.values(column), strict=True):
                    if isinstance(value, str) and says("void", value):
                        marked[row] = value
            self._voids[id(part)] = set(marked)
            for row, value in marked.items():
                cells = [part.region.cell(row, c) for c in part.region.columns]
                text = " | ".join(tidy_name(c) for c in cells if c is not None)
                place = f"{part.region.grid.shown}, row {row + 1}"
                self.cells.left_out.append((place, text, f"is marked {tidy_name(value)}"))
        return self._voids[id(part)]

    def _without_block(self, part, lost, telling):
        for row in lost["_row"]:
            cells = [part.region.cell(row, c) for c in part.region.columns]
            text = " | ".join(tidy_name(c) for c in cells if c is not None)
            out = [n for n, name in self.blocks.read_as.items() if name is None and n in text]
            why = f"'{out[0]}' is left out, as answered" if out else "names no block"
            if out and f"block {out[0]}" not in self.questions.given:
                why = f"'{out[0]}' is left out unless you answer otherwise"
            self.cells.left_out.append((f"{part.region.grid.shown}, row {row + 1}", text, why))


def _of_one_by_one(frame):
    """Make one lot of clusters that are numbered 1, 2, 3 ... and weighed one by one."""
    names = [name for name in ("block", "season", "date", "stage") if name in frame]
    for _, lot in frame.groupby(names, dropna=False, sort=False):
        numbers, weights = list(lot["clusters"]), lot["weight_g"].astype(float)
        light = (weights < 10 * weights.min()).all() and weights.min() > _LIGHTEST
        if len(lot) > 1 and numbers == [*range(1, len(lot) + 1)] and light:
            frame.loc[lot.index, ["clusters", "weight_g"]] = None
            frame.loc[lot.index[0], ["clusters", "weight_g"]] = [len(lot), weights.sum()]


def season_in(text):
    """Return the one season that a text names, or None."""
    found = seasons_in(text)
    return found[0][0] if len(found) == 1 else None


def _variety_in(text):
    name = tidy_name(text)
    if handbook.variety(name):
        return name.title() if name.isupper() else name
    known = variety_of(name.rstrip("."))
    return known


def _plan_from(row):
    pieces = []
    for wood, buds in (("canes", "cane_buds"), ("spurs", "spur_buds")):
        number, each = row.get(wood), row.get(buds)
        if pd.notna(number) and pd.notna(each) and number and each:
            pieces.append(f"{int(number)}x{int(each)}")
    return "+".join(pieces) or None
