"""The page's certificate for other devices: made on this computer at the first use, and kept with its private key.

Nobody vouches for it, so a browser warns once. The fingerprint, which the computer shows beside the code, tells whether
the phone speaks with this computer.
"""

from __future__ import annotations

import ipaddress
import os
import ssl
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from meterlog.errors import SettingsError

_CERTIFICATE, _KEY = "page-certificate.pem", "page-key.pem"
_VALID_DAYS = 398
"""Browsers take no longer ones from public issuers (CA/Browser Forum baseline requirements 6.3.2, until 2026)."""
_RENEWED_DAYS = 30
"""A new one is made so long before the end. A guess: a page may be served for weeks."""
_MOST_ADDRESSES = 16
"""The networks that a laptop comes through; the oldest is left out then. A guess."""

_Address = ipaddress.IPv4Address | ipaddress.IPv6Address


@dataclass(frozen=True, slots=True)
class Certificate:
    """A certificate with its private key.

    Attributes:
        certificate: the file with the certificate.
        key: the file with its private key, which only its owner may read.
        fingerprint: SHA-256 of the certificate, as browsers show it.
    """

    certificate: Path
    key: Path
    fingerprint: str

    def context(self) -> ssl.SSLContext:
        """Return what a server's connections are encrypted with."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(self.certificate, self.key)
        return context


def own_certificate(folder: Path, address: str) -> Certificate:
    """The certificate of this computer, made where there is none that holds for its address and some time to come.

    Args:
        folder: where it is kept.
        address: this computer's own in the network, an IP address.

    Raises:
        SettingsError: it cannot be kept there, or what is kept there cannot be read.
    """
    certificate, key = folder / _CERTIFICATE, folder / _KEY
    wanted = ipaddress.ip_address(address)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        private = _kept_key(key) or _new_key(key)
        kept = _kept_certificate(certificate, private)
        if kept is None or wanted not in _addresses(kept) or _ends_soon(kept):
            known = [one for one in (_addresses(kept) if kept else []) if one != wanted]
            kept = _issue(private, [*known, wanted][-_MOST_ADDRESSES:])
            _write(certificate, kept.public_bytes(serialization.Encoding.PEM))
    except OSError as error:
        raise SettingsError(
            f"the page's certificate cannot be kept in '{folder}': {error.strerror or error}"
        ) from error
    return Certificate(certificate, key, kept.fingerprint(hashes.SHA256()).hex(":").upper())


def _kept_key(path: Path) -> ec.EllipticCurvePrivateKey | None:
    if not path.exists():
        return None
    try:
        key = serialization.load_pem_private_key(path.read_bytes(), None)
    except (ValueError, TypeError) as error:
        raise SettingsError(f"'{path}' is not the private key of the page: remove it, and a new one is made") from error
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise SettingsError(f"'{path}' is not the private key of the page: remove it, and a new one is made")
    with suppress(OSError):  # somebody else's file system may know no modes
        path.chmod(0o600)
    return key


def _new_key(path: Path) -> ec.EllipticCurvePrivateKey:
    key = ec.generate_private_key(ec.SECP256R1())
    pem = serialization.PrivateFormat.PKCS8
    _write(path, key.private_bytes(serialization.Encoding.PEM, pem, serialization.NoEncryption()))
    return key


def _write(path: Path, data: bytes) -> None:
    """Write a file that from its first byte on only its owner may read; it appears when it is complete."""
    passing = path.with_name(f".{path.name}.{os.getpid()}.part")
    passing.unlink(missing_ok=True)
    with os.fdopen(os.open(passing, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(data)
    passing.replace(path)


def _kept_certificate(path: Path, key: ec.EllipticCurvePrivateKey) -> x509.Certificate | None:
    """The certificate on disk, where it is one and belongs to the key."""
    try:
        kept = x509.load_pem_x509_certificate(path.read_bytes())
    except (FileNotFoundError, ValueError):
        return None
    return kept if kept.public_key() == key.public_key() else None


def _addresses(certificate: x509.Certificate) -> list[_Address]:
    names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return [one for one in names.get_values_for_type(x509.IPAddress) if isinstance(one, _Address)]


def _ends_soon(certificate: x509.Certificate) -> bool:
    return certificate.not_valid_after_utc < datetime.now(UTC) + timedelta(days=_RENEWED_DAYS)


def _issue(key: ec.EllipticCurvePrivateKey, addresses: list[_Address]) -> x509.Certificate:
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "meterlog on this computer")])
    now = datetime.now(UTC)
    usage = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH])
    return (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))  # a phone's clock may be behind
        .not_valid_after(now + timedelta(days=_VALID_DAYS - 1))
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(one) for one in addresses]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=False)
        .sign(key, hashes.SHA256())
    )
