"""What a shared call says, read for the archive: its channels, and its readings as packs of SenML."""

from collections.abc import Sequence

from collector.fleet_messages import Described
from collector.forward_about import equipment_in
from collector.rows import Rows
from drivers.codecs import senml
from drivers.share_messages import read_channels


class PackDecoder:
    """Reads the two kinds of message; UnreadableError where one cannot be read."""

    def channels(self, payload: bytes) -> Described:
        """The channels of a call, by the numbers that its packs have for them, and which unit it is about."""
        channels, job = read_channels(payload)
        return Described({str(number): channel for number, channel in channels.items()}, equipment_in(job))

    def readings(self, payload: bytes) -> Sequence[tuple[str, Rows]]:
        """Readings by the number of their channel, which stands at the end of its name in the pack."""
        blocks = senml.decode(payload).blocks
        return [(one.name.rpartition("/")[2], Rows(one.time, one.value, one.quality)) for one in blocks]
