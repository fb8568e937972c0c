"""What a shared call says, read: its channels, its readings as packs of SenML, and how it stands."""

from collections.abc import Sequence

from analysis.model import Channel
from collector.fleet_maps import read_map
from collector.fleet_messages import Described
from collector.forward_about import equipment_in
from collector.rows import Rows
from drivers.codecs import senml
from drivers.codecs.cbor import UnreadableError

MOST_CHANNELS = 1000
"""Of a call. [1]"""
LONGEST = 200
"""Of a name. [characters]"""


class PackDecoder:
    """Reads the two kinds of message; UnreadableError where one cannot be read."""

    def channels(self, payload: bytes) -> Described:
        """The channels of a call, by the numbers that its packs have for them, and which unit it is about."""
        said = read_map(payload)
        rows, job = said.get("channels"), said.get("job")
        if not isinstance(rows, list) or len(rows) > MOST_CHANNELS:
            raise UnreadableError("the description of the channels is none", "nothing of it is taken")
        channels = dict(_numbered(row) for row in rows)
        return Described(channels, equipment_in(job) if isinstance(job, str) else "")

    def readings(self, payload: bytes) -> Sequence[tuple[str, Rows]]:
        """Readings by the name of their channel."""
        return [(one.name, Rows(one.time, one.value, one.quality)) for one in senml.decode(payload).blocks]


def _numbered(row: object) -> tuple[str, Channel]:
    match row:
        case {"number": int(number), "point": str(point), "instrument": str(instrument), "unit": str(unit)} if (
            max(len(point), len(instrument), len(unit)) <= LONGEST
        ):
            return str(number), Channel(point, instrument, unit)
        case _:
            raise UnreadableError("the description of a channel is none", "nothing of it is taken")
