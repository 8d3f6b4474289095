"""Pitch, harmony and metre: the tables, both ways, in all keys."""

from __future__ import annotations

from fractions import Fraction

import pytest

from engine.theory.harmony import (
    C_MAJOR,
    KEYS,
    QUALITIES,
    QUALITY_BY_HARTE,
    QUALITY_BY_SUFFIX,
    Chord,
    Key,
    degree_fifths,
    degree_semitones,
)
from engine.theory.meter import Metre, Moment
from engine.theory.modes import MODES, scale_for
from engine.theory.pitch import (
    fifths_of_name,
    name_of_fifths,
    nearest,
    note_name,
    note_of_name,
    pitch_class_of_fifths,
    pitch_class_of_name,
    spell_near,
)
from engine.theory.symbols import parse_symbol

# Pitch --------------------------------------------------------------------------------------


def test_names_lie_on_the_line_of_fifths() -> None:
    """Every name from Fbb to B## has its place, and every place its name."""
    for fifths in range(-15, 20):
        assert fifths_of_name(name_of_fifths(fifths)) == fifths


@pytest.mark.parametrize(
    ("names", "pitch_class"),
    [("C B# Dbb", 0), ("C# Db", 1), ("E Fb", 4), ("F E#", 5), ("F# Gb", 6), ("B Cb", 11)],
)
def test_enharmonic_names_sound_alike(names: str, pitch_class: int) -> None:
    """B sharp is C, C flat is B."""
    for name in names.split():
        assert pitch_class_of_name(name) == pitch_class


@pytest.mark.parametrize(
    ("tonic", "names"),
    [
        ("C", "C Db D Eb E F F# G Ab A Bb B"),
        ("F", "C Db D Eb E F Gb G Ab A Bb B"),
        ("B", "C C# D D# E E# F# G G# A A# B"),
        ("Eb", "C Db D Eb Fb F Gb G Ab A Bb Cb"),
        ("A", "C C# D D# E F F# G G# A Bb B"),
    ],
)
def test_a_key_spells_all_twelve(tonic: str, names: str) -> None:
    """B flat is written in F, A sharp in B: from the flat second to the raised fourth."""
    spelled = [spell_near(pc, fifths_of_name(tonic)) for pc in range(12)]
    assert spelled == names.split()


@pytest.mark.parametrize(
    ("key", "names"),
    [
        (Key(3), "C Db D Eb E F Gb G Ab A Bb B"),
        (Key(6), "C C# D D# E E# F# G G# A A# B"),
        (Key(3, minor=True), "C Db D Eb E F Gb G Ab A Bb Cb"),
        (Key(11), "C C# D D# E F F# G G# A A# B"),
    ],
)
def test_a_key_writes_what_is_not_its_own_so_that_it_can_be_read(key: Key, names: str) -> None:
    """F# major has an E#, E flat minor a Cb; E flat major has neither Fb nor Cb."""
    assert [key.tone_name(pc) for pc in range(12)] == names.split()


@pytest.mark.parametrize("name", ["", "H", "c", "C$", "#", "C4"])
def test_what_is_not_a_note_name_is_refused(name: str) -> None:
    """A name is a letter A to G with sharps or flats after it."""
    with pytest.raises(ValueError, match="is not a note name; give a letter A to G"):
        fifths_of_name(name)


@pytest.mark.parametrize(
    ("note", "tonic", "name"),
    [(60, "C", "C4"), (40, "C", "E2"), (28, "C", "E1"), (59, "Gb", "Cb4"), (60, "C#", "B#3")],
)
def test_notes_have_octaves(note: int, tonic: str, name: str) -> None:
    """60 is middle C; C flat 4 lies just below it, B sharp 3 is it."""
    assert note_name(note, fifths_of_name(tonic)) == name
    assert note_of_name(name) == note


@pytest.mark.parametrize("note", range(28, 68))
def test_no_other_note_of_a_name_is_nearer(note: int) -> None:
    """From E2 the nearest Bb is Bb1, six semitones below, and the nearest A is A2."""
    for pitch_class in range(12):
        found = nearest(pitch_class, note)
        others = (each for each in range(note - 12, note + 13) if each % 12 == pitch_class)

        assert found == min(others, key=lambda each: (abs(each - note), each))


@pytest.mark.parametrize("name", ["", "C", "4", "H4", "c4", "C44", "Cx4"])
def test_what_is_no_note_with_its_octave_is_refused(name: str) -> None:
    """A letter, its sharps or flats, and one figure for the octave."""
    with pytest.raises(ValueError, match="give one such as E1 or Bb2"):
        note_of_name(name)


# Harmony ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("degree", "semitones", "fifths"),
    [("1", 0, 0), ("b3", 3, -3), ("3", 4, 4), ("#4", 6, 6), ("b5", 6, -6), ("bb7", 9, -9),
     ("9", 14, 2), ("#9", 15, 9), ("#11", 18, 6), ("b13", 20, -4), ("13", 21, 3)],
)  # fmt: skip
def test_degrees_have_semitones_and_a_spelling(degree: str, semitones: int, fifths: int) -> None:
    """A sharp fourth and a flat fifth sound alike and are spelled apart."""
    assert degree_semitones(degree) == semitones
    assert degree_fifths(degree) == fifths
    assert pitch_class_of_fifths(fifths) == semitones % 12


@pytest.mark.parametrize("degree", ["", "0", "14", "x", "3b"])
def test_what_is_not_a_degree_is_refused(degree: str) -> None:
    """Degrees run from 1 to 13."""
    with pytest.raises(ValueError, match="is not a degree; give 1 to 13"):
        degree_semitones(degree)


def test_every_quality_has_one_name_of_each_kind() -> None:
    """No two qualities share a label, a suffix or all their tones."""
    assert len(QUALITY_BY_HARTE) == len(QUALITY_BY_SUFFIX) == len(QUALITIES)
    assert len({frozenset(q.intervals) for q in QUALITIES}) == len(QUALITIES)


def test_chord_tones_keep_their_degrees_in_every_key() -> None:
    """A chord moved to another root has the same degrees, named as its quality names them."""
    for quality in QUALITIES:
        for root in range(12):
            moved = Chord.of(0, quality).transposed(root)
            assert moved == Chord.of(root, quality)
            tones = [(root + i) % 12 for i in quality.intervals]
            assert [moved.degree_of(t) for t in tones] == list(quality.degrees)
            assert moved.pitch_classes == set(tones)


@pytest.mark.parametrize("bad", [(-1, 0), (12, 0), (0, 12)])
def test_a_chord_stands_on_pitch_classes(bad: tuple[int, int]) -> None:
    """Root and bass are 0 to 11."""
    with pytest.raises(ValueError, match="a pitch class is 0 to 11"):
        Chord.of(bad[0], QUALITIES[0], bad[1])


@pytest.mark.parametrize(
    ("key", "signature", "scale"),
    [
        (Key(0), 0, "C D E F G A B"),
        (Key(3), -3, "Eb F G Ab Bb C D"),
        (Key(9, minor=True), 0, "A B C D E F G"),
        (Key(1, minor=True), 4, "C# D# E F# G# A B"),
        (Key(6), 6, "F# G# A# B C# D# E#"),
    ],
)
def test_keys_have_signatures_and_scales(key: Key, signature: int, scale: str) -> None:
    """E flat major has three flats, C sharp minor four sharps."""
    assert key.signature == signature
    assert [spell_near(pc, key.tonic_fifths) for pc in key.scale] == scale.split()


@pytest.mark.parametrize(
    ("tonic", "minor", "name", "scale"),
    [
        ("Gb", False, "Gb major", "Gb Ab Bb Cb Db Eb F"),
        ("F#", False, "F# major", "F# G# A# B C# D# E#"),
        ("D#", True, "D# minor", "D# E# F# G# A# B C#"),
        ("Ab", True, "Ab minor", "Ab Bb Cb Db Eb Fb Gb"),
        ("C#", False, "C# major", "C# D# E# F# G# A# B#"),
        ("D#", False, "Eb major", "Eb F G Ab Bb C D"),
        ("Db", True, "C# minor", "C# D# E F# G# A B"),
    ],
)
def test_a_key_is_written_as_it_was_named(tonic: str, minor: bool, name: str, scale: str) -> None:
    """Gb major is no F# major, as far as there are signatures: what is D# major is Eb on paper."""
    key = Key.named(tonic, minor=minor)
    assert key.name == name
    assert [key.tone_name(pc) for pc in key.scale] == scale.split()


def test_a_key_is_the_same_however_it_is_written() -> None:
    """F# and Gb sound alike, and what is known of the one is known of the other."""
    assert Key.named("Gb") == Key.named("F#") == KEYS[6]
    assert len({Key.named("Gb"), Key.named("F#"), KEYS[6]}) == 1
    assert Chord.of(6) == Chord(6, Chord.of(6).quality, 6, written=-6)


def test_a_key_stands_on_a_pitch_class() -> None:
    """A tonic is 0 to 11."""
    with pytest.raises(ValueError, match="a pitch class is 0 to 11"):
        Key(12)


@pytest.mark.parametrize(
    ("symbol", "mode"),
    [
        ("C", "ionian"), ("Dm7", "dorian"), ("Em7", "phrygian"), ("Fmaj7", "lydian"),
        ("G7", "mixolydian"), ("Am7", "aeolian"), ("Bm7b5", "locrian"), ("E7", "phrygian dominant"),
        ("E7b9", "phrygian dominant"), ("D7", "mixolydian"), ("F#dim7", "whole-half diminished"),
        ("C+", "lydian augmented"), ("G7sus4", "mixolydian"), ("Bb7#11", "lydian dominant"),
        ("G7#5", "mixolydian b6"), ("Am(maj7)", "harmonic minor"), ("Bb", "lydian"),
        ("G5", "mixolydian"), ("Db7#11", "lydian dominant"), ("G", "mixolydian"),
        ("D", "mixolydian"), ("E", "phrygian dominant"), ("F", "lydian"), ("Gmaj7", "ionian"),
        ("Db7", "lydian dominant"), ("Db9", "lydian dominant"), ("Db7b5", "lydian dominant"),
        ("Db", "lydian"), ("Db6", "lydian"), ("Dbmaj7", "lydian"),
        ("Db7b9", "half-whole diminished"), ("G+", "whole tone"), ("D+", "whole tone"),
        ("F+", "lydian augmented"),
    ],
)  # fmt: skip
def test_chords_ask_for_a_mode_in_their_key(symbol: str, mode: str) -> None:
    """Dorian on ii, lydian on IV, phrygian dominant on the minor's V: in C, then in every key."""
    chord = parse_symbol(symbol)
    for steps in range(12):
        assert scale_for(chord.transposed(steps), Key(steps)).name == mode


@pytest.mark.parametrize(
    ("symbol", "mode"),
    [
        ("Am", "aeolian"), ("Bb7", "lydian dominant"), ("Bb", "lydian"), ("E", "phrygian dominant"),
        ("E+", "whole tone"), ("C+", "lydian augmented"),
    ],
)  # fmt: skip
def test_chords_ask_for_a_mode_in_their_minor_key(symbol: str, mode: str) -> None:
    """The Neapolitan is lydian, and III+ the one augmented chord at home: in A minor, then all."""
    chord = parse_symbol(symbol)
    for steps in range(12):
        assert scale_for(chord.transposed(steps), Key((9 + steps) % 12, minor=True)).name == mode


def test_a_mode_holds_the_chord() -> None:
    """Wherever some mode of its family has all of a chord's tones, the mode chosen has them."""
    for quality in QUALITIES:
        for key in KEYS:
            mode = scale_for(Chord.of(0, quality), key)
            missing = set(quality.intervals) - set(mode.intervals)
            assert not missing or quality.harte in {"aug(b7,#9)", "dim7"}, (
                quality.harte,
                mode.name,
            )


def test_modes_have_seven_tones_or_say_otherwise() -> None:
    """Every mode starts on its root, rises, and names each tone once."""
    for mode in MODES:
        assert mode.intervals[0] == 0
        assert list(mode.intervals) == sorted(set(mode.intervals)), mode.name
        assert len(mode.degrees) == len(mode.intervals)


def test_c_major_is_where_reading_starts() -> None:
    """The key without accidentals is C major."""
    assert C_MAJOR.signature == 0


# Metre --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "unit", "bar", "pulses"),
    [
        (4, 4, "4", "0 1 2 3"),
        (3, 4, "3", "0 1 2"),
        (2, 2, "4", "0 2"),
        (6, 8, "3", "0 3/2"),
        (12, 8, "6", "0 3/2 3 9/2"),
        (7, 8, "7/2", "0 1 2"),
        (5, 8, "5/2", "0 1"),
        (3, 8, "3/2", "0"),
        (1, 8, "1/2", "0"),
    ],
)
def test_metres_are_felt_in_beats(count: int, unit: int, bar: str, pulses: str) -> None:
    """Eighths are felt in threes, quarters one by one."""
    metre = Metre(count, unit)
    assert metre.bar == Fraction(bar)
    assert metre.pulses == tuple(map(Fraction, pulses.split()))


@pytest.mark.parametrize(
    ("metre", "weights"),
    [((4, 4), "4 1 2 1 3 1 2 1"), ((3, 4), "4 1 2 1 2 1"), ((6, 8), "4 1 1 3 1 1")],
)
def test_places_in_the_bar_have_weights(metre: tuple[int, int], weights: str) -> None:
    """The bar line weighs most, then the half bar, the beats, the halves of beats."""
    measured = [Metre(*metre).weight(Fraction(i, 2)) for i in range(len(weights.split()))]
    assert measured == [int(w) for w in weights.split()]
    assert Metre(*metre).weight(Fraction(1, 3)) == 0


@pytest.mark.parametrize(
    ("metre", "beats", "places"),
    [
        ((4, 4), 1, [("0", "1"), ("5/2", "7/2"), ("15/4", "19/4")]),
        ((6, 8), 2, [("0", "3"), ("2", "5")]),
        ((7, 8), 1, [("0", "1"), ("1", "2"), ("2", "7/2"), ("11/4", "4"), ("-3/2", "0")]),
        ((5, 8), 3, [("0", "7/2"), ("1", "5")]),
    ],
)  # fmt: skip
def test_so_many_felt_beats_later_is_as_far_within_its_beat(
    metre: tuple[int, int], beats: int, places: list[tuple[str, str]]
) -> None:
    """Half of a beat of three eighths goes to half of a beat of two."""
    for place, later in places:
        assert Metre(*metre).later(float(Fraction(place)), beats) == float(Fraction(later))


@pytest.mark.parametrize(("count", "unit"), [(0, 4), (33, 4), (4, 3), (4, 64)])
def test_impossible_metres_are_refused(count: int, unit: int) -> None:
    """A time signature counts 1 to 32 of a note that is written."""
    with pytest.raises(ValueError, match="give one such as 4/4"):
        Metre(count, unit)


def test_a_time_signature_is_read_as_it_is_written() -> None:
    """Both ways, with or without room around the stroke; what is none is refused."""
    assert [str(Metre.of(written)) for written in ("4/4", "12 / 8")] == ["4/4", "12/8"]
    for wrong in ("", "4", "4/", "four/4", "4/4/4", "-3/4", "0/4"):
        with pytest.raises(ValueError, match="give one such as 4/4"):
            Metre.of(wrong)


def test_a_moment_knows_its_place_in_the_bar() -> None:
    """Position counts from the song's start, `in_bar` from the bar line."""
    moment = Moment(10.0, 9.5, Fraction(8), 3, Metre(), 0.5)
    assert moment.in_bar == 1.5
