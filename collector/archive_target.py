"""From the job's words about the archive to a server, with its token from where that is kept."""

from collections.abc import Callable
from pathlib import Path

from collector.job_sections import ArchiveSettings
from collector.profiles import secret_of
from collector.sinks.sink import Target
from drivers.base import InputError

Secrets = Callable[[str], str]
"""The secret from where the job says that it is kept; InputError where it is not there."""


def secrets_beside(folder: Path | None) -> Secrets:
    """Secrets of the archive; a file is taken from the job's folder and is for its owner's eyes alone."""
    return lambda place: secret_of(place, "archive", beside=folder, private=True)


def target_of(settings: ArchiveSettings, secrets: Secrets) -> Target | None:
    """The server, None where the job names none; InputError where its token cannot be read."""
    if settings.url is None:
        return None
    secret = secrets(settings.secret) if settings.secret else None
    if secret and not (secret.isascii() and secret.isprintable()):
        raise InputError("archive: what its secret holds cannot be a token", "it has signs that no token has")
    return Target(settings.url, settings.bucket or "lightoff", settings.org or "", secret)
