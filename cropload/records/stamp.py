"""What tells that files of records changed since they were read."""

_ENDINGS = (".csv", ".xlsx", ".toml")


def stamp(path):
    """Return name, size and time of each file of records in a folder, or of a workbook.

    Parameters
    ----------
    path : pathlib.Path
        The folder or workbook.

    Returns
    -------
    list of (str, int, int), or None
        None where it cannot be looked at.
    """
    try:
        files = sorted(path.iterdir()) if path.is_dir() else [path]
        held = [(f.name, f.stat()) for f in files if f.suffix.lower() in _ENDINGS]
    except OSError:
        return None
    return [(name, stat.st_size, stat.st_mtime_ns) for name, stat in held]
