"""What records say, whatever object holds them: a digest of it, and what was made of it lately."""

from hashlib import sha256

import numpy as np
import pandas as pd

#: Tables that speak of how much blocks and seasons differ; dates tell how early lots were weighed.
TEACHING = (
    "blocks",
    "pruning",
    "counts",
    "fertility",
    "weights",
    "harvest",
    "events",
    "dates",
)


def fingerprint(records, tables=TEACHING):
    """Return a digest of some tables: equal for equal content, whatever object holds it.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    tables : tuple of str
        Names of the tables.

    Returns
    -------
    bytes
    """
    digest = sha256()
    for name in tables:
        table = getattr(records, name)
        digest.update(f"{name} {len(table)} {list(table.columns)}".encode())
        for column in table:
            values = table[column]
            if values.dtype.kind in "iufbM":
                # A missing number is one thing, however its bits are set.
                bits = values.to_numpy()
                if values.dtype.kind == "f":
                    bits = np.where(np.isnan(bits), np.nan, bits)
                digest.update(np.ascontiguousarray(bits).tobytes())
            else:
                texts = values.to_numpy(object)
                try:
                    text = "\0".join(texts)
                except TypeError:
                    digest.update(pd.util.hash_array(texts).tobytes())
                else:
                    digest.update(f"{text.count(chr(0))} {text}".encode("utf-8", "surrogatepass"))
    return digest.digest()


class Lately:
    """What was made lately, by what it was made from.

    Parameters
    ----------
    most : int
        How many are kept [1].
    """

    def __init__(self, most):
        self._most, self._kept = most, {}

    def get(self, key, make):
        """Return what was made for a key before, or make it now and keep it."""
        made = self._kept.pop(key, None)
        if made is None:
            made = make()
        self._kept[key] = made
        if len(self._kept) > self._most:
            del self._kept[next(iter(self._kept))]
        return made
