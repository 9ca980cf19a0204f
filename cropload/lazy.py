"""Names that load on first use, so that importing the package stays quick."""

import sys
from importlib import import_module


def names(module, homes, gone=None):
    """Return ``__getattr__``, ``__dir__`` and ``__all__`` of a module with names that load late.

    Parameters
    ----------
    module : str
        Name of the module that shows the names.
    homes : dict of str to str
        Name -> the module that holds it.
    gone : dict of str to str, optional
        Name that there was in earlier versions -> the name that holds it now.

    Examples
    --------
    >>> get, listed, every = names("cropload.lazy", {"METRIC": "cropload.units"})
    >>> get("METRIC").label("t_ha"), every
    ('t/ha', ['METRIC'])
    """

    def get(name):
        if gone and name in gone:
            raise ImportError(
                f"{name} is part of a page now: write `from {module} import {gone[name]}`, then "
                f"`{gone[name]}(FOLDER)`."
            )
        if name not in homes:
            raise AttributeError(f"module {module!r} has no attribute {name!r}")
        found = getattr(import_module(homes[name]), name)
        setattr(sys.modules[module], name, found)
        return found

    def listed():
        return sorted({*vars(sys.modules[module]), *homes})

    return get, listed, sorted(homes)
