"""Signs that only hoses, probes or leads on the wrong side explain; the same facts live and over a recording.

With the inducer running the collector and transition boxes are below the room whatever is blocked, leaking or worn
(the signs that `analysis.draft_network` works with); what acts to close a switch is positive at it; gas supply is above
the room; heat leaves with the supply air; a flame conducts towards ground only. Thresholds and times are common
practice, no published source: wide enough for an offset of the meter, and long enough for any transient.
"""

from typing import NamedTuple

from analysis.model import Plate
from analysis.points import POINTS

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
FLAME = 0.5e-6
"""Above this there is flame. Common practice, no published source. [A]"""
LINGERS = 3.0
"""A flame current that is there longer than this after the valve closed is a flame, and so on. Our choice. [s]"""
NO_SUPPLY = 10.0
"""Below this the 24 V are off, and every contact that is read by its voltage reads open. Our choice. [V]"""
INDUCER_RUNS = {"switch_closed": 0.5, "amps_inducer": 0.3, "speed_inducer": 500.0}
"""At least one of these above its level shows that the inducer runs. [inside unit]"""

HOSES, PROBES, LEADS = "hoses may be swapped", "probes may be swapped", "leads may be swapped"


class Part(NamedTuple):
    """A value, or a difference of two, and where it is on the wrong side and where on the right one."""

    point: str
    wrong: float
    """At it or beyond, seen from `right`. [inside unit, or share of `switch_level`]"""
    right: float
    """The same the other way."""
    less: str = ""
    """Point that is taken off, if any."""
    switch: str = ""
    """`low` or `high` where the two are shares of `switch_level`."""


class Sign(NamedTuple):
    """One thing that may be swapped; wrong where all its parts are, right where all are."""

    points: tuple[str, ...]
    """What is doubtful then."""
    parts: tuple[Part, ...]
    when: str
    """What has to go on meanwhile: `inducer`, `blower`, `valve`, `fire`, `always`."""
    hold: float
    """How long they must be wrong. [s]"""
    word: str
    """In three words or four."""
    text: str
    contact: str = ""
    """Contact that shows `inducer` too."""


def switch_level(plate: Plate, *, high: bool) -> float:
    """Beyond this, on the wrong side, the pressure at a switch is a mirrored one. [Pa]"""
    closing = plate.switch_close
    return 0.5 * (closing[0] if high else closing[-1]) if closing else SWITCH


def limits_of(part: Part, plate: Plate) -> tuple[float, float]:
    """Where a part is wrong and where it is right. [inside unit]"""
    scale = switch_level(plate, high=part.switch == "high") if part.switch else 1.0
    return part.wrong * scale, part.right * scale


def _hoses(point: str, reads: str, when: str) -> str:
    where = POINTS[point].text
    where = where if where.startswith("at the") else f"at the {where}"
    return f"the pressure {where} reads {reads} {when}; its hoses may be swapped: check the hoses"


_BELOW, _ABOVE = "below the room", "above the room"
_RUNNING = "while the inducer runs"


def _box(point: str) -> Sign:
    return Sign((point,), (Part(point, BOX, -BOX),), "inducer", 5.0, HOSES, _hoses(point, _ABOVE, _RUNNING))


def _switch(point: str, contact: str, side: str) -> Sign:
    text = f"the pressure {POINTS[point].text} reads reversed while the inducer runs; its hoses may be swapped"
    parts = (Part(point, -1.0, 0.5, switch=side),)
    return Sign((point,), parts, "inducer", 5.0, HOSES, f"{text}: check the hoses", contact)


def _gas(point: str, when: str, text: str) -> Sign:
    return Sign((point,), (Part(point, -GAS, BOX),), when, 5.0, HOSES, _hoses(point, _BELOW, text))


SIGNS: dict[str, Sign] = {
    "switch_hoses": _switch("draft_switch", "switch_closed", "low"),
    "switch_high_hoses": _switch("draft_switch_high", "switch_high_closed", "high"),
    "collector_hoses": _box("draft_collector"),
    "transition_hoses": _box("draft_transition"),
    "gas_inlet_hoses": _gas("gas_inlet", "always", "though gas is above it"),
    "gas_manifold_hoses": _gas("gas_manifold", "valve", "while the gas valve is on"),
    "static_hoses": Sign(
        ("static_supply", "static_return"),
        (Part("static_supply", -STATIC, STATIC), Part("static_return", STATIC, -STATIC)),
        "blower",
        10.0,
        HOSES,
        "return static reads above and supply static below the room while the blower runs; "
        "their hoses may be swapped: check the hoses",
    ),
    "air_probes": Sign(
        ("temp_supply", "temp_return"),
        (Part("temp_supply", -COLDER, COLDER, less="temp_return"),),
        "fire",
        60.0,
        PROBES,
        "supply air reads colder than return air while the flame burns; "
        "the two probes may be swapped: check where each one is",
    ),
    "flame_leads": Sign(
        ("flame_current",),
        (Part("flame_current", -FLAME, FLAME),),
        "always",
        3.0,
        LEADS,
        "the flame current reads negative; the meter's leads may be swapped: check the leads, with power off",
    ),
}
"""What may be swapped, by name, live and afterwards."""

AFTERWARDS: dict[str, Sign] = {
    "burner_box_hoses": _box("draft_burner_box"),
    "vent_hoses": Sign(
        ("draft_vent",),
        (Part("draft_vent", -BOX, BOX),),
        "inducer",
        10.0,
        HOSES,
        _hoses("draft_vent", _BELOW, _RUNNING),
    ),
    "boxes_exchanged": Sign(
        ("draft_burner_box", "draft_collector"),
        (Part("draft_burner_box", -BOX, BOX, less="draft_collector"),),
        "inducer",
        10.0,
        HOSES,
        "the burner box reads more suction than the collector box, which pulls the air through it; "
        "their hoses may be exchanged: check which hose is on which tap",
    ),
    "boxes_exchanged_at_transition": Sign(
        ("draft_transition", "draft_collector"),
        (Part("draft_transition", -BOX, BOX, less="draft_collector"),),
        "inducer",
        10.0,
        HOSES,
        "the transition box reads more suction than the collector box, which pulls the air through it; "
        "their hoses may be exchanged: check which hose is on which tap",
    ),
    "gas_exchanged": Sign(
        ("gas_inlet", "gas_manifold"),
        (Part("gas_manifold", GAS, -GAS, less="gas_inlet"),),
        "always",
        5.0,
        HOSES,
        "the manifold reads more pressure than the inlet that feeds it; "
        "their hoses may be exchanged: check which hose is on which tap, with the gas cock shut",
    ),
}
"""What is looked at over a recording besides."""
