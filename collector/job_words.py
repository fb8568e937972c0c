"""What the keys of a job file are called in the trade, with an example each; figures belong to an invented unit."""

from typing import NamedTuple


class Words(NamedTuple):
    """How one key is asked for."""

    label: str
    example: str = ""
    """As it may be typed, with its unit; a list has one for each of its inputs, between bars."""
    note: str = ""
    """One sentence where the label does not say enough."""


class Title(NamedTuple):
    """How one section is headed."""

    title: str
    note: str = ""


SECTIONS: dict[str, Title] = {
    "furnace": Title("Furnace: rating plate and maker's sheet"),
    "furnace.baseline": Title(
        "Furnace: draft when it was known good",
        "This unit when it worked well: hot, high stage, after ten minutes or more, gauge to the room, suction"
        " negative. Later draft readings are compared with it, which tells causes apart far better than any table.",
    ),
    "furnace.timing": Title("Furnace: timing of its control", "Left empty, typical times are taken."),
    "limit": Title("Alarm limits of your own", "They come on top of those that follow from the rating plate."),
    "instrument": Title("Instruments", "A change here takes effect when it is saved."),
    "site": Title("Site"),
    "unit": Title("Unit: its papers"),
    "heat_pump": Title("Heat pump"),
    "humidifier": Title("Humidifier"),
    "share": Title("Sharing with other machines"),
    "archive": Title("Archive"),
}
"""Sections in the order of the form."""

WORDS: dict[str, Words] = {
    "site.name": Words("what the place is called", "back basement"),
    "site.altitude": Words("altitude", "2600 ft"),
    "unit.model": Words("model", "as on the rating plate"),
    "unit.serial": Words("serial number", "as on the rating plate"),
    "unit.installed": Words("installed", "2014-10-01"),
    "furnace.fuel": Words("fuel"),
    "furnace.condensing": Words("condensing"),
    "furnace.input": Words("input", "80 kBtu/hr|56 kBtu/hr"),
    "furnace.efficiency": Words("efficiency, steady", "95 %"),
    "furnace.rise": Words("temperature rise window", "35 degF|65 degF"),
    "furnace.static_max": Words("highest external static", "0.5 inH2O"),
    "furnace.supply_max": Words("highest supply air", "170 degF"),
    "furnace.manifold": Words("manifold pressure", "3.5 inH2O|1.7 inH2O"),
    "furnace.gas_inlet": Words("gas inlet window", "4.5 inH2O|10.5 inH2O"),
    "furnace.switch_close": Words("pressure switch closes at (make)", "0.95 inH2O|0.50 inH2O"),
    "furnace.switch_open": Words("pressure switch opens at (break)", "0.85 inH2O|0.42 inH2O"),
    "furnace.flame_current_min": Words("lowest flame current", "1.0 uA"),
    "furnace.switch_label": Words("figure printed on the switch is", "", "The printed figure is often the break."),
    "furnace.manifold_reference": Words("manifold pressure is measured against"),
    "furnace.pipes": Words("pipes", "2", "2: intake and vent; 1: vent only."),
    "furnace.vent_material": Words("vent material", "PVC"),
    "furnace.vent_length": Words("vent length", "40 ft"),
    "furnace.elbows": Words("elbows", "5"),
    "furnace.condensate_route": Words("where the condensate goes", "floor drain"),
    "furnace.baseline.draft_burner_box": Words("burner box", "-0.15 inH2O"),
    "furnace.baseline.draft_transition": Words("transition box", "-0.50 inH2O"),
    "furnace.baseline.draft_collector": Words("collector box", "-1.25 inH2O"),
    "furnace.baseline.draft_vent": Words("vent side", "0.35 inH2O"),
    "furnace.timing.prepurge": Words("prepurge", "15 s"),
    "furnace.timing.igniter_warmup": Words("igniter warm-up", "17 s"),
    "furnace.timing.ignition_trial": Words("trial for ignition", "5 s"),
    "furnace.timing.blower_on_delay": Words("blower on after", "30 s"),
    "furnace.timing.post_purge": Words("post-purge", "15 s"),
    "furnace.timing.blower_off_delay": Words("blower off after", "120 s"),
    "furnace.timing.trials": Words("trials in one call", "3"),
    "heat_pump.capacity_47": Words("capacity at 47 °F", "36 kBtu/hr"),
    "heat_pump.capacity_17": Words("capacity at 17 °F", "22 kBtu/hr"),
    "heat_pump.compressor_lockout": Words("compressor locked out below", "22 degF"),
    "heat_pump.auxiliary_lockout": Words("furnace locked out above", "45 degF"),
    "humidifier.setting": Words("humidity setting", "38 %"),
    "limit.name": Words("name", "", "Left empty, it is named by its point and limit."),
    "limit.point": Words("where"),
    "limit.above": Words("alarm above", "170 degF", "Either this or below, in the unit of the point."),
    "limit.below": Words("alarm below", "0.10 inH2O"),
    "limit.deadband": Words("how far back before it is over", "3 degF"),
    "limit.on_delay": Words("only after", "30 s"),
    "limit.off_delay": Words("over only after", "10 s"),
    "limit.priority": Words("priority"),
    "limit.text": Words("what it means", "The pressure at the switch is close to its opening point"),
    "instrument.name": Words("name", "switch manometer"),
    "instrument.driver": Words("how it is reached"),
    "instrument.profile": Words("profile", "line-pressure", "Its name, or a file."),
    "instrument.address": Words("address", "/dev/ttyUSB0", "No password here."),
    "instrument.device": Words("number on its line", "7", "Modbus only."),
    "instrument.topic": Words("topic", "bench/meter", "MQTT only."),
    "instrument.secret": Words("where its key or password is", "env:METER_KEY", "env:NAME or file:PATH, never itself."),
    "instrument.accuracy": Words("accuracy, as on its sheet", "0.5 % + 0.01 inH2O"),
    "instrument.isolated": Words(
        "isolated",
        "",
        "A meter that is not isolated must not be on the flame rod, igniter or line circuit: mains voltage.",
    ),
    "instrument.response_time": Words("response time", "5 s"),
    "instrument.baud": Words("baud"),
    "instrument.line": Words(
        "line of text", r"P=(?P<pressure>\S+) inH2O", "A regular expression; its named groups are values."
    ),
    "instrument.channels": Words("points of its values", "pressure = draft_switch", "One a line: value = point."),
    "instrument.units": Words("units of its values", "pressure = inH2O", "One a line: value = unit."),
    "share.broker": Words("broker", "mqtts://ann@broker.invalid:8883", "With the user name in it, never a password."),
    "share.company": Words("company", "cold company", "First name of the call on the broker."),
    "share.technician": Words("technician", "Ann", "Second name of the call on the broker."),
    "share.call": Words("call", "2026-01-14", "Third name; left empty, that of the recording."),
    "share.secret": Words("where its password is", "env:BROKER_PASSWORD", "env:NAME or file:PATH, never itself."),
    "share.certificate": Words(
        "own certificate", "technician.pem", "A file with certificate and key, if it wants one."
    ),
    "archive.url": Words("server that takes line protocol", "https://archive.invalid"),
    "archive.bucket": Words("bucket", "lightoff", "On servers that have several."),
    "archive.org": Words("owner of the bucket (org)", "", "On servers that have several."),
    "archive.secret": Words("where its token is", "env:ARCHIVE_TOKEN", "env:NAME or file:PATH, never itself."),
    "archive.technician": Words("who records", "van 7", "Stands with each reading in the archive."),
}

OPTIONS: dict[str, str] = {
    "make": "the make",
    "break": "the break",
    "burner_box": "burner box",
    "ble": "Bluetooth Low Energy",
    "serial": "serial line or USB",
    "modbus": "Modbus",
    "mqtt": "MQTT",
    "manual": "read by eye, typed in",
    "replay": "from a recording",
    "simulate": "simulated",
    "share": "from another machine",
}
"""Choices that the file writes otherwise than people say them."""
