"""Modbus frames: a question as bytes, and its answer among the bytes that came; the one module that knows pymodbus.

pymodbus makes the frames, takes them apart and drives the serial port. Its client is not used: that takes any frame of
the right unit for the answer, also a late one that answers another question.

Sources: MODBUS over Serial Line V1.02, section 2.5.1 (RTU); MODBUS Messaging on TCP/IP V1.0b, section 3.1 (TCP).
"""

from asyncio import AbstractEventLoop, Protocol
from collections.abc import Iterator
from typing import Any

from pymodbus.framer import FramerRTU, FramerSocket
from pymodbus.pdu import DecodePDU, ModbusPDU, ReadCoilsRequest, ReadDeviceInformationRequest
from pymodbus.pdu.bit_message import ReadDiscreteInputsRequest
from pymodbus.pdu.mei_message import ReadDeviceInformationResponse
from pymodbus.pdu.register_message import ReadHoldingRegistersRequest, ReadInputRegistersRequest
from pymodbus.transport.serialtransport import SerialTransport

from drivers.codecs.registers import Batch

_PARITY = {"none": "N", "even": "E", "odd": "O"}
_REQUESTS: dict[str, type[ModbusPDU]] = {
    "holding": ReadHoldingRegistersRequest,
    "input": ReadInputRegistersRequest,
    "coil": ReadCoilsRequest,
    "discrete": ReadDiscreteInputsRequest,
}
_LONGEST = 253
"""Longest answer from its function code on. Source: MODBUS Application Protocol Specification V1.1b3, 4.1. [bytes]"""


class Question:
    """A question to a unit, and how its answer is known."""

    def __init__(self, request: ModbusPDU, size: int | None) -> None:
        self.request = request
        self.unit = request.dev_id
        self.size = size
        """Bytes of the answer after function code and byte count; None where the answer says it. [bytes]"""

    @property
    def longest(self) -> int:
        """Longest answer from its function code on. [bytes]"""
        return _LONGEST if self.size is None else self.size + 2

    def fits(self, found: bytes) -> bool:
        """Whether this, from the function code on, is its answer or its refusal."""
        function = self.request.function_code
        if len(found) < 2 or found[0] & 0x7F != function:
            return False
        if found[0] & 0x80:
            return len(found) == 2
        return self.size is None or (found[1] == self.size and len(found) == self.longest)


def read(unit: int, batch: Batch) -> Question:
    """Ask for registers or bits."""
    return Question(_REQUESTS[batch.table](dev_id=unit, address=batch.first, count=batch.count), batch.size)


def identify(unit: int) -> Question:
    """Ask what a unit is: function 43/14, basic."""
    return Question(ReadDeviceInformationRequest(dev_id=unit), None)


def identity(answer: bytes) -> dict[int, bytes]:
    """What the answer to `identify` says: 0 vendor, 1 product, 2 revision; ValueError where it says nothing."""
    said = ReadDeviceInformationResponse()
    try:
        said.decode(answer[1:])
    except Exception as error:  # a struct.error, an IndexError: what it was given is no such answer
        raise ValueError("this is no identification") from error
    return {number: text for number, text in said.information.items() if isinstance(text, bytes)}


class RtuFrame:
    """A question as a frame for a serial line."""

    def __init__(self, question: Question) -> None:
        self._framer = FramerRTU(DecodePDU(is_server=False))
        self.question = question
        self.data = self._framer.buildFrame(question.request)
        self.used = 0
        """Bytes of the answer's frame, once it is found. [bytes]"""

    def answer(self, data: bytes) -> bytes | None:
        """The answer from its function code to before the checksum, wherever it stands; None while there is none.

        An adapter that hears itself gives the question back first.
        """
        start = len(self.data) if data.startswith(self.data) else 0
        for at in range(start, len(data) - 3):
            if data[at] == self.question.unit:
                for size in self._sizes(data[at + 1]):
                    _, _, _, found = self._framer.decode(data[at : at + size])
                    if self.question.fits(found) and data[at + 1 : at + 1 + len(found)] == found:
                        self.used = start + len(found) + 3
                        return found
        return None

    def is_echo(self, data: bytes) -> bool:
        """Whether an adapter only heard itself."""
        return data == self.data

    def spoiled(self, data: bytes) -> bool:
        """Whether this is long enough for an answer, and nothing in it is a frame of anybody."""
        return len(data) >= 5 and not self.data.startswith(data) and not self._any_frame(data)

    def _any_frame(self, data: bytes) -> bool:
        """Whether there is one."""
        return any(self._framer.decode(data[at:])[3] for at in range(len(data) - 3))

    def _sizes(self, function: int) -> tuple[int, ...]:
        """Length of a frame with this function code, where it may be the answer. [bytes]"""
        if function == self.question.request.function_code | 0x80:
            return (5,)
        return (self.question.longest + 3,) if function == self.question.request.function_code else ()


class TcpFrame:
    """A question as a message to a server; `transaction` is its number on the connection."""

    def __init__(self, question: Question, transaction: int) -> None:
        self._framer = FramerSocket(DecodePDU(is_server=False))
        self.question, self._transaction = question, transaction
        question.request.transaction_id = transaction
        self.data = self._framer.buildFrame(question.request)
        self.used = 0
        """Bytes of the answer's message, once it is found. [bytes]"""

    def answer(self, data: bytes) -> bytes | None:
        """The answer from its function code on; None while there is none."""
        for used, transaction, unit, found in self._messages(data):
            if (transaction, unit) == (self._transaction, self.question.unit) and self.question.fits(found):
                self.used = used
                return found
        return None

    def is_echo(self, data: bytes) -> bool:
        """Whether the question came back; a network does not do that."""
        return data == self.data

    def spoiled(self, data: bytes) -> bool:
        """Whether this question was answered by something that is no answer to it."""
        return any(transaction == self._transaction for _, transaction, _, _ in self._messages(data))

    def _messages(self, data: bytes) -> Iterator[tuple[int, int, int, bytes]]:
        """Length, number, unit and content of each whole message."""
        at = 0
        while True:
            used, unit, transaction, found = self._framer.decode(data[at:])
            if not used:
                return
            yield used, transaction, unit, found
            at += used


def open_port(
    loop: AbstractEventLoop, protocol: Protocol, port: str, *, baud: int, parity: str, stop_bits: float
) -> Any:
    """A serial port that no other program has: an asyncio transport, to be set up; may take long."""
    return SerialTransport(loop, protocol, port, baud, 8, _PARITY[parity], stop_bits, 0)
