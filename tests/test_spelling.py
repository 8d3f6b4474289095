"""Spelling: what the tones over a chord are called, and that everybody calls them so."""

from __future__ import annotations

import pytest

from engine.harmony import KEYS, QUALITIES, Chord, Key
from engine.line.reasons import reason_for
from engine.pitch import pitch_class_of_name
from engine.score import Role
from engine.symbols import parse_symbol, symbol


def key_of(name: str) -> Key:
    """A key by its tonic, minor with an m after it: "Eb", "F#m"."""
    tonic = name.removesuffix("m")
    return Key(pitch_class_of_name(tonic), minor=tonic != name)


@pytest.mark.parametrize(
    ("key", "symbols"),
    [
        ("C", "F/B Cdim7/A Bb/C"),
        ("A", "D/G# G/A E/G#"),
        ("G", "C/F# F/G Cdim7/A"),
        ("Eb", "Db/Eb F/Eb Abm/Cb"),
        ("E", "D/E A/D# G#7/B#"),
        ("F#", "A#7/C## E/F# B/E#"),
        ("Db", "Cb/Db Cb/Bb Gb/C Gb/Db Ab/C B"),
        ("Ab", "Gb/Ab E/G# Cb/Db Dbm/Fb"),
        ("Bbm", "Gb/C Ab/Bb Cb/Db"),
    ],
)
def test_a_bass_of_the_key_keeps_the_name_that_the_key_gives_it(key: str, symbols: str) -> None:
    """D/G# in A, and no D/Ab; and in D flat the chord over it is a Cb/Db, no B/C#."""
    for each in symbols.split():
        assert symbol(parse_symbol(each), key_of(key)) == each


def test_a_bass_has_one_name_behind_the_slash_and_as_a_note() -> None:
    """Whatever the chord, its bass and the key: who reads F/B plays a B, and is told so."""
    for key in KEYS:
        for quality in QUALITIES:
            for steps in range(1, 12):
                for root in (0, 1, 6):
                    chord = Chord.of(root, quality, (root + steps) % 12)
                    reason = reason_for(Role.BASS, 36 + chord.bass, chord, key, None)
                    assert reason.startswith(f"{symbol(chord, key).rpartition('/')[2]}: ")
