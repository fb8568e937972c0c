"""Line and 24 V: what the loads draw, how far the voltages sag, and whether the controls still hold."""

from dataclasses import dataclass

from drivers.simulate.maths import Maths, Number

_WEAK = 0.05
"""Smallest transformer factor for which its resistance is worked out. [1]"""
_SLOW = 1e-3
"""Smallest speed wanted for which a lag behind it is worked out. [1]"""


@dataclass(frozen=True, slots=True)
class ElectricUnit:
    """Electrical side of one invented unit; all figures common practice, no published source."""

    line: Number = 120.0
    """With no load. [V]"""
    line_resistance: Number = 0.35
    """From the service to the appliance and back. [ohm]"""
    neutral_resistance: Number = 0.15
    """The neutral's part of it. [ohm]"""
    control_open: Number = 27.0
    """24 V transformer with no load at 120 V of line. [V]"""
    control_rated: Number = 24.0
    """The same at its rated load. [V]"""
    transformer: Number = 40.0
    """Rated load. [VA]"""
    board: Number = 0.30
    """Control, thermostat and its own relays, as each load at 24 V. [A]"""
    valve: Number = 0.40
    """Gas valve. [A]"""
    contactor: Number = 0.35
    """Of the heat pump. [A]"""
    humidifier: Number = 0.45
    """Water valve of the humidifier. [A]"""
    drop_out: Number = 16.0
    """Below it relays and control let go. [V]"""
    pull_in: Number = 16.5
    """Above it they come back. [V]"""
    ride_through: float = 0.06
    """How long a dip is ignored. [s]"""
    inducer: Number = 1.6
    """Inducer at full speed and rated flow. [A]"""
    inducer_locked: Number = 4.0
    """Its rotor at a standstill. [A]"""
    inducer_idle: Number = 0.6
    """Share of its current that does not depend on what it moves. [1]"""
    inducer_flow: Number = 0.0106
    """Rated flow. [kg/s]"""
    blower: Number = 6.0
    """Blower at full speed. [A]"""
    blower_exponent: Number = 3.0
    """Current follows its speed to this power: 3 for an electronic motor, about 1 for one with windings. [1]"""
    standing: Number = 0.1
    """What the appliance draws of the line at rest. [A]"""


class Electric:
    """Volts and amperes of one step from what runs in it; nothing but the relays' hold has a memory.

    Source: Ohm's law; the transformer is its open voltage behind one resistance, its loads are resistances; the inducer
    draws a part that stays, a part by the square of its speed times the flow, and more the further its speed lags
    behind (common practice, no published source).
    """

    __slots__ = (
        "_behind",
        "_board",
        "_contactor",
        "_humidifier",
        "_m",
        "_ratio",
        "_run",
        "_short",
        "_unit",
        "_valve",
        "amps_blower",
        "amps_inducer",
        "line_factor",
        "neutral_ground",
        "polarity",
        "power",
        "powered",
        "transformer_factor",
        "volts_control",
        "volts_line",
        "volts_line_neutral_ground",
    )

    def __init__(self, m: Maths, unit: ElectricUnit) -> None:
        self._m, self._unit = m, unit
        self._ratio = unit.control_open / 120.0
        self._behind = (unit.control_open - unit.control_rated) / (unit.transformer / unit.control_rated)
        self._board, self._valve = unit.board / unit.control_rated, unit.valve / unit.control_rated
        self._contactor, self._humidifier = unit.contactor / unit.control_rated, unit.humidifier / unit.control_rated
        self._run = unit.inducer * (1.0 - unit.inducer_idle)
        self.transformer_factor: Number = 1.0
        """Knob: open voltage over that of a sound one, sags more too; 0 with its fuse or a float switch open. [1]"""
        self.line_factor: Number = 1.0
        """Knob: line voltage over the nominal. [1]"""
        self.power: Number = 1.0
        """Knob: 0 with the breaker or the door switch open. [1]"""
        self.neutral_ground: Number = 0.0
        """Knob: volts from neutral to ground beside those of the load. [V]"""
        self.polarity: Number = 0.0
        """Knob: 1 with line and neutral exchanged. [1]"""
        self._short: Number = 0.0
        self.powered: Number = 1.0
        """State and output: relays and control hold, 0 or 1."""
        self.volts_line: Number = unit.line + 0.0
        """Output: at the appliance. [V]"""
        self.volts_control: Number = unit.control_open + 0.0
        """Output: of the transformer, loaded. [V]"""
        self.volts_line_neutral_ground: Number = 0.0
        """Output: from the terminal marked neutral to ground. [V]"""
        self.amps_inducer: Number = 0.0
        """Output. [A]"""
        self.amps_blower: Number = 0.0
        """Output. [A]"""

    def step(
        self,
        dt: float,
        *,
        inducer_command: Number,
        inducer_speed: Number,
        inducer_flow: Number,
        blower_share: Number,
        valve: Number,
        igniter_amps: Number,
        contactor: Number,
        humidifier: Number,
    ) -> None:
        """Advance by `dt` [s].

        inducer_command, inducer_speed : share of full speed that is wanted, 0 off, and that it has [1]; inducer_flow :
        what it moves [kg/s]; blower_share : share of full speed [1]; valve, contactor, humidifier : powered, 0 or 1;
        igniter_amps : of the igniter [A].
        """
        unit, where, power = self._unit, self._m.where, self.power
        wanted = where(inducer_command > _SLOW, inducer_command, _SLOW)
        lag = 1.0 - inducer_speed / wanted
        lag = where(lag > 0.0, lag, 0.0)
        moved = inducer_speed * inducer_speed * inducer_flow / unit.inducer_flow
        running = unit.inducer * unit.inducer_idle + self._run * moved
        inducer = running + (unit.inducer_locked - running) * lag
        self.amps_inducer = inducer = where(inducer_command > _SLOW, inducer, 0.0) * power
        self.amps_blower = blower = unit.blower * blower_share**unit.blower_exponent * power
        amps = inducer + blower + (igniter_amps + unit.standing) * power
        volts = unit.line * self.line_factor * power - unit.line_resistance * amps
        self.volts_line = volts = where(volts > 0.0, volts, 0.0)
        neutral = (self.neutral_ground + unit.neutral_resistance * amps) * power
        self.volts_line_neutral_ground = neutral + self.polarity * (volts - neutral)

        factor = self.transformer_factor
        weak = where(factor > _WEAK, factor, _WEAK)
        loads = self._board + valve * self._valve + contactor * self._contactor + humidifier * self._humidifier
        control = volts * self._ratio * factor / (1.0 + self._behind * loads / (weak * weak))
        self.volts_control = control
        self._short = short = where(control < unit.drop_out, self._short + dt, 0.0)
        held = where(short > unit.ride_through, 0.0, self.powered)
        self.powered = where(control > unit.pull_in, 1.0, held)
