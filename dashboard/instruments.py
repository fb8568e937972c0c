"""The view of the instruments: what each does, what it lost, its zero and its accuracy; and the way to a new one."""

from typing import Any

from dashboard import wizard
from dashboard.shell import section


def layout() -> list[Any]:
    """The view, empty; the scripts in the browser fill it."""
    return [section("instruments", "Meters"), *wizard.layout()]
