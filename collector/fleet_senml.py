"""What a shared call says, read: its channels, and packs of SenML."""

from collections.abc import Mapping, Sequence

from analysis.model import Channel
from collector.rows import Rows
from drivers.codecs import senml
from drivers.codecs.cbor import UnreadableError, unpacked


class PackDecoder:
    """Reads the two kinds of message; UnreadableError where one cannot be read."""

    def channels(self, payload: bytes) -> Mapping[str, Channel]:
        """The channels of a call, by the names that its packs have for them."""
        said = unpacked(senml.unzipped(payload))
        found = said.get("channels") if isinstance(said, dict) else None
        if not isinstance(found, dict):
            raise UnreadableError("the description of the channels is none", "nothing of it is taken")
        return {str(name): _channel(one) for name, one in found.items()}

    def readings(self, payload: bytes) -> Sequence[tuple[str, Rows]]:
        """Readings by the name of their channel."""
        return [(one.name, Rows(one.time, one.value, one.quality)) for one in senml.decode(payload).blocks]


def _channel(said: object) -> Channel:
    match said:
        case {"point": str(point), "instrument": str(instrument), "unit": str(unit)}:
            return Channel(point, instrument, unit)
        case _:
            raise UnreadableError("the description of a channel is none", "nothing of it is taken")
