"""What is to be simulated, as people ask for it: options of a command, or an instrument's address in a job file."""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from analysis.diagnosis.causes import CAUSES
from analysis.points import nearest
from collector.job import InstrumentSettings, Job, JobError, parse
from drivers.base import InputError, LightoffError
from drivers.replay import FASTEST, SLOWEST
from drivers.simulate.causes import Cause

INSTRUMENTS = ("full", "draft", "basic", "contacts", "random")
"""Sets of meters; a random one is what somebody happens to own, and how it happens to be used."""

EXAMPLE = "write for example 'seed=7 speed=1 drain_blocked=0.7'"


class WrongUsageError(InputError):
    """What was asked for makes no sense; the command ends with status 2."""

    status = 2

    def __init__(self, error: LightoffError) -> None:
        super().__init__(error.what, error.hint)
        self.where = getattr(error, "where", "")
        self.mistakes = getattr(error, "mistakes", ())


@dataclass(frozen=True, slots=True)
class Request:
    """One simulated unit."""

    seed: int = 1
    """What is drawn is drawn the same again from the same seed."""
    causes: tuple[Cause, ...] = ()
    """What is wrong; nothing when empty."""
    instruments: str = "full"
    """A name in `INSTRUMENTS`."""
    speed: float = 1.0
    """How many seconds of the unit pass in one. [1]"""


def causes_of(
    names: Sequence[str],
    severities: Sequence[float] = (),
    courses: Sequence[str] = (),
    onsets: Sequence[float] = (),
) -> tuple[Cause, ...]:
    """Causes of a command's options, each with what stands in the same place or once for all; WrongUsageError."""
    given = {"severity": severities, "course": courses, "onset": onsets}
    try:
        for option, values in given.items():
            if len(values) > 1 and len(values) != len(names):
                what = f"there are {len(values)} of --{option} and {len(names)} of --cause"
                raise InputError(what, f"give one --{option} for each --cause in the same order, or one for all")
            if values and not names:
                raise InputError(f"--{option} without --cause", "say what is wrong with --cause")
        if not all(math.isfinite(onset) for onset in onsets):
            raise InputError("--onset is not a number of seconds", "say for example --onset 300")
        causes = [
            Cause(name, **{option: values[place % len(values)] for option, values in given.items() if values})  # type: ignore[arg-type]
            for place, name in enumerate(names)
        ]
        return _together(causes)
    except InputError as error:
        raise WrongUsageError(error) from error


def _together(causes: Sequence[Cause]) -> tuple[Cause, ...]:
    """Causes that can be at the same time; `none` alone is no cause."""
    names = [cause.cause for cause in causes]
    if twice := next((name for name in names if names.count(name) > 1), None):
        raise InputError(f"{twice} is given twice", "give it once, with the severity it is to have")
    if "none" in names and len(names) > 1:
        raise InputError("none beside another cause", "leave 'none' out, or leave the other out")
    return tuple(cause for cause in causes if cause.cause != "none")


def request_of(address: str) -> Request:
    """What the address of an instrument asks for, such as `seed=7 speed=1 drain_blocked=0.7`; InputError."""
    request: dict[str, object] = {}
    causes: dict[str, float] = {}
    shared: dict[str, object] = {}
    """What holds for all causes: course and onset."""
    for word in address.split():
        key, equals, value = word.partition("=")
        if not equals or not value:
            raise InputError(f"'{word[:40]}' is not a name with a value", EXAMPLE)
        if key in (*request, *causes, *shared):
            raise InputError(f"'{key}' stands twice", "keep one of them")
        if key in _KEYS:
            request[key] = _KEYS[key](key, value)
        elif key in _SHARED:
            shared[key] = _SHARED[key](key, value)
        elif key in CAUSES:
            causes[key] = _number(key, value)
        else:
            raise InputError(f"unknown name '{key[:40]}'{nearest(key, [*_KEYS, *_SHARED, *CAUSES])}", EXAMPLE)
    if shared and not causes:
        raise InputError(f"'{next(iter(shared))}' without a cause", EXAMPLE)
    made = [Cause(name, severity, **shared) for name, severity in causes.items()]  # type: ignore[arg-type]
    return Request(causes=_together(made), **request)  # type: ignore[arg-type]


def own_request(job: Job | None) -> Request:
    """What the simulated instrument of a job asks for, the usual where there is none; WrongUsageError."""
    simulated = _simulated(job) if job else []
    if len(simulated) > 1:
        what = f"instrument '{simulated[1].name}' is a second simulated unit"
        raise WrongUsageError(InputError(what, "a call has one"))
    try:
        return request_of(simulated[0].address or "") if simulated else Request()
    except InputError as error:
        what = f"instrument '{simulated[0].name}': {error.what}"
        raise WrongUsageError(InputError(what, error.hint)) from error


def without_causes(job: Job, used: Request | None = None) -> str:
    """Text of a job in which no simulated instrument says what is wrong with it; InputError where that cannot be.

    used : what was simulated; where it is not what the address says, its seed, meters and speed stand there instead.
    """
    text, before = job.text, {one.name: (one.address or "").split() for one in job.instruments}
    wanted = before | {one.name: _told(one.address or "", used) for one in _simulated(job)}
    for one in _simulated(job):
        if wanted[one.name] != before[one.name]:
            text = _rewritten(text, one.address, " ".join(wanted[one.name]))
    if text is job.text and wanted == before:
        return text
    try:
        after = {one.name: (one.address or "").split() for one in parse(text, job.name).instruments}
    except JobError:
        after = {}
    if wrong := next((name for name, words in wanted.items() if after.get(name) != words), None):
        what = f"instrument '{wrong}': its address cannot be kept without what is wrong and as it was simulated"
        raise InputError(what, "write it in plain quotes on one line, with single spaces")
    return text


def _simulated(job: Job) -> list[InstrumentSettings]:
    return [one for one in job.instruments if one.driver == "simulate"]


def _told(address: str, used: Request | None) -> list[str]:
    """Words of an address without what is wrong, with what was used."""
    words = {word.partition("=")[0]: word for word in address.split()}
    if used:
        said = request_of(address)
        words |= {
            key: f"{key}={value:g}" if isinstance(value, float) else f"{key}={value}"
            for key in _KEYS
            if (value := getattr(used, key)) != getattr(said, key)
        }
    return [word for key, word in words.items() if key not in (*CAUSES, *_SHARED)]


def _rewritten(text: str, address: str | None, wanted: str) -> str:
    """Text of a job with another address wherever this one stands, or after the driver where there is none."""
    if address is None:
        driver = re.compile(r"""^([ \t]*)driver[ \t]*=[ \t]*(["'])simulate\2.*$""", re.MULTILINE)
        return driver.sub(lambda found: f'{found[0].rstrip()}\n{found[1]}address = "{wanted}"', text, count=1)
    if len(_told(address, None)) < len(address.split()):
        return text.replace(address, wanted)  # in comments too: they are kept with the recording
    place = re.compile(rf"""(address["']?[ \t]*=[ \t]*)(["'])[ \t]*{re.escape(address)}[ \t]*\2""")
    return place.sub(lambda found: f"{found[1]}{found[2]}{wanted}{found[2]}", text)


def _number(key: str, value: str) -> float:
    try:
        number = float(value)
    except ValueError:
        number = math.nan
    if not math.isfinite(number) or "_" in value:
        raise InputError(f"{key}: '{value[:40]}' is not a number", EXAMPLE)
    return number


def _speed(key: str, value: str) -> float:
    number = _number(key, value)
    if not SLOWEST <= number <= FASTEST:
        raise InputError(f"speed {number:g} is outside {SLOWEST:g} to {FASTEST:g}", "choose a speed between them")
    return number


def _seed(key: str, value: str) -> int:
    if not value.isascii() or not value.isdigit() or len(value) > 9:
        raise InputError(f"{key}: '{value[:40]}' is not a whole number of at most 9 digits", EXAMPLE)
    return int(value)


def _instruments(key: str, value: str) -> str:
    if value not in INSTRUMENTS:
        what = f"{key}: there is no set '{value[:40]}'{nearest(value, INSTRUMENTS)}"
        raise InputError(what, f"say one of {', '.join(INSTRUMENTS)}")
    return value


_KEYS: dict[str, Callable[[str, str], object]] = {"seed": _seed, "speed": _speed, "instruments": _instruments}
_SHARED: dict[str, Callable[[str, str], object]] = {"onset": _number, "course": lambda _, value: value}
