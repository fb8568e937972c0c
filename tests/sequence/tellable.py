"""What a recognizer has to find with the channels that are there: attempts, outcomes, boundaries. The strict table.

An attempt has to be found when its inducer start shows in draft, amps or speed of the inducer, or its proved switch,
its open valve or its flame in the channel of each. What only a call, temperatures or the blower hint at may be found.

An outcome can be told with:

- `heat`: that it burned (flame, valve, manifold, temperature of supply or flue) for longer than the blower's delay, and
  why it ended: the call, or an inducer that goes on and then rests for half a minute;
- `call_ended`: the call, and where it burned that this was shorter than the blower's delay;
- `draft_not_proved`: an inducer that moves, and a switch (contact, volts), valve or igniter that never came, or a
  pressure at the switch that stayed below its closing point; and that the call went on: its contact, or another try;
- `draft_lost`: the switch seen open (contact, volts, pressure below its opening point) while an inducer is seen to run,
  the call stands, or gas or flame end with it;
- `no_ignition`: valve and flame, or valve and the job's timings; or flame, and a proved switch or an igniter that
  glowed, and the call or the job's timings;
- `flame_lost`: flame, switch and limit, and the call or the inducer; or flame and the valve's contact on one clock;
- `limit_open`, `rollout_open`: its contact seen open;
- `gas_off_unexplained`: inducer, valve or flame, and the call;
- `no_start`: the call, and a channel of the inducer;
- `switch_found_closed`: the call and the switch;
- `no_blower`: blower contact, amps or static, and flame or valve.

Where it cannot be told `unknown` is right too; any other name is wrong, except where it is true in the words of the
vocabulary although the simulator logs a finer or another one (see `right_outcomes`).
"""

from analysis.sequence.attempts import Attempt
from tests.sequence.evidence import BLOWER, BURNING, INDUCER, SWITCH, VALVE, WARMTH, Evidence

SHORTEST = 6.0
"""An attempt of which less was recorded may be missed. [s]"""
AFTER = 60.0
"""So long after an end it shows that nothing tries again. [s]"""
LONGEST_DELAY = 95.0
"""A flame of longer than this was heat whatever the delay of the blower; trade's envelope 90 s. [s]"""
OVER = ("post_purge", "blower_off_delay", "interpurge", "lockout", "limit_cooldown", "standby")
NEXT = 3.0
"""What is only so far from a beginning or an end may not be seen. [s]"""
LIT = ("blower_on_delay", "run_low", "run_high")


def has_to_be_found(attempt: Attempt, evidence: Evidence) -> bool:
    """Whether missing the attempt is a mistake; finding it never is."""
    if attempt.end - attempt.start < SHORTEST or not attempt.phases:
        return False
    if attempt.phases[0].phase in OVER:
        return _called_in_vain(attempt, evidence)
    if attempt.start == evidence.recorded.start:
        running = attempt.spans(*LIT)
        shown = evidence.has("flame_current", attempt.start + NEXT) or evidence.valve_shown(attempt)
        return bool(running) and running[-1].end - attempt.start >= SHORTEST and shown
    return evidence.shows_start(attempt) or _shows_more(attempt, evidence)


def _called_in_vain(attempt: Attempt, evidence: Evidence) -> bool:
    """Whether an attempt without an inducer start of its own shows: the call, and the contact that holds it up."""
    contacts = {"limit_open": "limit_closed", "switch_found_closed": "switch_closed", "rollout_open": "rollout_closed"}
    contact = contacts.get(attempt.outcome, "")
    begun = attempt.start > evidence.recorded.start
    return (
        begun and evidence.has("call_heat", attempt.start) and bool(contact) and evidence.has([contact], attempt.start)
    )


def _shows_more(attempt: Attempt, evidence: Evidence) -> bool:
    """Whether a proved switch, an open valve or a flame shows."""
    proved, lit = attempt.spans("prepurge"), attempt.spans(*LIT)
    if proved and proved[0].end - proved[0].start > NEXT and evidence.has("switch_closed", proved[0].start):
        return True
    burned = sum(span.end - span.start for span in lit)
    flame = burned > SHORTEST and evidence.has("flame_current", lit[0].start)
    return flame or (bool(lit) and evidence.valve_shown(attempt))


def right_outcomes(attempt: Attempt, evidence: Evidence) -> frozenset[str]:
    """Outcomes that are right to say of an attempt, with the channels that are there."""
    truth, at, recorded = attempt.outcome, attempt.deciding_time, evidence.recorded
    right = {truth}
    if truth == "unknown":
        right |= {"call_ended", "gas_off_unexplained"}  # lost power takes the call with it
    elif truth != "cut_off" and not _tells(attempt, evidence):
        right.add("unknown")
        if attempt.end >= recorded.end:
            right.add("cut_off")
    if truth == "cut_off":
        return frozenset(right)
    if recorded.end - at < NEXT:
        right |= {"cut_off", "unknown"}
    if attempt.start == recorded.start and at <= recorded.start + NEXT:
        right.add("unknown")
    if truth == "draft_not_proved" and not evidence.came_on(INDUCER, attempt.start, at):
        right.add("no_start")  # a motor that does not turn: the words mean the same
    if truth == "no_blower" and not evidence.has(BLOWER, at):
        right |= {"limit_open", "heat", "unknown"}
    if truth in ("heat", "limit_open") and any(
        cause["cause"] == "airflow_low_blower" and cause["severity"] > 0.8 for cause in recorded.about["causes"]
    ):
        right.add("no_blower")  # a motor that does not turn, although it is told to
    return frozenset(right)


def _tells(attempt: Attempt, evidence: Evidence) -> bool:
    """Whether the outcome can be told, by the table above."""
    at, has = attempt.deciding_time, evidence.has
    call, inducer, switch, burning = (has(points, at) for points in ("call_heat", INDUCER, SWITCH, BURNING))
    flame, limit, blower = (has(points, at) for points in ("flame_current", "limit_closed", BLOWER))
    valve = evidence.valve_shown(attempt) and has(VALVE, at)
    lit, ran = bool(attempt.spans(*LIT)), _ran(attempt, evidence)
    rest = _rest_after(attempt, evidence)
    goes_on = call or rest < AFTER / 2
    unproved = switch or has(["gas_valve", "amps_igniter"], at) or evidence.never_reached(attempt.start, at)
    proved = flame and (switch or has("amps_igniter", at)) and (call or evidence.timed)
    one_clock = evidence.recorded.about["kit"] == "full" and has("gas_valve", at)
    table = {
        "heat": (burning or has(WARMTH, at)) and ran and (call or ((inducer or switch) and rest > AFTER)),
        "call_ended": call and (not lit or ran),
        "draft_not_proved": evidence.came_on(INDUCER, attempt.start, at) and unproved and goes_on,
        "draft_lost": evidence.switch_opened(at) and (inducer or call or (burning and lit)),
        "no_ignition": (valve and (flame or evidence.timed)) or proved,
        "flame_lost": flame and ((switch and limit and (call or inducer)) or one_clock),
        "limit_open": evidence.opened("limit_closed", at),
        "rollout_open": evidence.opened("rollout_closed", at),
        "gas_off_unexplained": inducer and burning and call,
        "no_start": call and inducer,
        "switch_found_closed": call and switch,
        "no_blower": blower and burning,
    }
    return table[attempt.outcome]


def _rest_after(attempt: Attempt, evidence: Evidence) -> float:
    """How long after the outcome was decided nothing is seen to start again. [s]"""
    starts = [one.start for one in evidence.recorded.truth if one.start > attempt.deciding_time]
    return min([*starts, evidence.recorded.end]) - attempt.deciding_time


def _ran(attempt: Attempt, evidence: Evidence) -> bool:
    """Whether it shows on which side of the blower's delay a flame ended: by its length, the blower or the job."""
    lit = attempt.spans(*LIT)
    burned = lit[-1].end - lit[0].start if lit else 0.0
    shown = bool(lit) and evidence.blower_came(lit[0].start, lit[-1].end)
    return burned > LONGEST_DELAY or shown or evidence.timed


def told_starts(attempt: Attempt, evidence: Evidence) -> tuple[bool, ...]:
    """Of each phase, whether channels or the job's timings tell when it began."""
    timed, told = evidence.timed, list[bool]()
    known = dict[str, bool]()
    shown, lit = evidence.valve_shown(attempt), False
    for place, span in enumerate(attempt.phases):
        at, phase = span.start, span.phase
        valve = shown and evidence.has(VALVE, at)
        match phase:
            case "inducer_start":
                here = evidence.shows_start(attempt)
            case "prepurge":
                here = evidence.proved_at(at)
            case "igniter_warmup":
                here = evidence.has("amps_igniter", at) or (timed and (known.get("prepurge", False) or shown))
            case "ignition_trial":
                here = valve or (timed and known.get("igniter_warmup", False))
            case "blower_on_delay":
                here = valve or evidence.has("flame_current", at)
            case "run_low" | "run_high" if place and attempt.phases[place - 1].phase.startswith("run"):
                here = evidence.has([*INDUCER, "gas_manifold", "switch_high_closed"], at)
            case "run_low" | "run_high":
                here = evidence.has(BLOWER, at) or (timed and known.get("blower_on_delay", False))
            case "blower_off_delay":
                here = evidence.has([*INDUCER, *SWITCH], at)
            case "lockout" if place and attempt.phases[place - 1].phase == "post_purge":
                here = evidence.has(INDUCER, at)
            case "standby":
                here = evidence.has("call_heat", at) and evidence.has(SWITCH, at)
            case _:
                here = _ending_told(attempt, evidence, at, lit=lit or phase == "ignition_trial")
        lit = lit or phase in ("ignition_trial", *LIT)
        known[phase] = here
        told.append(here and at > evidence.recorded.start)
    return tuple(told)


def _ending_told(attempt: Attempt, evidence: Evidence, at: float, *, lit: bool) -> bool:
    """Whether the moment shows at which an attempt was given up or its call ended."""
    if lit and ((evidence.valve_shown(attempt) and evidence.has(VALVE, at)) or evidence.has("flame_current", at)):
        return attempt.outcome != "no_ignition" or evidence.valve_shown(attempt)
    if attempt.outcome in ("heat", "call_ended"):
        return evidence.has("call_heat", at)
    if attempt.outcome == "draft_lost":
        return evidence.switch_opened(at)
    return attempt.outcome == "limit_open" and evidence.opened("limit_closed", at)


def end_told(attempt: Attempt, following: Attempt | None, evidence: Evidence) -> bool:
    """Whether channels or the job's timings tell when an attempt ended; its cut end is no end."""
    if attempt.end >= evidence.recorded.end or not attempt.phases:
        return False
    if following is not None and following.start == attempt.end:
        return evidence.shows_start(following)
    if attempt.phases[-1].phase != "blower_off_delay":
        return False
    return evidence.has(BLOWER, attempt.end) or (evidence.timed and evidence.has(INDUCER, attempt.phases[-1].start))
