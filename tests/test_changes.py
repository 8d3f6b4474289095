"""Changes: which chords a bar is told to stand on, and over which of them each note."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import pytest

from engine.line.leads import role_on_the_way
from engine.line.pools import role_of
from engine.line.reasons import reason_for
from engine.score import BassNote
from engine.teaching.bars import Bar, Taken, bars_of, why
from engine.teaching.lessons import lessons
from engine.teaching.remarks import Spot
from engine.teaching.ways import leads_of
from engine.theory.harmony import Chord, Key
from engine.theory.meter import FOUR_FOUR
from engine.theory.pitch import nearest, pitch_class_of_name
from engine.theory.symbols import parse_symbol
from ports.lessons import page
from ports.played import Played
from tests.test_teaching import bass, part, said

A_FLAT = Key(8)


def told(text: str, semitones: int = 0) -> tuple[Bar, ...]:
    """Bars between bar lines, each what was heard and after a slash what was played.

    `Ab:1 Eb7:3 // Ab1@1!Ab!4 Eb2@3!Eb7`: Ab is heard on 1 and Eb7 on 3; A flat is played on 1 for
    Ab and held for four quarter notes, E flat on 3 for Eb7, as it would be just after 3 on `3+`.
    All of it moved by semitones.
    """
    key = Key((A_FLAT.tonic + semitones) % 12)
    return bars_of(
        Taken(
            number + 1,
            number * FOUR_FOUR.bar,
            FOUR_FOUR,
            key,
            tuple(_heard(one.partition("//")[0], semitones)),
            tuple(_played(one.partition("//")[2], number * FOUR_FOUR.bar, semitones)),
        )
        for number, one in enumerate(text.split("|"))
    )


def _heard(text: str, semitones: int) -> Iterator[tuple[Fraction, Chord | None]]:
    for word in text.split():
        symbol, _, place = word.rpartition(":")
        yield Fraction(place) - 1, parse_symbol(symbol).transposed(semitones)


def _played(text: str, start: Fraction, semitones: int) -> Iterator[BassNote]:
    for word in text.split():
        name, symbol, *length = word.split("!")
        late = Fraction(1, 24) if "+" in name else Fraction(0)
        chord, note = parse_symbol(symbol), bass(name.replace("+", ""), parse_symbol(symbol), start)
        if note.aims_at is None:
            role = role_of(chord.degree_of(note.note % 12), chord, note.note % 12)
        else:
            role = role_on_the_way(note.note, nearest(note.aims_at, note.note), chord, A_FLAT)
        aims_at = None if note.aims_at is None else (note.aims_at + semitones) % 12
        moved = chord.transposed(semitones)
        key = Key((A_FLAT.tonic + semitones) % 12)
        yield replace(
            note,
            beat=note.beat + late,
            note=note.note + semitones,
            length=Fraction(*length) if length else note.length,
            role=role,
            chord=moved,
            aims_at=aims_at,
            reason=reason_for(role, note.note + semitones, moved, key, aims_at),
        )


# The chords of a bar ------------------------------------------------------------------------

CHANGES = [
    # F7 was heard on 1, but the note had been written for Fm7
    ("C7:1 // C2@1!C7 | F7:1 Bb7:3 // F1@1!Fm7!2 Bb1@3!Bb7", "F7 Bb7:2"),
    # the last note was written for the chord before
    ("Bbm7:1 // Bb1@1!Bbm7 | Bbm7b5:1 Eb7:3 // Bb1@1!Bbm7b5 Bb1@3!Bbm7b5!2", "Bbm7b5 Eb7:2"),
    # nobody went back to Ab on 2&, the bass only played for it
    ("Ab:1 // Ab1@1!Ab | Adim7:2 Bbm7:3 // Eb2@2&!Ab Bb1@3!Bbm7", "Ab Adim7:1 Bbm7:2"),
    # what is heard for less than a beat is a doubt, unless the bass plays for it
    ("Ab:1 // Ab1@1!Ab | Fm:2.5 Ab:3 // Ab1@1!Ab Eb2@4!Ab", "Ab"),
    ("Ab:1 // Ab1@1!Ab | Db:2.5 Ab:3 // Ab1@1!Ab Db2@2&!Db Eb2@4!Ab", "Ab Db:1.5 Ab:2"),
    # taken back at once: a suspension before all keys were down
    ("Ab:1 // Ab1@1!Ab | Ebsus4:1 Ab/Eb:1 // Eb2@1!Ebsus4", "Ab/Eb"),
    # its full name came later than the chord
    ("Gb:1 // Gb1@1!Gb | Fm:1 Fm7:1.5 // F1@1!Fm7 C2@3!Fm7", "Fm7"),
    # heard anew on the bar line, it has not the longer name of the bar before
    ("Ab6:1 // Ab1@1!Ab6 | Ab:1 // Ab1@1!Ab6", "Ab"),
    ("Ab6:1 // Ab1@1!Ab6 | // Ab1@1!Ab6", "Ab6"),
    # heard on 4&, it stands on the next 1, though the bass plays nothing until 3
    ("Ab:1 Db:4.5 // Ab1@1!Ab | // Db2@3!Db", "Db"),
]


@pytest.mark.parametrize(("text", "chords"), CHANGES)
def test_a_bar_stands_on_the_chords_that_were_played(text: str, chords: str) -> None:
    """The ear has the last word, in all keys, whatever the bass had expected."""
    expected = [each.partition(":") for each in chords.split()]
    for semitones in range(-2, 10):
        bar = told(text, semitones)[-1]

        assert [(place, chord.root, chord.bass, chord.quality) for place, chord in bar.chords] == [
            (Fraction(place or 0), moved.root, moved.bass, moved.quality)
            for symbol, _, place in expected
            for moved in [parse_symbol(symbol).transposed(semitones)]
        ]


# Notes over the chords ----------------------------------------------------------------------

NOTES = [
    # written for a chord that did not come, and a tone of the one that came
    ("Db:1 // Db2@1!Db | Fm7:1 // Ab1@1!Ab", "Ab: the third of Fm7"),
    ("Ab:1 // Ab1@1!Ab | Gb7:1 // Db2@1!Db7", "Db: the fifth of Gb7"),
    ("Ab:1 // Ab1@1!Ab | Ab7:3 // Eb2@3!Ab", "Eb: the fifth of Ab7"),
    ("Ab:1 // Ab1@1!Ab | Ab/C:1 // C2@1!Ab", "C: the bass that Ab/C asks for"),
    ("Ab/C:1 // C2@1!Ab/C | Ab:1 // C2@1!Ab/C", "C: the third of Ab"),
    # the same chord by another name, unless that has more than was heard
    ("Ab:1 // Ab1@1!Ab | Ab6:1 // Ab1@1!Ab", "Ab: the root of Ab"),
    ("Ab:1 // Ab1@1!Ab | Ab6:1 // Eb2@1!Abmaj7", "Eb: the fifth of Ab6"),
    ("Ab:1 // Ab1@1!Ab | Ab6:1 // G1@1!Abmaj7", "G: the seventh of Abmaj7"),
    # no tone of it
    ("Db:1 // Db2@1!Db | Db:1 Dbm6:3 // F1@3!Db", "F: the third of Db, which was expected to stay"),
    ("Db:1 // Db2@1!Db | Ab:1 // Bb1@1!Bbm7", "Bb: the root of Bbm7, which was expected"),
    # between two tones it passes over either chord
    ("Db:1 // Db2@1!Db | Fm7:1 // Bb1@2!Ab", "Bb: a scale step over Fm7"),
    # early, on the eighth or held into the chord
    ("Ab:1 // Ab1@1!Ab | Eb7:3 // Eb2@2&!Eb7", "Eb: the root of Eb7"),
    ("Ab:1 // Ab1@1!Ab | Eb7:3 // Eb2@2&!Eb!3/2", "Eb: the root of Eb7"),
    ("Ab:1 // Ab1@1!Ab | Cm7b5:3 // Eb2@2&!Eb!3/2", "Eb: the third of Cm7b5"),
    # not early, for a chord came with it
    ("Ab:1 // Ab1@1!Ab | Ab/C:1 F7:2 // C2@1!Bb9!3/2", "C: the bass that Ab/C asks for"),
    ("Ab:1 // Db2@4&!Dbm!2 | Dbmaj7:1 //", "Db: the root of Dbmaj7"),
    ("Ab:1 // Db2@4&!Db!2 | Ab:1 //", "Db: the root of Db, which was expected"),
]


@pytest.mark.parametrize(("text", "reason"), NOTES)
def test_a_note_is_told_over_the_chord_that_was_heard(text: str, reason: str) -> None:
    """A flat played for Ab is the third where Fm7 comes, and the page never says otherwise."""
    (note,) = [bar for bar in told(text) if bar.notes][-1].notes

    assert note.reason == reason
    for semitones in range(-2, 10):
        (moved,) = [bar for bar in told(text, semitones) if bar.notes][-1].notes

        assert moved.chord.transposed(-semitones).quality == note.chord.quality
        assert ((moved.chord.root - semitones) % 12, moved.role) == (note.chord.root, note.role)
        assert why(moved).endswith(("expected", "stay")) == why(note).endswith(("expected", "stay"))


@pytest.mark.parametrize(
    "text",
    [
        # written by two names, before the sixth was heard and after that
        "Abm:1 // Ab1@1!Abm | Abm6:1 // Ab1@1!Abm Eb2@3!Abm6",
        "Eb7:1 // Eb2@1!Eb7 | Abm7:1 // Ab1@1!Abm Eb2@3!Abm6 Gb2@4!Abm7",
        # or by one that nobody heard
        "Eb7:1 // Eb2@1!Eb7 | Ab6:1 // Ab1@1!Ab",
        "Eb7:1 // Eb2@1!Eb7 | Ab6:1 // C2@1!Ab C2@3>Db!Ab | Db:1 // Db2@1!Db",
    ],
)
def test_on_the_page_a_bar_calls_one_chord_by_one_name(text: str) -> None:
    """Who reads Abm6 above the bar reads of the root of Abm6, and nowhere of that of Abm."""
    for semitones in range(-2, 10):
        bars = told(text, semitones)
        chord = bars[1].symbol(bars[1].chords[0][1])
        reasons = re.findall(r"(?m)^  \d.* of (\S+)$", printed(bars, 2))

        assert set(reasons) == {chord}


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("Db:1 // Db2@1!Db | Eb7#5:1 // Eb2@1!Eb7 Bb1@3!Eb7", "the fifth of Eb7"),
        ("Db:1 // Db2@1!Db | Abmaj7:1 // Ab1@1!Ab F1@3!Ab6", "the sixth of Abmaj7"),
        ("Db:1 // Db2@1!Db | Ab6:1 // Ab1@1!Ab G1@3!Abmaj7", "the seventh of Ab6"),
    ],
)
def test_a_tone_that_was_heard_otherwise_keeps_the_chord_that_has_it(
    text: str, reason: str
) -> None:
    """B flat is the fifth of Eb7, and none of Eb7#5; Abmaj7 has no other sixth than F."""
    assert f"{reason}\n" in printed(told(text), 2)


def test_a_note_that_is_taken_back_at_once_keeps_the_chord_it_was_written_for() -> None:
    """A flat for Ab is a tone of Fm7 too, but the root takes its place: both are told."""
    (bar,) = told("Fm7:1 // Ab1@1!Ab F1@1+!Fm7")

    assert [note.reason for note in bar.notes] == [
        "Ab: the root of Ab, which was expected", "F: the root of Fm7",
    ]  # fmt: skip
    assert said([bar], 1)[0].startswith("Fm7 was heard where Ab was expected, and F takes the")


def test_a_goal_that_is_reached_a_little_late_mends_nothing() -> None:
    """Eb on 4 leads to Db, which is pushed by an eighth: Ab was not expected any longer."""
    bars = told("Ab:1 Db:4.5 // Ab1@1!Ab Eb2@4>Db!Ab Db2@4&+!Db | // Db2@1!Db")

    assert not any("was expected" in line for line in said(bars, 1))


def test_a_wrong_note_that_nothing_took_the_place_of_is_told() -> None:
    """C over Abm6 rubs; nobody reads of a third of Ab without a word on the chord that came."""
    bars = told("Ab:1 Abm6:3 // Ab1@1!Ab C2@3!Ab Ab1@4!Abm6")

    assert "Abm6 was heard where Ab was expected, and C on 3 is no tone of it" in said(bars, 1)[0]
    assert not any("Abm6 was heard" in line for line in said(told("Ab:1 // Ab1@1!Ab C2@3!Ab"), 1))


@pytest.mark.parametrize(
    ("text", "chord", "role"),
    [
        ("Ab:1 Abm6:3 // Ab1@1!Ab C2@4>Db!Ab | Db:1 // Db2@1!Db", "Abm6", "approach from below"),
        ("Ab:1 Fm7:3 // Ab1@1!Ab F1@4>Bb!Ab | Bbm7:1 // Bb1@1!Bbm7", "Fm7", "root"),
        ("Ab:1 Bb7:4.5 // Ab1@1!Ab A1@4&>Bb!Ab | Bb7:1 // Bb1@1!Bb7", "Ab", "approach from below"),
    ],
)
def test_a_lead_sets_out_from_the_chord_that_was_heard(text: str, chord: str, role: str) -> None:
    """What it is to the chord it leaves is told of the one that sounded, not of one that was over.

    Unless the chord that it leads to came early too.
    """
    last = told(text)[0].notes[-1]

    assert (last.chord.quality, last.chord.root) == (
        parse_symbol(chord).quality, parse_symbol(chord).root,
    )  # fmt: skip
    assert last.role.value == role


@pytest.mark.parametrize(
    ("text", "met", "arrival"),
    [
        # Eb7 did not come, though the bass played its root
        ("Bbm7:1 // Bb1@1!Bbm7 D2@3>Eb!Bbm7 Eb2@4!Eb7 | Bbm7:1 // Bb1@1!Bbm7", False, "Bbm7"),
        # its root was struck, and taken back at once
        ("Ab:1 // Ab1@1!Ab C2@4>Db!Ab | Fm7:1 // Db2@1!Db F1@1+!Fm7", False, "Fm7"),
        # it is a tone of the chord that came
        ("Ab:1 // Ab1@1!Ab Ab1@4>Db!Ab | Bbm7:1 // Db2@1!Db", True, "Bbm7"),
        ("Ab:1 // Ab1@1!Ab C2@4>Db!Ab | Db:1 // Db2@1!Db", True, "Db"),
    ],
)
def test_a_way_in_is_met_by_the_chord_that_came(text: str, met: bool, arrival: str) -> None:
    """A root that was played for an expected chord does not make it come."""
    (lead,) = leads_of(Spot(told(text), 0))

    assert lead.met == met
    assert lead.arrival is not None
    assert (lead.arrival.chord.root, lead.arrival.chord.family) == (
        parse_symbol(arrival).root, parse_symbol(arrival).family,
    )  # fmt: skip


def test_a_lead_over_another_chord_than_expected_names_its_goal_as_the_page_does() -> None:
    """F, played for Ab where C#m7 was heard, leads to the F# of F#7, which is Gb in the key."""
    bars = told("C#m7:1 // C#2@1!C#m7 F1@4>F#!Ab | F#7:1 // F#1@1!F#7 | Bmaj7:1 // B1@1!Bmaj7")
    lead = bars[0].notes[-1]

    assert bars[0].symbol(lead.chord) == "C#m7"
    assert why(lead) == "a semitone below F#, the bass note to come"


@pytest.mark.parametrize(
    ("text", "goal"),
    [
        # its chord comes later than it was expected
        ("Ab:1 // Ab1@1!Ab F1@4>F#!Ab | Fm:1 F#7:3 // C2@1!Fm F#1@3!F#7 | Bmaj7:1 //", "F#"),
        # another chord comes, of which it is the third
        ("Ab:1 // Ab1@1!Ab F1@4>F#!Ab | D7:1 // F#1@1!D7 | Gm:1 // G1@1!Gm", "F#"),
        # given up for another before it could be reached
        ("Ab:1 // Ab1@1!Ab F1@3>F#!Ab D2@4>Eb!Ab | Eb7:1 F#7:3 // Eb2@1!Eb7 | Bmaj7:1 //", "F#"),
        # and that other one, which no chord near by has for its bass
        ("Ab:1 // Ab1@1!Ab C2@4>Db!Ab | Ab:1 // F1@1>F#!Ab | D7:1 // F#1@1!D7 | Gm:1 //", "Db"),
        # no chord has it
        ("Ab:1 // Ab1@1!Ab F1@4>F#!Ab | Ab:1 // Eb2@1!Ab", "Gb"),
    ],
)
def test_a_goal_has_one_name_on_the_page(text: str, goal: str) -> None:
    """The note, the way in and the lesson lead to one F#, and none of them to a Gb."""
    assert leads_of(Spot(told(text), 0))[0].goal == goal
    for semitones in range(-2, 10):
        bars = told(text, semitones)
        names = names_in(" ".join([printed(bars, 1), *said(bars, 1)]))
        for lead in leads_of(Spot(bars, 0)):
            assert all(f"{lead.goal}, the bass note to come" in note.reason for note in lead.notes)
            for each in filter(None, (lead.goal, lead.onward)):
                assert {n for n in names if _sounds(n, each)} == {each}


def printed(bars: tuple[Bar, ...], number: int) -> str:
    """What the page has of one bar."""
    text = "\n".join(page(Played("walking", 7, 1, (28, 33, 38, 43), 4, bars)))
    return re.split(r"^Bar (?=\d)", text, flags=re.MULTILINE)[number]


def names_in(text: str) -> set[str]:
    """The notes and roots that a text names; strings have names of their own."""
    return set(re.findall(r"(?<![\w#])([A-G][b#]*)(?! string| -)", text))


def _sounds(name: str, other: str) -> bool:
    return pitch_class_of_name(name) == pitch_class_of_name(other)


def test_a_goal_is_called_what_it_is_to_the_chord_that_came() -> None:
    """D flat was to be a root, and is the third of Bbm7."""
    lines = said(told("Ab:1 // Ab1@1!Ab Ab1@4>Db!Ab | Bbm7:1 // Db2@1!Db"), 1)

    assert any("as the fifth above Db, the minor third of Bbm7" in line for line in lines)
    assert not any("root of Bbm7" in line for line in lines)


@pytest.mark.parametrize(
    ("then", "words"),
    [("Dm7", "Dm7 stays"), ("D7", "Dm becomes D7"), ("G/D", "Dm becomes G/D")],
)
def test_a_line_that_comes_home_to_another_chord_on_the_same_bass_says_so(
    then: str, words: str
) -> None:
    """D minor that turns major does not stay."""
    assert any(
        f"C# leads back to D while {words}" in line
        for line in said(part(f"Dm: D2@1 C#2@4>D | {then}: D2@1"), 1)
    )


def test_a_key_that_is_written_otherwise_is_told() -> None:
    """Gb major that turns to F# is a new key to whoever reads, and stands above its first bar."""
    bars = part("Gb: Gb1@1 | Gb: Gb1@1 | F#: F#1@1 | F#: F#1@1")
    keys = ("Gb", "Gb", "F#", "F#")
    told = [replace(bar, key=Key.named(key)) for bar, key in zip(bars, keys, strict=True)]
    heads = [printed(tuple(told), number).partition("\n")[0] for number in range(1, 5)]

    assert heads == ["1 (4/4, Gb major): Gb", "2: Gb", "3 (F# major): F#", "4: F#"]


def test_a_line_through_two_keys_is_written_in_the_one_it_comes_to_whatever_its_chords() -> None:
    """Ebm7 and C#m7 of D flat lead down to B by D# and C#, though they are written so."""
    bars = told("Ebm7:1 // Eb2@1!Ebm7 | C#m7:1 // C#2@1!C#m7 | B:1 // B1@1!B")
    last = replace(bars[2], key=Key(11))

    assert any("by step, D#, C# and B" in line for line in said((*bars[:2], last), 3))


def test_a_dominant_goes_to_the_tonic_of_the_key_that_its_chord_is_in() -> None:
    """Eb7 goes to A flat major, where G sharp minor is being left."""
    before, after = part("Eb7: Eb2@1 | Ab: Ab1@1")
    bars = replace(before, key=Key(8, minor=True)), replace(after, key=Key(8))

    assert any("dominant to tonic of Ab major" in line for line in said(bars, 1))


def test_a_line_is_written_as_the_key_that_it_comes_to() -> None:
    """Gb, Ab and A# would not be seen to climb by step."""
    bars = part("Gb: Gb1@1 | Abm: Ab1@1 | A#m: A#1@1")
    keys = ("Gb", "Gb", "F#")
    told = [replace(bar, key=Key.named(key)) for bar, key in zip(bars, keys, strict=True)]

    assert any("climb by step, F#, G# and A#" in line for line in said(told, 3))


# The end ------------------------------------------------------------------------------------

FIGURE = "Eb: Eb2@1 Bb1@2& Eb2@4 | Ab: Ab1@1 Eb2@2& Ab1@4 | Bb7: Bb1@1 F2@2& Bb1@4 |"


def test_the_last_bar_is_called_the_ending() -> None:
    """One root in the last bar thins out nothing: the song is over."""
    for last, word in (("Eb2@1", "on 1 with Eb, the root"), ("Eb2@1 Bb1@3", "on 3 with Bb, the f")):
        ends, goes_on = f"{FIGURE} Eb: {last}", f"{FIGURE} Eb: {last} | Ab: Ab1@1 Eb2@2& Ab1@4"

        assert lessons(part(ends))[3].teaching.startswith(f"The part ends {word}")
        assert "The part ends" not in lessons(part(goes_on))[3].teaching


def test_after_the_last_fill_no_bar_begins() -> None:
    """A fill that closes the part does not promise a bar that never comes."""
    fill = f"{FIGURE} Bb7: Bb1@1 D2@2 F2@2& D2@3 Bb1@4 D2@4&"
    ends, goes_on = (
        next(line for line in said(part(text), 4) if line.startswith("A fill"))
        for text in (fill, f"{fill} | Eb: Eb2@1")
    )

    assert ends.endswith("and it closes the part.")
    assert goes_on.endswith("closes four bars: after it a listener hears bar 5 as a beginning.")
