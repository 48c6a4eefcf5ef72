"""Sending to an address somebody typed in, from a machine that stands beside others: where it may go, and how.

Only https, and only to addresses of the open internet: the name is looked up once, every address it has must be
allowed, and the connection goes to the very address that was looked at, so that a second answer of the name server
changes nothing. Nothing is followed (3xx is a refusal), no proxy is asked, what comes back is not read but for the
status, and after a while the connection is cut, however slowly it drips. Networks of one's own are opened by
MAKERLAB_WEBHOOK_NETWORKS; http only to this machine itself, and only when it is named there.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import http.client
import ipaddress
import socket
import ssl
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import SplitResult, urlsplit

from django.utils.translation import gettext as _

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network
CONNECT_S, WHOLE_S = 5.0, 15.0
ADDRESS_MAX = 300
NAT64 = ipaddress.ip_network("64:ff9b::/96")  # RFC 6052: an IPv4 address in its last 32 bits


class AddressRefused(ValueError):
    """Nothing is sent to this address; the message says why."""


@dataclass(frozen=True)
class Target:
    """Where a connection goes: the address that was looked at, and the name to ask for there."""

    ip: str
    port: int
    host: str
    path: str
    tls: bool


def sign(secret: str, key: str, seconds: int, body: str) -> str:
    """``v1,`` and the HMAC-SHA256 of key, time and body in base64; ``secret`` is ``whsec_`` and the key in base64."""
    signed = f"{key}.{seconds}.{body}".encode()
    digest = hmac.new(base64.b64decode(secret.removeprefix("whsec_")), signed, hashlib.sha256).digest()
    return "v1," + base64.b64encode(digest).decode()


def read_address(address: str, allowed: Sequence[Network]) -> SplitResult:
    """The parts of an address that may be kept. Raises AddressRefused. Looks up no name."""
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError:
        raise AddressRefused(_("That is not an address. Write it like https://school.example/told.")) from None
    odd = any(ord(sign) <= 32 or ord(sign) > 126 or sign in '"<>\\^`{|}' for sign in address)
    if odd or not parts.hostname or len(address) > ADDRESS_MAX or port == 0:
        raise AddressRefused(_("That is not an address. Write it like https://school.example/told."))
    if parts.username is not None or parts.password is not None or parts.fragment:
        raise AddressRefused(_("Leave out user name, password and everything after #."))
    here = any(network.is_loopback for network in allowed)
    if parts.scheme != "https" and not (parts.scheme == "http" and here):
        raise AddressRefused(_("The address must begin with https://."))
    if (literal := _literal(parts.hostname)) is not None:
        check_place(literal, parts.scheme == "https", allowed)
    return parts


def _literal(host: str) -> Address | None:
    try:
        return ipaddress.ip_address(host)
    except ValueError:
        return None


def meant(place: Address) -> Address:
    """The IPv4 address an IPv6 address stands for, where it does."""
    if isinstance(place, ipaddress.IPv4Address):
        return place
    if place in NAT64:
        return ipaddress.IPv4Address(int(place) & 0xFFFFFFFF)
    teredo = place.teredo
    return place.ipv4_mapped or place.sixtofour or (teredo[1] if teredo else place)


def check_place(place: Address, tls: bool, allowed: Iterable[Network]) -> None:
    """Raise AddressRefused unless something may be sent there."""
    place = meant(place)
    opened = any(place.version == network.version and place in network for network in allowed)
    if not opened and (not place.is_global or place.is_multicast or place.is_reserved):
        raise AddressRefused(_("That address lies inside a network; only addresses of the open internet are told."))
    if not tls and not (opened and place.is_loopback):
        raise AddressRefused(_("The address must begin with https://."))


def look_up(address: str, allowed: Sequence[Network]) -> Target:
    """Where to connect to. Raises AddressRefused, or OSError when the name is not known."""
    parts = read_address(address, allowed)
    host, tls = parts.hostname or "", parts.scheme == "https"
    port = parts.port or (443 if tls else 80)
    found = [str(entry[4][0]) for entry in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)]
    for place in found:
        check_place(ipaddress.ip_address(place.partition("%")[0]), tls, allowed)
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return Target(found[0], port, host, path, tls)


class _Straight(http.client.HTTPConnection):
    """A connection to the address that was looked at, under the name that was asked for."""

    def __init__(self, target: Target) -> None:
        super().__init__(target.host, target.port, timeout=CONNECT_S)
        self.target = target

    def connect(self) -> None:
        self.sock = socket.create_connection((self.target.ip, self.target.port), CONNECT_S)
        if self.target.tls:
            self.sock = ssl.create_default_context().wrap_socket(self.sock, server_hostname=self.target.host)


def post(target: Target, headers: Mapping[str, str], body: str, whole_s: float = WHOLE_S) -> int:
    """Send it and return the status. Raises OSError or HTTPException when there is no answer in time."""
    connection = _Straight(target)
    late = threading.Event()
    cut = threading.Timer(whole_s, _cut, [connection, late])
    cut.daemon = True
    cut.start()
    try:
        connection.request("POST", target.path, body.encode(), dict(headers))
        status = connection.getresponse().status
        if late.is_set():  # half an answer reads like a whole one
            raise TimeoutError
        return status
    finally:
        cut.cancel()
        connection.close()


def _cut(connection: http.client.HTTPConnection, late: threading.Event) -> None:
    """End a connection whose other side takes too long; whoever reads from it goes on."""
    late.set()
    if connection.sock is not None:
        try:
            connection.sock.shutdown(socket.SHUT_RDWR)
        except OSError:
            return  # it is over already
