"""Values at fixed places of Bluetooth characteristics, as a profile describes them; and how UUIDs are written."""

from collections.abc import Sequence

from drivers.codecs.binary import BytesDecoder
from drivers.codecs.sample import Decoded
from drivers.profile import Value

BASE = "-0000-1000-8000-00805f9b34fb"
"""End of the long form of a short UUID. Source: Bluetooth Core Specification 5.4, volume 3, part B, 2.5.1."""


def full_uuid(uuid: str) -> str:
    """The long form, in small letters, of a UUID of 4, 8 or 32 digits."""
    text = uuid.lower()
    return f"{text:0>8}{BASE}" if len(text) <= 8 else text


def short_uuid(uuid: str) -> str:
    """The shortest form of a UUID, as people write it."""
    text = full_uuid(uuid)
    return text.removesuffix(BASE).removeprefix("0000") if text.endswith(BASE) else text


class CharacteristicsDecoder:
    """Messages of several characteristics; ValueError in one sentence where the values cannot work.

    The source of a message is the UUID of its characteristic, short or long.
    """

    def __init__(self, values: Sequence[Value]) -> None:
        groups: dict[str, list[Value]] = {}
        for value in values:
            groups.setdefault(full_uuid(value.characteristic or ""), []).append(value)
        for uuid, group in groups.items():
            if len({value.every for value in group}) > 1:
                names = ", ".join(value.name for value in group)
                raise ValueError(
                    f"the values {names} are in characteristic {short_uuid(uuid)}, so their 'every' has to be the same"
                )
        self._decoders = {uuid: BytesDecoder(group) for uuid, group in groups.items()}

    def decode(self, data: bytes, source: str = "") -> Decoded:
        """What a message says."""
        decoder = self._decoders.get(full_uuid(source))
        if decoder is None:
            return Decoded(None, "comes from a characteristic that the profile does not name")
        return decoder.decode(data)
