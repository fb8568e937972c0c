"""How a recorder is found by other programs of its user, and by nobody else's."""

import json
import os
import socket
import socketserver
import stat
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from collector.at_work import AtWork, announced, folder_of_running, found
from collector.cli import main
from collector.entering import chosen
from drivers.base import InputError
from tests.collector.pictures import PNG
from tests.ports import free_port

pytestmark = pytest.mark.skipif(os.name != "posix", reason="rights of files are those of POSIX here")


@pytest.fixture(autouse=True)
def runtime(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's own folder for the time of the session."""
    folder = tmp_path / "runtime"
    folder.mkdir(mode=0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(folder))
    return folder / "lightoff"


@pytest.fixture
def taken() -> Iterator[int]:
    """A port on which something else answers."""
    with closing(socket.create_server(("127.0.0.1", 0))) as server:
        yield server.getsockname()[1]


def at(port: int, recording: str = "/calls/a.lightoff") -> AtWork:
    return AtWork(recording, "127.0.0.1", port, "token", os.getpid())


def lightoff(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments), catch_exceptions=False)


def test_only_its_user_can_read_where_a_recorder_is_and_with_its_end_it_is_gone(runtime: Path):
    with announced(at(4711)):
        ((path, running),) = found().items()
        assert running == at(4711)
        assert stat.S_IMODE(runtime.stat().st_mode) == 0o700
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert list(runtime.iterdir()) == []


def test_without_a_folder_of_the_session_it_is_one_of_the_user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv("XDG_RUNTIME_DIR")
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert folder_of_running() == tmp_path / f"lightoff-{os.getuid()}"
    with announced(at(4711)):
        assert list(found().values()) == [at(4711)]


@pytest.mark.parametrize("mode", [0o755, 0o770, 0o701])
def test_a_folder_that_others_can_enter_is_not_used(runtime: Path, mode: int, caplog: pytest.LogCaptureFixture):
    runtime.mkdir()
    runtime.chmod(mode)
    with announced(at(4711)):
        assert list(runtime.iterdir()) == [], "no token is left there"
    assert "cannot be entered from the command line" in caplog.text
    with pytest.raises(InputError, match="is open to other users, or theirs; have it removed"):
        found()


def test_a_link_for_a_folder_is_not_followed(runtime: Path, tmp_path: Path):
    (tmp_path / "elsewhere").mkdir(mode=0o700)
    runtime.symlink_to(tmp_path / "elsewhere")
    with announced(at(4711)):
        assert list((tmp_path / "elsewhere").iterdir()) == []


@pytest.mark.parametrize("mode", [0o644, 0o660, 0o602])
def test_a_file_that_others_could_read_or_write_is_not_believed(runtime: Path, mode: int):
    with announced(at(4711)):
        (path,) = found()
        path.chmod(mode)
        assert found() == {}


@pytest.mark.skipif(os.name != "posix" or os.getuid() != 0, reason="only root can give a file to somebody else")
def test_a_file_of_somebody_else_is_not_believed(runtime: Path):
    with announced(at(4711)):
        (path,) = found()
        os.chown(path, 12345, -1)
        assert found() == {}


ELSEWHERE = {"recording": "a", "host": "192.0.2.1", "port": 4711, "token": "t", "process": 1}


@pytest.mark.parametrize("text", ["", "{", "[]", "{}", "[" * 5000, json.dumps(ELSEWHERE)])
def test_what_such_a_file_should_not_say_is_not_believed(runtime: Path, text: str):
    runtime.mkdir(mode=0o700)
    path = runtime / "1-a.json"
    path.write_text(text)
    path.chmod(0o600)
    assert found() == {}


def test_one_that_was_killed_is_recognised_and_its_file_removed(runtime: Path):
    with announced(at(free_port())):
        with pytest.raises(
            InputError, match="no recording is running here; start `lightoff record`, or name a finished"
        ):
            chosen(None)
        assert list(runtime.iterdir()) == []


def test_whoever_has_the_port_of_one_that_is_gone_is_not_even_asked(runtime: Path):
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    with closing(socket.create_server(("127.0.0.1", 0))) as server:
        server.setblocking(False)
        running = AtWork("a.lightoff", "127.0.0.1", server.getsockname()[1], "token", gone.pid)
        with announced(running), pytest.raises(InputError, match="no recording is running here"):
            chosen(None)
        with pytest.raises(BlockingIOError):
            server.accept()


def test_another_program_on_its_port_is_not_taken_for_it(runtime: Path, taken: int, monkeypatch: pytest.MonkeyPatch):
    """It says nothing, and is not told a command."""
    monkeypatch.setattr("collector.entering.talking", lambda one: _talking(one, patience=0.2))
    with announced(at(taken)), pytest.raises(InputError, match=r"a\.lightoff does not answer"):
        chosen(None)


def _talking(one: AtWork, patience: float) -> object:
    from collector.asking import talking

    return talking(one, patience=patience)


class Greeting(socketserver.StreamRequestHandler):
    """Says who it is to whoever knows the token, as a recorder does."""

    def handle(self) -> None:
        """One talk."""
        if json.loads(self.rfile.readline()) == {"type": "auth", "token": "token"}:
            self.wfile.write(b'{"type": "hello"}\n')


@contextmanager
def recorders(*names: str, token: str = "token") -> Iterator[None]:
    """So many that answer, while the block runs; `token` is what their files say."""
    with ExitStack() as stack:
        for name in names:
            server = stack.enter_context(socketserver.TCPServer(("127.0.0.1", 0), Greeting))
            thread = threading.Thread(target=server.serve_forever, args=(0.02,), name=name)
            thread.start()
            stack.callback(thread.join)
            stack.callback(server.shutdown)
            stack.enter_context(announced(replace(at(server.server_address[1], name), token=token)))
        yield


def test_of_several_one_has_to_be_named(tmp_path: Path):
    names = [str(tmp_path / name) for name in ("a.lightoff", "b.lightoff")]
    for name in names:
        Path(name).touch()
    with recorders(*names):
        with pytest.raises(
            InputError, match=r"2 recordings are running: .*a\.lightoff, .*b\.lightoff; name one of them"
        ):
            chosen(None)
        running = chosen(Path(names[1]))
        assert running is not None
        assert running.recording == names[1]
    with recorders(names[0]):
        running = chosen(None)
        assert running is not None
        assert running.recording == names[0]
        assert chosen(Path(names[1])) is None, "a finished one is not the one that runs"


def test_with_a_wrong_token_there_is_no_recorder():
    with recorders("a.lightoff", token="another"), pytest.raises(InputError, match="no recording is running here"):
        chosen(None)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("gas_manifold", "3.5 inH2O"), "no recording is running here"),
        (("gas_manifold", "3.5 inH2O", "--recording", "none.lightoff"), "there is no recording none.lightoff"),
        (("gas_manifold", "3.5 inH2O", "--photo", "none.jpg"), "cannot read none.jpg (No such file or directory)"),
        (("gas_manifold", "3.5 inH2O", "--photo", "letter.jpg"), "letter.jpg is no picture"),
    ],
)
def test_what_cannot_be_is_said_in_one_sentence(tmp_path: Path, monkeypatch, arguments: tuple[str, ...], says: str):
    monkeypatch.chdir(tmp_path)
    Path("letter.jpg").write_text("dear Sir")
    result = lightoff("enter", *arguments)
    assert result.exit_code == 1
    (line,) = result.stderr.splitlines()
    assert says in line


def test_wrong_usage_is_told_apart(tmp_path: Path):
    assert lightoff("enter", "gas_manifold").exit_code == 2
    assert lightoff("enter", "gas_manifold", "3.5 inH2O", "--metre", "x").exit_code == 2
    assert lightoff("photos", str(tmp_path)).exit_code == 2


def test_a_picture_is_not_sent_where_nobody_records(tmp_path: Path):
    (tmp_path / "plate.png").write_bytes(PNG)
    assert "no recording is running" in lightoff("attach", str(tmp_path / "plate.png")).stderr
