"""What a job says of its instruments: which is isolated, and which has to be."""

from collector.instruments import cautions, instrument_facts
from collector.job import parse

METER = """
[[instrument]]
name = "{name}"
driver = "{driver}"
line = '(?P<value>\\S+)'
channels = {{ value = "{point}" }}
units = {{ value = "{unit}" }}
{more}
"""


def meter(name: str, point: str, unit: str, more: str = "", driver: str = "serial") -> str:
    address = f'address = "/dev/{name}"\n'
    return METER.format(name=name, point=point, unit=unit, driver=driver, more=address + more)


def test_a_meter_on_a_live_circuit_has_to_be_isolated_and_says_whether_it_is():
    job = parse(
        meter("rod", "flame_current", "uA")
        + meter("igniter", "amps_igniter", "A", "isolated = true")
        + meter("line", "volts_line", "V", "isolated = false")
        + meter("draft", "draft_vent", "Pa", "isolated = false")
        + '[[instrument]]\nname = "hand"\ndriver = "manual"\n'
    )
    facts = {
        name: (fact["isolated"], fact["needs_isolation"]) for name, fact in instrument_facts(job.instruments).items()
    }
    assert facts == {"rod": (None, True), "igniter": (True, True), "line": (False, True), "draft": (False, False)}
    assert [text.split(":")[0] for text in cautions(job.instruments)] == ["rod", "line"]
