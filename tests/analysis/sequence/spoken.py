"""What channels say, written out by hand: voices, moments at which an attempt was decided, and what is made of them."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from analysis.model import Plate, Timing
from analysis.sequence.attempts import Attempt
from analysis.sequence.build import attempts
from analysis.sequence.durations import Durations
from analysis.sequence.edges import Course
from analysis.sequence.evidence import Evidence, Voice, moments
from analysis.sequence.path import Path, Segment
from analysis.sequence.signals import TELLING
from analysis.sequence.states import NAMES, NUMBER, impossible
from analysis.sequence.witness import Ending, Witness

UNTIL = 600.0
"""Voices speak from 0 until then unless told otherwise. [s]"""


def said(*steps: tuple[float, int], until: float = UNTIL, u: float = 0.1) -> Course:
    """A course that says each state from its time on, and nothing after its end; times and u [s]."""
    time = np.array([*(at for at, _ in steps), until])
    return Course(time, np.array([*(state for _, state in steps), -1], np.int8), np.full(time.size, u))


def voice(point: str, *steps: tuple[float, int], until: float = UNTIL, u: float = 0.1) -> Voice:
    """How a point speaks that says each state from its time [s] on; off until the first unless that is at 0."""
    telling = TELLING[point]
    first = () if steps and not steps[0][0] else ((0.0, 0),)
    course = said(*first, *steps, until=until, u=u)
    return Voice(
        f"{point}@logger",
        telling.signal,
        course,
        telling.on,
        telling.off,
        quick=telling.quick,
        least=telling.least,
    )


def witness(*voices: Voice) -> Witness:
    """Who can be asked what these voices said."""
    return Witness(voices, [], None)


def ending(**different: Any) -> Ending:
    """The end at 200 s of a run that began to turn at 10 s and burned from 47 s on, but for what is different."""
    usual = Ending(
        phase="run_low",
        time=200.0,
        since=77.0,
        spun=10.0,
        lit=47.0,
        following="post_purge",
        then="blower_off_delay",
        fresh=True,
        again=False,
        rest=np.inf,
        delay=0.0,
        trial=0.0,
        low=False,
    )
    return replace(usual, **different)


def walked(
    voices: Sequence[Voice], timing: Timing | None = None, plate: Plate | None = None
) -> tuple[list[tuple[str, float]], list[Attempt]]:
    """States that the voices are best explained by, each with its begin [s], and the attempts made of them."""
    durations, evidence = Durations(timing), Evidence(voices)
    time = moments(voices, durations, 0.0, UNTIL)
    path = Path(durations, evidence.signals, impossible(evidence.signals, plate))
    path.extend(time, evidence.said(time))
    segments = path.best()
    states = [(NAMES[one.state], float(time[one.start])) for one in segments]
    return states, built(segments, time, voices, durations)


def built(
    segments: Sequence[Segment], time: np.ndarray, voices: Sequence[Voice] = (), durations: Durations | None = None
) -> list[Attempt]:
    """Attempts of segments between moments that are all known."""
    return attempts(
        segments,
        time,
        np.full(time.size, 0.1),
        voices=list(voices),
        series=[],
        durations=durations or Durations(None),
        plate=None,
    )


def segments(*states: tuple[str, float], until: float = UNTIL) -> tuple[list[Segment], np.ndarray]:
    """States from their begin on, as segments and their moments. [s]"""
    time = np.array([*(at for _, at in states), until])
    return [Segment(NUMBER[name], place, place + 1) for place, (name, _) in enumerate(states)], time
