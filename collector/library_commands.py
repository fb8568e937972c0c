"""What the page may do with recordings: delete one and have it back, replay one in a window of its own."""

from collections.abc import Mapping

from collector.arguments import Answer, Command, Given, number_in, text_in
from collector.library import DELETED, Library, plain_name
from collector.replays import Replays
from drivers.base import InputError


def library_commands(library: Library, replays: Replays) -> Mapping[str, Command]:
    """The commands by their names; each takes names of files in the library, never paths."""

    def delete(given: Given) -> Answer:
        name = plain_name(given.get("name"))
        if replays.playing(name):
            raise InputError(f"{name} is being replayed", "end its replay first")
        there = library.delete(name)
        return Answer(f"{name} was moved to the folder {DELETED}", {"deleted": there})

    def restore(given: Given) -> Answer:
        name = library.restore(given.get("name"), given.get("as"))
        return Answer(f"{name} is back", {"name": name})

    def replay(given: Given) -> str:
        speed = given.get("speed")
        return replays.start(library.path(given.get("name")), speed if speed == "max" else number_in(given, "speed"))

    return {
        "delete_recording": delete,
        "restore_recording": restore,
        "replay_file": replay,
        "end_replay": lambda given: replays.end(text_in(given, "name")),
    }
