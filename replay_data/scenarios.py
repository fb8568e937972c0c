"""The scenarios of this folder: invented units, what is wrong with them, when they are called and the meters on them.

Everything in the table is invented; README.md tells the stories. Nothing here is a reference for real equipment.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from drivers.simulate.causes import Cause
from drivers.simulate.meters import KITS, METERS, DropOuts, Meter, MeterClock, Move
from drivers.simulate.plant import STEP
from drivers.simulate.tank import TankUnit

Calls = tuple[tuple[float, float, int], ...]
"""Start [s], end [s] and stage of each call; stage 1 or 2 of the furnace."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """One recording."""

    name: str
    seed: int
    """Of unit, weather, faults and meters."""
    start: str
    meters: tuple[Meter, ...]
    causes: tuple[Cause, ...] = ()
    minutes: float = 22.0
    calls: Calls | None = ()
    """As given; none given: a bench call of both stages; None: the thermostat's own."""
    job: str = ""
    """Job file by hand that says what the unit is; without, it is a random one of the seed."""
    weather: Mapping[str, float] = field(default_factory=dict)
    """What is not left to chance about it: fields of `WeatherUnit`."""
    humidity: float | None = None
    """Of the room at the beginning, where that is not left to chance. [1]"""
    tank: TankUnit | None = None
    """Propane tank, where that is not left to chance."""
    step: float = STEP
    """Of the simulation. [s]"""


def kit(*wanted: str, rate: float | None = None) -> tuple[Meter, ...]:
    """Meters by name, each with all its inputs or those of the points after a colon; all at one rate [Hz] if given."""
    meters = []
    for text in wanted:
        name, _, points = text.partition(": ")
        meter = METERS[name]
        inputs = tuple(entry for entry in meter.inputs if not points or entry.point in points.split())
        meters.append(replace(meter, inputs=inputs, rate=meter.rate and (rate or meter.rate)))
    return tuple(meters)


def unzeroed(meter: Meter, **shown: float) -> Meter:
    """A meter that nobody zeroed: what it shows at nothing, by point. [native unit]"""
    return replace(meter, inputs=tuple(replace(entry, unzeroed=shown.get(entry.point, 0.0)) for entry in meter.inputs))


def moved(meter: Meter, *moves: Move) -> Meter:
    """A meter with one input, first on the collector box and then moved from tap to tap."""
    return replace(meter, inputs=(replace(meter.inputs[0], point="draft_collector", moves=moves),))


LOGGER = "contact logger: call_heat call_heat_2 switch_closed switch_high_closed limit_closed gas_valve blower_on"
HOUSE = "house thermometer: temp_outdoor temp_surface temp_room"
DUCT = "duct thermometer: temp_return temp_supply"
VOLTS = "volt meter: volts_control"
DEMO = (
    *kit("draft meter", "switch manometer: draft_switch", "gas manometer", "static manometer", DUCT, HOUSE),
    replace(kit("hygrometer: humidity_supply humidity_room")[0], drop_outs=DropOuts(0.08, 10.0)),
    *kit("flame meter", VOLTS, "room CO meter", LOGGER),
)
JANUARY = {"wind": 1.5}
DRAIN_CALLS = ((8.0, 130.0, 1), (130.0, 760.0, 2), (1000.0, 1040.0, 1), (1040.0, 1320.0, 2))
SCENARIOS = (
    Scenario("healthy_natural_gas", 3, "2026-01-07T13:10:00Z", kit(*KITS["full"]), humidity=0.28),
    Scenario(
        "healthy_propane",
        16,
        "2026-01-08T15:20:00Z",
        kit("draft meter", "switch manometer", "gas manometer", DUCT, "flame meter", LOGGER),
    ),
    Scenario(
        "drain_backs_up",
        5,
        "2026-01-14T06:31:20Z",
        DEMO,
        (Cause("drain_blocked", 0.7),),
        minutes=22.0,
        calls=DRAIN_CALLS,
        job="drain_backs_up",
        weather=JANUARY,
        humidity=0.3,
    ),
    Scenario(
        "drain_cleared",
        5,
        "2026-01-14T08:05:00Z",
        DEMO,
        minutes=22.0,
        calls=DRAIN_CALLS,
        job="drain_backs_up",
        weather=JANUARY,
        humidity=0.3,
    ),
    Scenario(
        "vent_iced_over",
        36,
        "2026-01-19T05:45:00Z",
        (unzeroed(kit("draft meter")[0], draft_vent=0.05), *kit("switch manometer", DUCT, VOLTS, LOGGER)),
        (Cause("vent_blocked", 0.75, 60.0, "growing"),),
        minutes=18.0,
        weather={"temp_mean": -18.0},
    ),
    Scenario(
        "intake_covered",
        24,
        "2026-01-20T11:30:00Z",
        kit("draft meter: draft_burner_box draft_collector draft_vent", "switch manometer", "flue analyser", LOGGER),
        (Cause("intake_blocked", 0.75, 300.0),),
        minutes=15.0,
    ),
    Scenario(
        "inducer_tired",
        10,
        "2026-01-21T16:00:00Z",
        (
            moved(METERS["manometer"], Move(450.0, "draft_vent"), Move(720.0, "draft_burner_box")),
            *kit("current clamp: amps_inducer", "tachometer", "volt meter: volts_line volts_control", LOGGER),
        ),
        (Cause("inducer_weak", 0.4),),
    ),
    Scenario(
        "hose_split",
        6,
        "2026-01-23T09:15:00Z",
        kit("draft meter: draft_burner_box draft_collector", "switch manometer", "volt meter: volts_switch", LOGGER),
        (Cause("switch_hose_leak", 0.5),),
        minutes=12.0,
        calls=((10.0, 480.0, 2), (560.0, 660.0, 1)),
    ),
    Scenario(
        "secondary_corroded",
        59,
        "2026-01-26T10:40:00Z",
        kit("draft meter", "switch manometer", "flue analyser", "room CO meter", DUCT, LOGGER),
        (Cause("secondary_restricted", 0.32),),
    ),
    Scenario(
        "flame_rod_dirty",
        65,
        "2026-01-27T12:00:00Z",
        kit("flame meter", "gas manometer", VOLTS, LOGGER),
        (Cause("flame_sensor_weak", 0.82),),
        minutes=16.0,
    ),
    Scenario(
        "igniter_aged",
        57,
        "2026-01-29T07:25:00Z",
        (
            replace(kit("current clamp: amps_igniter")[0], clock=MeterClock(0.4, 30.0, 0.005)),
            *kit("flame meter", "gas manometer: gas_manifold", "volt meter: volts_line volts_control", LOGGER),
        ),
        (Cause("igniter_faulty", 0.75),),
        minutes=20.0,
        calls=((10.0, 240.0, 1), (420.0, 650.0, 1), (830.0, 1060.0, 1)),
    ),
    Scenario(
        "filter_loaded",
        95,
        "2026-02-02T13:35:00Z",
        (
            replace(kit("duct thermometer")[0], drop_outs=DropOuts(0.8, 5.0)),
            *kit("static manometer", "current clamp: amps_blower", "flame meter", LOGGER),
        ),
        (Cause("airflow_low_restricted", 0.85),),
    ),
    Scenario(
        "air_baffle_forgotten",
        41,
        "2026-02-03T09:05:00Z",
        kit("duct thermometer", "static manometer", "flue analyser", "gas manometer", LOGGER),
        (Cause("air_baffle_missing", 1.0),),
    ),
    Scenario(
        "propane_tank_cold",
        37,
        "2026-02-05T06:50:00Z",
        kit("gas manometer", "flame meter", "flue analyser", "house thermometer: temp_outdoor", LOGGER),
        (Cause("gas_supply_low", 0.5),),
        weather={"temp_mean": -22.0, "swing": 2.0},
        tank=TankUnit(volume=0.379, fill=0.08, temp=-23.0, steel=80.0, area=3.1),
    ),
    Scenario(
        "switch_now_and_then",
        92,
        "2026-02-09T14:15:00Z",
        kit("switch manometer: draft_switch", "volt meter: volts_control volts_switch", LOGGER),
        (Cause("switch_faulty", 0.95, 0.0, "intermittent"),),
        minutes=24.0,
        calls=tuple((10.0 + 280.0 * number, 200.0 + 280.0 * number, 1) for number in range(5)),
    ),
    Scenario(
        "humidifier_runs_on",
        3,
        "2026-02-11T17:30:00Z",
        kit("hygrometer: humidity_supply humidity_room", HOUSE, DUCT, f"{LOGGER} humidifier_valve call_humidifier"),
        (Cause("humidifier_overrun", 1.0),),
        minutes=60.0,
        calls=None,
        humidity=0.33,
        step=0.2,
    ),
    Scenario(
        "filter_and_flame_rod",
        5,
        "2026-02-16T10:10:00Z",
        kit("duct thermometer", "static manometer", "flame meter", "gas manometer: gas_manifold", LOGGER),
        (Cause("airflow_low_restricted", 0.9), Cause("flame_sensor_weak", 0.8)),
    ),
    Scenario(
        "night_dual_fuel",
        22,
        "2026-02-20T02:30:00Z",
        (
            *kit(DUCT, HOUSE, "hygrometer: humidity_room", "static manometer", rate=0.1),
            *kit("draft meter: draft_collector", "gas manometer: gas_manifold", "flame meter", VOLTS, rate=0.1),
            replace(METERS["contact logger"], repeat=60.0),
        ),
        minutes=600.0,
        calls=None,
        weather={"temp_mean": -2.7, "swing": 4.5, "wander": 0.3, "start": 20.5 * 3600.0, "wind": 2.0},
        step=0.2,
    ),
)
