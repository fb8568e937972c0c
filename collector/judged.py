"""Checks of what was measured by all that a job file says."""

from collections.abc import Sequence

from analysis.checks import Check, Known, checks
from analysis.lockouts import LockoutSettings
from analysis.measures.measured import Measured
from analysis.sequence.attempts import Attempt
from collector.job import Job


def judged(measured: Sequence[Measured], attempts: Sequence[Attempt], job: Job) -> tuple[Check, ...]:
    """See `analysis.checks.checks`; nothing is judged by a timing that the file does not state."""
    pump = job.heat_pump
    known = Known(
        baseline=job.baseline,
        timing=job.timing,
        stated=frozenset(job.furnace.timing.model_fields_set),
        humidity=job.humidifier.setting,
        lockouts=LockoutSettings(pump.compressor_lockout, pump.auxiliary_lockout),
    )
    return checks(measured, attempts, job.plate, known)
