"""The next test after an analysis: what is known of the visit, as the gates want it, and the tests that pass them."""

from collections.abc import Iterable, Sequence

from analysis.diagnosis.done import Done, altered, made
from analysis.diagnosis.information import Believed
from analysis.diagnosis.next_tests import Proposals, next_tests
from analysis.diagnosis.situation import Situation
from analysis.diagnosis.steps.step import METERS
from analysis.model import Event, EventKind, Series
from collector.alarm_rule import AlarmRule
from collector.check_states import CheckStates
from collector.job import Job
from collector.opened import Opened
from collector.past_alarms import PastAlarm
from collector.rules import default_rules

USUAL_METERS = frozenset(METERS) - {"analyser", "room_co_meter"}
"""What a technician is taken to have at hand; of the others only those that were read. Our choice."""
USUAL_PARTS = frozenset("gas_inlet gas_manifold static_ports flue_port switch_hose gas_meter".split())
"""What a unit is taken to have; of taps only those that were read. Common practice, no published source."""


def stopping(alarms: Iterable[PastAlarm], job: Job) -> frozenset[str]:
    """Names of the alarms and signs that stop all firing."""
    rules: dict[str, AlarmRule] = {rule.name: rule for rule in default_rules(job.plate)}
    return frozenset(
        alarm.rule
        for alarm in alarms
        if alarm.priority == "safety" or (alarm.rule in rules and rules[alarm.rule].takes_over)
    )


def left_open(events: Iterable[Event]) -> frozenset[str]:
    """What stands open after the events of a recording, by the names of the checklists."""
    states = CheckStates()
    for event in events:
        if event.kind is EventKind.CHECK:
            states.apply(event)
    return frozenset(entry.item for entry in states.open.values())


def situation(
    series: Sequence[Series],
    alarms: Iterable[PastAlarm],
    job: Job,
    entries: Sequence[Done],
    events: Iterable[Event] = (),
) -> Situation:
    """What is known of a visit from its recording; whatever is not known to be there counts as not there."""
    points = frozenset(one.channel.point for one in series if one.time.size)
    parts = set(USUAL_PARTS) | {point for point in points if point.startswith("draft_")}
    if job.plate.pipes == 2:
        parts.add("intake_pipe")
    if job.heat_pump.capacity_47 or "call_compressor" in points:
        parts.add("heat_pump")
    if job.humidifier.setting is not None or "humidifier_valve" in points:
        parts.add("humidifier")
    meters = set(USUAL_METERS)
    meters |= {"analyser"} if points & {"flue_o2", "flue_co2", "flue_co"} else set()
    meters |= {"room_co_meter"} if "room_co" in points else set()
    end = max((float(one.time[-1]) for one in series if one.time.size), default=0.0)
    return Situation(
        stops=stopping(alarms, job),
        meters=frozenset(meters),
        points=points,
        parts=frozenset(parts),
        fuel=job.plate.fuel,
        open_items=left_open(events) | frozenset(altered(entries, (end, end))),
        baseline=any(value is not None for value in (job.baseline.draft_collector, job.baseline.draft_burner_box)),
        done=made(entries),
        room_co_measured="room_co" in points,
    )


def proposals(believed: Believed, opened: Opened, alarms: Iterable[PastAlarm], entries: Sequence[Done]) -> Proposals:
    """Tests that are safe at this visit, the one that tells most for its time first."""
    return next_tests(believed, situation(opened.series, alarms, opened.job, entries, opened.events))
