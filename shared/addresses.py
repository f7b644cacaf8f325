"""Names and addresses under which others on the network reach this machine. Standard library only."""

from __future__ import annotations

import socket
import struct
import sys

try:
    import fcntl

    HAVE_IOCTL = sys.platform == "linux"
except ImportError:  # not on every system; there, addresses come from the name and the way out alone
    HAVE_IOCTL = False

SIOCGIFADDR = 0x8915  # netdevice(7): the address of an interface


def own_addresses() -> list[str]:
    """The IPv4 addresses of this machine, loopback left out."""
    found = {*_of_the_name(), *_of_the_way_out(), *_of_the_interfaces()}
    return sorted(address for address in found if not address.startswith("127."))


def own_names() -> list[str]:
    """Host name, its .local form, and the addresses."""
    name = socket.gethostname()
    return [name, f"{name}.local", *own_addresses()]


def _of_the_name() -> set[str]:
    try:
        found = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
    except OSError:
        return set()
    return {str(info[4][0]) for info in found}


def _of_the_way_out() -> set[str]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Sends nothing: connecting a datagram socket only asks which of our addresses faces outwards.
            # 192.0.2.1 is the address RFC 5737 keeps for documentation.
            probe.connect(("192.0.2.1", 9))
            return {str(probe.getsockname()[0])}
        except OSError:
            return set()  # no network at all


def _of_the_interfaces() -> set[str]:
    """A laptop that is the pit's own hotspot has no way out; its address is known by the interface alone."""
    if not HAVE_IOCTL:
        return set()
    found = set()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker:
        for _, name in socket.if_nameindex():
            try:
                answer = fcntl.ioctl(asker, SIOCGIFADDR, struct.pack("256s", name.encode()[:15]))
            except OSError:
                continue  # an interface without an address
            found.add(socket.inet_ntoa(answer[20:24]))
    return found
