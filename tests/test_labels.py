"""Chords on paper: labels and symbols written and read back."""

from __future__ import annotations

from itertools import product

import pytest
from mir_eval.chord import encode, validate_chord_label

from engine.theory.harmony import KEYS, QUALITIES, QUALITY_BY_HARTE, Chord, Key
from engine.theory.labels import harte, harte_key, parse_harte
from engine.theory.pitch import pitch_class_of_name
from engine.theory.symbols import parse_symbol, symbol

B_FLAT_MAJOR = Key(10)
B_MAJOR = Key(11)

ALL_CHORDS = [
    Chord.of(root, quality, bass) for quality in QUALITIES for root in (0, 6) for bass in range(12)
]


def chord(root: str, quality: str, bass: str | None = None) -> Chord:
    """A chord from names."""
    over = None if bass is None else pitch_class_of_name(bass)
    return Chord.of(pitch_class_of_name(root), QUALITY_BY_HARTE[quality], over)


def test_every_chord_survives_its_label_in_every_key() -> None:
    """A chord written as a label and read back is the same chord, bass included, in 24 keys."""
    for key in KEYS:
        for each in ALL_CHORDS:
            assert parse_harte(harte(each, key)) == each


def test_every_chord_survives_its_symbol_in_every_key() -> None:
    """A chord written as a symbol and read back is the same chord, bass included, in 24 keys."""
    for key in KEYS:
        for each in ALL_CHORDS:
            assert parse_symbol(symbol(each, key)) == each


def test_labels_say_to_others_what_the_chord_is() -> None:
    """mir_eval reads from each label the tones that the chord has, and its root."""
    for each in ALL_CHORDS:
        label = harte(each, B_MAJOR)
        validate_chord_label(label)
        root, tones, bass = encode(label, reduce_extended_chords=True)
        named = {(root + i) % 12 for i, there in enumerate(tones) if there}
        assert root == each.root
        assert named >= each.pitch_classes, label
        assert (root + bass) % 12 == each.bass


@pytest.mark.parametrize(
    ("written", "key", "label", "lead_sheet"),
    [
        (chord("Bb", "min7"), B_FLAT_MAJOR, "Bb:min7", "Bbm7"),
        (chord("Bb", "maj"), B_MAJOR, "A#:maj", "A#"),
        (chord("Eb", "maj", "G"), B_FLAT_MAJOR, "Eb:maj/3", "Eb/G"),
        (chord("D", "7", "F#"), B_FLAT_MAJOR, "D:7/3", "D7/F#"),
        (chord("G", "min7", "F"), B_FLAT_MAJOR, "G:min7/b7", "Gm7/F"),
        (chord("Db", "maj", "Cb"), Key(8), "Db:maj/b7", "Db/Cb"),
        (chord("A", "hdim7"), B_FLAT_MAJOR, "A:hdim7", "Am7b5"),
        (chord("F", "7(b9,b13)"), B_FLAT_MAJOR, "F:7(b9,b13)", "F7b9b13"),
        (chord("E", "dim7"), Key(3), "E:dim7", "Edim7"),
        (chord("B", "dim7"), B_FLAT_MAJOR, "B:dim7", "Bdim7"),
        (chord("Fb", "7"), Key(8), "E:7", "E7"),
        (chord("G", "dim7"), Key(4, minor=True), "G:dim7", "Gdim7"),
        (chord("D#", "dim7"), Key(4, minor=True), "D#:dim7", "D#dim7"),
        (chord("Gb", "min7"), Key(8), "F#:min7", "F#m7"),
        (chord("Gb", "min6"), Key(1), "Gb:min6", "Gbm6"),
        (chord("Db", "min7"), Key(3), "C#:min7", "C#m7"),
        (chord("D#", "7"), Key(9), "Eb:7", "Eb7"),
        (chord("D#", "7"), Key(4), "D#:7", "D#7"),
        (chord("E#", "min7"), B_MAJOR, "F:min7", "Fm7"),
        (None, B_FLAT_MAJOR, "N", "N.C."),
    ],
)
def test_chords_are_spelled_in_the_key(
    written: Chord | None, key: Key, label: str, lead_sheet: str
) -> None:
    """Roots are spelled in the key, a slash bass as a degree of its chord.

    Outside the key a root is written so that it can be read: no Fb7, and no Gbm with its Bbb.
    """
    assert harte(written, key) == label
    assert symbol(written, key) == lead_sheet


def test_keys_have_labels() -> None:
    """A key is named by its usual tonic: E flat major, C sharp minor."""
    assert harte_key(Key(3)) == "Eb:maj"
    assert harte_key(Key(1, minor=True)) == "C#:min"


@pytest.mark.parametrize(
    ("hands", "quality"),
    [
        ("C Cmaj CM Cma CMaj C-5 Cno5", "maj"),
        ("Cm C- Cmin Cmi C\u2212 CMI CMIN CMi", "min"),
        ("Cmaj7 CM7 C7M C7maj CΔ CΔ7 C△ Cma7 Cj7 CMaj7 C^7 C(maj7) CMA7 CMAJ7", "maj7"),
        ("Cm7 C-7 Cmin7 Cmi7 CMI7 CMIN7 CMi7", "min7"),
        ("Cdim C° Co Cm-5 C-(b5) CDIM", "dim"),
        ("Cdim7 C°7 Co7 CDIM7", "dim7"),
        ("Cø Cø7 Cm7b5 C-7b5 Cm7-5 Cmin7(b5) CØ Cm7♭5 C\u2205 C\u22057 CMI7b5", "hdim7"),
        ("C+ Caug C+5 C(#5) CAUG", "aug"),
        ("C7#5 C+7 Caug7 C7+ C7+5 C7(#5)", "aug(b7)"),
        ("C7 Cdom7", "7"),
        ("C7b9 C7-9 C7(b9) C7♭9", "7(b9)"),
        ("C7#9 C7+9 C7(#9)", "7(#9)"),
        ("C7alt Calt CALT", "aug(b7,#9)"),
        ("Csus Csus4 C4 CSUS4", "sus4"),
        ("Csus2", "sus2"),
        ("C7sus C7sus4 C7(sus4)", "sus4(b7)"),
        ("C9sus C9sus4 C13sus4", "sus4(b7,9)"),
        ("Cadd9 Cadd2 C2 C(add9) CADD9", "maj(9)"),
        ("Cm(add9) Cmadd9", "min(9)"),
        ("C6 Cmaj6", "maj6"),
        ("Cm6 C-6", "min6"),
        ("C6/9 C69 C6(9) C6add9", "maj6(9)"),
        ("Cm(maj7) CmM7 Cm7M C-Δ7 Cm/maj7 Cmmaj7 Cmin(maj7) CMI(MA7)", "minmaj7"),
        ("Cm+7 Cm(+7) C-(#7) Cm#7", "minmaj7"),
        ("C9 C13 C11", None),
        ("Cm9 C-9 Cmin9", "min9"),
        ("Cmaj9 CM9 C9M CΔ9 Cmaj13", "maj9"),
        ("Cm11 C-11", "min11"),
        ("C5 Cno3 C(omit3)", "5"),
        ("C7b5 C7-5", "(1,3,b5,b7)"),
        ("C7b9b13 C7(b9,b13) C7b9b6", "7(b9,b13)"),
        ("C7b13 C7b6", "7(b13)"),
    ],
)
def test_symbols_are_read_in_any_usual_hand(hands: str, quality: str | None) -> None:
    """The same chord is read from every way in which musicians write it."""
    for hand in hands.split():
        wanted = QUALITY_BY_HARTE[hand[1:] if quality is None else quality]
        assert parse_symbol(hand) == Chord.of(0, wanted), hand


ALTERED = [
    ("13b9", "7b9"),
    ("13(b9)", "7b9"),
    ("7(b9,13)", "7b9"),
    ("11b9", "7b9"),
    ("13#9", "7#9"),
    ("7(b9,#11)", "7b9"),
    ("7#11b9", "7b9"),
    ("7b9#11b13", "7b9b13"),
    ("7#9b13", "7#9"),
    ("13#11", "7#11"),
    ("9b13", "7b13"),
    ("7#5b9", "7#5"),
    ("+7b9", "7#5"),
    ("9#5", "7#5"),
    ("7b5b9", "7b5"),
    ("7b5#9", "7b5"),
    ("13b5", "7b5"),
    ("maj7#5", "aug"),
    ("+maj7", "aug"),
    ("Δ#5", "aug"),
    ("dim(maj7)", "dim"),
    ("m9b5", "m7b5"),
    ("mb6", "m"),
    ("m(b6)", "m"),
    ("7susb9", "7sus4"),
    ("13susb9", "7sus4"),
    ("7no3", "5"),
    ("9no3", "5"),
    ("sus4add9", "sus4"),
    ("add9sus4", "sus4"),
    ("7sus2", "9sus4"),
]


@pytest.mark.parametrize(("written", "served"), ALTERED)
def test_a_chord_outside_the_table_is_served_by_one_that_is_true_to_it(
    written: str, served: str
) -> None:
    """Root and third first, then fifth and seventh, then what is altered; a colour may be lost.

    Who writes 13b9 hears no natural ninth from the bass, who writes maj7#5 no perfect fifth, and
    who leaves the third out gets none.
    """
    for root in ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]:
        assert parse_symbol(f"{root}({written})") == parse_symbol(root + served), root
        assert parse_symbol(root + written) == parse_symbol(root + served), root


NATURALS = {"b5": 7, "#5": 7, "b9": 2, "#9": 2, "#11": 5, "b13": 9}


@pytest.mark.parametrize(
    "kind",
    ["7", "9", "11", "13", "7b5", "9b5", "13b5", "7#5", "9#5", "13#5", "maj7#5",
     "m7", "m9", "m11", "m13", "m7b5", "m9b5"],
)  # fmt: skip
def test_an_altered_tone_is_never_answered_by_its_natural(kind: str) -> None:
    """Neither ninth nor eleventh, thirteenth or fifth comes as it is where it was altered.

    It may be lost, for the table has not all chords.
    """
    for above in product(("", "b9", "#9"), ("", "#11"), ("", "b13")):
        served = parse_symbol(f"Eb{kind}({''.join(above)})").quality
        altered = [each for each in (*above, kind[-2:]) if each in NATURALS]

        assert not {NATURALS[each] for each in altered} & set(served.intervals), above


def test_a_flat_in_brackets_belongs_to_the_chord_and_not_to_its_root() -> None:
    """B(b9) is a chord on B; Bb9 is a ninth chord on B flat."""
    assert parse_symbol("B7(b9)").root == 11
    assert parse_symbol("Bb9") == chord("Bb", "9")


@pytest.mark.parametrize(
    ("label", "nearest"),
    [
        ("C:maj/9", chord("C", "maj", "D")),
        ("C:1", chord("C", "5")),
        ("C", chord("C", "maj")),
        ("C:min(11)", chord("C", "min")),
        ("C:maj/11", chord("C", "maj", "F")),
        ("C:maj13", chord("C", "maj9")),
        ("C:sus2(b7)", chord("C", "sus4(b7,9)")),
        ("C:1(b3,b7)/b7", chord("C", "min7", "Bb")),
        ("C:maj6(b7)", chord("C", "13")),
        ("C:7(*5)", chord("C", "7")),
        ("C:min/b1", chord("C", "min", "B")),
        ("N", None),
        ("X", None),
    ],
)
def test_labels_outside_the_table_give_the_nearest_chord(label: str, nearest: Chord | None) -> None:
    """A label with unusual tones is heard as the chord that a bass player would serve it with."""
    assert parse_harte(label) == nearest


@pytest.mark.parametrize("text", ["", "H:maj", "C:foo", "C:maj(x)", "C:maj/14", "C:maj/", "c:min"])
def test_nonsense_is_no_label(text: str) -> None:
    """What is not a label is refused with the text and an example of what would do."""
    with pytest.raises(ValueError, match="is not a chord label; write one such as"):
        parse_harte(text)


@pytest.mark.parametrize("text", ["", "H7", "Cfoo", "C/H", "am7", "C7b10"])
def test_nonsense_is_no_symbol(text: str) -> None:
    """What is not a symbol is refused with the text and an example of what would do."""
    with pytest.raises(ValueError, match=r"is not a chord symbol.*write one such as"):
        parse_symbol(text)
