"""Lines of text into samples, by the format of a profile."""

from drivers.codecs.lines import LinePattern
from drivers.codecs.sample import Decoded, Decoder, Interpreter
from drivers.profile import Profile

LONGEST_LINE = 512
"""[bytes]"""


class LineDecoder:
    """Lines by a regular expression; ValueError in one sentence where it cannot work."""

    def __init__(self, profile: Profile) -> None:
        self._groups = {value.name: value.group or value.name for value in profile.values}
        self._units = {value.name: value.unit_from for value in profile.values if value.unit_from}
        groups = {*self._groups.values(), *self._units.values()}
        self._pattern = LinePattern(profile.serial.pattern or "", groups, longest=LONGEST_LINE)
        self._interpreter = Interpreter(profile.values)

    def decode(self, data: bytes, source: str = "") -> Decoded:  # noqa: ARG002 - a line has one source
        """What a line says."""
        texts = self._pattern.texts(data)
        if texts is None:
            return Decoded(None, self._pattern.reason.value if self._pattern.reason else "")
        units = {name: texts[group] for name, group in self._units.items() if group in texts}
        return self._interpreter.sample(
            {name: texts[group] for name, group in self._groups.items() if group in texts}, units
        )


def text_decoder(profile: Profile) -> Decoder:
    """The decoder of a profile's format."""
    return LineDecoder(profile)
