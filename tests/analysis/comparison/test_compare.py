"""Differences by hand: what cancels, what a verdict needs, which way is better."""

import math
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.comparison import Compared, Side, compare
from analysis.comparison.compare import RISK
from analysis.comparison.meaning import every_name, meaning_of
from analysis.comparison.representative import representative
from analysis.comparison.side import STAYS
from analysis.measures.draft import UNSEEN
from analysis.measures.measured import Measured
from analysis.model import Baseline, Plate
from analysis.quantity import Error, Quality, Quantity

PLATE = Plate(rise=(20.0, 40.0), flame_current_min=1e-6, manifold=(870.0,), switch_close=(100.0,), switch_open=(90.0,))
BASELINE = Baseline(draft_collector=-310.0)
METER = {"flame_current@meter": "uA", "draft_collector@meter": "inH2O", "temp_supply@meter": "degF"}


def measured(
    name: str, value: float, *shares: tuple[str, float], unit: str = "A", attempt: int = 1, noise: float = 0.0
) -> Measured:
    budget = [(Error(text), share) for text, share in shares]
    budget += [(Error(f"noise of {attempt}", statistical=True), noise)] if noise else []
    quantity = Quantity(value, unit, math.hypot(*(share for _, share in budget)), budget=tuple(budget))
    return Measured(name, quantity, 100.0, 160.0, attempt, (f"{name.partition('.')[0]}@meter",))


def side(*found: Measured, meters: dict[str, str] | None = None) -> Side:
    return Side(found, (), PLATE, BASELINE, meters=METER if meters is None else meters)


def only(before: Side, after: Side) -> Compared:
    (one,) = compare(before, after).measures
    return one


FLAME = "flame_current.settled.high"
UA = 1e-6


def flame(value: float, offset: float = 0.2, **given: object) -> Measured:
    return measured(FLAME, value * UA, ("meter: offset", offset * UA), **given)  # type: ignore[arg-type]


def test_what_a_meter_errs_by_on_both_visits_cancels_for_the_most_part():
    """Offset of 0.2 uA on both, correlated by 0.8: 2 (1 - 0.8) 0.2^2, and 2 % of 2 uA from visit to visit."""
    one = only(side(flame(2.0)), side(flame(2.0)))
    assert one.same_meter
    assert one.difference.u == pytest.approx(UA * math.sqrt(2 * (1 - STAYS) * 0.2**2 + (0.02 * 2.0) ** 2))


@pytest.mark.parametrize("other", [{}, {"flame_current@meter": "uA another"}])
def test_nothing_cancels_where_the_meter_may_be_another(other):
    one = only(side(flame(2.0)), side(flame(2.0), meters=other))
    assert not one.same_meter
    assert one.difference.u == pytest.approx(UA * math.sqrt(2 * 0.2**2 + (0.02 * 2.0) ** 2))


def test_noise_never_cancels_though_its_name_is_the_same():
    first = second = side(flame(2.0, 1e-9, noise=0.3 * UA))
    assert only(first, second).difference.u == pytest.approx(UA * math.hypot(0.3, 0.3, 0.04))


def test_a_pressure_meter_is_zeroed_anew_so_its_offset_is_another():
    tap = "draft_collector.hot.low"
    both = side(measured(tap, -200.0, ("meter: offset", 1.5), unit="Pa"))
    gain = side(measured(tap, -200.0, ("meter: gain", 1.5), unit="Pa"))
    apart = only(both, both).difference.u ** 2 - only(gain, gain).difference.u ** 2
    assert apart == pytest.approx(2 * STAYS * 1.5**2)


def test_a_mean_keeps_what_all_attempts_share_and_shares_out_their_noise():
    found = representative([flame(value, noise=0.4 * UA, attempt=number) for number, value in enumerate((2.0, 2.1), 1)])
    assert found is not None
    assert found.quantity.value == pytest.approx(2.05 * UA)
    assert found.quantity.u == pytest.approx(UA * math.hypot(0.2, 0.4 / math.sqrt(2)))


def test_what_attempts_differ_by_beyond_their_noise_is_uncertainty_of_few_degrees():
    values = [flame(value, noise=0.05 * UA, attempt=number) for number, value in enumerate((1.0, 2.0, 3.0), 1)]
    found = representative(values)
    assert found is not None
    assert found.quantity.u == pytest.approx(UA * math.hypot(0.2, 1.0 / math.sqrt(3)))
    assert found.quantity.freedom < 3


def test_doubtful_values_give_way_to_sound_ones_and_tell_nothing_alone():
    sound = flame(2.0)
    doubtful = replace(
        flame(9.0, attempt=2), quantity=replace(sound.quantity, value=9 * UA, quality=Quality.SUSPECT, reason="not hot")
    )
    found = representative([sound, doubtful])
    assert found is not None
    assert found.quantity.value == pytest.approx(2 * UA)
    assert (found.count, found.left_out) == (1, 1)
    one = only(side(doubtful), side(flame(2.0)))
    assert one.verdict == "cannot tell"
    assert "not hot" in one.why


def test_a_dip_that_neither_meter_sees_does_not_hide_what_lasts():
    def margin(value: float) -> Measured:
        found = measured("draft_margin.smallest", value, ("meter: gain", 1.0), unit="Pa")
        doubt = f"reads every 0.5 s and follows in 0.5 s: {UNSEEN}"
        return replace(found, quantity=replace(found.quantity, quality=Quality.SUSPECT, reason=doubt))

    one = only(side(margin(2.0)), side(margin(60.0)))
    assert one.verdict == "better"
    assert UNSEEN in one.why


def test_no_accuracy_no_verdict():
    bare = replace(flame(2.0), quantity=Quantity(2 * UA, "A"))
    one = only(side(bare), side(flame(9.0)))
    assert one.verdict == "cannot tell"
    assert "accuracy" in one.why


NEAR, FAR = ("meter: gain", 0.2), ("meter: gain", 1.0)


@pytest.mark.parametrize(
    ("name", "unit", "before", "after", "verdict"),
    [
        (FLAME, "A", 1 * UA, 3 * UA, "better"),
        ("ignition.time_to_prove", "s", 1.0, 9.0, "worse"),
        ("temp_rise.settled.high", "K", 55.0, 30.0, "better"),  # into the window
        ("temp_rise.settled.high", "K", 24.0, 36.0, "changed"),  # inside all along
        ("temp_rise.settled.high", "K", 30.0, 55.0, "worse"),
        ("draft_collector.hot.high", "Pa", -250.0, -305.0, "better"),  # baseline -310
        ("draft_collector.hot.high", "Pa", -250.0, -370.0, "changed"),  # as far on the other side
        ("draft_collector.hot.high", "Pa", -310.0, -250.0, "worse"),
        ("draft_collector.hot.low", "Pa", -150.0, -250.0, "changed"),  # no baseline in low stage
        ("gas_manifold.flowing.high", "Pa", 500.0, 870.0, "better"),
        ("draft_switch.after_stop", "Pa", -40.0, 2.0, "better"),
        ("phase.over_timing.prepurge", "s", -6.0, 0.0, "better"),
    ],
)
def test_what_is_better(name, unit, before, after, verdict):
    shares = ("meter: gain", abs(after - before) / 50)
    found = only(side(measured(name, before, shares, unit=unit)), side(measured(name, after, shares, unit=unit)))
    assert found.verdict == verdict


def test_more_measures_ask_for_surer_changes():
    """One difference of 2.5 standard uncertainties is a change alone, and none among thirty without a change."""
    names = [
        name for name in every_name() if name.startswith(("phase.over_timing", "draft_margin.", "volts_", "amps_"))
    ]

    def found(others: Sequence[str]) -> str:
        sides = []
        for value in (0.0, 2.5):
            own = [measured("ignition.time_to_prove", value, (f"own {value}", 1 / math.sqrt(2)), unit="s")]
            own += [measured(name, 5.0, ("x", 1.0), unit="V") for name in others]
            sides.append(side(*own))
        return next(one.verdict for one in compare(*sides).measures if one.name == "ignition.time_to_prove")

    assert pytest.approx(math.erfc(2 / math.sqrt(2)), abs=1e-4) == RISK
    assert found([]) == "worse"
    assert found(names[:30]) == "no change"


def test_what_would_have_been_seen_is_seen():
    one = only(side(flame(2.0)), side(flame(2.0)))
    assert only(side(flame(2.0)), side(flame(2.0 + 1.05 * one.sees / UA))).verdict == "better"
    assert only(side(flame(2.0)), side(flame(2.0 + 0.9 * one.sees / UA))).verdict == "no change"


def test_what_only_one_visit_has_is_said():
    found = compare(side(flame(2.0)), side(measured("draft_collector.cold", -100.0, NEAR, unit="Pa")))
    assert found.only_before == (FLAME,)
    assert found.only_after == ("draft_collector.cold",)
    assert "no measure in common" in found.nothing


def test_nothing_at_all():
    assert "record an ignition attempt" in compare(side(), side()).nothing


def test_every_measure_has_its_meaning():
    for name in every_name():
        assert meaning_of(name, PLATE, BASELINE).way in ("larger", "smaller", "nearer", "none", "not compared")
    compared = [name for name in every_name() if meaning_of(name, PLATE, BASELINE).way != "not compared"]
    assert {"temp_rise.settled.high", "flue_o2.settled.low", "draft_margin.smallest"} <= set(compared)
    assert not {name for name in compared if name.startswith(("humidity", "cycle", "attempts", "temp_outdoor"))}


NAMES = [FLAME, "draft_collector.hot.high", "temp_rise.settled.high", "draft_margin.cold", "ignition.time_to_prove"]
VALUE = st.floats(-60.0, 60.0).map(lambda value: round(value, 2))


@settings(deadline=None, max_examples=60)
@given(st.dictionaries(st.sampled_from(NAMES), st.tuples(VALUE, VALUE, st.floats(0.1, 5.0)), min_size=1))
def test_swapped_better_is_worse_and_with_itself_nothing(values):
    units = {FLAME: "A", "ignition.time_to_prove": "s", "temp_rise.settled.high": "K"}
    sides = [
        side(
            *(
                measured(name, pair[k], ("meter: gain", pair[2]), unit=units.get(name, "Pa"))
                for name, pair in values.items()
            )
        )
        for k in (0, 1)
    ]
    there, back = compare(*sides), compare(*reversed(sides))
    turned = {"better": "worse", "worse": "better"}
    for one, other in zip(there.measures, back.measures, strict=True):
        assert turned.get(one.verdict, one.verdict) == other.verdict
        assert one.difference.value == pytest.approx(-other.difference.value)
        assert one.difference.u == pytest.approx(other.difference.u)
    assert {one.verdict for one in compare(sides[0], sides[0]).measures} == {"no change"}
