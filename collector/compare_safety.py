"""What a comparison says before anything else: stops of both recordings, and the air in the room after the repair."""

from collector.analysis_layout import wrapped
from collector.analysis_safety import NO_CO, safety
from collector.compare_run import Compare

NO_CLEARANCE = (
    "No comparison makes an unsafe unit safe, none clears a heat exchanger, and `better` is not `repaired`: a licensed"
    " person decides after an inspection."
)


def lines(found: Compare) -> list[str]:
    """The lines of the section: after the repair first, then what stopped firing before it."""
    told = safety(found.after)
    stops = [text for text in safety_first(found) if text.startswith("before: ")]
    return [*told, *(line for text in [*stops, NO_CLEARANCE] for line in wrapped(text, 4, first=2))]


def safety_first(found: Compare) -> list[str]:
    """Each stop as one text, `after: ` or `before: ` before it; and room CO that was not measured after the repair."""
    told: list[str] = []
    for which, analysis in (("after", found.after), ("before", found.before)):
        seen = dict.fromkeys(alarm.text for alarm in analysis.alarms if alarm.priority == "safety")
        told += [f"{which}: {text}" for text in seen]
    if any(NO_CO[:20] in line for line in safety(found.after)):
        told.append(f"after: {NO_CO}")
    return told
