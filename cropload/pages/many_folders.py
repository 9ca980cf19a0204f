"""One command over many season folders: rows kept as they come, failures told, resumed.

The folders are spread over the processes of this machine, or over the workers of a scheduler of
``dask.distributed``; a folder is one task and is answered as the command alone answers it, so its
draws are those of one machine.
"""

import contextlib
import io
import json
import os
from concurrent import futures
from pathlib import Path

from cropload import __version__
from cropload.errors import CroploadError

#: What marks a folder of results, and says of what they are.
_OF_WHAT = "_results_of.json"
#: Tasks handed out for each worker at once [1]; more would only lie in memory.
_AHEAD = 3
#: How long a scheduler may take to answer [s].
_PATIENCE_S = 10


def one(name, folder, arguments):
    """Return what a command makes of one folder, as rows, or the message of its fault.

    Parameters
    ----------
    name : str
        The command.
    folder : str
        The records.
    arguments : sequence of str
        The command's other arguments.

    Returns
    -------
    frame : DataFrame or None
        What ``--csv`` would hold, behind a column ``folder``.
    fault : str
        Blank when there is a frame.
    """
    from cropload.pages.cli import all_commands, command_parser

    command = all_commands()[name]
    try:
        given = command_parser(command).read([folder, *arguments])
        given.folder, given.caught, given.csv = folder, [], os.devnull
        with contextlib.redirect_stderr(io.StringIO()):
            found = command.run(given)
            if not isinstance(found, str):
                list(found or ())
    except (CroploadError, OSError) as fault:
        return None, str(fault)
    except Exception as fault:
        return None, f"cropload failed: {type(fault).__name__}: {' '.join(str(fault).split())}"
    if not given.caught:
        return None, "There is nothing to keep: the command found no rows in these records."
    frame = given.caught[0].copy()
    frame.insert(0, "folder", folder)
    return frame, ""


def answer(name, folders, arguments, into, workers=None):
    """Run a command over folders, keep each one's rows as Parquet, and say what came of it.

    Parameters
    ----------
    name : str
        The command.
    folders : sequence of str
        Season folders or workbooks; workers elsewhere must see them under the same path.
    arguments : sequence of str
        Arguments that all of them share.
    into : str or path
        Folder of the results, made when it is not there.
    workers : str, optional
        Address of a scheduler of ``dask.distributed``; processes of this machine without it.

    Returns
    -------
    list of str
        What was done, and how the rows are read.

    Raises
    ------
    CroploadError
        For a folder named twice, a place with other files or results of another command, a
        scheduler that does not answer, or with what was done when some folders failed: the rows of
        the others are kept.

    Notes
    -----
    A folder whose rows are there already, from the same records, is not asked again.
    Valid for any number of folders: rows are written as they come and none is kept in memory.
    """
    from cropload.records.writing.gate import changing, make_folder
    from cropload.show.terminal import paragraph, working

    folders = [str(Path(folder).resolve()) for folder in folders]
    places = _places(folders, Path(into))
    make_folder(into)
    _check_of_what(Path(into), [name, *arguments, __version__])
    stamps = {folder: _stamped(folder) for folder in folders}
    open_ones = [f for f in folders if stamps[f] is None or _kept(places[f]) != stamps[f]]
    failed = {}
    with _executor(workers, len(open_ones)) as (pool, count), working(name) as progress:
        answers = _spread(pool, count, name, open_ones, arguments)
        for done, (folder, (frame, fault)) in enumerate(answers, 1):
            if frame is None:
                failed[folder] = fault
            else:
                with changing(places[folder]) as change:
                    change.put(_parquet(frame, stamps[folder]), change.read())
            if progress:
                progress(done, len(open_ones))
    there = len(folders) - len(open_ones)
    already = f" {there} were there already." if there else ""
    told = [
        f"{name}: {len(folders) - len(failed)} of {len(folders)} folders are in {into}, "
        f"a Parquet file each.{already}"
    ]
    # Of many faults the first is told; the command on that folder tells all of them.
    first = {f: " ".join(" ".join(fault.split("\n\n")[:2]).split()) for f, fault in failed.items()}
    told += [paragraph(f"{f}: {first[f]}", "- ") for f in sorted(failed)]
    if failed:
        told.append("The same line again asks only what failed or has changed.")
        raise CroploadError("\n".join(told))
    told.append(f"All rows together: pandas.read_parquet({str(into)!r})")
    return told


def _spread(pool, count, name, folders, arguments):
    """Yield (folder, what became of it) as answers come, never far ahead of the workers."""
    left, running = iter(folders), {}
    while True:
        for folder in left:
            running[pool.submit(one, name, folder, list(arguments))] = folder
            if len(running) >= _AHEAD * count:
                break
        if not running:
            return
        done, _ = futures.wait(running, return_when=futures.FIRST_COMPLETED)
        for each in done:
            folder = running.pop(each)
            try:
                yield folder, each.result()
            except Exception as fault:
                yield folder, (None, f"The worker was lost: {type(fault).__name__}.")


@contextlib.contextmanager
def _executor(workers, tasks):
    """Give what tasks are handed to, and how many run at once."""
    if workers is None:
        count = max(1, min(os.cpu_count() or 1, tasks))
        with futures.ProcessPoolExecutor(count) as pool:
            yield pool, count
        return
    try:
        from distributed import Client
    except ImportError:
        raise CroploadError(
            '--workers needs dask: install it with `pip install "cropload[cluster]"`.'
        ) from None
    try:
        client = Client(workers, timeout=_PATIENCE_S)
    except (OSError, ValueError, TypeError) as fault:
        raise CroploadError(
            f"No scheduler answers at {workers} ({type(fault).__name__}). Start one with "
            "`dask scheduler`, and workers with `dask worker ADDRESS`."
        ) from None
    with client:
        yield client.get_executor(pure=False), max(1, sum(client.ncores().values()))


def _places(folders, into):
    """Return {folder: its file}; folders of one name are told apart by those above them."""
    twice = sorted({folder for folder in folders if folders.count(folder) > 1})
    if twice:
        raise CroploadError(f"{twice[0]} is named twice; name each folder once.")
    above = Path(os.path.commonpath(folders))
    if str(above) in folders:
        above = above.parent
    names = {folder: "__".join(Path(folder).relative_to(above).parts) for folder in folders}
    return {folder: into / f"{name}.parquet" for folder, name in names.items()}


def _check_of_what(into, what):
    from cropload.records.writing.gate import write_new

    place = into / _OF_WHAT
    if not place.exists():
        others = sorted(each.name for each in into.iterdir() if not each.name.startswith("."))
        if others:
            raise CroploadError(
                f"{into} holds other files ({others[0]}), and results have a folder of their own. "
                "Name a new or an empty one with --into."
            )
        write_new({place: json.dumps(what).encode()})
        return
    try:
        held = json.loads(place.read_text("utf-8"))
    except (OSError, ValueError):
        raise CroploadError(
            f"{place} cannot be read: it says of which command the results beside it are. Name "
            "another folder with --into."
        ) from None
    if held != what:
        raise CroploadError(
            f"{into} holds results of another command, of other options, or of another version "
            "(_results_of.json says which). Name another folder with --into."
        )


def _stamped(folder):
    from cropload.records.stamp import stamp

    found = stamp(Path(folder))
    return None if found is None else json.dumps(found)


def _parquet(frame, stamp):
    """Return rows as the bytes of a Parquet file that knows from which records they are."""
    pa, parquet = _arrow()
    table = pa.Table.from_pandas(frame, preserve_index=False)
    table = table.replace_schema_metadata((table.schema.metadata or {}) | {"records": stamp or ""})
    out = io.BytesIO()
    parquet.write_table(table, out)
    return out.getvalue()


def _kept(place):
    """Return the stamp of the records that a file's rows are from, or None for no such file."""
    _, parquet = _arrow()
    try:
        held = parquet.read_schema(place).metadata or {}
    except (OSError, ValueError):
        return None
    return held.get(b"records", b"").decode()


def _arrow():
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError:
        raise CroploadError(
            'Many folders at once need pyarrow: install it with `pip install "cropload[cluster]"`.'
        ) from None
    return pyarrow, parquet
