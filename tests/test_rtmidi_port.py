"""The RtMidi port without a driver: keyboards that come and go, as the names of ports tell."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest

from engine.events import NoteOn
from ports.cable import let_go
from ports.drivers import rtmidi_wrapper
from ports.drivers.rtmidi_source import READ_SECONDS
from ports.drivers.rtmidi_wrapper import RtmidiPort
from tests.fakes import FakeClock
from tests.test_ports import FakeWrapper

THROUGH = "Midi Through:Midi Through Port-0 14:0"


class System(FakeWrapper):
    """A MIDI system with a list of ports, and a player who listens to one of them."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, names: Sequence[str], index: int) -> None:
        super().__init__()
        looks: list[Callable[[], None]] = []
        monkeypatch.setattr(rtmidi_wrapper, "Lookout", looks.append)
        self.names = list(names)
        self.clock = FakeClock(5.0)
        self.said: list[str] = []
        self.port = RtmidiPort(self, self.clock.now, index, None)
        self.port.tell = self.said.append
        (self._look,) = looks

    def becomes(self, names: Sequence[str]) -> tuple[list[str], list[object]]:
        """The list is another; what is said of it in the next two seconds, and what arrives."""
        self.said.clear()
        self.names = list(names)
        for _ in range(8):
            self.clock.time += READ_SECONDS / 4
            self._look()
        arrived = [self.port.inbox.get_nowait() for _ in range(self.port.inbox.qsize())]
        return list(self.said), list(arrived)


PIANO_20, PIANO_24 = "Stage Piano:MIDI 1 20:0", "Stage Piano:MIDI 1 24:0"
TWO_PORTS = ["Stage Piano 1", "Stage Piano 2"]


def ours(names: Sequence[str]) -> int:
    """Where the piano stands; its second port, if it has two."""
    return max(i for i, name in enumerate(names) if "Piano" in name)


@pytest.mark.parametrize(
    ("platform", "names", "without", "again"),
    [
        ("linux", [THROUGH, PIANO_20], [THROUGH], [THROUGH, PIANO_24]),
        ("win32", ["Organ 0", "Stage Piano 1"], ["Organ 0"], ["Stage Piano 0", "Organ 1"]),
        ("win32", ["Stage Piano 0"], [], ["2- Stage Piano 0"]),
        ("darwin", TWO_PORTS, TWO_PORTS[:1], TWO_PORTS),
    ],
)
def test_a_keyboard_that_is_unplugged_lets_its_keys_go_and_is_taken_again(
    monkeypatch: pytest.MonkeyPatch,
    platform: str,
    names: list[str],
    without: list[str],
    again: list[str],
) -> None:
    """Both are said once, by the name that lasts, whatever number the system gives it now."""
    monkeypatch.setattr("sys.platform", platform)
    system = System(monkeypatch, names, ours(names))
    assert system.becomes(names) == ([], [])

    (gone,), up = system.becomes(without)
    assert gone.endswith(" is gone until it is plugged in again; its keys are let go")
    assert gone.startswith("Stage Piano")
    assert up == list(let_go(system.clock.time - READ_SECONDS))
    assert system.becomes(without) == ([], [])
    system.heard([0x90, 51, 80])
    assert system.port.inbox.empty()

    assert system.becomes(again) == ([gone.split(" is gone")[0] + " is back"], [])
    assert system.opened[-1] == ours(again)
    system.heard([0x90, 51, 80])
    assert system.port.inbox.get_nowait() == NoteOn(system.clock.time, 51, 80)


@pytest.mark.parametrize(
    ("platform", "names", "others"),
    [
        ("linux", [THROUGH, PIANO_20], [PIANO_20, "Organ:MIDI 1 24:0"]),
        ("win32", ["Organ 0", "Stage Piano 1"], ["Stage Piano 0", "Pads 1"]),
        ("darwin", ["Organ", "Stage Piano"], ["Stage Piano"]),
    ],
)
def test_other_keyboards_may_come_and_go(
    monkeypatch: pytest.MonkeyPatch, platform: str, names: list[str], others: list[str]
) -> None:
    """Nobody's keys are let go, although the port may stand elsewhere in the list."""
    monkeypatch.setattr("sys.platform", platform)
    system = System(monkeypatch, names, 1)

    assert system.becomes(others) == system.becomes(names) == ([], [])
    assert system.opened == [1, None]


def test_a_keyboard_that_is_not_ready_yet_is_taken_when_it_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It may be on the list before it lets itself be opened."""
    system = System(monkeypatch, ["Stage Piano"], 0)
    system.becomes([])

    def busy(_index: int | None, _heard: object) -> None:
        raise OSError("device is busy")

    with monkeypatch.context() as at_first:
        at_first.setattr(system, "listen", busy)
        assert system.becomes(["Stage Piano"]) == ([], [])
    assert system.becomes(["Stage Piano"]) == (["Stage Piano is back"], [])


def test_a_list_that_cannot_be_read_takes_nothing_away(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor does it end the lookout, which looks for active sensing too."""
    system = System(monkeypatch, ["Stage Piano"], 0)

    def fails() -> list[str]:
        raise OSError("no answer")

    with monkeypatch.context() as meanwhile:
        meanwhile.setattr(system, "inputs", fails)
        assert system.becomes([]) == ([], [])
    assert len(system.becomes([])[0]) == 1


def test_what_is_connected_to_a_port_of_our_own_is_not_looked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """RtMidi does not tell who that is."""
    looks: list[Callable[[], None]] = []
    monkeypatch.setattr(rtmidi_wrapper, "Lookout", looks.append)
    wrapper, clock = FakeWrapper(), FakeClock(5.0)
    monkeypatch.setattr(wrapper, "inputs", lambda: pytest.fail("nobody wants the list"))
    port = RtmidiPort(wrapper, clock.now, None, None)
    clock.time = 9.0
    looks[0]()

    assert port.inbox.empty()
