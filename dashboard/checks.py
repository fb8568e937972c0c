"""The view of the checks: before a test, what was opened for it, before leaving; and the strip of what is open."""

from typing import Any

from dashboard.shell import section


def layout() -> list[Any]:
    """The view, empty; the script in the browser fills it."""
    return [
        section("checks-before", "Before you start"),
        section("checks-open", "Opened for a test"),
        section("checks-safe", "Leave it safe"),
        section("checks-more", "Other lists of this recording", hidden=True),
    ]
