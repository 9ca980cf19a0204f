"""Which varieties of the records the handbook does not know, and what is taken for them."""

from cropload import handbook
from cropload.errors import nearest

#: Names as alike as this are most often one name, misspelt [1].
ALIKE = 0.84


def components_by_variety():
    """Return the components for which the handbook holds figures of single varieties."""
    return {key.split(".")[2] for key in handbook.keys("variety.")}


#: Components that tell varieties apart most.
MAIN = ("clusters_per_shoot", "cluster_weight_g")


def blank_cells(variety):
    """Return those of ``MAIN`` for which the handbook has no figure of a variety."""
    own = handbook.variety(variety)
    return [name for name in MAIN if name not in own]


def unknown_varieties(names):
    """Return the varieties without an entry in the handbook, with a near name for likely slips.

    Parameters
    ----------
    names : iterable of str
        Varieties, as the records write them.

    Returns
    -------
    dict
        {variety: near name of the handbook or of an earlier variety, or ``""``}, as given.

    Examples
    --------
    >>> unknown_varieties(["Riesling", "Reisling", "No such grape"])
    {'Reisling': 'Riesling', 'No such grape': ''}
    """
    known = list(handbook.variety_names())
    found = {}
    for name in dict.fromkeys(map(str, names)):
        if handbook.variety(name):
            continue
        found[name] = "".join(nearest(name, known, alike=ALIKE))
        known.append(name)
    return found
