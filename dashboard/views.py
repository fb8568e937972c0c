"""The views of the page, in the order of their buttons."""

from dashboard import checks, instruments, job_view, live, recordings
from dashboard.shell import View


def views() -> list[View]:
    """Every view, empty."""
    return [
        View("live", "Live", live.layout()),
        View("checks", "Checks", checks.layout()),
        View("recordings", "Recordings", recordings.layout()),
        View("meters", "Meters", instruments.layout()),
        View("job", "Job", job_view.layout()),
    ]
