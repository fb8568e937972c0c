"""Signs that are wrong: what only hoses, probes or leads on the wrong side explain.

With the inducer running the collector and transition boxes are below the room whatever is blocked, leaking or worn
(the signs that `analysis.draft_network` works with); what acts to close a switch is positive at it; gas supply is above
the room; heat leaves with the supply air; a flame conducts towards ground only. Thresholds and times are common
practice, no published source: wide enough for an offset of the meter, and long enough for any transient.
"""

from collections.abc import Callable
from typing import NamedTuple

from analysis.model import NANOSECONDS, Plate
from analysis.points import POINTS, measure_of
from collector.stop_signs import FLAME

FRESH = {"pressure": 5.0, "flame_current": 5.0, "temperature": 60.0}
FRESH_OTHERS = 30.0
"""How old a value may be and still count. [s]"""
BOX = 25.0
"""A box this far above the room, 0.10 in. w.c., is on the wrong side. [Pa]"""
SWITCH = 50.0
"""The same at a switch below the room, 0.20 in. w.c., where its closing point is not known. [Pa]"""
GAS = 125.0
"""The same of gas below the room, 0.50 in. w.c. [Pa]"""
STATIC = 12.5
"""The same of statics, 0.05 in. w.c. [Pa]"""
COLDER = 5.0
"""Supply air this much colder than return air. [K]"""
INDUCER_AMPS, INDUCER_SPEED = 0.3, 500.0
"""Above these the inducer runs. [A] [rpm]"""

HOSES, PROBES, LEADS = "hoses may be swapped", "probes may be swapped", "leads may be swapped"


class Held(NamedTuple):
    """The last value of a point."""

    time: int
    """[ns]"""
    value: float
    """[inside unit]"""
    instrument: str


class Look:
    """What is measured now."""

    def __init__(self, plate: Plate) -> None:
        self.held: dict[str, Held] = {}
        """By point."""
        self.now = 0
        """[ns]"""
        self.use(plate)

    def use(self, plate: Plate) -> None:
        """Work with this plate from now on."""
        self.switch = tuple(0.5 * closing for closing in plate.switch_close)

    def value(self, point: str) -> float | None:
        """A point's value, None where it is not known now. [inside unit]"""
        held = self.held.get(point)
        if held is None:
            return None
        fresh = FRESH.get(measure_of(point).name, FRESH_OTHERS)
        return held.value if self.now - held.time <= fresh * NANOSECONDS else None

    def is_on(self, point: str) -> bool:
        """Whether a contact is known to be closed."""
        return (self.value(point) or 0.0) >= 0.5

    def inducer_runs(self) -> bool:
        """Whether something shows that the inducer runs."""
        amps, speed = self.value("amps_inducer") or 0.0, self.value("speed_inducer") or 0.0
        return self.is_on("switch_closed") or amps > INDUCER_AMPS or speed > INDUCER_SPEED

    def burns(self) -> bool:
        """Whether something shows that the flame burns, whichever way its current is read."""
        current = self.value("flame_current")
        return self.is_on("gas_valve") if current is None else abs(current) >= FLAME

    def switch_level(self, *, high: bool) -> float:
        """Beyond this, on the wrong side, the pressure at a switch is a mirrored one. [Pa]"""
        return (self.switch[0] if high else self.switch[-1]) if self.switch else SWITCH


class Rule(NamedTuple):
    """One thing that may be swapped."""

    points: tuple[str, ...]
    """What is doubtful then."""
    wrong: Callable[[Look], bool | None]
    """True where the signs are wrong, False where they are right, None where that cannot be told now."""
    hold: float
    """How long they must be wrong. [s]"""
    word: str
    """In three words or four."""
    text: str


def _sign(value: float | None, wrong: float, right: float) -> bool | None:
    """Whether a value is beyond `wrong` on one side, or beyond `right` on the other."""
    if value is None or wrong < value < right or right < value < wrong:
        return None
    return value <= wrong if wrong < right else value >= wrong


def _box(point: str) -> Callable[[Look], bool | None]:
    return lambda now: _sign(now.value(point), BOX, -BOX) if now.inducer_runs() else None


def _at_switch(point: str, contact: str, *, high: bool) -> Callable[[Look], bool | None]:
    def wrong(now: Look) -> bool | None:
        level = now.switch_level(high=high)
        running = now.is_on(contact) or now.inducer_runs()
        return _sign(now.value(point), -level, level / 2) if running else None

    return wrong


def _statics(now: Look) -> bool | None:
    supply, back = now.value("static_supply"), now.value("static_return")
    if not now.is_on("blower_on") or supply is None or back is None:
        return None
    if supply <= -STATIC and back >= STATIC:
        return True
    return False if supply >= STATIC and back <= -STATIC else None


def _airs(now: Look) -> bool | None:
    supply, back, blower = now.value("temp_supply"), now.value("temp_return"), now.value("blower_on")
    if not now.burns() or supply is None or back is None or (blower is not None and blower < 0.5):
        return None
    return _sign(supply - back, -COLDER, COLDER)


def _hoses(point: str, reads: str, when: str) -> str:
    where = POINTS[point].text
    where = where if where.startswith("at the") else f"at the {where}"
    return f"the pressure {where} reads {reads} {when}; its hoses may be swapped: check the hoses"


_BELOW, _ABOVE = "below the room", "above the room"
_RUNNING = "while the inducer runs"

RULES: dict[str, Rule] = {
    "switch_hoses": Rule(
        ("draft_switch",),
        _at_switch("draft_switch", "switch_closed", high=False),
        5.0,
        HOSES,
        "the pressure at the pressure switch reads reversed while the inducer runs; "
        "its hoses may be swapped: check the hoses",
    ),
    "switch_high_hoses": Rule(
        ("draft_switch_high",),
        _at_switch("draft_switch_high", "switch_high_closed", high=True),
        5.0,
        HOSES,
        "the pressure at the high-stage pressure switch reads reversed while the inducer runs; "
        "its hoses may be swapped: check the hoses",
    ),
    "collector_hoses": Rule(
        ("draft_collector",), _box("draft_collector"), 5.0, HOSES, _hoses("draft_collector", _ABOVE, _RUNNING)
    ),
    "transition_hoses": Rule(
        ("draft_transition",), _box("draft_transition"), 5.0, HOSES, _hoses("draft_transition", _ABOVE, _RUNNING)
    ),
    "gas_inlet_hoses": Rule(
        ("gas_inlet",),
        lambda now: _sign(now.value("gas_inlet"), -GAS, BOX),
        5.0,
        HOSES,
        _hoses("gas_inlet", _BELOW, "though gas is above it"),
    ),
    "gas_manifold_hoses": Rule(
        ("gas_manifold",),
        lambda now: _sign(now.value("gas_manifold"), -GAS, BOX) if now.is_on("gas_valve") else None,
        5.0,
        HOSES,
        _hoses("gas_manifold", _BELOW, "while the gas valve is on"),
    ),
    "static_hoses": Rule(
        ("static_supply", "static_return"),
        _statics,
        10.0,
        HOSES,
        "return static reads above and supply static below the room while the blower runs; "
        "their hoses may be swapped: check the hoses",
    ),
    "air_probes": Rule(
        ("temp_supply", "temp_return"),
        _airs,
        60.0,
        PROBES,
        "supply air reads colder than return air while the flame burns; "
        "the two probes may be swapped: check where each one is",
    ),
    "flame_leads": Rule(
        ("flame_current",),
        lambda now: _sign(now.value("flame_current"), -FLAME, FLAME),
        3.0,
        LEADS,
        "the flame current reads negative; the meter's leads may be swapped: check the leads, with power off",
    ),
}
"""What may be swapped, by name."""

WATCHED = frozenset(
    {point for rule in RULES.values() for point in rule.points}
    | {"switch_closed", "switch_high_closed", "amps_inducer", "speed_inducer", "gas_valve", "blower_on"}
)
"""Points that are looked at."""
