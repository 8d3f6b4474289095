"""Spelling: what the tones over a chord are called, and that everybody calls them so."""

from __future__ import annotations

from dataclasses import replace

import pytest

from engine.line.reasons import reason_for
from engine.score import Role
from engine.theory.harmony import KEYS, QUALITIES, Chord, Key
from engine.theory.pitch import fifths_of_name, pitch_class_of_name
from engine.theory.spelling import spelled
from engine.theory.symbols import parse_symbol, symbol


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
        ("Db", "Cb/Db Cb/Bb Gb/C Gb/Db Ab/C E/Db B"),
        ("Ab", "Gb/Ab E/G# Cb/Db Dbm/Fb"),
        ("Bbm", "Gb/C Ab/Bb Cb/Db"),
    ],
)
def test_a_bass_of_the_key_keeps_the_name_that_the_key_gives_it(key: str, symbols: str) -> None:
    """D/G# in A, and no D/Ab; and in D flat the chord over it is a Cb/Db, no B/C#."""
    for each in symbols.split():
        assert symbol(parse_symbol(each), key_of(key)) == each


@pytest.mark.slow
def test_a_bass_has_one_name_behind_the_slash_and_as_a_note() -> None:
    """Whatever the chord, its bass and the key: who reads F/B plays a B, and is told so."""
    for key in KEYS:
        for quality in QUALITIES:
            for steps in range(1, 12):
                for root in (0, 1, 6):
                    chord = Chord.of(root, quality, (root + steps) % 12)
                    reason = reason_for(Role.BASS, 36 + chord.bass, chord, key, None)
                    assert reason.startswith(f"{symbol(chord, key).rpartition('/')[2]}: ")


@pytest.mark.parametrize(
    ("key", "over", "note", "aims_at", "name"),
    [
        ("Cm", "Fm", "Bb", "B", "Bb"),
        ("Db", "Db", "Bb", "B", "Bb"),
        ("F", "Gm7", "E", "Eb", "E"),
        ("A", "D", "G#", "G", "G#"),
        ("Eb", "Bb7", "C", "C#", "C"),
        ("Eb", "Ab", "F#", "G", "F#"),
        ("D", "A7", "Bb", "A", "Bb"),
        ("E", "B7", "F", "E", "F"),
        ("Ab", "A7", "D", "Eb", "D"),
    ],
)
def test_only_a_tone_from_outside_is_named_by_where_it_leads(
    key: str, over: str, note: str, aims_at: str, name: str
) -> None:
    """In C minor Bb climbs from Fm to the B of G7/B, no A#; a foreign tone is raised or lowered."""
    goal, pitch_class = pitch_class_of_name(aims_at), pitch_class_of_name(note)
    chord = parse_symbol(over)
    for role in (Role.APPROACH_BELOW, Role.APPROACH_ABOVE):
        reason = reason_for(role, 36 + pitch_class, chord, key_of(key), goal)
        assert reason.startswith(f"{name}: a semitone ")


@pytest.mark.parametrize(
    ("key", "over", "note", "aims_at", "name"),
    [
        ("Ab", "A9", "Eb", "Ab", "Eb"),
        ("Ab", "E7", "Db", "Eb", "Db"),
        ("Cm", "C#m7", "Eb", "F#", "D#"),
        ("Cm", "C#m7", "Eb", "F", "Eb"),
        ("Db", "B", "Bb", "Gb", "A#"),
    ],
)
def test_over_a_foreign_chord_a_lead_is_named_from_the_side_of_its_goal(
    key: str, over: str, note: str, aims_at: str, name: str
) -> None:
    """Eb is the fifth of Ab, whatever the chord that it is played over calls it."""
    goal, pitch_class = pitch_class_of_name(aims_at), pitch_class_of_name(note)
    reason = reason_for(Role.FIFTH, 36 + pitch_class, parse_symbol(over), key_of(key), goal)
    assert reason.startswith(f"{name}: ")


@pytest.mark.parametrize(
    ("key", "over", "names"),
    [
        ("Cm", "C#m7", "C# D# E F# G# A# B"),
        ("C", "Ab7", "Ab Bb C D Eb F Gb"),
        ("Eb", "Am7b5", "A Bb C D Eb F G"),
        ("Bb", "B7", "B C# D# E# F# G# A"),
        ("D", "Bbmaj7", "Bb C D E F G A"),
        ("G", "Fmaj7", "F G A B C D E"),
        ("Ab", "Ddim7", "D F Ab B Db Eb Bb"),
        ("Db", "Gbm7", "Gb A Db Fb Ab Eb"),
    ],
)
def test_over_a_root_from_outside_the_key_the_scale_is_spelled_from_the_root(
    key: str, over: str, names: str
) -> None:
    """C# dorian has a D# in C minor too, although the key has an Eb."""
    chord = parse_symbol(over)
    for name in names.split():
        assert spelled(pitch_class_of_name(name), chord, key_of(key)) == name


@pytest.mark.parametrize(
    ("key", "over", "names"),
    [
        ("Abm", "Emaj7", "E F# G# A# B C# D#"),
        ("D#m", "Bb7", "Bb C D Eb F Gb Ab"),
        ("F#", "Dbmaj7", "Db Eb F Gb Ab Bb C"),
        ("Gb", "Bmaj7", "B C# D# E# F# G# A#"),
    ],
)
def test_over_a_root_that_is_written_otherwise_the_scale_is_too(
    key: str, over: str, names: str
) -> None:
    """Whoever reads E in A flat minor reads C# as its sixth, and not the Db of the key."""
    home = Key.named(key.removesuffix("m"), minor=key.endswith("m"))
    root = fifths_of_name(over[:2].rstrip("m"))
    chord = replace(parse_symbol(over), written=root)
    for name in names.split():
        assert spelled(pitch_class_of_name(name), chord, home) == name


@pytest.mark.parametrize(
    ("key", "over", "names"),
    [
        ("E", "Fdim7", "F Ab B D"),
        ("B", "Fdim7", "F Ab B D"),
        ("F", "Bbdim7", "Bb Db E G"),
        ("Eb", "Fdim7", "F Ab Cb D"),
        ("Gb", "Fdim7", "F Ab Cb D"),
        ("Db", "Bbdim7", "Bb Db Fb G"),
    ],
)
def test_a_diminished_chord_takes_the_natural_tones_of_its_key(
    key: str, over: str, names: str
) -> None:
    """In B major there is a B, and F dim7 on its way to B/F# has no Cb; in G flat there is one."""
    chord = parse_symbol(over)
    told = {spelled(tone, chord, Key.named(key)) for tone in chord.pitch_classes}

    assert told == set(names.split())
