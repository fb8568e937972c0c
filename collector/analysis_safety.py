"""What an analysis says before anything else: what stops all firing, the air in the room, the usual cautions."""

from collections.abc import Iterator

import numpy as np

from analysis.points import MEASURES
from collector.alarm_rule import AlarmRule
from collector.analysis_layout import moment, wrapped
from collector.analysis_run import Analysis
from collector.cautions import CAUTIONS
from collector.past_alarms import PastAlarm
from collector.rules import default_rules

NO_CO = (
    "CO NOT MEASURED in the room: measure it before and while the unit fires. Nothing here says that the air is good."
)
AFTER_A_STOP = "After a stop nothing is fired again to see; a licensed person finds and removes the cause first."


def safety(analysis: Analysis) -> list[str]:
    """The lines of the section."""
    rules = {rule.name: rule for rule in default_rules(analysis.opened.job.plate)}
    stopping = [alarm for alarm in analysis.alarms if _stops(alarm, rules)]
    advised = [alarm for alarm in analysis.alarms if alarm not in stopping and _on_room_co(alarm, rules)]
    texts = [*_told(stopping, rules, "STOP", analysis.opened.start)]
    texts += [AFTER_A_STOP] if texts else []
    texts += [*_told(advised, rules, "CAUTION", analysis.opened.start), _room(analysis), CAUTIONS]
    return [line for text in texts for line in wrapped(text, 4, first=2)]


def _stops(alarm: PastAlarm, rules: dict[str, AlarmRule]) -> bool:
    return alarm.priority == "safety" or (alarm.rule in rules and rules[alarm.rule].takes_over)


def _on_room_co(alarm: PastAlarm, rules: dict[str, AlarmRule]) -> bool:
    return alarm.rule in rules and rules[alarm.rule].point == "room_co"


def _told(alarms: list[PastAlarm], rules: dict[str, AlarmRule], word: str, start: float) -> Iterator[str]:
    """A sentence for each rule, with what to do and when it was first."""
    for name in dict.fromkeys(alarm.rule for alarm in alarms):
        same = [alarm for alarm in alarms if alarm.rule == name]
        text = same[0].text.rstrip(".")
        begin = "" if text.startswith(f"{word}:") else f"{word}: "
        times = f"{len(same)} times, first at" if len(same) > 1 else "at"
        action = f" {rules[name].action}" if name in rules else ""
        yield f"{begin}{text} ({times} {moment(same[0].start - start)}).{action}"


def _room(analysis: Analysis) -> str:
    """What was read of carbon monoxide in the room; never that the air is good."""
    read = [one.value for one in analysis.opened.series if one.channel.point == "room_co"]
    good = [value[np.isfinite(value)] for value in read]
    if not any(value.size for value in good):
        return NO_CO
    largest = max(float(value.max()) for value in good if value.size) * 1e6
    return f"Room CO: {largest:.{MEASURES['trace'].trade_decimals}f} ppm at most, where its meter stood."
