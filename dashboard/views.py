"""The views of the page, in the order of their buttons."""

from dashboard import instruments, live, recordings
from dashboard.shell import View


def views() -> list[View]:
    """Every view, empty."""
    return [
        View("live", "Live", live.layout()),
        View("meters", "Meters", instruments.layout()),
        View("recordings", "Recordings", recordings.layout()),
    ]
