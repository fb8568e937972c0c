"""The integrated furnace control: the ignition sequence, its safeties and its retries as a state machine in time.

An attempt runs from one inducer start to the next; before each the inducer rests until the pressure switch is open.
A lost draft, an open limit or roll-out, and the end of the call shut the valve in the step that sees them.
"""

from math import inf

from drivers.base import InputError
from drivers.simulate.attempts import AttemptLog
from drivers.simulate.control_board import HIGH, LOW
from drivers.simulate.control_idle import SLACK, Idle
from drivers.simulate.control_settings import LONGEST_STEP, ControlSettings, Inputs


class Control(Idle):
    """Scalar state machine: after each `step` the outputs hold until the next."""

    __slots__ = ("_alive", "_flame_since", "_lit_high", "_response", "_stage", "_stage_until", "_threshold")

    def __init__(self, settings: ControlSettings | None = None, log: AttemptLog | None = None) -> None:
        super().__init__(settings, log)
        self._threshold = self.settings.flame_threshold
        self._response = self.settings.flame_failure_response - SLACK
        self._stage = LOW
        self._lit_high = False
        self._flame_since = self._stage_until = 0.0
        self._alive = True

    def step(self, dt: float, inputs: Inputs) -> None:
        """Advance by `dt` [s] to the instant at which `inputs` stand."""
        if not 0.0 < dt <= LONGEST_STEP:
            raise InputError(f"control cannot step by {dt:g} s", f"use more than 0 s and at most {LONGEST_STEP:g} s")
        self.now += dt
        if not (inputs.powered and inputs.door and inputs.float_ok):
            self._lose_power(inputs)
            return
        if not self._alive:
            self._alive = True
            self.log.event(self.now, "power back")
        call = 1 if inputs.call_heat or inputs.defrost else 0
        if call != self._call:
            self._change_call(call)
        self._flame = inputs.flame_current >= self._threshold
        if not (inputs.rollout or self._hard):
            self._open_rollout()
        elif not (self._guarded and self._interrupted(inputs)):
            self._state(self, inputs)
        if self._set_blower(inputs) and self.phase == "blower_off_delay":
            self._settle()

    def reset(self) -> None:
        """Restart momentarily, as after a dip of the supply: everything off; a call that stands counts anew."""
        self._stop("control restarted")

    def finish(self, now: float | None = None) -> None:
        """Close the log at `now` [s]; what is still undecided was cut off."""
        self.log.finish(self.now if now is None else now)

    # Power and calls

    def _lose_power(self, inputs: Inputs) -> None:
        if self._alive:
            self._alive = False
            opened = "float switch opened" if inputs.door else "door opened"
            self._stop(opened if inputs.powered else "power lost")

    def _stop(self, text: str) -> None:
        self.log.event(self.now, text)
        self.log.decide("gas_off_unexplained" if self._valve else "unknown", self.now)
        self._shut()
        self._restart()

    def _restart(self) -> None:
        if self._inducer:
            self._release_at = self.now + self.settings.switch_release
        self._all_off()
        self._call = 0
        self._flame = self._hard = self._unproven = False
        self._last_flame = inf
        self._forget()
        self._rest(over=True)

    def _change_call(self, call: int) -> None:
        self._call = call
        self.calls += call
        self.log.event(self.now, "call for heat" if call else "call ended")
        self._forget()

    # What interrupts an attempt

    def _interrupted(self, inputs: Inputs) -> bool:
        flame = self._flame
        if flame and self._valve:
            self._last_flame = self.now
        if not inputs.limit:
            self._cool_down()
        elif self._proven and not inputs.switch:
            self.tally.draft_failures += 1
            self._fail("draft_lost", "pressure switch opened")
        elif flame and not self._valve:
            self._see_flame()
        elif self.now - self._last_flame >= self._response:
            if self.now - self._flame_since < self.settings.flame_stabilise - SLACK:
                self.tally.failed_trials += 1
                self._fail("flame_lost", "flame lost before it was stable")
            else:
                self.tally.recycles += 1
                self._fail("flame_lost", "flame lost")
        elif not self._call:
            heated = "no_blower" if self._blower_dead else "heat"
            self.log.decide(heated if self._state is Control._running else "call_ended", self.now)
            self._shut()
            self._enter("post_purge", Idle._purging_after, self.settings.timing.post_purge)
        else:
            return False
        return True

    def _fail(self, outcome: str, text: str) -> None:
        self.log.event(self.now, text)
        self.log.decide(outcome, self.now)
        self._shut()
        settings, tally = self.settings, self.tally
        if tally.exhausted(settings):
            self._enter("post_purge", Idle._purging_after, settings.timing.post_purge)
            return
        self._enter("interpurge", Idle._purging_between, settings.interpurge)
        if outcome in ("draft_not_proved", "draft_lost", "no_start"):
            self.log.event(self.now, f"retry {tally.draft_failures + 1} of {settings.draft_retries + 1}")
        elif text == "flame lost":
            self.log.event(self.now, f"recycle {tally.recycles} of {settings.recycles}")
        else:
            self.log.event(self.now, f"retry {self.trial} of {settings.timing.trials}")

    # The sequence

    def _start(self) -> None:
        settings = self.settings
        self._lit_high = settings.stages == 2 and settings.light_on == "high"
        self._stage = HIGH if settings.stages == 1 or self._lit_high else LOW
        self._stage_until = self.now + min(settings.stage_trial, settings.proving_limit) - SLACK
        self._found_closed = False
        self._guarded = True
        self._run_inducer(self._stage)
        self._begin("inducer_start")
        self._enter("inducer_start", Control._starting, settings.proving_limit)

    def _starting(self, inputs: Inputs) -> None:
        if inputs.switch:
            if self._lit_high and not inputs.switch_high:
                if self.now < self._stage_until:
                    return
                self._light_low("high pressure switch did not close, lights on low")
            self._proven = True
            self._enter("prepurge", Control._purging_before, self.settings.timing.prepurge)
        elif self.now >= self._until:
            self.tally.draft_failures += 1
            unmoved = "inducer" in self._dead
            self._fail("no_start" if unmoved else "draft_not_proved", "pressure switch did not close")

    def _purging_before(self, _inputs: Inputs) -> None:
        if self.now >= self._until:
            self._igniter = 1
            self._drive()
            self._enter("igniter_warmup", Control._warming_up, self.settings.timing.igniter_warmup)

    def _warming_up(self, inputs: Inputs) -> None:
        if self.now >= self._until:
            if self._lit_high and not inputs.switch_high:
                self._light_low("high pressure switch opened, lights on low")
            self._valve = 1
            self._valve_high = int(self._stage == HIGH)
            self._unproven = True
            self._drive()
            self._enter("ignition_trial", Control._trying, self.settings.timing.ignition_trial)

    def _trying(self, inputs: Inputs) -> None:
        if self._lit_high and not inputs.switch_high:
            self._light_low("high pressure switch opened, lights on low")
        if self._flame:
            self._igniter = 0
            self._unproven = False
            self._drive()
            self._flame_since = self.now
            self._enter("blower_on_delay", Control._heating_up, self.settings.timing.blower_on_delay)
        elif self.now >= self._until:
            self._fail("no_ignition", "no flame in the ignition trial")

    def _heating_up(self, inputs: Inputs) -> None:
        over = self.now >= self._until
        if self._lit_high:
            stable = self.now - self._flame_since >= self.settings.flame_stabilise - SLACK
            if stable or over or not inputs.switch_high:
                self._light_low("drops to low stage")
        if over:
            self._blow(self._stage)
            self._stage_until = 0.0
            self._enter("run_high" if self._stage == HIGH else "run_low", Control._running)

    def _light_low(self, text: str) -> None:
        self.log.event(self.now, text)
        self._lit_high = False
        self._stage = LOW
        self._valve_high = 0
        self._run_inducer(LOW)

    def _running(self, inputs: Inputs) -> None:
        settings, stage = self.settings, self._stage
        if settings.stages == 1:
            return
        wanted = self._wants_high(inputs)
        if stage == HIGH:
            if wanted and inputs.switch_high:
                return
            self._run_on("run_low", LOW)
            if wanted:
                self.log.event(self.now, "high pressure switch opened")
                self._try_high()
        elif self._inducer == HIGH:
            if wanted and inputs.switch_high:
                self.log.reach("high")
                self._run_on("run_high", HIGH)
            elif not wanted:
                self._run_inducer(LOW)
            elif self.now >= self._stage_until:
                self.log.event(self.now, "high pressure switch did not close, stays on low")
                self._stage_until = inf
                self._run_inducer(LOW)
        elif not wanted:
            self._stage_until = 0.0
        elif self._stage_until != inf:
            self._try_high()

    def _wants_high(self, inputs: Inputs) -> bool:
        settings = self.settings
        if settings.forced_stage != "none" and self.tally.limit_trips >= settings.forced_after:
            return settings.forced_stage == "high"
        if settings.staging == "timer":
            return self.now - self._flame_since >= settings.low_stage_minutes * 60.0 - SLACK
        return bool(inputs.call_heat_2)

    def _try_high(self) -> None:
        self._stage_until = self.now + self.settings.stage_trial - SLACK
        self._run_inducer(HIGH)

    def _run_on(self, phase: str, stage: int) -> None:
        self._stage = self._blower_heat = stage
        self._valve_high = stage - LOW
        self._run_inducer(stage)
        self._enter(phase, Control._running)
