"""What the job file says of an instrument, for channels of a file that says it not."""

from dataclasses import replace

from analysis.model import Channel, origin_of
from collector.job import InstrumentSettings, Job
from collector.job_values import accuracy


def documented(channel: Channel, job: Job, unnamed: str = "") -> Channel:
    """The channel with accuracy and response time of its instrument in the job, where it has none of its own.

    `unnamed` is what an instrument is called that a file does not name: then the only one at that point is meant.
    """
    instrument = _bare(channel.instrument)
    found = [one for one in job.instruments if one.name == instrument]
    if not found and instrument == unnamed:
        found = [one for one in job.instruments if channel.point in one.channels.values()]
    if len(found) != 1:
        return channel
    (settings,) = found
    response_time = settings.response_time if channel.response_time is None else channel.response_time
    return replace(channel, accuracy=channel.accuracy or _fitting(settings, channel), response_time=response_time)


def _fitting(settings: InstrumentSettings, channel: Channel) -> str | None:
    try:
        return accuracy(settings.accuracy, channel.point) if settings.accuracy else None
    except ValueError:
        return None  # of another thing that the same instrument measures


def _bare(instrument: str) -> str:
    while origin := origin_of(instrument):
        instrument = instrument.removeprefix(f"{origin}: ")
    return instrument
