"""The fixed checklist of the trade, whatever the results say; what ranking is compared with."""

from analysis.diagnosis.situation import Situation, refusals
from analysis.diagnosis.steps.catalogue import ORDERS, STEPS
from analysis.diagnosis.steps.step import Step


def next_in_order(complaint: str, situation: Situation) -> Step | None:
    """The first test of the complaint's list that was not made and may be made here; None at its end."""
    seen = {STEPS[name].like for name in situation.done if name in STEPS} - {""}
    for name in ORDERS[complaint]:
        step = STEPS[name]
        if name not in situation.done and step.like not in seen and not refusals(step, situation):
            return step
    return None
