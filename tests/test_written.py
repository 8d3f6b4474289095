"""Written: how the roots of a part's chords are written, one after the other."""

from __future__ import annotations

import pytest

from engine.teaching.written import written
from engine.theory.harmony import KEYS, QUALITY_BY_SUFFIX, Chord, Key
from engine.theory.pitch import is_usual, pitch_class_of_name
from engine.theory.symbols import parse_symbol, symbol


def as_written(key: str, symbols: str) -> str:
    """Chords as the page has them in a key; "Cm" is C minor."""
    tonic = key.removesuffix("m")
    home = Key(pitch_class_of_name(tonic), minor=tonic != key)
    chords = written([(parse_symbol(each), home) for each in symbols.split()])
    return " ".join(symbol(chord, home) for chord in chords)


def test_a_two_five_one_falls_by_fifths_in_writing() -> None:
    """To every goal in every key, major and minor: Abm7 Db7 Gb, never Abm7 Db7 F#."""
    for key in KEYS:
        for goal in range(12):
            for suffixes in (("m7", "7", "maj7"), ("m7b5", "7b9", "m7"), ("m7b5", "7b9", "maj7")):
                roots = ((goal + 2) % 12, (goal + 7) % 12, goal)
                kinds = [QUALITY_BY_SUFFIX[suffix] for suffix in suffixes]
                chords = [Chord.of(r, kind) for r, kind in zip(roots, kinds, strict=True)]
                two, five, one = (c.written or 0 for c in written([(c, key) for c in chords]))
                assert (two - five, five - one) == (1, 1), (key.name, goal, suffixes)


@pytest.mark.parametrize(
    ("key", "symbols"),
    [
        ("C", "Abm7 Db7 Gbmaj7"), ("C", "Bbm7b5 Eb7b9 Abmaj7"), ("C", "C#m7 F#7 Bmaj7"),
        ("Dm", "Bbm7 Eb7 Abmaj7"), ("F", "Abm7b5 Db7 Gbmaj7 Gbmaj7 Gbmaj7 F"),
        ("Db", "F#m7 B7 Emaj7"), ("Db", "Gbm6 Db"), ("Ab", "Dbm7 Gb7 Ab"),
        ("G", "G#m7 C#7 F#maj7"), ("E", "Cm7b5 F7b9 Bbm7"), ("D", "Ebm7 Ab7 Dbmaj7"),
        ("Cm", "Dm7b5 G7 Cm Ab7"), ("Db", "Gb Cb/Db Db"), ("Ab", "Ab6 C#m7 F#7 Bmaj7"),
        ("Db", "Gbmaj7 Cb7 Dbmaj7"), ("Db", "Gbmaj7 Gbm7 Cb7 Dbmaj7"),
        ("Bb", "G7 C7 F7 Bb7 Eb7 Ab7"),
    ],
)  # fmt: skip
def test_chords_are_written_so_that_their_moves_are_seen(key: str, symbols: str) -> None:
    """The two and the five of G flat are written so in C; iv of D flat stays Gbm6 before it."""
    assert as_written(key, symbols) == symbols


def as_written_through(song: str) -> str:
    """Chords as the page has them through keys, each with a colon: `Db: Dbm7 Gb7 B: Bmaj7`."""
    chords, key = [], Key(0)
    for word in song.split():
        if word.endswith(":"):
            key = Key.named(word.rstrip("m:"), minor=word.endswith("m:"))
        else:
            chords.append((parse_symbol(word), key))
    told = zip(written(chords), chords, strict=True)
    return " ".join(symbol(chord, home) for chord, (_, home) in told)


@pytest.mark.parametrize(
    ("song", "symbols"),
    [
        ("Db: Ebm7 Ab7 Dbm7 Gb7 B: Bmaj7", "Ebm7 Ab7 C#m7 F#7 Bmaj7"),
        ("F#m: D/F# G#7sus4 G#7 Db: Db", "D/F# Ab7sus4 Ab7 Db"),
        ("Abm: Abm Eb7 Bm Bm: A G F#7 Bm", "Abm Eb7 Bm A G F#7 Bm"),
        ("Ab: Eb7 Ab F#m7 B7 E: Emaj7", "Eb7 Ab F#m7 B7 Emaj7"),
        ("G: D7 G Fm7 Bb7 Eb: Ebmaj7", "D7 G Fm7 Bb7 Ebmaj7"),
        ("Db: Db Dbm7 Gb7 Cbmaj7 B: Bm7 E7", "Db C#m7 F#7 Bmaj7 Bm7 E7"),
        ("G#m: A/C# D#7sus4 D#7 Ab: Ab", "A/C# Eb7sus4 Eb7 Ab"),
        ("E: E G#m7 G#7 Db: Dbmaj7", "E Abm7 Ab7 Dbmaj7"),
        ("C: C6/9 D#dim7 G: D#dim7 Am: Dm9", "C6/9 Ebdim7 Ebdim7 Dm9"),
    ],
)
def test_foreign_chords_that_lead_into_a_key_are_written_in_it(song: str, symbols: str) -> None:
    """A key is heard when it is there: its two and five have come before, under the old one."""
    assert as_written_through(song) == symbols


def test_the_chord_on_the_tonic_is_called_as_its_key_is() -> None:
    """In B major Bmaj7, never Cbmaj7, wherever the song comes from."""
    for before in KEYS:
        for key in (*KEYS, Key.named("Gb"), Key.named("Ab", minor=True)):
            minor = "m" if key.minor else ""
            for two, five, one in (("m7", "7", minor), ("m7b5", "7b9", minor)):
                steps = zip((2, 7, 0), (two, five, one), strict=True)
                roots = [Chord.of((key.tonic + s) % 12, QUALITY_BY_SUFFIX[k]) for s, k in steps]
                chords = written([*((chord, before) for chord in roots[:2]), (roots[2], key)])

                assert chords[2].written == key.tonic_fifths, (before.name, key.name)


def test_a_chord_that_goes_on_in_a_key_with_a_harder_name_for_it_keeps_its_own() -> None:
    """An Emaj7 that is held while the ear comes to A flat minor becomes no Fbmaj7."""
    song = "Eb: F#m7 B7 Emaj7 Abm: Emaj7 Ebm7"

    assert as_written_through(song) == "F#m7 B7 Emaj7 Emaj7 Ebm7"


def test_what_a_diminished_chord_falls_to_is_written_as_the_key_has_it() -> None:
    """Edim7 leads down to the Ebm7 of D flat: there is no Fbdim7, and no D#m7 for its sake."""
    for key in KEYS:
        for root in key.scale:
            falls = Chord.of((root + 1) % 12, QUALITY_BY_SUFFIX["dim7"])
            chords = written([(falls, key), (Chord.of(root, QUALITY_BY_SUFFIX["m7"]), key)])

            assert chords[1].written == key.tone_fifths(root), (key.name, root)


@pytest.mark.parametrize(
    ("key", "symbols"),
    [
        ("C", "Em7 Ebdim7 Dm7 G7"), ("Eb", "Gm7 Gbdim7 Fm7 Bb7"), ("A", "C#m7 Cdim7 Bm7 E7"),
        ("G", "G G#dim7 Am7 A#dim7 G/B"), ("Ab", "Cm7 Bdim7 Bbm7 Eb7"),
    ],
)  # fmt: skip
def test_a_diminished_chord_is_written_by_where_it_goes(key: str, symbols: str) -> None:
    """Falling to Dm7 it is Ebdim7, climbing to Em7 D#dim7; nobody writes a Cbdim7."""
    assert as_written(key, symbols) == symbols


@pytest.mark.parametrize("key", KEYS, ids=lambda key: key.name)
@pytest.mark.parametrize("kind", ["7", "m7"])
def test_no_fall_by_fifths_leads_to_a_chord_on_f_flat_or_b_sharp(key: Key, kind: str) -> None:
    """From wherever it sets out, and however far it falls: after Cb7 in E flat minor comes E7."""
    for start in range(12):
        fall = [Chord.of((start + 5 * i) % 12, QUALITY_BY_SUFFIX[kind]) for i in range(5)]
        fall.insert(2, Chord.of(fall[1].root, QUALITY_BY_SUFFIX["7"]))
        roots = [chord.written for chord in written([(chord, key) for chord in fall])]

        assert all(root is not None and is_usual(root) for root in roots), symbol(fall[0], key)


def test_a_chord_that_is_held_keeps_its_name_in_its_key() -> None:
    """However long it stays; where the key is B before it is over, it is F# in the end."""
    chords = written([
        *((parse_symbol(each), Key(0)) for each in ("Abm7", "Db7", "Gbmaj7", "Gbmaj7", "Gbmaj7")),
        (parse_symbol("Gbmaj7"), Key(11)),
    ])  # fmt: skip

    assert [symbol(chord, Key(0)) for chord in chords[2:]] == [
        "Gbmaj7", "Gbmaj7", "Gbmaj7", "F#maj7",
    ]  # fmt: skip


def test_a_chord_that_is_held_is_written_anew_where_its_key_is() -> None:
    """Gb major that turns to F# major has an F# from there on, though it sounds alike."""
    keys = [Key.named("Gb"), Key.named("Gb"), Key.named("F#")]
    chords = written([(parse_symbol("Gb"), key) for key in keys])

    assert [symbol(chord, Key(0)) for chord in chords] == ["Gb", "Gb", "F#"]
