"""`python -m tests.collector.share_child RECORDING JOB` records and shares readings until it is killed.

`python -m tests.collector.share_child RECORDING URL` watches such a call.
"""

import asyncio
import sys
from pathlib import Path

from tests.collector.share_bench import here, there


async def main(path: Path, what: str) -> None:
    """Three readings each twentieth of a second, or whatever comes."""
    if what.startswith("mqtt"):
        async with here(path, what):
            await asyncio.Event().wait()
    async with there(path, what) as technician:
        while True:
            technician.say()
            await asyncio.sleep(0.05)


if __name__ == "__main__":
    what = sys.argv[2]
    asyncio.run(main(Path(sys.argv[1]), what if "://" in what else Path(what).read_text(encoding="utf-8")))
