"""The pit's authority vouches for this machine and for nothing else: asked of OpenSSL, as every browser asks its own.

What must be refused is what RFC 5280, section 4.2.1.10, says of name constraints; the handshake is Python's ssl module.
"""

from __future__ import annotations

import ipaddress
import ssl
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, load_pem_private_key
from cryptography.x509.oid import ExtendedKeyUsageOID
from hypothesis import given
from hypothesis import strategies as st

from shared.pit import authority

NOW = datetime.now(UTC)
NAMES = ["pit-laptop", "pit-laptop.local", "192.168.7.20"]


@pytest.fixture
def made(tmp_path: Path) -> authority.Made:
    return authority.prepare(tmp_path / "pit", NAMES)


def handshake(root: Path, certificate: Path, key: Path, name: str) -> str:
    """'' when a client that trusts the root accepts the server under that name, else why not."""
    client_end, server_end = ssl.MemoryBIO(), ssl.MemoryBIO()
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serving.load_cert_chain(certificate, key)
    asking = ssl.create_default_context(cafile=str(root))
    server = serving.wrap_bio(client_end, server_end, server_side=True)
    client = asking.wrap_bio(server_end, client_end, server_hostname=name)
    for _ in range(4):
        for end in (client, server):
            try:
                end.do_handshake()
            except ssl.SSLWantReadError:
                continue
            except ssl.SSLCertVerificationError as refused:
                return refused.verify_message
    return ""


def rogue(made: authority.Made, *names: x509.GeneralName) -> tuple[Path, Path]:
    """A certificate for other names, signed by the stolen root key."""
    folder = made.root.parent
    root = x509.load_pem_x509_certificate(made.root.read_bytes())
    root_key = load_pem_private_key((folder / "root.key").read_bytes(), None)
    leaf = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    forged = (
        x509.CertificateBuilder()
        .subject_name(leaf.subject)
        .issuer_name(root.subject)
        .public_key(leaf.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(NOW - timedelta(days=1))
        .not_valid_after(NOW + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .sign(root_key, leaf.signature_hash_algorithm)  # type: ignore[arg-type]
    )
    file = folder / "forged.pem"
    file.write_bytes(forged.public_bytes(encoding=Encoding.PEM))
    return file, made.key


@pytest.mark.parametrize("name", [*NAMES, "localhost", "127.0.0.1"])
def test_a_phone_that_trusts_the_root_opens_the_pit(made: authority.Made, name: str) -> None:
    assert handshake(made.root, made.certificate, made.key, name) == ""


@pytest.mark.parametrize("name", ["192.168.7.21", "another.local", "stock.team.test"])
def test_the_leaf_is_good_for_its_own_names_only(made: authority.Made, name: str) -> None:
    assert "mismatch" in handshake(made.root, made.certificate, made.key, name)


@pytest.mark.parametrize(
    "name", ["stock.team.test", "evil-pit-laptop", "pit-laptop.test", "203.0.113.9", "2001:db8::1"]
)
def test_the_stolen_root_vouches_for_no_other_site(made: authority.Made, name: str) -> None:
    try:
        wanted: x509.GeneralName = x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        wanted = x509.DNSName(name)
    certificate, key = rogue(made, wanted)
    assert handshake(made.root, certificate, key, name) == "permitted subtree violation"


def test_the_forging_of_these_tests_itself_works(made: authority.Made) -> None:
    certificate, key = rogue(made, x509.IPAddress(ipaddress.ip_address("10.1.2.3")))
    assert handshake(made.root, certificate, key, "10.1.2.3") == ""


def test_what_the_certificates_say(made: authority.Made) -> None:
    root = x509.load_pem_x509_certificate(made.root.read_bytes())
    leaf = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    for kind in (x509.NameConstraints, x509.BasicConstraints, x509.KeyUsage):
        assert root.extensions.get_extension_for_class(kind).critical
    limits = root.extensions.get_extension_for_class(x509.BasicConstraints).value
    assert (limits.ca, limits.path_length) == (True, 0)
    assert list(leaf.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value) == [
        ExtendedKeyUsageOID.SERVER_AUTH
    ]
    for certificate, days in ((leaf, authority.LEAF_DAYS), (root, authority.ROOT_DAYS)):
        lasts = certificate.not_valid_after_utc - certificate.not_valid_before_utc
        assert lasts == timedelta(days=days + 1)  # it begins a day early
    assert len(made.fingerprint.split(":")) == 32


def test_keys_are_for_the_owner_alone_and_for_no_repository(made: authority.Made) -> None:
    folder = made.root.parent
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    for name in ("root.key", "leaf.key"):
        assert stat.S_IMODE((folder / name).stat().st_mode) == 0o600
    assert (folder / ".gitignore").read_text() == "*\n"


def test_the_next_start_keeps_the_root_and_makes_a_new_leaf(made: authority.Made) -> None:
    folder, leaf = made.root.parent, made.certificate.read_bytes()
    moved = authority.prepare(folder, ["pit-laptop", "10.42.0.1"])
    assert (moved.new_root, moved.fingerprint) == (False, made.fingerprint)
    assert moved.certificate.read_bytes() != leaf
    assert handshake(made.root, moved.certificate, moved.key, "10.42.0.1") == ""
    assert made.root_der == moved.root_der


def test_names_it_may_not_vouch_for_are_told_and_left_out(made: authority.Made) -> None:
    moved = authority.prepare(made.root.parent, ["renamed", "203.0.113.7", "192.168.7.20"])
    assert moved.not_covered == ("renamed", "203.0.113.7")
    # One name outside the constraints would spoil the certificate for all of them.
    assert handshake(moved.root, moved.certificate, moved.key, "192.168.7.20") == ""


def test_a_new_root_when_asked_or_when_the_old_one_would_not_last(made: authority.Made) -> None:
    folder = made.root.parent
    assert authority.prepare(folder, NAMES, new=True).fingerprint != made.fingerprint
    before = authority.prepare(folder, NAMES).fingerprint
    late = NOW + timedelta(days=authority.ROOT_DAYS - authority.LEAF_DAYS + 1)
    assert authority.prepare(folder, NAMES, now=late).fingerprint != before


@pytest.mark.parametrize("harm", ["gone", "cut", "other"])
def test_a_harmed_root_is_made_anew(made: authority.Made, harm: str) -> None:
    folder = made.root.parent
    key = folder / "root.key"
    if harm == "gone":
        key.unlink()
    elif harm == "cut":
        key.write_bytes(key.read_bytes()[:100])
    else:
        key.write_bytes((folder / "leaf.key").read_bytes())
    again = authority.prepare(folder, NAMES)
    assert again.new_root
    assert handshake(again.root, again.certificate, again.key, "pit-laptop") == ""


@given(st.ip_addresses(v=4))
def test_only_private_addresses_are_within_it(address: ipaddress.IPv4Address) -> None:
    """Python's own table of special addresses (IANA registries) agrees: what is allowed is private."""
    allowed = any(address in network for network in authority.PRIVATE)
    assert not allowed or address.is_private
