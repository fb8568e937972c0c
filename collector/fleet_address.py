"""A company's calls by the address of its broker, `mqtts://name@host/COMPANY`."""

from urllib.parse import unquote, urlsplit

from drivers.base import InputError
from drivers.broker_address import BrokerAddress, broker_address

BROKERS = ("mqtt://", "mqtts://")


def company_at(url: str, whose: str) -> tuple[BrokerAddress, str | None]:
    """Broker and company of an address; None where it names no company. LightoffError where it is no such address."""
    try:
        parts = urlsplit(url.strip())
    except ValueError:
        parts = urlsplit("")
    named = [unquote(part) for part in parts.path.split("/") if part]
    broker = broker_address(parts._replace(path="").geturl(), whose)
    if len(named) > 1:
        raise InputError(f"{whose}: '{url}' names more than a company", "stop after the company, mqtt://host/COMPANY")
    if named and any(sign in named[0] for sign in "+#/\0$"):
        raise InputError(f"{whose}: '{named[0][:40]}' cannot be the name of a company", "use letters and digits")
    return broker, named[0] if named else None


def of_a_company(url: str) -> bool:
    """Whether an address of a broker names a company and nothing in it."""
    try:
        parts = urlsplit(url.strip())
    except ValueError:
        return False
    return url.startswith(BROKERS) and sum(map(bool, parts.path.split("/"))) == 1
