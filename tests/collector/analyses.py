"""Analyses for tests: attempts from what the simulator knows to be true, measures and the rest made by hand."""

import json
import math
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from analysis.checks import Check
from analysis.data import DataProblem
from analysis.diagnosis.next_tests import Proposals
from analysis.measures import Measured
from analysis.model import Channel, Series
from analysis.points import measure_of
from analysis.quantity import Quantity
from analysis.sequence.attempts import Attempt, PhaseSpan, Recognition
from collector.analysis_run import Analysis
from collector.job import parse
from collector.opened import Opened
from collector.past_alarms import PastAlarm
from drivers.codecs.recording_csv import Problem

T0 = 1_768_372_280.0
"""2026-01-14T06:31:20Z. [s]"""
PHASE_U, DECIDING_U = 0.05, 0.1
"""[s]"""


def opened(**given: Any) -> Opened:
    """What was recorded, an empty CSV file but for what is given."""
    usual: dict[str, Any] = {
        "name": "call",
        "path": Path("call.csv"),
        "kind": "csv",
        "job": parse("", "none"),
        "job_from": "",
        "series": (),
        "start": T0,
        "end": T0 + 1800.0,
        "rows": 0,
        "readings": 0,
    }
    return Opened(**(usual | given))


def series(point: str, time: ArrayLike, value: ArrayLike, instrument: str = "meter") -> Series:
    """A series from `T0` on; times [s], values [inside unit]."""
    channel = Channel(point, instrument, measure_of(point).inside)
    return Series(channel, np.array(time, float) + T0, np.array(value, float))


def true_attempts(name: str, start: float = T0) -> tuple[Attempt, ...]:
    """What was true of a bundled recording."""
    truth = json.loads((files("replay_data") / f"{name}.truth.json").read_text())
    return tuple(_attempt(number, one, start) for number, one in enumerate(truth["attempts"], 1))


def _attempt(number: int, one: Mapping[str, Any], start: float) -> Attempt:
    spans = tuple(
        PhaseSpan(span["phase"], start + span["start"], start + span["end"], PHASE_U, PHASE_U) for span in one["phases"]
    )
    return Attempt(
        number=number,
        call=one["call"],
        start=start + one["start"],
        end=start + one["end"],
        start_u=PHASE_U,
        end_u=PHASE_U,
        stage=one["stage"],
        outcome=one["outcome"],
        probability=0.98,
        deciding_time=start + one["deciding_time"],
        deciding_u=DECIDING_U,
        phases=spans,
        why="the switch opened while the gas valve was on",
    )


def whole() -> Analysis:
    """An analysis with something in every part."""
    room = series("room_co", (0.0, 60.0), (2e-6, 3e-6), "simulated: room CO meter")
    draft = series("draft_switch", (0.0, 60.0), (0.0, 130.0), "simulated: switch manometer")
    used = (draft.channel.key,)
    recognition = Recognition(true_attempts("drain_backs_up"), used, {"amps_igniter@clamp": "it never changed"})
    job = parse('[site]\nname = "invented demo house"\n[furnace]\nrise = ["35 degF", "65 degF"]\n', "call.toml")
    return Analysis(
        opened=opened(
            job=job,
            job_from="call.toml, beside the file",
            series=(room, draft),
            readings=123456,
            problems=(Problem(7, "'abc' is not a number in 'draft_switch [inH2O]'"),),
            problem_count=3,
        ),
        recognition=recognition,
        measures=(
            Measured("temp_rise.settled.high", Quantity(30.0, "K", 0.25), T0 + 200, T0 + 330, 1),
            Measured("draft_margin.smallest", Quantity(-2.4908891, "Pa", 1.2454), T0 + 383.6, T0 + 383.6, 1),
            Measured("draft_margin.smallest", Quantity(-5.0, "Pa", 1.2454), T0 + 415.2, T0 + 415.2, 2),
            Measured("temp_supply.settled", Quantity(50.0, "degC", 0.5), T0 + 200, T0 + 330, 1),
            Measured("flame_current.settled", Quantity(3.2e-6, "A", 0.05e-6), T0 + 60, T0 + 330, 1),
            Measured("humidity_supply.settled", Quantity(0.08, "1", 0.01), T0 + 200, T0 + 330, 1),
            Measured("amps_inducer.settled", Quantity(1.2, "A", math.nan), T0 + 200, T0 + 330, 1),
            Measured("flue_co.settled", Quantity(math.nan, "1", reason="never steady"), T0, T0 + 330, 1),
        ),
        checks=(
            Check("furnace.supply_max", None, None, None, "not_measured", "it would need temp_supply"),
            Check("furnace.rise", Quantity(30.0, "K", 0.25), 350 / 18, 650 / 18, "pass", "inside by its uncertainty"),
            Check("furnace.flame_current_min", Quantity(0.9e-6, "A", 0.01e-6), 1e-6, None, "fail", "below"),
        ),
        next_tests=Proposals(("Air the room; nobody fires the unit before the source is found.",), ()),
        alarms=(
            PastAlarm("draft_margin", T0 + 380, T0 + 390, "high", "Pressure switch is about to open"),
            PastAlarm("room_co_shut_down", T0 + 500, T0 + 560, "safety", "Carbon monoxide in the room: shut down"),
        ),
        data_problems=(
            DataProblem("stuck", ("temp_outdoor@meter",), "The value never moved.", "Look at the meter.", T0, T0 + 900),
            DataProblem("unknown_time", (), "The clock of the file is not known.", "", math.nan, math.nan),
        ),
    )
