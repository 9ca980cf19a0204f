"""The vines of all levels in the browser, where a bud can be chosen by click or key."""

from pathlib import Path

import anywidget
import traitlets

from cropload.pruning.vine_drawing import vines_html
from cropload.vine.plan import SPUR_MOST_BUDS


class VineDrawing(anywidget.AnyWidget):
    """One vine of each level, to one scale; without a browser a plain object.

    Attributes
    ----------
    html : str
        The drawings with their captions.
    chosen : dict
        ``level``, from 0, and ``buds_per_cane`` or ``buds_per_spur`` as last chosen; empty once
        the drawing has followed.
    least, most : dict
        Fewest and most buds that may be chosen on each kind of wood [1].
    """

    _esm = Path(__file__).with_suffix(".js")
    _css = Path(__file__).with_suffix(".css")

    html = traitlets.Unicode().tag(sync=True)
    chosen = traitlets.Dict().tag(sync=True)
    least = traitlets.Dict({"cane": SPUR_MOST_BUDS + 1, "spur": 1}).tag(sync=True)
    most = traitlets.Dict({"cane": 40, "spur": SPUR_MOST_BUDS}).tag(sync=True)

    def show(self, comparison, plans, names, desk):
        """Draw the levels of a comparison.

        Parameters
        ----------
        comparison : Comparison
            With one row a plan.
        plans : sequence of PruningPlan
            Its plans.
        names : sequence of str
            What each level is called; empty where it has no name.
        desk : Desk
            Holds the facts of the block and the units.
        """
        frame, facts = comparison.frame, desk.facts
        with self.hold_sync():
            self.html = vines_html(
                plans,
                float(frame["canopy_length_m"].iloc[0]),
                str(facts["training"]),
                int(facts["canopies"]),
                desk.units,
                titles=[name or f"level {at}" for at, name in enumerate(names, start=1)],
                shoots_per_m=frame["shoots_per_m_p50"].tolist(),
            )
            # So that the same bud can be chosen again after its number was changed elsewhere.
            self.chosen = {}
