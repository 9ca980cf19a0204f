"""Write what was imported: a new season folder, or only the rows that one does not hold yet."""

import csv
import io
from datetime import date

import numpy as np
import pandas as pd

from cropload.clock import today
from cropload.records.importing.questions import answers_toml, read_answers
from cropload.records.reading.cells import escape_text
from cropload.records.reading.csv_table import read_csv
from cropload.records.reading.files import csv_files, read_bytes
from cropload.records.records import check_tables, parser
from cropload.records.tables import TABLES
from cropload.records.writing.append import append_tables
from cropload.records.writing.explain import explain_tables
from cropload.records.writing.gate import changing, make_folder, write_new

#: Answers that hold for a folder, and where each of its imported rows comes from.
ANSWERS, TRACES = "import.toml", "imported"
_HEAD = [
    "What was asked when files were brought into this folder, and what was answered.",
    "The next import takes these answers; change one, or take it out to be asked again.",
]


def kept_answers(folder):
    """Return the answers that were once given for a folder."""
    file = None if folder is None else folder / ANSWERS
    if file is None or not file.is_file():
        return {}
    return read_answers(file.name, read_bytes(file))


def new_rows(folder, tables, typed, sources):
    """Return the rows that a folder does not hold yet, and what says otherwise than it does.

    Parameters
    ----------
    folder : pathlib.Path
        A season folder.
    tables : dict
        Name of a table -> rows as texts.
    typed : dict
        Name of a table -> ParsedTable of the same rows.
    sources : dict
        Name of a table -> where each row comes from.

    Returns
    -------
    (dict, list of str)
        The tables with the new rows only, and a sentence for each row that differs.
    """
    found = csv_files(folder)[0]
    old = check_tables(
        {name: read_csv(TABLES[name], file.name, read_bytes(file)) for name, file in found.items()}
    ).parsed
    new, differ = {}, []
    for name, frame in tables.items():
        mine, there = typed[name].frame, old.get(name)
        if there is None or there.frame.empty:
            new[name] = frame
            continue
        keep = np.ones(len(frame), bool)
        known = _by_key(TABLES[name], there.frame)
        for place, (key, row) in enumerate(_keyed(TABLES[name], mine)):
            same = known.get(key)
            if same is None:
                continue
            keep[place] = False
            told = [
                c for c in TABLES[name].names if not _empty(row[c]) and c in typed[name].matches
            ]
            other = [c for c in told if not _alike(row[c], same[c])]
            if other:
                was = ", ".join(f"{c} {_shown(same[c])}, not {_shown(row[c])}" for c in other)
                differ.append(f"{sources[name][place]}: the folder has {was}.")
        if keep.any():
            new[name] = frame[keep]
    return new, differ


def _key_of(spec):
    return list(spec.key or spec.named_by) or spec.names


def _keyed(spec, frame):
    names = _key_of(spec)
    for row in frame.to_dict("records"):
        yield tuple(_form(row[name]) for name in names), row


def _by_key(spec, frame):
    return dict(_keyed(spec, frame))


def _form(value):
    if _empty(value):
        return ""
    return value.casefold() if isinstance(value, str) else value


def _empty(value):
    return value is None or value == "" or (not isinstance(value, str) and bool(pd.isna(value)))


def _alike(one, other):
    if isinstance(one, (int, float)) and isinstance(other, (int, float)):
        return bool(np.isclose(one, other, rtol=1e-6))
    return _form(one) == _form(other)


def _shown(value):
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}"
    if isinstance(value, float):
        return f"{value:.6g}"
    return str(value) or "nothing"


def write_folder(found):
    """Write an import; see ``Import.write``."""
    folder = found.into
    there = csv_files(folder)[0] if folder.is_dir() else {}
    if there and found.new:
        rows = {name: _as_rows(name, found.new[name]) for name in TABLES if name in found.new}
        make_folder(folder / TRACES)
        append_tables(folder, rows, True, lambda lines: _trace(folder, found, lines))
    elif not there:
        files = {
            folder / f"{name}.csv": frame.to_csv(index=False).encode("utf-8-sig")
            for name, frame in found.tables.items()
        }
        files[folder / "README.txt"] = explain_tables(False).encode("utf-8-sig")
        make_folder(folder / TRACES if found.new else folder)
        trace = _trace(folder, found, dict.fromkeys(found.tables, 2)) if found.new else {}
        write_new(files | trace)
    _keep_answers(folder, found)
    return folder


def _as_rows(name, frame):
    """Return rows by canonical names in metric units, blanks left out."""
    raw = read_csv(TABLES[name], f"{name}.csv", frame.to_csv(index=False).encode())
    typed = parser({name: raw})(name)
    kept = [column for column in TABLES[name].names if column in typed.matches]
    return [
        {key: value for key, value in row.items() if not _empty(value)}
        for row in typed.frame[kept].to_dict("records")
    ]


def _trace(folder, found, lines):
    """Return a file of its own beside the records: which cells each written row comes from."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["table", "row", "comes_from"])
    for name, frame in found.new.items():
        for step, place in enumerate(frame.index):
            source = escape_text(str(found.sources[name][place]))
            writer.writerow([name, lines[name] + step, source])
    day = today()
    stem = day.isoformat() if isinstance(day, date) else str(day)
    names = [f"{stem}.csv", *(f"{stem}-{number}.csv" for number in range(2, 1000))]
    name = next(each for each in names if not (folder / TRACES / each).exists())
    return {folder / TRACES / name: text.getvalue().encode("utf-8-sig")}


def _keep_answers(folder, found):
    """Keep what was answered, beside what was answered for other files before."""
    if not found.answered:
        return
    file = folder / ANSWERS
    with changing(file) as change:
        before = change.read()
        kept = _questions(file.name, before) if before else {}
        kept |= {question.id: (question, answer) for question, answer in found.answered}
        data = answers_toml(list(kept.values()), _HEAD).encode()
        if data != before:
            change.put(data, before)


def _questions(name, data):
    import tomllib

    from cropload.records.importing.questions import Question

    read_answers(name, data)
    found = {}
    for each in tomllib.loads(data.decode("utf-8-sig"))["question"]:
        told = [str(choice) for choice in each.get("choices", ())]
        choices = {text.split(": ", 1)[0]: text.partition(": ")[2] for text in told}
        question = Question(
            str(each["id"]), str(each.get("asks", "")), str(each.get("where", "")), choices
        )
        found[question.id] = (question, str(each["answer"]))
    return found
