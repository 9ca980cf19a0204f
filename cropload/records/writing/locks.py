"""One writer a folder at a time, and what killed runs left behind cleared away."""

import contextlib
import errno
import os
import random
import threading
import time
from pathlib import Path

from cropload.errors import CroploadError

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None
    import msvcrt

#: Names that only this program gives; they begin with a dot, so no reader of records sees them.
LOCK = ".cropload-lock"
PART_START, PART_END = ".cropload-", ".part"
#: How long to wait for another run [s]; a write takes some hundredths.
_WAIT = 30.0
#: What a file system says that knows no locks (some network drives).
_NO_LOCKS = {errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.ENOLCK, errno.EINVAL}
_mine = threading.local()


@contextlib.contextmanager
def held(folders):
    """Hold folders against every other writer of this program, from reading to replacing.

    Parameters
    ----------
    folders : iterable of pathlib.Path
        Folders that exist, links followed.

    Raises
    ------
    CroploadError
        When another run holds one of them for longer than half a minute.
    OSError
        When a folder cannot be written to.

    Notes
    -----
    The lock is the system's own on a file in the folder (``flock`` on Linux and macOS, a locked
    byte on Windows), and not the mere presence of that file: the system lets it go whenever its
    process ends, however it ends, so no lock is ever stale and no process number has to be
    guessed at, and a folder shared between machines is locked for all of them. A thread that
    holds a folder may ask for it again. Where a file system knows no locks, writers go on
    without, and what they read is still compared just before it is replaced.
    """
    mine = _mine.__dict__.setdefault("folders", set())
    with contextlib.ExitStack() as stack:
        # In one order, so that two runs never wait for each other.
        for folder in sorted(set(folders) - mine):
            stack.enter_context(_locked(folder))
            mine.add(folder)
            stack.callback(mine.discard, folder)
        yield


@contextlib.contextmanager
def _locked(folder):
    path = Path(folder) / LOCK
    handle, alone = _take(path)
    try:
        if alone:
            _clear(folder)
        yield
    finally:
        if fcntl is not None:
            # Away before it is let go: whoever waited sees that its file has no name any more.
            with contextlib.suppress(OSError):
                os.unlink(path)
            with contextlib.suppress(OSError):
                fcntl.flock(handle, fcntl.LOCK_UN)
            os.close(handle)
        else:
            with contextlib.suppress(OSError):
                os.lseek(handle, 0, os.SEEK_SET)
                msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)
            os.close(handle)
            with contextlib.suppress(OSError):
                os.unlink(path)


def _take(path):
    """Return the open lock file, and whether this run is alone: False where locks are unknown."""
    until = time.monotonic() + _WAIT
    while True:
        try:
            handle = _opened(path)
        except PermissionError:
            # Windows says so while another run is taking the file away.
            if fcntl is not None or time.monotonic() > until:
                raise
            time.sleep(0.005)
            continue
        try:
            if fcntl is not None:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            else:
                msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
            if _named(handle, path):
                return handle, True
            os.close(handle)
            continue
        except OSError as error:
            if error.errno in _NO_LOCKS:
                return handle, False
            os.close(handle)
            if error.errno not in (errno.EAGAIN, errno.EACCES, errno.EDEADLK):
                raise
        if time.monotonic() > until:
            raise CroploadError(
                f"Another run of cropload is writing into {path.parent}. Nothing was written; "
                "try again when it is done."
            )
        time.sleep(random.uniform(0.0005, 0.005))


def _opened(path):
    more = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0)
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT | more, 0o666)
    except PermissionError:
        # In a folder shared by several people the file may be another's, who was cut short.
        return os.open(path, os.O_RDONLY | more)


def _named(handle, path):
    """Whether an open lock file still has its name, so that others ask for the same one."""
    try:
        return os.path.samestat(os.fstat(handle), os.stat(path))
    except FileNotFoundError:
        return False


def _clear(folder):
    """Take away unfinished files; all writers hold the folder, so their runs are gone."""
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if entry.name.startswith(PART_START) and entry.name.endswith(PART_END):
                with contextlib.suppress(OSError):
                    os.unlink(entry.path)
