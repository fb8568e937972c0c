"""Words for a new meter: where its hose, probe or leads go, and how its value is seen to move without any danger."""

from dataclasses import asdict, dataclass
from typing import Any

from analysis.points import measure_of
from dashboard.shell import section


@dataclass(frozen=True, slots=True)
class Place:
    """One point for whoever hangs a meter on it. Common practice, no published source."""

    where: str
    """Where the hose, probe or leads go."""
    move: str
    """What moves the value; never a firing, a bridge or an opened valve."""


PINCH = "With the burners off and the hose off the unit, pinch it between two fingers and let go. Do not blow into it."
PINCH_GAS = (
    "Only before the hose is on its tap: pinch it between two fingers and let go. If it is on already, leave it on."
)
HAND = "Hold the probe in your hand."
HAND_FLUE = "Only before it is in the flue: hold the probe in your hand. One that was in there may be hot."
BREATH = "Breathe on the sensor."
BY_ITSELF = "It changes when the unit does so by itself. Bridge, press and open nothing for this."
LEADS = "Take both leads off the unit first. Then hold their tips together, then on a small battery."
MOTOR = "It moves when the motor starts by itself. Nothing is started for this."

PLACES: dict[str, Place] = {
    "draft_burner_box": Place("hose on the tap that the burner box has; the other side open to the room", PINCH),
    "draft_transition": Place("hose on the tap that the transition box has; the other side open to the room", PINCH),
    "draft_collector": Place("hose on the collector box, by a tee in the switch's hose where that goes there", PINCH),
    "draft_vent": Place("hose on the port that the vent side of the inducer has", PINCH),
    "draft_switch": Place("tee in the hose right at the low-stage pressure switch; both ports where it has two", PINCH),
    "draft_switch_high": Place("tee in the hose right at the high-stage pressure switch", PINCH),
    "gas_inlet": Place("hose on the inlet tap of the gas valve, by who may open it; leak-tested afterwards", PINCH_GAS),
    "gas_manifold": Place("hose on the outlet tap of the gas valve, by who may open it; leak-tested after", PINCH_GAS),
    "static_return": Place("tip in the return duct, between filter and appliance", PINCH),
    "static_supply": Place("tip in the supply plenum, before the coil where there is one", PINCH),
    "temp_return": Place("probe in the return air, near the appliance", HAND),
    "temp_supply": Place("probe in the supply air, out of sight of the heat exchanger", HAND),
    "temp_supply_2": Place("probe in another supply run", HAND),
    "temp_outdoor": Place("outside, in the shade and out of the exhaust", HAND),
    "temp_flue": Place("probe in the port that the flue has", HAND_FLUE),
    "temp_surface": Place("probe flat on the coldest surface that may sweat", HAND),
    "temp_room": Place("in the room, away from appliance and registers", HAND),
    "humidity_return": Place("sensor in the return air", BREATH),
    "humidity_supply": Place("sensor in the supply air, well behind the humidifier", BREATH),
    "humidity_room": Place("sensor in the room", BREATH),
    "humidity_outdoor": Place("sensor outside, in the shade", BREATH),
    "flame_current": Place(
        "in series with the flame rod's lead, opened with power off only",
        "It shows nothing without a flame, and that is right. It moves when the burner runs by itself.",
    ),
    "volts_control": Place("leads on R and C", LEADS),
    "volts_line": Place(
        "leads on L and N, behind the door switch; live work",
        "A steady line voltage need not move. Touch no live part to see it change.",
    ),
    "volts_line_neutral_ground": Place(
        "leads on N and ground; live work", "It may stay near nothing, and that is right. Touch no live part for this."
    ),
    "volts_switch": Place("leads across the pressure switch: about 24 V open, about 0 V closed", LEADS),
    "amps_inducer": Place("clamp around one insulated wire of the inducer; live work", MOTOR),
    "amps_blower": Place("clamp around one insulated wire of the blower; live work", MOTOR),
    "amps_igniter": Place(
        "clamp around one insulated wire of the igniter; live work",
        "It moves when the igniter heats by itself. Nothing is started for this.",
    ),
    "speed_inducer": Place("pickup at the inducer's wheel or shaft, clear of moving parts", MOTOR),
    "call_heat": Place("W or W1 against C", BY_ITSELF),
    "call_heat_2": Place("W2 against C", BY_ITSELF),
    "call_compressor": Place("Y against C", BY_ITSELF),
    "switch_closed": Place("behind the low-stage pressure switch against C", BY_ITSELF),
    "switch_high_closed": Place("behind the high-stage pressure switch against C", BY_ITSELF),
    "limit_closed": Place("behind the limit against C", BY_ITSELF),
    "gas_valve": Place("gas valve against C", BY_ITSELF),
    "blower_on": Place("the blower's output of the control, often line voltage; live work", BY_ITSELF),
    "rollout_closed": Place("behind the roll-out switch against C", BY_ITSELF),
    "float_closed": Place("behind the float switch against C", BY_ITSELF),
    "door_closed": Place("behind the door switch, often line voltage; live work", BY_ITSELF),
    "call_fan": Place("G against C", BY_ITSELF),
    "call_reversing": Place("O or B against C", BY_ITSELF),
    "call_humidifier": Place("the humidity call against C", BY_ITSELF),
    "humidifier_valve": Place("humidifier valve against C", BY_ITSELF),
    "defrost_active": Place("the defrost output of the heat pump", BY_ITSELF),
    "flue_o2": Place(
        "probe in the flue's port",
        "Only before it is in the flue: breathe on the probe; oxygen falls. One that was in there may be hot.",
    ),
    "flue_co2": Place(
        "probe in the flue's port",
        "Only before it is in the flue: breathe on the probe; the figure rises. One that was in there may be hot.",
    ),
    "flue_co": Place("probe in the flue's port", "In clean air it shows next to nothing and need not move."),
    "room_co": Place(
        "in the room at breathing height, near the appliance",
        "In clean air it shows next to nothing and need not move. Never hold it into exhaust to see it move.",
    ),
}

GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Draft", ("draft_",)),
    ("Gas", ("gas_inlet", "gas_manifold")),
    ("Duct static", ("static_",)),
    ("Temperature", ("temp_",)),
    ("Humidity", ("humidity_",)),
    ("Flame", ("flame_",)),
    ("Volts", ("volts_",)),
    ("Motors and igniter", ("amps_", "speed_")),
    ("Gas analysis", ("flue_", "room_co")),
    ("Contacts", ("",)),
)
"""Headings over the points that are offered, and how the names under each begin; the first that fits."""


ACCURACIES = {
    "pressure": "0.5 % + 0.01 inH2O",
    "temperature": "1 degF",
    "humidity": "3 %RH",
    "flame_current": "1 % + 0.1 uA",
    "voltage": "1 % + 0.1 V",
    "current": "2 % + 0.05 A",
    "speed": "1 % + 5 rpm",
    "fraction": "0.2 %vol",
    "trace": "5 % + 3 ppm",
}
"""What an accuracy looks like, by measure; figures of the usual size, no published source."""


def words() -> dict[str, Any]:
    """What the scripts need: for each point its place, its heading, and what an accuracy of it looks like."""
    return {
        name: {**asdict(place), "group": group_of(name), "accuracy": ACCURACIES.get(measure_of(name).name, "")}
        for name, place in PLACES.items()
    }


def group_of(point: str) -> str:
    """Heading that a point stands under."""
    return next(heading for heading, beginnings in GROUPS if point.startswith(beginnings))


def layout() -> list[Any]:
    """The way to a new meter, empty; the scripts in the browser fill it."""
    return [section("wizard", "Add a meter")]
