"""The benches that look for faults: what they find."""

from __future__ import annotations

from io import BytesIO

import mido
import pytest

from bench.replay import faults_of_part


def part_of(*messages: tuple[str, int]) -> BytesIO:
    """A part as a MIDI file, its messages a quarter note apart."""
    file = mido.MidiFile()
    track = mido.MidiTrack([mido.Message(kind, note=note, time=480) for kind, note in messages])
    file.tracks.append(track)
    part = BytesIO()
    file.save(file=part)
    part.seek(0)
    return part


@pytest.mark.parametrize(
    ("messages", "faults"),
    [
        ((("note_on", 34), ("note_off", 34)), []),
        ((("note_on", 34), ("note_on", 39)),
         ["note 39 begins while 34 sounds", "note 34 is left hanging", "note 39 is left hanging"]),
        ((("note_on", 34), ("note_off", 34), ("note_off", 41)),
         ["note 41 ends and does not sound"]),
        ((("note_off", 41), ("note_on", 34), ("note_off", 34)),
         ["note 41 ends and does not sound"]),
    ],
    ids=["sound", "two at once", "one ends twice", "one ends before any began"],
)  # fmt: skip
def test_each_fault_of_a_part_is_told(messages: list[tuple[str, int]], faults: list[str]) -> None:
    """A part that is broken in whatever way is told of, and the bench goes on."""
    begun = sum(kind == "note_on" for kind, _ in messages)

    assert faults_of_part(part_of(*messages)) == (begun, faults)
