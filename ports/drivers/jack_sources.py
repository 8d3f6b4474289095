"""JACK's sources: the ports that are connected to our input, as they come and go.

Knows: that a keyboard that is unplugged, and one that is taken off by hand, can let no key go.
Refuses to know: what that means for the bass.
How: from look to look the names are compared.  JACK tells of changes as well, but in a thread that
must not connect anything.
"""

from __future__ import annotations

from contextlib import suppress
from typing import Any


class Sources:
    """What is connected to one input of a client."""

    def __init__(self, client: Any, port: Any) -> None:  # noqa: ANN401  (JACK-Client has no types)
        self._client = client
        self._port = port
        self._connected: set[str] = set()
        self._gone: set[str] = set()

    def look(self) -> tuple[bool, list[str]]:
        """Whether one was taken away since the last look, and what is to be said of it.

        What went away as a port is connected again when it is back; what was only taken off is not,
        for somebody meant it.
        """
        # JACK-Client asks after each name by itself, and raises where a port has gone meanwhile.
        with suppress(Exception):
            return self._compare()
        return False, []

    def _compare(self) -> tuple[bool, list[str]]:
        connected = self._names()
        left = self._connected - connected
        if not left and not self._gone:
            self._connected = connected
            return False, []
        there = {p.name for p in self._client.get_ports(is_midi=True, is_output=True)}
        for name in self._gone & there:
            self._connect(name)
        self._connected = self._names()
        back = self._gone & self._connected
        self._gone = (self._gone - back) | (left - there)
        said = [f"{name} is back" for name in sorted(back)]
        for name in sorted(left):
            how = "disconnected" if name in there else "gone until it is plugged in again"
            said.append(f"{name} is {how}; its keys are let go")
        return bool(left), said

    def _names(self) -> set[str]:
        return {port.name for port in self._port.connections}

    def _connect(self, name: str) -> None:
        # What JACK-Client raises has no name where there is no JACK library.  The port is not ready
        # yet, or somebody else was quicker: the next look tells.
        with suppress(Exception):
            self._client.connect(name, self._port)
