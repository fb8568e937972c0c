"""Which recordings are meant by the files, folders and patterns that somebody names."""

import glob
import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from collector.library import DELETED, ENDING
from drivers.base import InputError

ENDINGS = (ENDING, ".csv", ".csv.gz")
"""Of the files that are taken from a folder or by a pattern."""


def is_one(given: str) -> bool:
    """Whether it names a file, there or not, and neither a folder nor a pattern."""
    path = Path(given)
    return not path.is_dir() and (path.exists() or not glob.has_magic(given))


def recordings(given: Iterable[str]) -> list[Path]:
    """The files, each once, in the order in which they are named; those of a folder by their names.

    A file that is named stays, whatever it is. InputError where a folder or a pattern has none.
    """
    found: dict[Path, Path] = {}
    for name in given:
        own = [Path(name)] if is_one(name) else [*_inside(name)]
        if not own:
            what = f"there is no recording in {name}" if Path(name).is_dir() else f"no recording is named as {name}"
            raise InputError(what, f"name a folder with files that end in {', '.join(ENDINGS)}")
        for path in own:
            found.setdefault(path.resolve(), path)
    return [*found.values()]


def _inside(name: str) -> Iterator[Path]:
    if Path(name).is_dir():
        yield from _below(Path(name))
        return
    for match in sorted(glob.glob(name, recursive=True)):  # noqa: PTH207 - a Path takes no pattern from the root
        path = Path(match)
        if path.is_dir():
            yield from _below(path)
        elif match.endswith(ENDINGS):
            yield path


def _below(folder: Path) -> Iterator[Path]:
    """Recordings in a folder and below it, without what is hidden or deleted."""
    for place, folders, names in os.walk(folder):
        folders[:] = sorted(one for one in folders if not one.startswith(".") and one != DELETED)
        yield from (Path(place, one) for one in sorted(names) if one.endswith(ENDINGS) and not one.startswith("."))
