"""Flows of the draft circuit by the square law, with sources at its nodes: sound, and with openings in it."""

from drivers.simulate.maths import Maths, Number

LAMINAR = 1e-5
"""Flow in a section below which its drop goes with the flow and no longer with its square. [kg/s]"""
SEEPING = 1e-9
"""The same for an opening. [kg/s]"""
_STEPS = 60
"""Newton steps after which the search ends; one to three are usual from the flows of the step before."""
_CLOSE = 1e-4
"""Movement of the flows that ends the search, over the flows; what is left is half its square."""
_CLOSER = 1e3
"""How much less an opening's flow may move: from far too much it only halves, and no pressure shows what is left."""

Numbers = tuple[Number, ...]


def tight(m: Maths, *, resisting: Numbers, sources: Numbers, driving: Number, flow: Number) -> Numbers:
    """Flow and drops of a circuit without openings.

    resisting : of intake, primary, secondary, and inducer with vent, value > 0. [1/kg/m]
    sources : entering at the burner box, entering at the transition, leaving at the collector box. [kg/s]
    driving : pressure from end to end, with the inducer's at rest of the flow. [Pa]
    flow : through the intake, where the search starts. [kg/s]
    returns : flow through the intake [kg/s]; drops in the order of `resisting` [Pa]. [-]

    Method: Newton's for the one flow; the drops are those of its last linear circuit, so that they add up to `driving`.
    """
    where = m.where
    intake, primary, secondary, onward = resisting
    fuel, puff, condensate = sources
    for _ in range(_STEPS):
        second = flow + fuel
        third = second + puff
        fourth = third - condensate
        size_1, size_2, size_3, size_4 = abs(flow), abs(second), abs(third), abs(fourth)
        least_1 = where(size_1 > LAMINAR, size_1, LAMINAR)
        least_2 = where(size_2 > LAMINAR, size_2, LAMINAR)
        least_3 = where(size_3 > LAMINAR, size_3, LAMINAR)
        least_4 = where(size_4 > LAMINAR, size_4, LAMINAR)
        slope_1, drop_1 = intake * (size_1 + least_1), intake * flow * least_1
        slope_2, drop_2 = primary * (size_2 + least_2), primary * second * least_2
        slope_3, drop_3 = secondary * (size_3 + least_3), secondary * third * least_3
        slope_4, drop_4 = onward * (size_4 + least_4), onward * fourth * least_4
        moved = (driving - drop_1 - drop_2 - drop_3 - drop_4) / (slope_1 + slope_2 + slope_3 + slope_4)
        flow = flow + moved
        if m.everywhere(abs(moved) <= _CLOSE * (least_1 + size_4)):
            break
    first, second, third = drop_1 + slope_1 * moved, drop_2 + slope_2 * moved, drop_3 + slope_3 * moved
    return flow, first, second, third, drop_4 + slope_4 * moved


def leaky(
    m: Maths, *, resisting: Numbers, admitting: Numbers, sources: Numbers, pressures: Numbers, flows: Numbers
) -> Numbers:
    """Flows and pressures of a circuit with openings at the burner box, the transition and the collector box.

    resisting : of intake, primary, secondary, and inducer with vent, value > 0. [1/kg/m]
    admitting : of the openings: square of the flow over the pressure difference, value >= 0. [kg*m]
    sources : entering at the burner box, entering at the transition, leaving at the collector box. [kg/s]
    pressures : at the intake, behind the opening at the transition, the inducer's at rest of the flow less that at the
        vent; those behind the other openings are 0. [Pa]
    flows : through the intake and, inwards, the three openings, where the search starts. [kg/s]
    returns : flows as in `flows` [kg/s]; pressures at burner box, transition and collector box, and drop of inducer
        and vent [Pa]. [-]

    Method: Newton's for all flows at once. Each step is a linear circuit, a ladder: everything before a node acts like
        one pressure behind one resistance. It is solved along the flow and back, so that what enters a node leaves it
        after every step.
    """
    where = m.where
    intake, primary, secondary, onward = resisting
    at_box, at_transition, at_collector = admitting
    fuel, puff, condensate = sources
    start, blower, beyond = pressures
    flow, entering_1, entering_2, entering_3 = flows
    second = flow + entering_1 + fuel
    third = second + entering_2 + puff
    fourth = third + entering_3 - condensate
    for _ in range(_STEPS):
        size_1, size_2, size_3, size_4 = abs(flow), abs(second), abs(third), abs(fourth)
        slope_1 = intake * (size_1 + where(size_1 > LAMINAR, size_1, LAMINAR))
        slope_2 = primary * (size_2 + where(size_2 > LAMINAR, size_2, LAMINAR))
        slope_3 = secondary * (size_3 + where(size_3 > LAMINAR, size_3, LAMINAR))
        slope_4 = onward * (size_4 + where(size_4 > LAMINAR, size_4, LAMINAR))
        size_a, size_b, size_c = abs(entering_1), abs(entering_2), abs(entering_3)
        double_a = size_a + where(size_a > SEEPING, size_a, SEEPING)
        double_b = size_b + where(size_b > SEEPING, size_b, SEEPING)
        double_c = size_c + where(size_c > SEEPING, size_c, SEEPING)
        admits_1, carried_1 = at_box / double_a, entering_1 * size_a / double_a
        admits_2 = at_transition / double_b
        carried_2 = admits_2 * blower + entering_2 * size_b / double_b
        admits_3, carried_3 = at_collector / double_c, entering_3 * size_c / double_c
        shared_1 = 1.0 + slope_1 * admits_1
        behind_1 = (start + intake * flow * size_1 + slope_1 * (carried_1 + fuel)) / shared_1
        inner_1 = slope_1 / shared_1
        inner_2 = inner_1 + slope_2
        shared_2 = 1.0 + inner_2 * admits_2
        behind_2 = (behind_1 + primary * second * size_2 + inner_2 * (carried_2 + puff)) / shared_2
        inner_2 = inner_2 / shared_2
        inner_3 = inner_2 + slope_3
        shared_3 = 1.0 + inner_3 * admits_3
        behind_3 = (behind_2 + secondary * third * size_3 + inner_3 * (carried_3 - condensate)) / shared_3
        inner_3 = inner_3 / shared_3
        old_1, old_2, old_3, old_4 = flow, second, third, fourth
        old_a, old_b, old_c = entering_1, entering_2, entering_3
        fourth = (behind_3 + beyond + onward * fourth * size_4) / (inner_3 + slope_4)
        collector = behind_3 - inner_3 * fourth
        entering_3 = carried_3 - admits_3 * collector
        third = fourth - entering_3 + condensate
        transition = behind_2 - inner_2 * third
        entering_2 = carried_2 - admits_2 * transition
        second = third - entering_2 - puff
        box = behind_1 - inner_1 * second
        entering_1 = carried_1 - admits_1 * box
        flow = second - entering_1 - fuel
        moved = abs(flow - old_1) + abs(second - old_2) + abs(third - old_3) + abs(fourth - old_4)
        strayed = abs(entering_1 - old_a) + abs(entering_2 - old_b) + abs(entering_3 - old_c)
        if m.everywhere(moved + _CLOSER * strayed <= _CLOSE * (size_1 + size_4 + LAMINAR)):
            break
    return flow, entering_1, entering_2, entering_3, box, transition, collector, collector + beyond
