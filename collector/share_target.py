"""From the job's words about sharing to a place on a broker, with its password from where that is kept."""

import sys
from dataclasses import dataclass, field
from pathlib import Path

from collector.archive_target import Secrets
from collector.job import Job
from collector.job_sections import ShareSettings
from collector.profiles import secret_of
from drivers.base import DriverError, InputError
from drivers.broker_address import BrokerAddress, broker_address
from drivers.share_topics import CallTopics, SharedCall


@dataclass(frozen=True, slots=True)
class ShareTarget:
    """Where a call is shared, and who says so."""

    broker: BrokerAddress
    topics: CallTopics
    secret: str | None = field(default=None, repr=False)
    certificate: str | None = None

    def __str__(self) -> str:
        """The URL for `lightoff watch`, without user and password."""
        return str(SharedCall(self.broker, self.topics))


def call_of(recording: Path) -> str:
    """What a call is called where its job does not say it."""
    return recording.name.removesuffix(".lightoff")


def beside(settings: ShareSettings, folder: Path) -> ShareSettings:
    """The same where the job file is in another folder than the recording."""
    if not settings.certificate:
        return settings
    return settings.model_copy(update={"certificate": str(folder.absolute() / Path(settings.certificate).expanduser())})


def share_secrets(folder: Path | None) -> Secrets:
    """Secrets of sharing; a file is taken from the job's folder and is for its owner's eyes alone."""
    return lambda place: secret_of(place, "share", beside=folder, private=True)


def share_target(
    settings: ShareSettings, secrets: Secrets, *, call: str, technician: str | None = None, folder: Path | None = None
) -> ShareTarget | None:
    """The place, None where the job names no broker; InputError where it cannot be. `call` is the recording's name."""
    if settings.broker is None:
        return None
    try:
        broker = broker_address(settings.broker, "share")
    except DriverError as error:
        raise InputError(error.what, error.hint) from error
    names = {"company": settings.company, "technician": settings.technician or technician}
    for what, name in names.items():
        if not name:
            raise InputError(f"share: the job names no {what}", f'add {what} = "..." below [share]')
    if settings.secret and broker.user is None:
        raise InputError("share: there is a password and no user name", "write it as mqtts://name@host")
    topics = CallTopics(str(names["company"]), str(names["technician"]), settings.call or call)
    secret = secrets(settings.secret) if settings.secret else None
    return ShareTarget(broker, topics, secret, own_certificate(settings.certificate, folder))


def shared_as(job: Job, recording: Path) -> str | None:
    """The URL for `lightoff watch` of a recording that its job shares; None where it does not, or cannot be."""
    settings = job.share.model_copy(update={"certificate": None})
    try:
        found = share_target(settings, lambda _: "", call=call_of(recording), technician=job.archive.technician)
    except InputError:
        return None  # `Sharing` says why
    return str(found) if found else None


def own_certificate(name: str | None, folder: Path | None) -> str | None:
    """The file with a certificate and its key; InputError where others may read it."""
    if not name:
        return None
    path = (folder or Path()) / Path(name).expanduser()
    try:
        status = path.stat()
    except OSError as error:
        raise InputError(f"share: there is no certificate {name} ({error.strerror})", "check the path") from error
    if sys.platform != "win32" and status.st_mode & 0o077:
        raise InputError(f"share: the key in {name} can be read by others than its owner", f"say chmod 600 {name}")
    return str(path)
