"""Write files so that nothing of the user's is lost: atomic, and never over a changed file."""

import contextlib
import os
import stat
import tempfile
from pathlib import Path

from cropload.errors import CroploadError


def check_writable(path):
    """Check that a file can be replaced: not locked, not read-only, in a folder that allows it.

    Parameters
    ----------
    path : path
        The file, there or not.

    Raises
    ------
    CroploadError
        With what stands in the way and what to do.
    """
    path = Path(path)
    if path.is_dir():
        raise CroploadError(f"{path} is a folder. Give the name of a file.")
    folder = path.parent
    if not folder.is_dir():
        raise CroploadError(f"The folder {folder} does not exist. Make it first.")
    if not _allows(folder):
        raise CroploadError(f"The folder {folder} is read-only. Choose another, or allow writing.")
    if path.exists() and not _allows(path):
        raise CroploadError(f"{path.name} is read-only. Allow writing, or choose another file.")
    for lock in (f".~lock.{path.name}#", f"~${path.name}"):
        if (folder / lock).exists():
            raise CroploadError(
                f"{path.name} is open in a spreadsheet program. Close it there and try again. "
                f"(If it is not open, delete the leftover file {lock}.)"
            )


def _allows(path):
    # The mode is looked at as well, because an administrator may write to read-only files.
    return os.access(path, os.W_OK) and bool(path.stat().st_mode & stat.S_IWUSR)


def put_bytes(path, data, replace=False, expected=None):
    """Write a whole file at once, or leave everything as it was.

    Parameters
    ----------
    path : path
        The file.
    data : bytes
        Its new content.
    replace : bool
        Whether an existing file may be replaced.
    expected : bytes, optional
        What the file held when it was read; another content means somebody changed it since.

    Raises
    ------
    CroploadError
        When the file exists, cannot be written, or has changed.
    """
    path = Path(path)
    check_writable(path)
    if not replace and (path.exists() or path.is_symlink()):
        raise CroploadError(
            f"{path} exists and is not overwritten. Choose another name, or ask to replace it."
        )
    # A linked file is written where it really lies, so that the link stays.
    target = path.resolve()
    temporary = None
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, _mode(target))
        if expected is not None and _content(target) != expected:
            raise CroploadError(
                f"{path.name} was changed by another program while it was being added to. "
                "Nothing was written; try again."
            )
        if replace:
            os.replace(temporary, target)
        else:
            _move_new(temporary, target, path)
    except OSError as error:
        raise CroploadError(
            f"{path} cannot be written ({error.strerror or error}). "
            "Close it in other programs, and check that the disk has room and allows writing."
        ) from None
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                os.unlink(temporary)


def _content(path):
    return path.read_bytes() if path.exists() else b""


def _mode(path):
    if path.exists():
        return stat.S_IMODE(path.stat().st_mode)
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _move_new(temporary, target, path):
    """Give a finished file its name, without replacing a file that appeared meanwhile."""
    try:
        os.link(temporary, target)
    except FileExistsError:
        raise CroploadError(f"{path} exists and is not overwritten. Choose another name.") from None
    except OSError:  # a file system without links
        os.replace(temporary, target)
