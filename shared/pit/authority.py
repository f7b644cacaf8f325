"""The authority of the pit: a root that may vouch for this machine only, and a short-lived certificate under it.

Sources: RFC 5280 sections 4.2.1.9 (basic constraints), 4.2.1.10 (name constraints) and 4.2.1.12 (extended key usage);
RFC 1918 and RFC 3927 for what a private and a link-local address is.
"""

from __future__ import annotations

import ipaddress
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

ROOT_DAYS = 120  # the events of a season, not more: the key lies on a laptop that travels
LEAF_DAYS = 7  # made anew at every start
#: Loopback, RFC 1918, RFC 3927. The address changes with the network, so the root allows all private ones.
PRIVATE = tuple(
    ipaddress.ip_network(text)
    for text in ("127.0.0.0/8", "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16")
)
LOOPBACK = ("localhost", "127.0.0.1")


@dataclass(frozen=True)
class Made:
    """The files web serves with, and what a person should know about them."""

    certificate: Path
    key: Path
    root: Path
    root_der: bytes
    fingerprint: str
    root_until: datetime
    leaf_until: datetime
    new_root: bool
    covered: tuple[str, ...]
    not_covered: tuple[str, ...]


def prepare(folder: Path, names: Sequence[str], *, new: bool = False, now: datetime | None = None) -> Made:
    """The root in ``folder``, made if there is none that will last (or ``new``), and a new leaf for ``names``.

    Names are host names and addresses; those the root may not vouch for are told in ``not_covered``.
    """
    now = now or datetime.now(UTC)
    folder.mkdir(parents=True, exist_ok=True)
    folder.chmod(0o700)
    _write(folder / ".gitignore", b"*\n")  # wherever the folder is: its keys never get into a repository
    root_file, key_file = folder / "root.pem", folder / "root.key"
    made_new = new or not _lasts(root_file, key_file, now)
    if made_new:
        _make_root(root_file, key_file, [n for n in names if _address(n) is None], now)
    root = x509.load_pem_x509_certificate(root_file.read_bytes())
    wanted = list(dict.fromkeys(name.lower() for name in [*LOOPBACK, *names]))
    covered = [name for name in wanted if may_vouch(root, name)]
    leaf_until = _make_leaf(folder, root, _load_key(key_file), covered, now)
    return Made(
        certificate=folder / "leaf.pem",
        key=folder / "leaf.key",
        root=root_file,
        root_der=root.public_bytes(serialization.Encoding.DER),
        fingerprint=fingerprint(root),
        root_until=root.not_valid_after_utc,
        leaf_until=leaf_until,
        new_root=made_new,
        covered=tuple(name for name in covered if name not in LOOPBACK),
        not_covered=tuple(name for name in wanted if name not in covered),
    )


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 in pairs, as phones show it."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def may_vouch(root: x509.Certificate, name: str) -> bool:
    """Whether a name or address lies within the root's own constraints."""
    limits = root.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    address = _address(name)
    if address is not None:
        networks = [limit.value for limit in limits if isinstance(limit, x509.IPAddress)]
        return any(address in ipaddress.ip_network(str(network)) for network in networks)
    allowed = [limit.value for limit in limits if isinstance(limit, x509.DNSName)]
    return any(name == one or name.endswith(f".{one}") for one in allowed)


def _address(name: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(name)
    except ValueError:
        return None


def _lasts(root_file: Path, key_file: Path, now: datetime) -> bool:
    """Whether the root is there, whole, and outlives the leaf that is about to be made."""
    try:
        root = x509.load_pem_x509_certificate(root_file.read_bytes())
        same = _load_key(key_file).public_key() == root.public_key()
    except (OSError, ValueError, TypeError):
        return False
    return same and root.not_valid_after_utc > now + timedelta(days=LEAF_DAYS)


def _make_root(root_file: Path, key_file: Path, host_names: Iterable[str], now: datetime) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, "Loadstock, a pit laptop"),
            x509.NameAttribute(NameOID.COMMON_NAME, f"Loadstock pit {now:%Y-%m-%d %H:%M}"),
        ]
    )
    limits: list[x509.GeneralName] = [x509.IPAddress(network) for network in PRIVATE]
    limits += [x509.DNSName(name) for name in sorted({"localhost", *(n.lower() for n in host_names)})]
    root = (
        _begin(subject, subject, key.public_key(), now, timedelta(days=ROOT_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.NameConstraints(limits, None), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write(key_file, _key_bytes(key))
    _write(root_file, root.public_bytes(serialization.Encoding.PEM))


def _make_leaf(
    folder: Path,
    root: x509.Certificate,
    root_key: ec.EllipticCurvePrivateKey,
    names: Sequence[str],
    now: datetime,
) -> datetime:
    key = ec.generate_private_key(ec.SECP256R1())
    alternatives: list[x509.GeneralName] = []
    for name in names:
        address = _address(name)
        alternatives.append(x509.DNSName(name) if address is None else x509.IPAddress(address))
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Loadstock pit")])
    leaf = (
        _begin(subject, root.subject, key.public_key(), now, timedelta(days=LEAF_DAYS))
        .add_extension(x509.SubjectAlternativeName(alternatives), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key()), critical=False
        )
        .sign(root_key, hashes.SHA256())
    )
    _write(folder / "leaf.key", _key_bytes(key))
    _write(folder / "leaf.pem", leaf.public_bytes(serialization.Encoding.PEM))
    return leaf.not_valid_after_utc


def _begin(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime, lasts: timedelta
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        # A day early, for a phone whose clock is behind the laptop's.
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + lasts)
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _load_key(file: Path) -> ec.EllipticCurvePrivateKey:
    key = serialization.load_pem_private_key(file.read_bytes(), password=None)
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise TypeError(f"{file} holds a key of another kind.")
    return key


def _key_bytes(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _write(file: Path, content: bytes) -> None:
    """Whole or not at all, and readable by the owner only from the first byte on."""
    draft = file.with_name(f"{file.name}.{os.getpid()}")
    with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as out:
        out.write(content)
    draft.replace(file)
