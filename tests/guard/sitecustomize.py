"""No test leaves this machine: connecting anywhere but the loopback range raises, here and in every child.

Python imports `sitecustomize` at start-up when this folder is on PYTHONPATH; `conftest.py` puts it there.
"""

import ipaddress
import socket
from typing import Any

_connect = socket.socket.connect


def _is_loopback(address: Any) -> bool:
    if not isinstance(address, tuple):
        return True  # a local socket has a path, not a host
    try:
        return ipaddress.ip_address(address[0]).is_loopback
    except ValueError:
        return address[0] == "localhost"


def guarded(self: socket.socket, address: Any) -> None:
    """`socket.connect` for loopback addresses; anything else is a fault of the program under test."""
    if not _is_loopback(address):
        raise RuntimeError(f"the network was asked for: {address!r}")
    _connect(self, address)


socket.socket.connect = guarded  # type: ignore[method-assign]
