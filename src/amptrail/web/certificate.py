"""A certificate of this laptop's own, for `serve --tls`: an authority that a phone is told to trust once, and
what it signs for the names and addresses of this machine. Both are made here and go nowhere.

The authority may speak for this machine's names and for private addresses only (RFC 5280, name constraints;
RFC 1918): a key that is lost endangers no other site. A leaf lives 397 days, as browsers ask.
"""

from __future__ import annotations

import datetime as dt
import ipaddress
import socket
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

AUTHORITY_DAYS, LEAF_DAYS, RENEW_DAYS = 3650, 397, 30
PRIVATE = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "127.0.0.0/8", "169.254.0.0/16", "::1/128",
           "fc00::/7", "fe80::/10")  # fmt: skip
Key = ec.EllipticCurvePrivateKey


@dataclass(frozen=True, slots=True)
class Files:
    """Paths: certificate and key of the server, and the authority for the phones."""

    certificate: Path
    key: Path
    authority: Path


def names_of(address: str) -> tuple[str, ...]:
    """What this machine is called on its network, an address first."""
    host = socket.gethostname()
    return tuple(dict.fromkeys((address, "127.0.0.1", "::1", "localhost", host, f"{host}.local")))


def own(folder: Path, names: Sequence[str]) -> Files:
    """The files, made when they are missing, nearly over, or for other names. OSError when `folder` cannot be
    written."""
    folder.mkdir(parents=True, exist_ok=True)
    files = Files(folder / "server.crt", folder / "server.key", folder / "authority.crt")
    root_key, root = _authority(folder / "authority.key", files.authority)
    if not _good(files, names, root):
        key = ec.generate_private_key(ec.SECP256R1())
        leaf = _leaf(key, root_key, root, names)
        _keep_key(files.key, key)
        files.certificate.write_bytes(_pem(leaf) + _pem(root))
    return files


def _pem(c: x509.Certificate) -> bytes:
    return c.public_bytes(serialization.Encoding.PEM)


def _keep_key(path: Path, key: Key) -> None:
    """A key only its owner may read."""
    path.touch(mode=0o600)
    path.chmod(0o600)
    plain = serialization.NoEncryption()
    pkcs8 = serialization.PrivateFormat.PKCS8
    path.write_bytes(key.private_bytes(serialization.Encoding.PEM, pkcs8, plain))


def _read(path: Path) -> x509.Certificate | None:
    try:
        return x509.load_pem_x509_certificate(path.read_bytes())
    except (OSError, ValueError):
        return None


def _lasts(c: x509.Certificate) -> bool:
    return c.not_valid_after_utc > dt.datetime.now(dt.UTC) + dt.timedelta(days=RENEW_DAYS)


def _good(files: Files, names: Sequence[str], root: x509.Certificate) -> bool:
    leaf = _read(files.certificate)
    if leaf is None or not files.key.exists() or not _lasts(leaf) or leaf.issuer != root.subject:
        return False
    said = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    try:
        leaf.verify_directly_issued_by(root)
    except Exception:  # signed by an authority that was replaced
        return False
    return set(said) == set(_sans(names))


def _sans(names: Sequence[str]) -> list[x509.GeneralName]:
    found: list[x509.GeneralName] = []
    for n in names:
        try:
            found.append(x509.IPAddress(ipaddress.ip_address(n)))
        except ValueError:
            found.append(x509.DNSName(n))
    return found


def _begun(subject: x509.Name, issuer: x509.Name, key: Key, days: int) -> x509.CertificateBuilder:
    now = dt.datetime.now(dt.UTC)
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(hours=1))
        .not_valid_after(now + dt.timedelta(days=days))
    )


def _authority(key_path: Path, path: Path) -> tuple[Key, x509.Certificate]:
    known = _read(path)
    if known is not None and key_path.exists() and _lasts(known):
        key = serialization.load_pem_private_key(key_path.read_bytes(), None)
        if isinstance(key, ec.EllipticCurvePrivateKey):
            return key, known
    key = ec.generate_private_key(ec.SECP256R1())
    host = socket.gethostname()
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"amptrail on {host}"[:64])])
    allowed: list[x509.GeneralName] = [x509.IPAddress(ipaddress.ip_network(n)) for n in PRIVATE]
    allowed += [x509.DNSName(n) for n in ("localhost", host, "local")]
    made = (
        _begun(name, name, key, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.NameConstraints(allowed, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(_usage(sign=True), critical=True)
        .sign(key, hashes.SHA256())
    )
    _keep_key(key_path, key)
    path.write_bytes(_pem(made))
    return key, made


def _usage(sign: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not sign, key_cert_sign=sign, crl_sign=sign, content_commitment=False,
        key_encipherment=False, data_encipherment=False, key_agreement=False, encipher_only=False,
        decipher_only=False,
    )  # fmt: skip


def _leaf(key: Key, root_key: Key, root: x509.Certificate, names: Sequence[str]) -> x509.Certificate:
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0][:64])])
    by = x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key())
    return (
        _begun(subject, root.subject, key, LEAF_DAYS)
        .add_extension(x509.SubjectAlternativeName(_sans(names)), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(by, critical=False)
        .add_extension(_usage(sign=False), critical=True)
        .sign(root_key, hashes.SHA256())
    )
