"""The cable: what it means for the bass that a keyboard says nothing more."""

from __future__ import annotations

import pytest

from engine.events import SUSTAIN
from engine.hearing.held import HeldNotes
from ports.cable import ACTIVE_SENSING, SILENCE_SECONDS, Cable, let_go
from ports.wire import event_of
from tests.test_ports import BOTH_WAYS, DROPPED

SENSING = [ACTIVE_SENSING]
PROMISE = ((0.7, SENSING), (1.0, SENSING))
CHORD = [[0x92, note, 80] for note in (51, 58, 67)]


def told(*messages: tuple[float, list[int]]) -> Cable:
    """A cable that these messages came through, each at its second."""
    cable = Cable()
    for at, message in messages:
        cable.take(message, at)
    return cable


@pytest.mark.parametrize("dump", [dump for dump, _ in BOTH_WAYS])
def test_messages_come_through_as_they_are(dump: str) -> None:
    """What tells a bassist something is told, with active sensing or without."""
    message = list(bytes.fromhex(dump))
    for cable in (Cable(), told(*PROMISE)):
        assert cable.take(message, 1.5) == (event_of(message, 1.5),)


def test_without_active_sensing_silence_means_nothing() -> None:
    """A keyboard that never promised to be heard may hold a chord for ever."""
    cable = told(*((1.0, message) for message in CHORD))

    assert cable.look(1000.0) == ()


def test_what_comes_now_and_then_is_no_promise() -> None:
    """A box between the keyboard and us may let few of its active sensing through."""
    cable = told(*((at, SENSING) for at in (1.0, 1.6, 2.2, 5.0)), *((5.1, m) for m in CHORD))

    assert cable.look(9.0) == ()


def test_a_keyboard_that_breaks_its_promise_lets_all_keys_go_once() -> None:
    """After half a second without a word, and not before; once it is back, it may promise again."""
    cable = told(*PROMISE, *((1.2, message) for message in CHORD))

    assert cable.look(1.2 + SILENCE_SECONDS) == ()
    assert cable.look(1.71) == let_go(1.71)
    assert cable.look(9.0) == ()
    cable.take(SENSING, 9.8)
    cable.take(SENSING, 10.0)
    assert cable.look(10.4) == ()
    assert cable.look(10.6) == let_go(10.6)


@pytest.mark.parametrize("dump", [dump for dump, _ in [*BOTH_WAYS, *DROPPED] if dump != "FF"])
def test_whatever_is_heard_keeps_the_promise(dump: str) -> None:
    """A bend or pressure on the keys tells a bassist nothing, but that somebody is there."""
    cable = told(*PROMISE, (1.4, list(bytes.fromhex(dump))))

    assert cable.look(1.8) == ()
    assert cable.look(2.0) == let_go(2.0)


def test_who_plays_need_not_send_active_sensing() -> None:
    """Only a keyboard with nothing else to say sends it; busy hands break no promise."""
    playing = [(1.0 + i * 0.3, CHORD[i % 3]) for i in range(1, 10)]
    cable = told(*PROMISE, *playing, (4.0, SENSING))

    assert cable.look(4.4) == ()


def test_a_reset_lets_all_keys_go_and_promises_nothing() -> None:
    """A keyboard that is reset is as one just switched on."""
    cable = told(*PROMISE)

    assert cable.take([0xFF], 1.1) == let_go(1.1)
    assert cable.look(9.0) == ()


@pytest.mark.parametrize("channel", range(16))
@pytest.mark.parametrize("pedal", [False, True])
@pytest.mark.parametrize("transposed", range(12))
def test_of_what_is_let_go_nothing_sounds(channel: int, transposed: int, *, pedal: bool) -> None:
    """No key stays down and no pedal, so that the next short chord is over when its keys are up."""
    held = HeldNotes()
    chord = [note + transposed for note in (44, 51, 59)]
    if pedal:
        held.control(0.0, SUSTAIN, 127, channel)
    for note in chord:
        held.strike(1.0, note, 80, channel)
    for event in let_go(2.0):
        held.control(2.0, event.controller, event.value, event.channel)
    assert held.silent

    held.strike(3.0, chord[0], 80, channel)
    held.release(3.5, chord[0], channel)
    assert held.silent
