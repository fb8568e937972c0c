"""Simulate the invented demo scenario drain_backs_up: python replay_data/make_recordings.py [--out FOLDER]

No curve is drawn by hand: a control runs its sequence, a fan works against four resistances, water flows through a
choked drain, metal and air take up heat, and instruments with lag, noise and resolution look at the result. Every
figure is invented unless its comment says otherwise. Pressures are inches of water: a depth of water is a pressure.
"""

import argparse
import csv
import gzip
import io
import math
import tomllib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Points = dict[str, NDArray[np.float64]]
NAME, SEED, START = "drain_backs_up", 20260114, datetime(2026, 1, 14, 6, 31, 20, tzinfo=UTC)
STEP, DURATION, HYGROMETER_GAP = 0.05, 1300.0, (801.0, 813.0)  # s
CALLS = ((8.0, 775.0), (1020.0, math.inf))  # s: the thermostat calls, is turned down, is turned up again

# Control, what the job file does not say: low inducer speed [of high]; s
LOW_SPEED, SELF_CHECK, PROVING_LIMIT, INTERPURGE, FLAME_DELAY = 0.78, 1.5, 60.0, 20.0, 1.7
STAGE_TIMER, STAGE_TRIAL = 105.0, 15.0  # s in low stage; s for the high switch to close

# Draft: losses at relative flow 1 and the density of room air at sea level, fan head at high speed [inH2O]
INTAKE, PRIMARY, SECONDARY, VENT, FAN_LOSS, FAN_HEAD = 0.150, 0.108, 0.587, 0.310, 0.709, 2.93
SITE_DENSITY = (1 - 2.25577e-5 * 2600 * 0.3048) ** 5.2559  # of sea level, standard atmosphere at 2600 ft
SITE_PRESSURE, ROOM_AIR = 101325 * SITE_DENSITY, 294.3  # Pa; K, where density is 1
FLAME_RISE, INTAKE_RISE = 530.0, 8.0  # K: mean gas above metal in the primary at full fire; air in the intake pipe
SECONDARY_SHARE, INDUCER_SHARE = 0.62, 0.29  # of the metal's warmth, left in the gas there
PUFF, WIND, ROOM_NOISE = 0.3, 0.008, 0.002  # s of relative flow: gas that lights at once pushes both ways; inH2O
SPIN_UP, SPIN_DOWN, GAS_LAG, FIRE_LAG, HOSE_LAG, DIAPHRAGM_LAG = 1.8, 3.5, 0.25, 0.5, 0.1, 0.35  # s

# Water: levels above the floor of the collector box [in], what a level holds [g/in]
BOX, LEG, STANDPIPE = 175.0, 29.0, 25.0  # g/in: box, drain leg under it, standpipe behind the trap
TRAP, CHOKE, OUTFALL = 0.40, 0.80, -0.6  # g/s an inch through the trap and the choke; in, level behind the choke
TUBES, BANK, PORT, STICK = 0.10, 2.2, 0.60, 0.12  # in: tube outlets, their height, hose port, hysteresis
SLUG_SHARE, SLUG_LIMIT, SLUG_FILL, SLUG_DRAIN, PORT_LAG = 1.5, 0.6, 8.0, 35.0, 1.0  # of the depth; in; s
SLOSH, SLOSH_RATE = 0.16, 1.1  # in at relative flow 1; Hz
CONDENSATE = 4.8 * 453.6 / 3600 / 29307  # g/s a W: 4.8 lb/h for each 100 kBtu/h

# Air, heat, moisture
FLOW_HIGH, FLOW_LOW, FLOW_DRIFT, BLOWER_LAG = 0.708, 0.543, 0.012, 4.0  # m3/s: 1500, 1150 cfm, by itself; s
HEAT_OF_AIR, VAPOUR, BTU_PER_HOUR = 1.2 * SITE_DENSITY * 1006, 2.45e6, 0.29307  # J/m3 K, J/kg, W
EXCHANGER, EXCHANGER_UA, STILL_UA = 9e3, 194.0, 8.0  # J/K; W/K at high flow, without flow
PLENUM, RETURN_DUCT, DUCT, DUCT_UA, DUCT_LOSS = 0.35, 0.9, 9e3, 50.0, 6.0  # m3, m3, J/K, W/K to air, W/K outwards
HOUSE, HOUSE_LOSS, OUTDOOR, BASEMENT, ROOM = 12e6, 300.0, -15.0, 17.0, 21.0  # J/K, W/K, degC
SURFACE_FACTOR, SURFACE_LAG, SURFACE_WASH = 0.675, 150.0, 0.06  # 1; s; of the supply's warmth at the window
EVAPORATION, MOISTURE, LEAKAGE, ROOM_HUMIDITY = 0.75e-3, 260.0, 0.020, 0.43  # kg/s, kg, kg/s, 1
GAS_STATIC, GAS_DROP, FLAME, FLAME_LAG = 7.1, 0.55, 3.4, 0.2  # inH2O; uA, s
VOLTS, INDUCER_SAG, IGNITER_SAG, VALVE_SAG, BLOWER_SAG = 26.7, 0.3, 0.3, 0.4, 0.2  # V
STATIC_SUPPLY, STATIC_RETURN, CO = 0.27, -0.20, 0.6  # inH2O at high flow; ppm

SENSORS = {  # beginning of the point's name: unit, resolution, noise, lag [s]
    "draft_": ("inH2O", 0.001, 0.002, 0.08),
    "gas_valve": ("1", 1.0, 0.0, 0.0),
    "gas_": ("inH2O", 0.01, 0.006, 0.1),
    "static_": ("inH2O", 0.01, 0.004, 0.3),
    "temp_": ("degF", 0.1, 0.05, 9.0),
    "humidity_": ("%", 0.1, 0.06, 20.0),
    "flame_current": ("uA", 0.1, 0.03, 0.2),
    "volts_": ("V", 0.1, 0.03, 0.1),
    "room_co": ("ppm", 1.0, 0.15, 30.0),
    "": ("1", 1.0, 0.0, 0.0),
}
INSTRUMENTS = (  # name, period [s] (0: on change and every 5 s), phase [s], points
    ("draft meter", 0.1, 0.013, "draft_burner_box draft_transition draft_collector draft_vent"),
    ("switch manometer", 0.1, 0.061, "draft_switch"),
    ("gas manometer", 0.2, 0.104, "gas_manifold gas_inlet"),
    ("static manometer", 0.5, 0.322, "static_supply static_return"),
    ("duct thermometer", 1.0, 0.437, "temp_supply temp_return"),
    ("house thermometer", 1.0, 0.771, "temp_outdoor temp_room temp_surface"),
    ("hygrometer", 2.0, 1.219, "humidity_room humidity_supply"),
    ("flame meter", 0.2, 0.048, "flame_current"),
    ("volt meter", 0.2, 0.155, "volts_control"),
    ("room CO meter", 5.0, 2.873, "room_co"),
    ("contact logger", 0.0, 0.0, "call_heat switch_closed switch_high_closed gas_valve blower_on limit_closed"),
)


def toward(value: float, target: float, lag: float) -> float:
    """Value one step later, first order with the given lag [s]"""
    return target + (value - target) * math.exp(-STEP / lag)


def saturation_pressure(temp: float) -> float:
    """Over liquid water [Pa] at temp [degC]; Hyland and Wexler, as in ASHRAE Fundamentals ch. 1"""
    kelvin = temp + 273.15
    power = -5800.2206 / kelvin + 1.3914993 - 4.8640239e-2 * kelvin + 4.1764768e-5 * kelvin**2
    return math.exp(power - 1.4452093e-8 * kelvin**3 + 6.5459673 * math.log(kelvin))


def humidity_ratio(temp: float, humidity: float) -> float:
    """Water in the air of the site [kg/kg] at temp [degC], humidity [0-1]"""
    vapour = humidity * saturation_pressure(temp)
    return 0.621945 * vapour / (SITE_PRESSURE - vapour)


def relative_humidity(temp: float, ratio: float) -> float:
    """Relative humidity of the air of the site [%] at temp [degC], ratio [kg/kg]"""
    return 100 * ratio / (0.621945 + ratio) * SITE_PRESSURE / saturation_pressure(temp)


class Taps(NamedTuple):
    """Pressures against the room [inH2O]; flow through the inducer relative to a normal hot run [1]"""

    burner_box: float
    transition: float
    collector: float
    vent: float
    flow: float


def taps(gas: list[float], speed: float, restriction: float = 1.0, puff: float = 0.0, wind: float = 0.0) -> Taps:
    """Fan against resistances; gas [K] in intake, primary, secondary, inducer; puff [1] born in the primary"""
    intake, primary, secondary, inducer = (SITE_DENSITY * ROOM_AIR / temp for temp in gas)
    before = INTAKE / intake + PRIMARY / primary
    choke, outlet = SECONDARY * restriction / secondary, VENT / inducer
    after = choke + outlet + FAN_LOSS / inducer
    excess = after * puff**2 - max(FAN_HEAD * inducer * speed**2 + wind, 1e-6)
    # before m |m| + after (m + puff)^2 = head, solved for the flow m that comes in
    root = math.sqrt(max((after * puff) ** 2 - (after - math.copysign(before, excess)) * excess, 0.0))
    flow = -excess / (after * puff + root)
    out, square = flow + puff, flow * abs(flow)
    burner_box, transition = -INTAKE / intake * square, -before * square
    return Taps(burner_box, transition, transition - choke * out**2, outlet * out**2, out)


@dataclass(slots=True)
class Control:
    """The furnace control: one phase at a time, each with the conditions that end it"""

    timing: dict[str, float]
    phase: str = "standby"
    since: float = 0.0
    trials: int = 0
    blower_from: float = math.inf
    blower_until: float = -math.inf

    def step(self, now: float, *, call: bool, high: bool, low: bool) -> None:
        """Take the first exit that is open; call and the two pressure switches are what the control sees"""
        elapsed = now - self.since
        over, stop = elapsed >= self.timing.get(self.phase, 0.0), (not low or not call, "post_purge")
        retry = "interpurge" if self.trials < self.timing["trials"] else "lockout"
        exits: dict[str, tuple[tuple[bool, str], ...]] = {
            "standby": ((call and not low and elapsed >= SELF_CHECK, "inducer_start"),),
            "inducer_start": ((low, "prepurge"), (not call or elapsed >= PROVING_LIMIT, "post_purge")),
            "prepurge": (stop, (over, "igniter_warmup")),
            "igniter_warmup": (stop, (over, "ignition_trial")),
            "ignition_trial": (stop, (over, "run_low")),
            "run_low": (stop, (elapsed >= STAGE_TIMER, "run_high")),
            "run_high": (stop, (elapsed >= STAGE_TRIAL and not high, "run_low")),
            "post_purge": ((over, retry if call else "standby"),),
            "interpurge": ((not call, "standby"), (elapsed >= INTERPURGE and not low, "inducer_start")),
            "lockout": ((not call, "standby"),),
        }
        phase = next((phase for is_open, phase in exits[self.phase] if is_open), self.phase)
        if phase != self.phase:
            self.trials = 0 if phase == "standby" else self.trials + (phase == "inducer_start")
            self.phase, self.since = phase, now
        if phase == "ignition_trial":
            self.blower_from = self.since + FLAME_DELAY + self.timing["blower_on_delay"]
        elif self.valve and now >= self.blower_from:
            self.blower_until = now + self.timing["post_purge"] + self.timing["blower_off_delay"]

    @property
    def valve(self) -> bool:
        """Gas valve powered"""
        return self.phase in {"ignition_trial", "run_low", "run_high"}

    @property
    def speed(self) -> float:
        """Inducer speed asked for, of high [1]"""
        at_rest = self.phase in {"standby", "interpurge", "lockout"}
        return 0.0 if at_rest else 1.0 if self.phase == "run_high" else LOW_SPEED


@dataclass(slots=True)
class Drain:
    """Water level in the collector box, in the standpipe behind the trap, over the port, in the switch hose [in]"""

    box: float = OUTFALL
    standpipe: float = OUTFALL
    port: float = 0.0
    slug: float = 0.0

    def step(self, condensate: float, suction: float, waves: float) -> None:
        """Suction [inH2O] holds the water of the box up against the trap; condensate [g/s], waves [in]"""
        through_trap = TRAP * (self.box - suction - self.standpipe)
        through_choke = CHOKE * max(self.standpipe - OUTFALL, 0.0)
        self.box += (condensate - through_trap) * STEP / (BOX if self.box > 0 else LEG)
        self.standpipe += (through_trap - through_choke) * STEP / STANDPIPE
        depth = self.box + waves - PORT
        self.port = toward(self.port, max(depth, 0.0), PORT_LAG)
        if depth > 0:
            self.slug = toward(self.slug, min(SLUG_SHARE * depth, SLUG_LIMIT), SLUG_FILL)
        elif depth < -STICK:
            self.slug = toward(self.slug, 0.0, SLUG_DRAIN)


@dataclass(slots=True)
class Air:
    """Temperatures [degC], moisture [kg/kg] and flow [m3/s] of exchanger, ducts and house"""

    exchanger: float = BASEMENT
    plenum: float = BASEMENT + 2
    duct: float = BASEMENT + 2
    supply: float = BASEMENT + 2
    returned: float = BASEMENT + 1
    room: float = ROOM
    surface: float = OUTDOOR + SURFACE_FACTOR * (ROOM - OUTDOOR)
    ratio: float = humidity_ratio(ROOM, ROOM_HUMIDITY)
    supply_ratio: float = humidity_ratio(ROOM, ROOM_HUMIDITY)
    flow: float = 0.0

    def step(self, heat: float, blower: float) -> None:
        """Heat [W] into the exchanger, blower [m3/s] asked for"""
        self.flow = toward(self.flow, blower, BLOWER_LAG)
        share, flow = self.flow / FLOW_HIGH, max(self.flow, FLOW_DRIFT)
        carried = flow * HEAT_OF_AIR
        entering = self.room - 0.4 if self.flow > FLOW_DRIFT else BASEMENT
        self.returned = toward(self.returned, entering, RETURN_DUCT / flow)
        taken = 1 - math.exp(-(STILL_UA + EXCHANGER_UA * share**0.6) / carried)
        leaving = self.returned + taken * (self.exchanger - self.returned)
        self.exchanger += (heat - carried * (leaving - self.returned)) * STEP / EXCHANGER
        evaporated = EVAPORATION * share * min(max((self.plenum - 25) / 20, 0.0), 1.0)
        self.plenum = toward(self.plenum, leaving - evaporated * VAPOUR / carried, PLENUM / flow)
        given = (1 - math.exp(-DUCT_UA / carried)) * (self.plenum - self.duct)
        self.supply = self.plenum - given
        self.duct += (carried * given - DUCT_LOSS * (self.duct - BASEMENT)) * STEP / DUCT
        warmth = self.supply - self.room
        self.room += (carried * share * warmth - HOUSE_LOSS * (self.room - OUTDOOR)) * STEP / HOUSE
        washed = OUTDOOR + SURFACE_FACTOR * (self.room - OUTDOOR) + SURFACE_WASH * share * warmth
        self.surface = toward(self.surface, washed, SURFACE_LAG)
        self.ratio += (evaporated - LEAKAGE * (self.ratio - humidity_ratio(OUTDOOR, 0.8))) * STEP / MOISTURE
        self.supply_ratio = self.ratio + evaporated * 1006 / carried


def remembering(rng: np.random.Generator, first: float, second: float = 0.0) -> NDArray[np.float64]:
    """Noise of unit size that keeps the given shares of its last two values"""
    values: NDArray[np.float64] = rng.standard_normal(round(DURATION / STEP))
    for index in range(2, len(values)):
        values[index] += first * values[index - 1] + second * values[index - 2]
    values /= values.std()
    return values


def simulate(job: dict[str, Any], rng: np.random.Generator) -> Points:
    """What is true at every step, point by point, in the units of the file"""
    closing, opening, manifolds, (full, _) = (
        [float(text.split()[0]) for text in job["furnace"][key]]
        for key in ("switch_close", "switch_open", "manifold", "input")
    )
    wind, room_noise = WIND * remembering(rng, 0.98), ROOM_NOISE * remembering(rng, 0.8)
    slosh = SLOSH * remembering(rng, 1.94 * math.cos(2 * math.pi * SLOSH_RATE * STEP), -(0.97**2))
    carbon_monoxide = CO + 0.2 * remembering(rng, 0.9995)
    control, drain, air, tap = Control(job["furnace"]["timing"]), Drain(), Air(), Taps(0, 0, 0, 0, 0)
    speed = manifold = hot = flame = switch = diaphragm = 0.0
    closed, density, rows = [False, False], math.nan, []
    for step in range(len(wind)):
        now = step * STEP
        call = any(start <= now < end for start, end in CALLS)
        control.step(now, call=call, high=closed[0], low=closed[1])
        burning = control.valve and (control.phase != "ignition_trial" or now - control.since >= FLAME_DELAY)
        stage = 0 if control.phase == "run_high" and closed[0] else 1
        blower = now < control.blower_until
        speed = toward(speed, control.speed, SPIN_UP if control.speed > speed else SPIN_DOWN)
        manifold = toward(manifold, manifolds[stage] if control.valve else 0.0, GAS_LAG)
        fire = burning * math.sqrt(manifold / manifolds[0])
        hot, flame = toward(hot, burning, FIRE_LAG), toward(flame, burning * FLAME * (0.7 + 0.3 * fire), FLAME_LAG)
        warmth, entering = air.exchanger - air.returned, 273.15 + air.returned
        gas = [273.15 + OUTDOOR + INTAKE_RISE, 273.15 + air.exchanger + FLAME_RISE * hot]
        gas += [entering + SECONDARY_SHARE * warmth, entering + INDUCER_SHARE * warmth]
        density, before = SITE_DENSITY * ROOM_AIR / gas[1], density
        puff = PUFF * (before - density) / STEP if step else 0.0
        waves = slosh[step] * tap.flow**2 if drain.box > 0 else 0.0
        open_share = 1 - min(max((drain.box + waves - TUBES) / BANK, 0.0), 0.8)
        tap = taps(gas, speed, 1 / open_share**2, puff, wind[step])
        heat = fire * full * 1000 * BTU_PER_HOUR
        drain.step(CONDENSATE * heat, -tap.collector, waves)
        air.step(heat * job["furnace"]["efficiency"], (FLOW_HIGH, FLOW_LOW)[stage] if blower else 0.0)
        switch = toward(switch, tap.burner_box - tap.collector - drain.port - drain.slug, HOSE_LAG)
        diaphragm = toward(diaphragm, switch, DIAPHRAGM_LAG)
        closed = [diaphragm > (opening if closed[index] else closing)[index] for index in (0, 1)]
        sag = INDUCER_SAG * (control.speed > 0) + VALVE_SAG * control.valve + BLOWER_SAG * blower
        sag += IGNITER_SAG * (control.phase == "igniter_warmup")
        rows.append(
            [pressure + room_noise[step] for pressure in tap[:4]]
            + [switch, manifold, GAS_STATIC - GAS_DROP * manifold / manifolds[0]]
            + [pressure * (air.flow / FLOW_HIGH) ** 2 for pressure in (STATIC_SUPPLY, STATIC_RETURN)]
            + [1.8 * temp + 32 for temp in (air.supply, air.returned, OUTDOOR, air.room, air.surface)]
            + [relative_humidity(air.room, air.ratio), relative_humidity(air.supply, air.supply_ratio)]
            + [flame, VOLTS - sag, carbon_monoxide[step]]
            + [call, closed[1], closed[0], control.valve and closed[1], blower, 1.0]  # the switch feeds the valve
        )
    points = " ".join(instrument[-1] for instrument in INSTRUMENTS).split()
    return dict(zip(points, np.array(rows).T, strict=True))


def observe(truth: Points, rng: np.random.Generator) -> tuple[list[str], dict[int, dict[str, str]]]:
    """Column heads, and the cells of each millisecond at which an instrument read"""
    heads, rows, grid = ["time"], dict[int, dict[str, str]](), STEP * np.arange(round(DURATION / STEP))
    for name, period, phase, points in INSTRUMENTS:
        if period:
            times = np.arange(phase, DURATION - 1, period)
            times += rng.integers(-3, 4, len(times)) / 1000
        else:
            changed = np.any(np.diff([truth[point] for point in points.split()], prepend=-1), axis=0)
            times = grid[changed | (np.arange(len(grid)) % round(5 / STEP) == 0)]
        if name == "hygrometer":
            times = times[(times < HYGROMETER_GAP[0]) | (times > HYGROMETER_GAP[1])]
        for point in points.split():
            unit, resolution, noise, lag = next(SENSORS[start] for start in SENSORS if point.startswith(start))
            seen = truth[point].copy()
            for index in range(1, len(seen) if lag else 0):
                seen[index] = toward(seen[index - 1], seen[index], lag)
            values = np.interp(times, grid, seen) + noise * rng.standard_normal(len(times))
            heads.append(f"{point}@{name} [{unit}]")
            for time, value in zip(times, np.round(values / resolution) * resolution + 0.0, strict=True):
                cell = f"{value:.{round(-math.log10(resolution))}f}"
                rows.setdefault(round(time * 1000), {})[heads[-1]] = cell
    return heads, rows


def main() -> None:
    """Write the recording into the folder of --out, this one unless told otherwise"""
    here = Path(__file__).parent
    parser = argparse.ArgumentParser(description="Simulate the invented demo scenario and write its recording.")
    parser.add_argument("--out", type=Path, default=here, help="folder to write to")
    folder = parser.parse_args().out
    if not folder.is_dir():
        parser.error(f"there is no folder {folder} to write the recording to: make it, or give another --out")
    rng, text = np.random.default_rng(SEED), io.StringIO()
    heads, rows = observe(simulate(tomllib.loads((here / f"{NAME}.toml").read_text("utf-8")), rng), rng)
    writer = csv.DictWriter(text, heads, lineterminator="\n")
    writer.writeheader()
    for milliseconds, cells in sorted(rows.items()):
        time = (START + timedelta(milliseconds=milliseconds)).isoformat(timespec="milliseconds")
        writer.writerow({"time": time.replace("+00:00", "Z"), **cells})
    (folder / f"{NAME}.csv.gz").write_bytes(gzip.compress(text.getvalue().encode(), 9, mtime=0))


if __name__ == "__main__":
    main()
