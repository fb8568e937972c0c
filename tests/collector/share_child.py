"""`python -m tests.collector.share_child RECORDING JOB` records and shares readings until it is killed."""

import asyncio
import sys
from pathlib import Path

from tests.collector.share_bench import there


async def main(path: Path, job: str) -> None:
    """Three readings each twentieth of a second."""
    async with there(path, job) as technician:
        while True:
            technician.say()
            await asyncio.sleep(0.05)


if __name__ == "__main__":
    asyncio.run(main(Path(sys.argv[1]), Path(sys.argv[2]).read_text(encoding="utf-8")))
