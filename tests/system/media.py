"""Media that take no more, for programs that write to them."""

import resource
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path

import pytest

UNLIMITED = (resource.RLIM_INFINITY, resource.RLIM_INFINITY)


@contextmanager
def small_medium(folder: Path, size: str = "4m", *options: str) -> Iterator[Path]:
    """A medium of its own at a folder, in memory; skips where nobody may mount."""
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", ",".join((f"size={size}", *options)), "lightoff", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"no medium can be mounted here; run as root: {done.stderr.strip()}")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


class FullDisk:
    """Something else takes all the room there is, and leaves it again."""

    says = "the disk is full; free some space"

    place = staticmethod(small_medium)

    def __init__(self, recording: Path) -> None:
        self._filler = recording.with_name("filler")

    def begin(self, process: int) -> None:
        """Take it."""
        with self._filler.open("wb", buffering=0) as filler:
            for piece in (65536, 1):
                try:
                    while True:
                        filler.write(bytes(piece))
                except OSError:
                    continue
        assert shutil.disk_usage(self._filler.parent).free == 0

    def end(self, process: int) -> None:
        """Leave it."""
        self._filler.unlink()


class SizeLimit:
    """The system lets no file of the program grow any further."""

    says = "the medium refuses to be written; look whether it is full or gone"

    @staticmethod
    def place(folder: Path) -> AbstractContextManager[Path]:
        """Any folder."""
        folder.mkdir()
        return nullcontext(folder)

    def __init__(self, recording: Path) -> None:
        self._recording = recording

    def begin(self, process: int) -> None:
        """From now on."""
        log = Path(f"{self._recording}-wal")
        resource.prlimit(process, resource.RLIMIT_FSIZE, (log.stat().st_size + 9000, resource.RLIM_INFINITY))

    def end(self, process: int) -> None:
        """No more."""
        resource.prlimit(process, resource.RLIMIT_FSIZE, UNLIMITED)
