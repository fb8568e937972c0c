"""The view of the instruments: what each does, what it lost, its zero and its accuracy."""

from typing import Any

from dashboard.shell import section


def layout() -> list[Any]:
    """The view, empty; the script in the browser fills it."""
    return [section("instruments", "Meters")]
