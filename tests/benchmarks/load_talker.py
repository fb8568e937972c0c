"""What instruments on serial ports say, each line with its number: `python -m tests.benchmarks.load_talker`, settings.

Says afterwards how many lines each said, when it said those that it said one by one, and how late it was itself.
"""

import heapq
import json
import os
import sys
import time


def talk(instruments: dict[str, dict[str, float]], seconds: float) -> dict[str, object]:
    """Each so many lines at a time, as often as it says; `end` is its end of the port."""
    start = time.monotonic() + 0.1
    said = dict.fromkeys(instruments, 0)
    times: dict[str, list[int]] = {name: [] for name, one in instruments.items() if one["lines"] == 1}
    due = [(start + 0.003 * number, name) for number, name in enumerate(instruments)]
    heapq.heapify(due)
    late = 0.0
    for one in instruments.values():
        os.write(int(one["end"]), b"\n")
    while due[0][0] < start + seconds:
        at, name = heapq.heappop(due)
        one = instruments[name]
        time.sleep(max(0.0, at - time.monotonic()))
        late = max(late, time.monotonic() - at)
        count = int(one["lines"])
        data = b"".join(b"P=%d Pa\r\n" % number for number in range(said[name], said[name] + count))
        if name in times:
            times[name].append(time.monotonic_ns())
        while data:
            data = data[os.write(int(one["end"]), data) :]
        said[name] += count
        heapq.heappush(due, (max(at + one["every"], time.monotonic() - 0.2), name))
    return {"said": said, "times": times, "late": late, "took": time.monotonic() - start}


if __name__ == "__main__":
    settings = json.loads(sys.argv[1])
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, set(settings["cores"]))
    print(json.dumps(talk(settings["instruments"], settings["seconds"])))  # noqa: T201
