"""What a job file says about a unit, as the simulator takes it."""

from collector.job import Job
from drivers.simulate.papers import Papers


def papers_of(job: Job) -> Papers:
    """Papers of a job; what the file does not say stays open."""
    return Papers(
        name=job.site.name or f"invented unit of {job.name}",
        altitude=job.altitude or 0.0,
        plate=job.plate,
        baseline=job.baseline,
        timing=job.timing,
        capacity_47=job.heat_pump.capacity_47,
        capacity_17=job.heat_pump.capacity_17,
        compressor_lockout=job.heat_pump.compressor_lockout,
        auxiliary_lockout=job.heat_pump.auxiliary_lockout,
        humidifier_setting=job.humidifier.setting,
    )
