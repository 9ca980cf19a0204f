"""The gate: the one way a byte reaches a disk, so that nothing of the user's is ever lost.

Whatever is written (a row added to records, a lesson kept, a result, a notebook) goes through
here. Links are followed first; names that some system cannot keep are refused; a spreadsheet's
lock is respected; other runs wait. Then everything is written beside its place and brought to the
disk, and only a finished file takes the name: a run that is killed leaves the old or the new one
whole. A result never takes the place of a file of the user's own (`theirs`), and what it replaces
stays beside it under a number: ``plans.csv`` as ``plans.1.csv``, the highest number the latest.
"""

import contextlib
import errno
import os
import re
import secrets
import shutil
import stat
import tempfile
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from cropload.errors import CroploadError
from cropload.records.writing.locks import PART_END, PART_START, held

try:
    from fcntl import F_FULLFSYNC, fcntl
except ImportError:  # only macOS needs it: there fsync stops at the memory of the drive
    F_FULLFSYNC = None

#: Windows gives these names to devices, whatever ending follows.
_DEVICES = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³])\s*(\..*)?", re.I)
_NOT_ON_WINDOWS = set('<>:"|?*')
_EXISTS = "exists and is not overwritten. Choose another name"


@dataclass(frozen=True)
class Result:
    """A file to be written that may be made again: not records, but what is told of them.

    Attributes
    ----------
    path : str or path
        The file.
    endings : tuple of str
        The endings that its kind may have, like ``(".csv", ".xlsx")``.
    data : bytes or None
        Its content; None while it is only asked whether it can be written.
    """

    path: object
    endings: tuple
    data: bytes | None = None


@dataclass
class _Job:
    """One file on its way: where it goes, what it held, and its unfinished files."""

    given: Path
    target: Path
    data: bytes
    old: bytes | None = None
    copied: bool = False
    part: str | None = None
    copy_part: str | None = None
    back: str | None = None
    kept: Path | None = None
    placed: bool = False


def write_results(results, replace=False):
    """Write results: all of them, or none.

    Parameters
    ----------
    results : sequence of Result
        The files.
    replace : bool
        Whether they may take the place of earlier results.

    Returns
    -------
    list of (pathlib.Path, pathlib.Path or None)
        Each file, and where the version before it lies now.

    Raises
    ------
    CroploadError
        When a file exists and ``replace`` is not set, when it is one of the user's own, when two
        are the same file, or when one cannot be written; everything stays as it was.

    Notes
    -----
    A run that is killed between two files leaves each of them whole, the old or the new one.
    """
    places = _places(results)
    with _hold(places):
        _check_results(places, replace)
        jobs = []
        for (given, target), result in zip(places, results, strict=True):
            old = _content(given, target)
            jobs.append(_Job(given, target, result.data, old, copied=old is not None))
        # The same content again is no new version.
        _commit([job for job in jobs if job.data != job.old])
    return [(job.given, job.kept) for job in jobs]


def check_results(results, replace=False):
    """Check results before the work of making them, all together; see `write_results`."""
    places = _places(results)
    with _hold(places):
        _check_results(places, replace)


def write_new(files):
    """Write new files of any name: all of them, or none; nothing is ever replaced.

    Parameters
    ----------
    files : dict
        {path: bytes}

    Raises
    ------
    CroploadError
        When one exists or cannot be written; none is there then.
    """
    places = [_place(path) for path in files]
    _check_apart(places)
    with _hold(places):
        for given, target in places:
            _check(given, target)
            if os.path.lexists(given) or os.path.lexists(target):
                raise CroploadError(f"{given} {_EXISTS}.")
        _commit([_Job(*place, data) for place, data in zip(places, files.values(), strict=True)])


@dataclass(frozen=True)
class Change:
    """A file of the user's, held against other runs from reading to replacing."""

    given: Path
    target: Path

    def read(self):
        """Return its bytes, or None when it is not there."""
        return _content(self.given, self.target)

    def put(self, data, before, copied=False):
        """Bring in new content, and return where the old one lies now, if it was copied.

        Parameters
        ----------
        data : bytes
            The whole new content.
        before : bytes or None
            What `read` gave; another content now means that another program changed the file.
        copied : bool
            Whether the old content stays beside it under a number.
        """
        job = _Job(self.given, self.target, data, before, copied and before is not None)
        _commit([job])
        return job.kept


def put_together(changes):
    """Bring new content into several files that are held: into all of them, or into none.

    Parameters
    ----------
    changes : sequence of (Change, bytes, bytes or None)
        Each file, its whole new content, and what `Change.read` gave.

    Notes
    -----
    A run that is killed between two files leaves each of them whole, the old or the new one.
    """
    _commit([_Job(held.given, held.target, data, before) for held, data, before in changes])


@contextlib.contextmanager
def changing(path):
    """Hold a file of the user's while it is read, checked and added to; see `changing_several`.

    Yields
    ------
    Change
    """
    with changing_several([path]) as [change]:
        yield change


@contextlib.contextmanager
def changing_several(paths):
    """Hold files of the user's while they are read, checked and added to.

    Parameters
    ----------
    paths : sequence of path
        The files, there or not.

    Yields
    ------
    list of Change

    Raises
    ------
    CroploadError
        When a file is open in a spreadsheet program, read-only, or in use by another run.
    """
    places = _each(_place, paths)
    _check_apart(places)
    with _hold(places):
        _each(lambda place: _check(*place), places)
        yield [Change(*place) for place in places]


def make_folder(path):
    """Make a folder, and those above it, where they are not there yet."""
    path = Path(path)
    try:
        for part in (path, *path.parents):
            if not part.exists():
                _check_name(part.name)
        path.mkdir(parents=True, exist_ok=True)
    except CroploadError:
        raise
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise CroploadError(f"The folder {path} cannot be made ({reason}).") from None


@contextlib.contextmanager
def private_folder(files):
    """Give a folder that only this user can read, with files in it, and clear it away after.

    Parameters
    ----------
    files : dict
        {path within the folder: bytes}

    Yields
    ------
    pathlib.Path
    """
    with tempfile.TemporaryDirectory(prefix="cropload_") as folder:
        for name, data in files.items():
            write_private(Path(folder) / name, data)
        yield Path(folder)


def write_private(path, data):
    """Write a new file that only this user can read, into a `private_folder`."""
    try:
        path.parent.mkdir(mode=0o700, exist_ok=True)
        _write_part(path, data, 0o600)
    except OSError as error:
        raise _fault(path, error) from None


def workbook_bytes(book):
    """Return an openpyxl workbook as the bytes of an .xlsx file."""
    stream = BytesIO()
    try:
        book.save(stream)
    except OSError as error:  # the library writes every sheet to a file of its own first
        folder = tempfile.gettempdir()
        raise CroploadError(
            f"The workbook cannot be made, because the folder for temporary files, {folder}, "
            f"cannot be written to ({error.strerror or error}). Make room there and try again."
        ) from None
    return stream.getvalue()


# ------------------------------------------------------------------ names and places


def _check_name(name):
    """Refuse a name that some system cannot keep, for folders travel between systems."""
    if any(ord(sign) < 32 or 127 <= ord(sign) < 160 for sign in name):
        raise CroploadError(
            f"The name {name[:80]!r} holds a control character. Choose another name."
        )
    if name.endswith((".", " ")):
        raise CroploadError(
            f"The name '{name}' ends in a {'dot' if name.endswith('.') else 'blank'}, which "
            "Windows takes away. Choose another name."
        )
    if _DEVICES.fullmatch(name):
        raise CroploadError(
            f"'{name}' is the name of a device on Windows, and cannot be a file there. Choose "
            "another name."
        )
    if os.name == "nt" and _NOT_ON_WINDOWS & set(name):
        raise CroploadError(
            f"The name '{name}' holds a sign that Windows allows in no name "
            f"({' '.join(sorted(_NOT_ON_WINDOWS))}). Choose another name."
        )


def _place(path, endings=()):
    """Return a path as given and where it leads, links followed."""
    try:
        given = Path(path).expanduser()
        _check_name(given.name)
        target = given.resolve()
        for name in (given, target) if endings else ():
            if name.suffix.lower() not in endings:
                leads = "" if name is given else f", which '{given.name}' leads to,"
                raise CroploadError(f"'{name.name}'{leads} must end in {' or '.join(endings)}.")
        missing = not target.parent.is_dir()
        if target.is_dir():
            raise CroploadError(f"{given} is a folder. Give the name of a file.")
    except CroploadError:
        raise
    except (OSError, RuntimeError, TypeError, ValueError) as error:
        raise _fault(path, error) from None
    if missing:
        raise CroploadError(f"The folder {given.parent} does not exist. Make it first.")
    return given, target


def _places(results):
    """Return the places of results; every fault of them at once."""
    places = _each(lambda result: _place(result.path, result.endings), results)
    _check_apart(places)
    return places


def _check_apart(places):
    seen = {}
    for given, target in places:
        # Capitals do not tell two files apart on Windows and macOS.
        other = seen.setdefault(str(target).casefold(), given)
        if other is not given:
            raise CroploadError(
                f"{other} and {given} are the same file. Give each its own name; nothing was "
                "written."
            )


def _each(made, items):
    """Return what is made of each item, or raise all their faults in one message."""
    found, faults = [], []
    for item in items:
        try:
            found.append(made(item))
        except CroploadError as fault:
            faults.append(str(fault))
    if faults:
        raise CroploadError("\n".join(faults))
    return found


@contextlib.contextmanager
def _hold(places):
    for _, target in places:
        _check_folder(target.parent)
    if not places:
        yield
        return
    with contextlib.ExitStack() as stack:
        with _told(places[0][0]):
            stack.enter_context(held([target.parent for _, target in places]))
        yield


# ------------------------------------------------------------------ what stands in the way


def _check_results(places, replace):
    from cropload.records.writing.theirs import whose

    def check(place):
        given, target = place
        with _told(given):
            found = whose(target)
        if found:
            leads = "" if given.name == target.name else f"leads to '{target.name}', which "
            raise CroploadError(
                f"'{given.name}' {leads}{found}, and a result never takes its place. Choose "
                "another name."
            )
        if not replace and (os.path.lexists(given) or target.exists()):
            raise CroploadError(f"{given} {_EXISTS}, or ask to replace it (--replace).")
        _check(given, target)

    _each(check, places)


def _check(given, target):
    """Check that a file can be replaced: not locked, not read-only, under one name only."""
    _check_folder(target.parent)
    if target.exists():
        if not target.is_file():
            raise CroploadError(f"{given} is no plain file. Give the name of a file.")
        if not _allows(target):
            raise CroploadError(
                f"{given.name} is read-only. Allow writing, or choose another file."
            )
        if target.stat().st_nlink > 1:
            raise CroploadError(
                f"{given} has another name in this or another folder (a hard link), and the two "
                "would no longer be one file. Make it a file of its own first: copy it, and give "
                "the copy its name."
            )
    _check_spreadsheets(given, target)


def _check_folder(folder):
    if not _allows(folder):
        raise CroploadError(f"The folder {folder} is read-only. Choose another, or allow writing.")


def _allows(path):
    # The mode is looked at as well, because an administrator may write to read-only files.
    return os.access(path, os.W_OK) and bool(path.stat().st_mode & stat.S_IWUSR)


def _check_spreadsheets(given, target):
    for path in {given, target}:
        for lock in (f".~lock.{path.name}#", f"~${path.name}"):
            if (path.parent / lock).exists():
                raise CroploadError(
                    f"{path.name} is open in a spreadsheet program. Close it there and try again. "
                    f"(If it is not open, delete the leftover file {lock}.)"
                )


def _fault(path, error):
    """Return the one message of a file that cannot be written."""
    reason = getattr(error, "strerror", None) or error
    if getattr(error, "errno", None) == errno.ENAMETOOLONG:
        return CroploadError(f"{str(path)[:60]}... cannot be written. Choose a shorter name.")
    return CroploadError(
        f"{path} cannot be written ({reason}). Close it in other programs, and check that the disk "
        "has room and allows writing. Nothing was changed."
    )


@contextlib.contextmanager
def _told(path):
    """Turn what the system says into one message that names the file."""
    try:
        yield
    except OSError as error:
        raise _fault(path, error) from None


def _content(given, target):
    with _told(given):
        return target.read_bytes() if target.exists() else None


# ------------------------------------------------------------------ all or nothing


def _commit(jobs):
    """Write files whose folders are held: first all beside their places, then each its name."""
    try:
        for job in jobs:
            with _told(job.given):
                job.part = _part(job.target, job.data)
                if job.copied:
                    job.copy_part = _part(job.target, job.old)
                elif job.old is not None and len(jobs) > 1:
                    # Written now: a disk that is full later could not take the old content back.
                    job.back = _part(job.target, job.old)
        for job in jobs:
            with _told(job.given):
                _give_names(job)
        for folder in {job.target.parent for job in jobs}:
            with _told(folder):
                _sync_folder(folder)
    except BaseException as fault:
        stuck = [job.given.name for job in reversed(jobs) if not _undo(job)]
        if stuck:
            raise CroploadError(
                f"{fault} But {', '.join(stuck)} could not be brought back, and may hold what was "
                "to be written: look at the last rows before you try again."
            ) from None
        raise
    finally:
        for job in jobs:
            for part in (job.part, job.copy_part, job.back):
                _drop(part)


def _part(target, data):
    """Write a finished file beside its place, with the looks of the one it will replace."""
    mode = 0o600 if target.exists() else 0o666
    part = target.parent / f"{PART_START}{secrets.token_hex(8)}{PART_END}"
    try:
        _write_part(part, data, mode)
        if target.exists():
            held_by = target.stat()
            with contextlib.suppress(OSError, AttributeError):
                os.chown(part, held_by.st_uid, held_by.st_gid)
            with contextlib.suppress(OSError):
                shutil.copystat(target, part)
                os.utime(part)
    except BaseException:
        _drop(part)
        raise
    return str(part)


def _write_part(path, data, mode):
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    handle = os.open(path, flags, mode)
    try:
        view = memoryview(data)
        while view:
            view = view[os.write(handle, view) :]
        if F_FULLFSYNC is None:
            os.fsync(handle)
        else:
            try:
                fcntl(handle, F_FULLFSYNC)
            except OSError:  # a drive that cannot be asked
                os.fsync(handle)
    finally:
        os.close(handle)


def _give_names(job):
    """Keep the old content under a number, and give the new one the name."""
    if job.copied:
        while job.kept is None:
            kept = _next_copy(job.target)
            with contextlib.suppress(FileExistsError):
                _move_new(job.copy_part, kept)
                job.kept = kept
    if _content(job.given, job.target) != job.old:
        raise CroploadError(
            f"{job.given.name} was changed by another program while it was being "
            f"{'replaced' if job.copied else 'added to'}. Nothing was written; try again."
        )
    _check_spreadsheets(job.given, job.target)
    if job.old is not None:
        os.replace(job.part, job.target)
    else:
        try:
            _move_new(job.part, job.target)
        except FileExistsError:
            raise CroploadError(f"{job.given} {_EXISTS}.") from None
    job.placed = True


def _next_copy(target):
    """Return a free name for an old version: one above the highest number in use."""
    form = re.compile(re.escape(target.stem) + r"\.(\d+)" + re.escape(target.suffix), re.I)
    numbers = [int(found[1]) for found in map(form.fullmatch, os.listdir(target.parent)) if found]
    return target.with_name(f"{target.stem}.{max(numbers, default=0) + 1}{target.suffix}")


def _move_new(part, target):
    """Give a finished file its name, without replacing a file that appeared meanwhile."""
    try:
        os.link(part, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if os.name != "nt" and os.path.lexists(target):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target)) from None
        os.rename(part, target)
    else:
        _drop(part)


def _sync_folder(folder):
    """Bring the names in a folder to the disk, where the system lets a folder be opened."""
    if os.name == "nt":
        return
    handle = None
    try:
        handle = os.open(folder, os.O_RDONLY)
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EACCES, errno.EBADF):
            raise
    finally:
        if handle is not None:
            os.close(handle)


def _undo(job):
    """Bring back what a file held before a write that failed; return whether it does again."""
    try:
        if job.placed and job.old is None:
            os.unlink(job.target)
        elif job.placed:
            os.replace(job.kept or job.back or _part(job.target, job.old), job.target)
        elif job.kept:
            os.unlink(job.kept)
    except (OSError, CroploadError):
        return not job.placed
    return True


def _drop(part):
    if part is not None:
        with contextlib.suppress(OSError):
            os.unlink(part)
