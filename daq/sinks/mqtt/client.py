"""The client of `connection`; a module of its own, because it imports aiomqtt, which takes its time."""

from __future__ import annotations

import asyncio
from typing import Any

import aiomqtt


class Client(aiomqtt.Client):
    """Writes a message at once, as far as the socket takes it.

    aiomqtt leaves that to the event loop, which then wakes three times for each message, and a live message waits for
    its own confirmation. What the socket does not take is left to the event loop here too.
    """

    def _on_socket_register_write(self, client: Any, userdata: Any, sock: Any) -> None:
        """Called by paho, within `publish` or another call, when there is something to write."""
        if _in_event_loop():
            client.loop_write()
        if client.want_write() and client.socket() is not None:
            super()._on_socket_register_write(client, userdata, sock)


def _in_event_loop() -> bool:
    """aiomqtt connects from another thread."""
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return False
    return True
