"""MIDI: which system this machine has, which ports are on it, and opening them.

JACK is used where a server runs (PipeWire counts), else the system's own: ALSA's sequencer,
CoreMIDI, or Windows MIDI, where only existing ports can be opened.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ports.drivers import jack_client, rtmidi_wrapper
from ports.port import BASS_NAME, CHORDS_NAME, CLIENT_NAME, NoMidiSystem, Port, UnknownPort

__all__ = ["MidiSystem", "NoMidiSystem", "UnknownPort", "open_port", "pick", "systems"]

WHAT_WOULD_DO = "start JACK or PipeWire, or load ALSA's sequencer (modprobe snd-seq)"
NOTHING_FOUND = (
    "this machine has no MIDI system: no JACK or PipeWire server answers, and there is no "
    f"{rtmidi_wrapper.ALSA_DEVICE}; {WHAT_WOULD_DO}"
)


@dataclass(frozen=True, slots=True)
class MidiSystem:
    """A MIDI system, and the ports other programs and devices have on it.

    `inputs` can be listened to, `outputs` can be sent to; `virtual` says whether we may open
    ports of our own.
    """

    name: str
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    virtual: bool


def systems() -> tuple[MidiSystem, ...]:
    """The MIDI systems found here; the first is the one that would be used."""
    found = []
    on_jack = jack_client.look()
    if on_jack is not None:
        found.append(MidiSystem("JACK", *on_jack, virtual=True))
    name = rtmidi_wrapper.system_name()
    if name is not None:
        try:
            wrapper = rtmidi_wrapper.load()
        except NoMidiSystem:
            return tuple(found)
        inputs, outputs = tuple(wrapper.inputs()), tuple(wrapper.outputs())
        wrapper.close()
        found.append(MidiSystem(name, inputs, outputs, rtmidi_wrapper.has_virtual_ports()))
    return tuple(found)


def open_port(
    now: Callable[[], float], source: str | None = None, target: str | None = None
) -> Port:
    """Open chords in and bass out, on existing ports where they are named.

    Args:
        now: tells the time that arrivals are stamped with.
        source: the port to listen to, by its name or a part of it that fits no other.
        target: the port to send to, likewise.

    Raises:
        NoMidiSystem: there is none; the message says so in one sentence.
        UnknownPort: a name fits no port or several, or ports must be named and are not.
    """
    client = jack_client.connect(CLIENT_NAME)
    if client is None:
        return _open_rtmidi(now, source, target)
    try:
        inputs, outputs = jack_client.names(client)
        from_port = None if source is None else inputs[pick(source, inputs, "input")]
        to_port = None if target is None else outputs[pick(target, outputs, "output")]
    except UnknownPort:
        client.close()
        raise
    port = jack_client.JackPort(client, now)
    port.connect(from_port, to_port)
    return port


def _open_rtmidi(now: Callable[[], float], source: str | None, target: str | None) -> Port:
    if rtmidi_wrapper.system_name() is None:
        raise NoMidiSystem(NOTHING_FOUND)
    wrapper = rtmidi_wrapper.load()
    try:
        inputs, outputs = wrapper.inputs(), wrapper.outputs()
        if not rtmidi_wrapper.has_virtual_ports():
            _demand_names(source, target, inputs, outputs)
        from_port = None if source is None else pick(source, inputs, "input")
        to_port = None if target is None else pick(target, outputs, "output")
    except UnknownPort:
        wrapper.close()
        raise
    return rtmidi_wrapper.RtmidiPort(wrapper, now, from_port, to_port)


def _demand_names(
    source: str | None, target: str | None, inputs: Sequence[str], outputs: Sequence[str]
) -> None:
    """Where no port of our own can be opened, both must be named."""
    for option, ours, name, there in (
        ("--in", CHORDS_NAME, source, inputs),
        ("--out", BASS_NAME, target, outputs),
    ):
        if name is None:
            raise UnknownPort(
                f"Windows cannot make a port {ours!r}; name an existing one with {option}: "
                f"{_listed(there)}"
            )


def pick(name: str, names: Sequence[str], kind: str) -> int:
    """Which of the names is meant by a name or a part of it, whatever its case.

    Raises:
        UnknownPort: none of them, or more than one.
    """
    if name in names:
        return list(names).index(name)
    fitting = [i for i, n in enumerate(names) if name.casefold() in n.casefold()]
    if not fitting:
        raise UnknownPort(f"no MIDI {kind} is called {name!r}; there are: {_listed(names)}")
    if len(fitting) > 1:
        several = _listed([names[i] for i in fitting])
        raise UnknownPort(f"{name!r} fits more than one MIDI {kind}; say which: {several}")
    return fitting[0]


def _listed(names: Sequence[str]) -> str:
    return ", ".join(repr(n) for n in names) or "none"
