"""The view of the recordings: one opened, the list, two compared, and those that were deleted."""

from typing import Any

from dashboard.shell import section


def layout() -> list[Any]:
    """The view, empty; the scripts in the browser fill it."""
    return [
        section("recorded", "Opened recording", hidden=True),
        section("recordings", "Recordings"),
        section("compare", "Compare two recordings"),
        section("deleted", "Deleted recordings"),
    ]
