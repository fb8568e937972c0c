"""Air through the appliance: temperature rise, static, heat carried, and what a blower makes of its speed."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.psychrometrics import specific_volume
from analysis.ranges import bounded, finite, quiet

ABSOLUTE_ZERO = -273.15
"""[degC]"""
COLDEST = -100.0
"""Lower end of the range in which heat carried by air is computed. [degC]"""
HOTTEST = 200.0
"""Upper end of that range. [degC]"""
HEAT_OF_AIR = 1006.0
"""Heat capacity of dry air, ASHRAE Handbook - Fundamentals 2017, chapter 1, equation 30. [J/kg/K]"""
HEAT_OF_VAPOUR = 1860.0
"""Heat capacity of water vapour, the same equation. [J/kg/K]"""


@quiet
def temperature_rise(temp_return: ArrayLike, temp_supply: ArrayLike) -> NDArray[np.float64]:
    """Rise of the air's temperature across the appliance; negative where it cools.

    temp_return : (...) air entering, value >= -273.15. [degC]
    temp_supply : (...) air leaving, value >= -273.15. [degC]
    returns : (...) broadcast shape; NaN where an input is NaN, infinite or below absolute zero. [K]

    Valid: thermometers out of sight of the heat exchanger and both streams well mixed.
    Method: supply minus return.
    Source: definition; the range on a rating plate is of this difference.
    """
    return finite(bounded(temp_supply, ABSOLUTE_ZERO) - bounded(temp_return, ABSOLUTE_ZERO))


@quiet
def external_static(
    supply: ArrayLike, return_: ArrayLike, missed: ArrayLike = 0.0, not_counted: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Total external static: what the blower works against outside the appliance.

    supply : (...) static at the supply tap, gauge, positive in normal service. [Pa]
    return_ : (...) static at the return tap, gauge, negative in normal service. [Pa]
    missed : (...) drop of what lies between a tap and the appliance and belongs to the outside, so that the taps do
        not see it, e.g. a coil before the supply tap, value >= 0; 0 where there is none. [Pa]
    not_counted : (...) drop of what the taps see but the rating plate counts as part of the appliance, e.g. its own
        filter, value >= 0; 0 where there is none. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN, infinite or out of range. [Pa]

    Valid: both taps against the same room; which of coil and filter belong to the appliance is the plate's to say.
    Method: supply minus return with their signs, so that a suction of the return adds, plus what the taps miss, minus
        what the plate does not count.
    Source: definition in common use in the trade, no published source.
    """
    outside = bounded(missed, 0.0) - bounded(not_counted, 0.0)
    return finite(bounded(supply) - bounded(return_) + outside)


@quiet
def sensible_factor(temp: ArrayLike, ratio: ArrayLike, pressure: ArrayLike) -> NDArray[np.float64]:
    """Heat that air carries for each unit of volume flow and each degree; the trade's 1.08 Btu/(h cfm degF) where true.

    temp : (...) air at the place where the volume flow is stated, -100 <= value <= 200. [degC]
    ratio : (...) humidity ratio of the air, 0 <= value <= 1. [kg/kg]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [J/m3/K]

    Valid: air without fog. 1.08 Btu/(h cfm degF), which is 1207 J/m3/K, holds for dry air of 70 degF at sea level; it
        is 0.90 at 5000 ft and 0.97 in supply air of 130 degF.
    Method: heat capacity of the dry air and of the vapour with it, over the volume that holds that dry air.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 26 and 30.
    """
    vapour = bounded(ratio, 0.0, 1.0)
    volume = specific_volume(bounded(temp, COLDEST, HOTTEST), vapour, pressure)
    return finite((HEAT_OF_AIR + HEAT_OF_VAPOUR * vapour) / volume)


@quiet
def sensible_heat(
    flow: ArrayLike, temp_return: ArrayLike, temp_supply: ArrayLike, ratio: ArrayLike, pressure: ArrayLike
) -> NDArray[np.float64]:
    """Heat that the appliance gives to the air; negative where it cools.

    flow : (...) airflow, stated at the supply's temperature, value >= 0. [m3/s]
    temp_return : (...) air entering, -100 <= value <= 200. [degC]
    temp_supply : (...) air leaving, -100 <= value <= 200. [degC]
    ratio : (...) humidity ratio of the air, 0 <= value <= 1. [kg/kg]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [W]

    Valid: no water taken up or given off between the two thermometers.
    Method: flow times `sensible_factor` of the supply air times the rise.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 26 and 30, at a constant humidity ratio.
    """
    entering, leaving = bounded(temp_return, COLDEST, HOTTEST), bounded(temp_supply, COLDEST, HOTTEST)
    return finite(bounded(flow, 0.0) * sensible_factor(leaving, ratio, pressure) * (leaving - entering))


@quiet
def flow_from_rise(
    heat: ArrayLike, temp_return: ArrayLike, temp_supply: ArrayLike, ratio: ArrayLike, pressure: ArrayLike
) -> NDArray[np.float64]:
    """Airflow from the heat given to the air and its temperature rise.

    heat : (...) heat given to the air: the output, not the input; negative where the air is cooled. [W]
    temp_return : (...) air entering, -100 <= value <= 200. [degC]
    temp_supply : (...) air leaving, -100 <= value <= 200. [degC]
    ratio : (...) humidity ratio of the air, 0 <= value <= 1. [kg/kg]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    returns : (...) airflow at the supply's temperature, broadcast shape; NaN where an input is NaN or out of range,
        where there is no rise, or where the rise has the other sign than the heat. [m3/s]

    Valid: steady state, both streams well mixed, no water taken up or given off between the two thermometers.
    Method: heat over `sensible_factor` of the supply air and the rise.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 26 and 30, at a constant humidity ratio.
    """
    entering, leaving = bounded(temp_return, COLDEST, HOTTEST), bounded(temp_supply, COLDEST, HOTTEST)
    flow = bounded(heat) / (sensible_factor(leaving, ratio, pressure) * (leaving - entering))
    return finite(bounded(flow, 0.0))


@quiet
def rise_from_heat(
    heat: ArrayLike, flow: ArrayLike, temp_return: ArrayLike, ratio: ArrayLike, pressure: ArrayLike
) -> NDArray[np.float64]:
    """Temperature rise to expect from the heat given to the air and the airflow.

    heat : (...) heat given to the air; negative where the air is cooled. [W]
    flow : (...) airflow, stated at the supply's temperature, value > 0. [m3/s]
    temp_return : (...) air entering, -100 <= value <= 200. [degC]
    ratio : (...) humidity ratio of the air, 0 <= value <= 1. [kg/kg]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the air would leave below -100 or
        above 200 degC. [K]

    Valid: steady state, no water taken up or given off; the exact inverse of `sensible_heat`.
    Method: air expands in proportion to its absolute temperature, so that the flow at the supply carries
        A * rise / (T + rise) with T the return's absolute temperature and A = flow * factor of the return air * T;
        solved for the rise: T * x / (1 - x), x = heat / A.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 26 and 30, at a constant humidity ratio.
    """
    entering = bounded(temp_return, COLDEST, HOTTEST)
    kelvin = entering - ABSOLUTE_ZERO
    share = bounded(
        bounded(heat) / (bounded(flow, above=0.0) * sensible_factor(entering, ratio, pressure) * kelvin), below=1.0
    )
    rise = kelvin * share / (1.0 - share)
    return finite(np.where(np.isnan(bounded(entering + rise, COLDEST, HOTTEST)), np.nan, rise))


@quiet
def supply_temperature(
    heat: ArrayLike, flow: ArrayLike, temp_return: ArrayLike, ratio: ArrayLike, pressure: ArrayLike
) -> NDArray[np.float64]:
    """Supply temperature to expect from the heat given to the air and the airflow.

    heat : (...) heat given to the air; negative where the air is cooled, as by a heat pump in defrost. [W]
    flow : (...) airflow, stated at the supply's temperature, value > 0. [m3/s]
    temp_return : (...) air entering, -100 <= value <= 200. [degC]
    ratio : (...) humidity ratio of the air, 0 <= value <= 1. [kg/kg]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the result below -100 or above
        200 degC. [degC]

    Valid: as `rise_from_heat`; water that condenses while cooling would keep the supply warmer.
    Method: return plus `rise_from_heat`.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 26 and 30, at a constant humidity ratio.
    """
    return finite(bounded(temp_return) + rise_from_heat(heat, flow, temp_return, ratio, pressure))


@quiet
def useful_output(input_power: ArrayLike, efficiency: ArrayLike) -> NDArray[np.float64]:
    """Heat that reaches the air, from the input and the efficiency; airflow is computed from this, not from the input.

    input_power : (...) measured input, of higher heating value, value >= 0. [W]
    efficiency : (...) steady efficiency, of higher heating value, 0 <= value <= 1. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [W]

    Valid: steady state; heat of the blower's motor is not in it.
    Method: input times efficiency.
    Source: definition of the efficiency.
    """
    return finite(bounded(input_power, 0.0) * bounded(efficiency, 0.0, 1.0))


@quiet
def flow_on_system_curve(flow: ArrayLike, static: ArrayLike, new_static: ArrayLike) -> NDArray[np.float64]:
    """Airflow through the same ducts at another static.

    flow : (...) airflow at `static`, value >= 0. [m3/s]
    static : (...) static at that airflow, value > 0. [Pa]
    new_static : (...) static for which the airflow is sought, value >= 0. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [m3/s]

    Valid: nothing changed in the ducts; filter and coil, where the flow is smoother, follow a lower power.
    Method: static grows with the square of the airflow.
    Source: the square law of turbulent flow, as in ASHRAE Handbook - Fundamentals, chapter on duct design.
    """
    return finite(bounded(flow, 0.0) * np.sqrt(bounded(new_static, 0.0) / bounded(static, above=0.0)))


@quiet
def static_on_system_curve(static: ArrayLike, flow: ArrayLike, new_flow: ArrayLike) -> NDArray[np.float64]:
    """Static of the same ducts at another airflow.

    static : (...) static at `flow`, value >= 0. [Pa]
    flow : (...) airflow at that static, value > 0. [m3/s]
    new_flow : (...) airflow for which the static is sought, value >= 0. [m3/s]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [Pa]

    Valid: as `flow_on_system_curve`.
    Method: static grows with the square of the airflow.
    Source: the square law of turbulent flow, as in ASHRAE Handbook - Fundamentals, chapter on duct design.
    """
    return finite(bounded(static, 0.0) * (bounded(new_flow, 0.0) / bounded(flow, above=0.0)) ** 2)


@quiet
def fan_flow(flow: ArrayLike, speed: ArrayLike, new_speed: ArrayLike) -> NDArray[np.float64]:
    """Airflow of the same blower on the same ducts at another speed.

    flow : (...) airflow at `speed`, value >= 0. [m3/s]
    speed : (...) speed of the wheel, value > 0. [rpm]
    new_speed : (...) speed for which the airflow is sought, value >= 0. [rpm]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [m3/s]

    Valid: same wheel, same ducts; the density of the air does not enter.
    Method: airflow in proportion to the speed.
    Source: fan laws, ASHRAE Handbook - HVAC Systems and Equipment, chapter on fans.
    """
    return finite(bounded(flow, 0.0) * (bounded(new_speed, 0.0) / bounded(speed, above=0.0)))


@quiet
def fan_pressure(
    pressure: ArrayLike, speed: ArrayLike, new_speed: ArrayLike, density_ratio: ArrayLike = 1.0
) -> NDArray[np.float64]:
    """Pressure that the same blower makes on the same ducts at another speed or air density.

    pressure : (...) pressure made at `speed`, value >= 0. [Pa]
    speed : (...) speed of the wheel, value > 0. [rpm]
    new_speed : (...) speed for which the pressure is sought, value >= 0. [rpm]
    density_ratio : (...) new air density over that at `speed`, value > 0; 1 where it stays. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [Pa]

    Valid: same wheel, same ducts.
    Method: pressure in proportion to the density and the square of the speed.
    Source: fan laws, ASHRAE Handbook - HVAC Systems and Equipment, chapter on fans.
    """
    speeds = bounded(new_speed, 0.0) / bounded(speed, above=0.0)
    return finite(bounded(pressure, 0.0) * bounded(density_ratio, above=0.0) * speeds**2)


@quiet
def fan_power(
    power: ArrayLike, speed: ArrayLike, new_speed: ArrayLike, density_ratio: ArrayLike = 1.0
) -> NDArray[np.float64]:
    """Power that the same blower takes on the same ducts at another speed or air density.

    power : (...) shaft power at `speed`, value >= 0. [W]
    speed : (...) speed of the wheel, value > 0. [rpm]
    new_speed : (...) speed for which the power is sought, value >= 0. [rpm]
    density_ratio : (...) new air density over that at `speed`, value > 0; 1 where it stays. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [W]

    Valid: same wheel, same ducts; the motor's own losses follow other laws.
    Method: power in proportion to the density and the cube of the speed.
    Source: fan laws, ASHRAE Handbook - HVAC Systems and Equipment, chapter on fans.
    """
    speeds = bounded(new_speed, 0.0) / bounded(speed, above=0.0)
    return finite(bounded(power, 0.0) * bounded(density_ratio, above=0.0) * speeds**3)


@quiet
def velocity_from_pressure(pressure: ArrayLike, density: ArrayLike) -> NDArray[np.float64]:
    """Air velocity from the velocity pressure of a pitot tube.

    pressure : (...) velocity pressure, total minus static, value >= 0. [Pa]
    density : (...) density of the air, value > 0. [kg/m3]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [m/s]

    Valid: up to about 60 m/s, where compression of the air adds 0.4 %; one point, not the mean of a duct.
    Method: Bernoulli's equation, the root of twice the pressure over the density.
    Source: ASHRAE Handbook - Fundamentals, chapter on measurement and instruments.
    """
    return finite(np.sqrt(2.0 * bounded(pressure, 0.0) / bounded(density, above=0.0)))


@quiet
def flow_from_velocity(velocity: ArrayLike, area: ArrayLike) -> NDArray[np.float64]:
    """Airflow through a duct from its mean velocity.

    velocity : (...) mean velocity over the section, value >= 0. [m/s]
    area : (...) free area of the section, value > 0. [m2]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [m3/s]

    Valid: the mean of a traverse; a single reading in the middle of a duct is too high.
    Method: velocity times area.
    Source: definition of the mean velocity.
    """
    return finite(bounded(velocity, 0.0) * bounded(area, above=0.0))


@quiet
def rise_at_flow_share(rise: ArrayLike, share: ArrayLike) -> NDArray[np.float64]:
    """Temperature rise when only a share of the airflow is left and the output stays.

    rise : (...) rise at full airflow. [K]
    share : (...) mass flow that is left, of the full one, 0 < value <= 1. [1]
    returns : (...) broadcast shape; NaN where an input is NaN, infinite or out of range. [K]

    Valid: constant output; a furnace gives slightly less as its exchanger warms, and its limit opens first.
    Method: energy balance, rise over share.
    Source: energy balance.
    """
    return finite(bounded(rise) / bounded(share, above=0.0, high=1.0))


@quiet
def stream_rise(rise: ArrayLike, bypass: ArrayLike) -> NDArray[np.float64]:
    """Rise of the air that passes the heat exchanger when a share goes past it, as by a forgotten baffle.

    rise : (...) rise of the mixed air, as the thermometers in the ducts have it. [K]
    bypass : (...) share of the air that goes past the exchanger, of all, 0 <= value < 1. [1]
    returns : (...) broadcast shape; NaN where an input is NaN, infinite or out of range. [K]

    Valid: the two streams mix before the supply thermometer; the mixed rise does not tell of the bypass.
    Method: energy balance, rise over the share that passes the exchanger.
    Source: energy balance.
    """
    return finite(bounded(rise) / (1.0 - bounded(bypass, 0.0, below=1.0)))
