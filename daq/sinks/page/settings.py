"""Where the page is served, and the word that lets somebody steer."""

from __future__ import annotations

import contextlib
import ipaddress
import os
import re
import secrets
import socket
from dataclasses import dataclass
from pathlib import Path

from daq.sinks.disk import storage_errors

LOOPBACK, EVERYWHERE = "127.0.0.1", "0.0.0.0"
DEFAULT_PORT = 8034
TOKEN = re.compile(r"[A-Za-z0-9_-]{22,64}")
TOKEN_BYTES = 16


@dataclass(frozen=True, slots=True)
class PageSettings:
    """`lan`: served to the local network too; then nothing is shown without the token, else nothing is steered."""

    bench: str
    token: str
    lan: bool = False
    port: int = DEFAULT_PORT

    @property
    def listens_on(self) -> str:
        return EVERYWHERE if self.lan else LOOPBACK

    @property
    def cookie(self) -> str:
        """Cookies know hosts but no ports: benches on one computer must not take each other's."""
        return f"boretight-{self.bench}"


def link(settings: PageSettings, port: int) -> str:
    """What to open, on this computer or on a phone beside it."""
    host = own_address() if settings.lan else LOOPBACK
    return f"http://{host}:{port}/open?token={settings.token}"


def own_address() -> str:
    """The address that others of the local network reach this computer by; loopback where there is no network.

    Nothing is sent: a UDP socket that is connected only looks up its route. Ref: RFC 5737, 192.0.2.1 is nobody's.
    """
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))
        return str(probe.getsockname()[0])
    return LOOPBACK


def kept_token(path: Path) -> str:
    """The token of this bench, made at the first time, so that a page that stays open outlives the daemon.

    Only the user can read the file. Raises StorageError if it can be neither read nor made.
    """
    with storage_errors(path, "keep the token of the page in"):
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        if path.exists() and TOKEN.fullmatch(token := path.read_text(encoding="ascii", errors="replace").strip()):
            return token
        path.unlink(missing_ok=True)
        token = secrets.token_urlsafe(TOKEN_BYTES)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii") as file:
            file.write(f"{token}\n")
    return token


def is_own_host(host: str) -> bool:
    """Whether a `Host` header can be meant for us: an address, or a name of this computer.

    A page of somebody else that lets its own name point here (DNS rebinding) sends its own name.
    """
    name = re.sub(r":\d{1,5}$", "", host.strip().lower())
    with contextlib.suppress(ValueError):
        return bool(ipaddress.ip_address(name.strip("[]")))
    own = socket.gethostname().lower()
    return name in {"localhost", own, f"{own}.local", own.partition(".")[0], f"{own.partition('.')[0]}.local"}
