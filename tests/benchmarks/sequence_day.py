"""A process of its own that recognizes a long recording: seconds, peak of memory and attempts, as one line of JSON.

python -m tests.benchmarks.sequence_day HOURS [apart]      with a clock of its own for every channel
"""

import json
import resource
import sys
import time

from analysis.sequence.recognize import recognize
from tests.sequence.long_runs import tiled


def main(hours: float, *, apart: bool) -> None:
    """Print what it took."""
    recorded = tiled(hours, apart=apart)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    began = time.process_time()
    found = recognize(recorded.series, recorded.timing, recorded.plate)
    taken = time.process_time() - began
    held = sum(one.time.nbytes + one.value.nbytes for one in recorded.series) / 1024.0**2
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(  # noqa: T201
        json.dumps(
            {
                "seconds": taken,
                "series_mb": held,
                "before_mb": before,
                "peak_mb": peak,
                "found": [one.outcome for one in found.attempts],
                "true": [one.outcome for one in recorded.truth],
            }
        )
    )


if __name__ == "__main__":
    main(float(sys.argv[1]), apart="apart" in sys.argv[2:])
