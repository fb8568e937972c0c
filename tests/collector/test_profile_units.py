"""Where a profile says that a message says the unit."""

import pytest

from collector.profiles import examined

BLE, BYTE = "driver = 'ble'", "characteristic = '{}'\ntype = 'uint8'"
FRAME = "driver = 'serial'\nserial = { format = 'frame', start = 'AA', length = 6 }"


@pytest.mark.parametrize(
    ("head", "value", "other", "words"),
    [
        (FRAME, "at = 1\ntype = 'uint8'", "at = 2\ntype = 'uint8'", ""),
        (FRAME, "at = 1\ntype = 'uint8'", "name = 'unti'\nat = 2\ntype = 'uint8'", "there is no other value 'u'"),
        ("driver = 'modbus'", "register = 1", "register = 90", ""),
        ("driver = 'modbus'", "register = 1", "name = 'unti'\nregister = 90", "there is no other value 'u'"),
        (BLE, BYTE.format("fff1"), BYTE.format("0000FFF1"), ""),
        (BLE, BYTE.format("fff1"), BYTE.format("fff2"), "'u' is in another characteristic"),
        ("driver = 'ble'\nble.format = 'environmental'", "", "", "its standard says the units"),
    ],
)
def test_a_unit_is_said_by_another_value_of_the_same_message(head: str, value: str, other: str, words: str) -> None:
    name = "" if "name" in other else "name = 'u'\n"
    measure = f"[[value]]\nname = 'p'\nunits = {{ 0 = 'Pa' }}\nunit_from = 'u'\n{value}\n"
    status = f"[[value]]\n{name}{other}\nrole = 'status'\nbits = {{ 7 = 'fault' }}\n"
    _, mistakes = examined(f"{head}\n{measure}{status}", "mine")
    told = [one.text for one in mistakes if one.key == "value[1].unit_from"]
    assert len(told) == bool(words), mistakes
    assert all(words in text for text in told)
