"""What docs/sharing.md tells a newcomer to do, done from its text: broker, rights, two machines, certificates."""

import getpass
import os
import pwd
import re
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from analysis.model import EventKind
from collector.job import parse
from collector.share_target import shared_as
from tests.collector.share_bench import There, differences, here, kinds, same, there, together
from tests.drivers.authority import Authority
from tests.drivers.brokers import Broker
from tests.support import until

TEXT = (Path(__file__).parents[2] / "docs" / "sharing.md").read_text()
LONG = 300.0
"""Where a machine is loaded, a program takes a minute to begin. [s]"""
WORD = "correct horse"
pytestmark = pytest.mark.timeout(900)


def blocks(section: str, kind: str) -> list[str]:
    """What stands in a section to be typed or written."""
    (part,) = re.findall(rf"^## {section}\n(.*?)(?=^## |\Z)", TEXT, re.MULTILINE | re.DOTALL)
    return re.findall(rf"^```{kind}\n(.*?)^```", part, re.MULTILINE | re.DOTALL)


def here_as(folder: Path, text: str) -> str:
    """The same on this machine: another folder, and a broker on loopback."""
    return text.replace("/etc/mosquitto", str(folder)).replace("broker.invalid", "localhost")


def typed(folder: Path, text: str) -> None:
    """Type it into a shell; installing and starting are left to the test, and passwords are typed where asked for."""
    lines = [line for line in here_as(folder, text).splitlines() if not line.startswith(("apt-get", "systemctl"))]
    words = f"mosquitto_passwd() {{ printf '{WORD}\\n{WORD}\\n' | command mosquitto_passwd \"$@\"; }}"
    if getpass.getuser() != "root" or not any(one.pw_name == "mosquitto" for one in pwd.getpwall()):
        words += "\nchown() { :; }"
    subprocess.run(
        ["sh", "-eu", "-c", "\n".join([words, *lines])],
        cwd=folder,
        input=f"{WORD}\n",
        text=True,
        check=True,
        capture_output=True,
        timeout=120,
        env={**os.environ, "PATH": f"{os.environ['PATH']}:/usr/sbin"},
    )


@pytest.fixture
def etc(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The broker's folder after what the section says was typed."""
    for program in ("mosquitto_passwd", "openssl"):
        if not shutil.which(program):
            pytest.skip(f"{program} is not installed: apt-get install mosquitto openssl")
    folder = tmp_path / "etc"
    (folder / "certs").mkdir(parents=True)
    make, finish = blocks("A broker in fifteen minutes", "sh")
    typed(folder, make)
    (folder / "rights").write_text(*blocks("A broker in fifteen minutes", "acl"))
    typed(folder, finish)
    monkeypatch.setenv("SSL_CERT_FILE", str(folder / "certs" / "authority.pem"))
    return folder


def configuration(folder: Path) -> str:
    (found,) = blocks("A broker in fifteen minutes", "conf")
    return here_as(folder, found)


@pytest.fixture
def broker(etc: Path) -> Iterator[Broker]:
    with closing(Broker(etc, whole=configuration(etc))) as started:
        yield started


def job_of(port: int) -> str:
    (found,) = blocks("Two machines", "toml")
    assert "broker.invalid:8883" in found
    return found.replace("broker.invalid:8883", f"localhost:{port}")


def address(job: str, path: Path, user: str) -> str:
    """As the terminal says it, with the own user's name in it."""
    shown = shared_as(parse(job), path)
    assert shown
    return shown.replace("://", f"://{user}") if user else shown


async def test_two_machines_share_a_call_at_the_broker_of_the_document(
    etc: Path, broker: Broker, monkeypatch: pytest.MonkeyPatch
):
    """And whoever may only look cannot say that he is the technician."""
    ann, bo, job = etc.parent / "ann", etc.parent / "bo", job_of(broker.port)
    for machine in (ann, bo):
        machine.mkdir()
        shutil.copy(etc / "certs" / "authority.pem", machine)
    typed(ann, blocks("Two machines", "sh")[0])
    monkeypatch.setenv("SSL_CERT_FILE", str(ann / "authority.pem"))
    one, other = ann / "2026-01-14.lightoff", bo / "2026-01-14.lightoff"
    async with there(one, job) as technician, here(other, address(job, one, "bo@"), secret=WORD) as viewer:
        await together(technician, viewer, within=LONG)
        viewer.share.say("note", "the draft sags", at=123, author="Bo")
        await until(lambda: not viewer.share.unsent, within=LONG, what="the note arrives")
        await until(same(one, other), within=LONG, what="all of it")
    assert differences(one, other) == []
    assert [event.text for event in kinds(one) if event.kind is EventKind.REMOTE_NOTE] == ["the draft sags"]
    words = "does not let the user 'bo' write to 'lightoff/1/cold company/Ann/"
    async with there(ann / "second.lightoff", job.replace("://ann@", "://bo@")) as stranger:
        await says(stranger, words)


async def says(technician: There, words: str) -> None:
    """It is not shared, and that is said in one sentence."""
    await until(lambda: words in technician.text, within=LONG, what=words)
    assert "\n" not in technician.text


async def test_certificates_in_place_of_passwords(etc: Path, monkeypatch: pytest.MonkeyPatch):
    """The right ones are let in; none, a stranger's, and a broker that is another are one sentence."""
    (make,) = blocks("Certificates in place of passwords", "sh")
    (settings,) = blocks("Certificates in place of passwords", "conf")
    for user in ("ann", "bo"):
        typed(etc, make.replace("ann", user))
    (password,) = re.findall(r"^password_file .*\n", configuration(etc), re.MULTILINE)
    whole = configuration(etc).replace(password, here_as(etc, settings))
    (etc / "stranger.pem").write_bytes(Authority(etc, "of nobody").own("ann"))
    (etc / "stranger.pem").chmod(0o600)
    with closing(Broker(etc, whole=whole)) as broker:
        job = job_of(broker.port).replace("ann@", "").replace('secret = "file', '# secret = "file')
        own = job.replace("# certificate", "certificate")
        assert 'certificate = "ann.pem"' in own
        one, other = etc / "one.lightoff", etc.parent / "other.lightoff"
        certificate = str(etc / "bo.pem")
        async with there(one, own) as technician, here(other, address(own, one, ""), certificate=certificate) as viewer:
            await together(technician, viewer, within=LONG)
            await until(same(one, other), within=LONG, what="all of it")
        for name, wrong in (("none", job), ("stranger", own.replace("ann.pem", "stranger.pem"))):
            async with there(etc / f"{name}.lightoff", wrong) as technician:
                await says(technician, "wants a certificate of ours that it trusts")
        async with there(etc / "other.lightoff", own.replace("ann.pem", "bo.pem")) as technician:
            await says(technician, "write to 'lightoff/1/cold company/Ann/")
        monkeypatch.setenv("SSL_CERT_FILE", str(etc / "of-nobody.pem"))
        async with there(etc / "fake.lightoff", own) as technician:
            await says(technician, f"the certificate of the broker at localhost:{broker.port} is not trusted")


def test_the_certificates_of_the_document_hold_where_tls_is_strict(etc: Path):
    """Python 3.13 and later want what RFC 5280 wants of an authority; earlier ones do not."""
    command = ["openssl", "verify", "-x509_strict", "-CAfile", "certs/authority.pem", "certs/broker.pem"]
    said = subprocess.run(command, cwd=etc, capture_output=True, text=True, timeout=60, check=False)
    assert said.returncode == 0, said.stderr
