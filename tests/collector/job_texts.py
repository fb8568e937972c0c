"""Job files for the tests. The unit, the house and all figures are invented."""

FULL = r"""# Every key of a job file. The unit, the house and all figures are invented.
share.broker = "mqtts://broker.invalid:8883"
archive.url = "http://archive.invalid:8428/api/v2/write"
archive.bucket = "calls"
archive.org = "north"
archive.secret = "env:ARCHIVE_TOKEN"
archive.technician = "van 7"
unit = { model = "INV-80", serial = 12345, installed = 2014-10-01 }
site = { name = "invented house", altitude = "2600 ft" }
humidifier.setting = 0.38
heat_pump.capacity_47 = "36 kBtu/hr"
heat_pump.capacity_17 = "22 kBtu/hr"
heat_pump.compressor_lockout = "22 degF"
heat_pump.auxiliary_lockout = "45 degF"
[furnace]
fuel = "natural gas"
condensing = true
input = [
    "80 kBtu/hr",   # high
    "56 kBtu/hr",
]
efficiency = 0.95
rise = ["35 degF", "65 degF"]
static_max = "0.5 inH2O"
supply_max = "170 degF"
manifold = ["3.5 inH2O", "1.7 inH2O"]
gas_inlet = ["4.5 inH2O", "10.5 inH2O"]
switch_close = ["0.95 inH2O", "0.50 inH2O"]
switch_open  = ["0.85 in. w.c.", "0.42 inH2O"]
flame_current_min = "1.0 uA"
switch_label = "break"
manifold_reference = "burner_box"
pipes = 2
vent_material = "PVC"
vent_length = "40 ft"
elbows = 5
condensate_route = "floor drain"
timing.prepurge = 16
timing.igniter_warmup = 18.5
timing.ignition_trial = 6
timing.blower_on_delay = "45 s"
timing.post_purge = 20
timing.blower_off_delay = "2 min"
timing.trials = 4
baseline.draft_burner_box = "-0.15 inH2O"
baseline.draft_transition = "-0.50 inH2O"
baseline.draft_collector = "-1.25 inH2O"
baseline.draft_vent = "0.35 inH2O"
[[instrument]]
name = "draft meter"
driver = "ble"
profile = "ess-pressure"
address = "00:00:5E:00:53:01"
channels = { pressure = "draft_collector" }
accuracy = "0.5 % + 0.01 inH2O"
isolated = true
[[instrument]]
driver = "serial"
baud = 9600
line = '(?P<inlet>[-+.\d]+) (?P<manifold>[-+.\d]+)'
units = { inlet = "inH2O", manifold = "in. w.c." }
response_time = "5 s"
isolated = false
[instrument.channels]
inlet = "gas_inlet"
manifold = "gas_manifold"
[[limit]]
point = "humidity_supply"
above = "60 %"
deadband = "3 %"
on_delay = "30 s"
off_delay = "2 min"
priority = "high"
text = "the humidifier runs too much"
[[limit]]
name = "too hot"
point = "temp_supply"
above = "170 degF"
deadband = "9 degF"
priority = "safety"
[[limit]]
point = "temp_rise"
below = "36 degF"
[[limit]]
point = "call_heat"
below = 0.5
"""


def unit(address: str) -> str:
    """Job of a simulated unit."""
    return f'[[instrument]]\nname = "unit"\ndriver = "simulate"\naddress = "{address}"\n'
