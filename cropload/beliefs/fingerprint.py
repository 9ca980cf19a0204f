"""A fingerprint of what records say, so that the same work is not done twice for equal records."""

from hashlib import sha256

import numpy as np
import pandas as pd

#: Tables that speak of how much blocks and seasons differ.
TEACHING = ("blocks", "pruning", "counts", "fertility", "weights", "harvest")


def fingerprint(records, tables=TEACHING):
    """Return a digest of some tables: equal for equal content, whatever object holds it.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    tables : sequence of str
        Names of the tables.

    Returns
    -------
    bytes
    """
    found = sha256()
    for name in tables:
        table = getattr(records, name)
        found.update(f"{name} {len(table)} {list(table.columns)}".encode())
        for column in table:
            values = table[column]
            if values.dtype.kind in "iufbM":
                # A missing number is one thing, however its bits are set.
                bits = values.to_numpy()
                if values.dtype.kind == "f":
                    bits = np.where(np.isnan(bits), np.nan, bits)
                found.update(np.ascontiguousarray(bits).tobytes())
            else:
                found.update(pd.util.hash_array(values.to_numpy(object)).tobytes())
    return found.digest()
