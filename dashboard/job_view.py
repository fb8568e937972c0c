"""The view of the job: its file as a form and as text, filled by the script in the browser."""

from typing import Any

from dashboard.shell import section


def layout() -> list[Any]:
    """The view, empty."""
    return [section("job", "Job")]
