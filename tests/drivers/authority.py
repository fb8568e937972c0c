"""A certification authority for tests: a broker's certificate, and whom to trust for it."""

import datetime
import ipaddress
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID


class Authority:
    """An authority; `path` is the file that whoever trusts it names."""

    def __init__(self, folder: Path, name: str = "test authority") -> None:
        self._folder = folder
        self._name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
        self._key = ec.generate_private_key(ec.SECP256R1())
        usage = x509.KeyUsage(
            digital_signature=True, key_cert_sign=True, crl_sign=True, content_commitment=False,
            key_encipherment=False, data_encipherment=False, key_agreement=False, encipher_only=False,
            decipher_only=False,
        )  # fmt: skip
        own = (
            self._builder(self._name, self._key.public_key())
            .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
            .add_extension(usage, critical=True)
            .sign(self._key, hashes.SHA256())
        )
        self.path = folder / f"{name.replace(' ', '-')}.pem"
        self.path.write_bytes(own.public_bytes(serialization.Encoding.PEM))

    def broker(self, address: str = "127.0.0.1") -> tuple[str, str]:
        """Lines of a broker's configuration for a certificate of that address."""
        key = ec.generate_private_key(ec.SECP256R1())
        subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "broker")])
        alternative = x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address(address))])
        certificate = (
            self._builder(subject, key.public_key())
            .add_extension(alternative, critical=False)
            .sign(self._key, hashes.SHA256())
        )
        place, key_place = self._folder / "broker.pem", self._folder / "broker.key"
        place.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
        key_place.write_bytes(_plain(key))
        return f"certfile {place}", f"keyfile {key_place}"

    def own(self, user: str) -> bytes:
        """Certificate and key of a user, one after the other."""
        key = ec.generate_private_key(ec.SECP256R1())
        subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, user)])
        certificate = self._builder(subject, key.public_key()).sign(self._key, hashes.SHA256())
        return certificate.public_bytes(serialization.Encoding.PEM) + _plain(key)

    def _builder(self, subject: x509.Name, key: ec.EllipticCurvePublicKey) -> x509.CertificateBuilder:
        now = datetime.datetime.now(datetime.UTC)
        return (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(self._name)
            .public_key(key)
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - datetime.timedelta(days=1))
            .not_valid_after(now + datetime.timedelta(days=1))
        )


def _plain(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
