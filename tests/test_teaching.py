"""Teaching: a part over its chords, and what is said about each bar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from engine.line.hand import Hand
from engine.score import Articulation, BassNote, Role
from engine.style import Neck, Way
from engine.teaching.bars import (
    Bar,
    Taken,
    bars_of,
    counted,
    degree_name,
    listed,
    name_of,
    named_with_octave,
)
from engine.teaching.lessons import lessons, remarks
from engine.teaching.remarks import Spot, Topic
from engine.teaching.ways import leads_of, way_of
from engine.teaching.written import degree_of
from engine.theory.harmony import KEYS, Chord, Key
from engine.theory.meter import FOUR_FOUR, Metre
from engine.theory.pitch import NATURAL_PITCH_CLASS, pitch_class_of_name
from engine.theory.symbols import parse_symbol
from ports.lessons import page
from ports.played import Played

E_FLAT = Key(3)
HAND = Hand(Neck())
SHARES = {"": 0, "e": 0.25, "&": 0.5, "a": 0.75, "-trip": 1 / 3, "-let": 2 / 3}
EIGHTH = Fraction(1, 2)


def note_number(name: str) -> int:
    """Eb2 is 39, the open E1 is 28."""
    natural, altered = NATURAL_PITCH_CLASS[name[0]], name.count("#") - name[1:].count("b")
    return 12 * (int(name[-1]) + 1) + natural + altered


def bass(word: str, chord: Chord, start: Fraction = Fraction(0)) -> BassNote:
    """A note such as `Bb1@2&`, `D2@4&>Eb` that leads to Eb, `Eb2@4&=` that rings on, `x@2e`."""
    name, _, place = word.rstrip("=").partition("@")
    place, _, target = place.partition(">")
    ghost = name == "x"
    note = 40 if ghost else note_number(name)
    beat = start + int(place[0]) - 1 + Fraction(SHARES[place[1:]]).limit_denominator(48)
    ((string, fret), _), *_ = HAND.places(note)
    role = Role.ROOT if note % 12 == chord.root else Role.FIFTH
    return BassNote(
        beat, Fraction(2) if "=" in word else EIGHTH, note, 0.8, Role.GHOST if ghost else role,
        f"{name[:-1]}: so", string, fret, chord,
        pitch_class_of_name(target) if target else None,
    )  # fmt: skip


def part(text: str, key: Key = E_FLAT, metre: Metre = FOUR_FOUR) -> tuple[Bar, ...]:
    """Bars between bar lines, each its chord and its notes: `Eb: Eb2@1 Bb1@3 | Ab: Ab1@1`."""
    bars = []
    for index, one in enumerate(text.split("|")):
        symbol, _, words = one.strip().partition(":")
        chord, start = parse_symbol(symbol), index * metre.bar
        notes = [
            bass(
                word.split("!")[0],
                parse_symbol(word.split("!")[1]) if "!" in word else chord,
                start,
            )
            for word in words.split()
        ]
        bars.append(Bar(index + 1, start, metre, key, ((Fraction(0), chord),), tuple(notes)))
    return tuple(bars)


def said(bars: Sequence[Bar], number: int) -> list[str]:
    """Everything that can be said about a bar."""
    return [remark.told() for remark in remarks(Spot(bars, number - 1))]


# Words --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("place", "metre", "count"),
    [
        ("0", "4/4", "1"), ("3/4", "4/4", "1a"), ("3/2", "4/4", "2&"), ("13/4", "4/4", "4e"),
        ("4/3", "4/4", "2-trip"), ("5/3", "4/4", "2-let"), ("25/24", "4/4", "2+"),
        ("2", "3/4", "3"), ("0", "12/8", "1"), ("5/2", "12/8", "2-let"), ("1", "6/8", "1-let"),
        ("1/2", "7/8", "1&"), ("2", "7/8", "3"), ("3", "7/8", "3-let"),
    ],
)  # fmt: skip
def test_places_are_counted_as_players_count(place: str, metre: str, count: str) -> None:
    """Sixteenths are e & a, thirds of a beat trip and let, and 12/8 has four beats of three."""
    assert counted(Fraction(place), Metre(*map(int, metre.split("/")))) == count


@pytest.mark.parametrize(
    ("metre", "counts"),
    [
        ("6/8", "1 1e 1-trip 1-trip-e 1-let 1-let-e 2 2e 2-trip 2-trip-e 2-let 2-let-e"),
        ("5/8", "1 1e 1& 1a 2 2e 2-trip 2-trip-e 2-let 2-let-e"),
    ],
)
def test_sixteenths_are_counted_through_beats_of_three_eighths(metre: str, counts: str) -> None:
    """An e is a sixteenth after the beat or the eighth, and none of them is "a little later"."""
    bar = Metre.of(metre)
    sixteenths = [i * Fraction(1, 4) for i in range(int(bar.bar * 4))]

    assert " ".join(counted(place, bar) for place in sixteenths) == counts
    assert all(counted(place + Fraction(1, 16), bar).endswith("+") for place in sixteenths)


@pytest.mark.parametrize(
    ("symbol", "interval", "name"),
    [
        ("", 0, "root"), ("", 4, "major third"), ("", 7, "fifth"), ("m7", 3, "minor third"),
        ("7", 10, "flat seventh"), ("maj7", 11, "major seventh"), ("m7b5", 6, "flat fifth"),
        ("dim7", 9, "diminished seventh"), ("7#5", 8, "sharp fifth"), ("9", 2, "ninth"),
        ("7b9", 1, "flat ninth"), ("7#11", 6, "sharp eleventh"), ("m7", 9, "sixth"),
        ("", 2, "second"), ("6", 9, "sixth"), ("sus4", 5, "fourth"), ("m", 8, "flat sixth"),
    ],
)  # fmt: skip
def test_degrees_have_names(symbol: str, interval: int, name: str) -> None:
    """A degree is called by its chord, in every key alike."""
    for root in range(12):
        chord = Chord.of(root, parse_symbol(f"C{symbol}").quality)
        note = BassNote(Fraction(0), EIGHTH, 36 + root + interval, 0.8, Role.FIFTH, "", 1, 1, chord)
        assert degree_name(note) == name


@pytest.mark.parametrize("name", ["E1", "Eb2", "F#1", "Cb2", "B#1", "G2"])
def test_a_note_keeps_its_spelling(name: str) -> None:
    """Cb2 is called Cb2, although it sounds as B1."""
    spelled = BassNote(
        Fraction(0), EIGHTH, note_number(name), 0.8, Role.ROOT, f"{name[:-1]}: the root", 1, 1,
        parse_symbol("E"),
    )  # fmt: skip
    assert named_with_octave(spelled) == name


def test_a_list_ends_with_and() -> None:
    """One, two, three."""
    assert [listed(["F"]), listed(["F", "A"]), listed(["F", "A", "C"])] == [
        "F", "F and A", "F, A and C",
    ]  # fmt: skip


# Chords of a bar ----------------------------------------------------------------------------


def over(
    heard: Sequence[tuple[float, str]], notes: str, *, chord: str = "", before: str = ""
) -> list[tuple[float, str]]:
    """The chords of a bar, as place and symbol, from what was heard and played."""
    played = [
        bass(word.split("!")[0], parse_symbol(word.split("!")[1] if "!" in word else chord))
        for word in notes.split()
    ]
    first = ((Fraction(0), parse_symbol(before or "Eb")),)
    taken = [
        Taken(1, Fraction(-4), FOUR_FOUR, E_FLAT, first, ()),
        Taken(
            2, Fraction(0), FOUR_FOUR, E_FLAT,
            tuple((Fraction(place), parse_symbol(symbol)) for place, symbol in heard),
            tuple(played),
        ),
    ]  # fmt: skip
    bar = bars_of(taken if before else taken[1:])[-1]
    return [(float(place), bar.symbol(each)) for place, each in bar.chords]


def test_a_chord_stands_where_it_was_heard() -> None:
    """Where the first note on a chord comes late, the chord does not."""
    assert over([(0, "Fm7"), (2, "Bb7")], "F1@1!Fm7 Bb1@4!Bb7") == [(0, "Fm7"), (2, "Bb7")]


def test_a_chord_goes_on_over_the_bar_line() -> None:
    """What is not heard anew still stands."""
    assert over([], "F1@1!Fm7", before="Fm7") == [(0, "Fm7")]


def test_an_expectation_that_was_not_met_is_no_chord_of_the_bar() -> None:
    """The bass played a note for Ebm7, but nobody played Ebm7."""
    assert over([(0, "Eb")], "Eb2@1!Eb Eb2@3!Ebm7 Bb1@4!Eb") == [(0, "Eb")]


def test_the_longer_name_of_a_chord_is_kept() -> None:
    """A ninth that is heard for a moment belongs to the chord; its third gone, it is another."""
    assert over([(0, "C7b9"), (2, "C7")], "C2@1!C7b9 C2@3!C7") == [(0, "C7b9")]
    assert over([(0, "Cm7"), (2, "C7")], "C2@1!Cm7 C2@3!C7") == [(0, "Cm7"), (2, "C7")]


def test_another_bass_is_another_chord_when_it_is_heard() -> None:
    """Eb and Eb/G are two chords to a bass player, if the keyboard makes them two."""
    assert over([(0, "Eb"), (2, "Eb/G")], "Eb2@1!Eb G1@3!Eb/G") == [(0, "Eb"), (2, "Eb/G")]
    assert over([(0, "Eb/G")], "G1@1!Eb/G Eb2@3!Eb") == [(0, "Eb/G")]


def test_a_chord_that_the_bass_anticipates_stands_where_the_keyboard_has_it() -> None:
    """Bb7 is played on 2& and heard on 3; Fm7, played on 4, begins the next bar."""
    assert over([(0, "Fm7"), (2, "Bb7")], "F1@1!Fm7 Bb1@2&!Bb7") == [(0, "Fm7"), (2, "Bb7")]
    early = replace(bass("F1@4", parse_symbol("Fm7")), length=Fraction(5, 2))
    late = bass("Bb1@3", parse_symbol("Bb7"))
    bars = bars_of([
        Taken(1, Fraction(0), FOUR_FOUR, E_FLAT, ((Fraction(0), parse_symbol("Eb")),), (early,)),
        Taken(
            2, Fraction(4), FOUR_FOUR, E_FLAT,
            ((Fraction(0), parse_symbol("Fm7")), (Fraction(2), parse_symbol("Bb7"))),
            (replace(late, beat=late.beat + 4),),
        ),
    ])  # fmt: skip

    assert [bars[1].symbol(each) for _, each in bars[1].chords] == ["Fm7", "Bb7"]


def test_a_chord_that_is_pushed_has_the_name_that_it_has_on_the_beat() -> None:
    """Bb7 over E flat on 4& is the Ebmaj7 of the next bar, and E flat its root."""
    over_bass, old, coming = map(parse_symbol, ("Bb7/Eb", "Bb7", "Ebmaj7"))
    early = replace(bass("Eb2@4&", over_bass), role=Role.BASS, reason="Eb: the bass")
    there = (Fraction(0), over_bass), (Fraction(2), old), (Fraction(7, 2), over_bass)
    notes = bass("Eb2@1", over_bass), bass("Bb1@3", old), early
    before, _ = bars_of([
        Taken(1, Fraction(0), FOUR_FOUR, E_FLAT, there, notes),
        Taken(2, Fraction(4), FOUR_FOUR, E_FLAT, ((Fraction(0), coming),), ()),
    ])  # fmt: skip

    assert [before.symbol(each) for _, each in before.chords] == ["Bb7/Eb", "Bb7", "Ebmaj7"]
    assert before.notes[0].chord == over_bass
    assert (before.notes[2].role, before.notes[2].chord) == (Role.ROOT, coming)
    assert before.notes[2].reason == "Eb: the root of Ebmaj7"


def test_a_silent_bar_stands_on_what_is_heard() -> None:
    """Without a note of the bass the ear is all there is."""
    assert over([(0, "Ab"), (2, "Bb7")], "") == [(0, "Ab"), (2, "Bb7")]


def test_a_bar_is_spelled_in_its_own_key() -> None:
    """G# was written while E major was believed in; in Eb major the page says Ab."""
    note = replace(
        bass("G#1@1", parse_symbol("Fm7")), role=Role.THIRD, reason="G#: the third of E#m7"
    )
    (bar,) = bars_of([Taken(1, Fraction(0), FOUR_FOUR, E_FLAT, (), (note,))])

    assert bar.notes[0].reason == "Ab: the third of Fm7"


def test_a_goal_has_the_name_of_the_bass_that_comes() -> None:
    """In C the F before Gbmaj7 leads to a Gb, although the key alone would write F#."""
    two, five, one = map(parse_symbol, ("Abm7", "Db7", "Gbmaj7"))
    bar = Fraction(4)
    notes = (bass("G#1@1", two), bass("F2@3>F#", five)), (bass("F#2@1", one, bar),)
    heard = ((Fraction(0), two), (Fraction(2), five)), ((Fraction(0), one),)
    before, after = bars_of([
        Taken(1, Fraction(0), FOUR_FOUR, Key(0), heard[0], notes[0]),
        Taken(2, bar, FOUR_FOUR, Key(0), heard[1], notes[1]),
    ])  # fmt: skip

    assert before.notes[1].reason == "F: a semitone below Gb, the bass note to come"
    assert [before.symbol(chord) for _, chord in before.chords] == ["Abm7", "Db7"]
    assert [name_of(note) for note in (before.notes[0], *after.notes)] == ["Ab", "Gb"]


@pytest.mark.parametrize(
    ("key", "chord", "note", "aims_at", "name", "degree", "words"),
    [
        ("Bb", "Ebmaj7", "A", "Bb", "A", "#4", "sharp fourth"),
        ("D", "Gmaj7", "C#", "D", "C#", "#4", "sharp fourth"),
        ("F", "F6", "F#", "G", "F#", "#1", "raised root"),
        ("F", "C7", "B", "Bb", "B", "7", "major seventh"),
        ("Eb", "Cm7", "F#", "G", "F#", "#4", "sharp fourth"),
        ("Eb", "Cm7", "Gb", "F", "Gb", "b5", "flat fifth"),
        ("Ab", "Dbmaj7", "E", "F", "E", "#2", "sharp second"),
        ("G", "Em7", "G#", "A", "G#", "3", "major third"),
        ("Db", "Ab7", "C#", "D", "Db", "4", "fourth"),
        ("G", "D7", "Eb", "D", "Eb", "b2", "flat second"),
        ("C", "G7", "Gb", "F", "Gb", "b1", "lowered root"),
        ("E", "C#m7", "F", "F#", "F", "3", "major third"),
        ("F", "Bdim7", "Bb", "C", "Bb", "7", "major seventh"),
    ],
)
def test_a_degree_agrees_with_the_name_of_its_note(
    *, key: str, chord: str, note: str, aims_at: str, name: str, degree: str, words: str
) -> None:
    """C# over G is a sharp fourth; only Db would be a flat fifth."""
    goal = pitch_class_of_name(aims_at)
    lead = replace(bass(f"{note}2@4", parse_symbol(chord)), role=Role.APPROACH_BELOW, aims_at=goal)
    ((written,),) = (
        bar.notes
        for bar in bars_of(
            [Taken(1, Fraction(0), FOUR_FOUR, Key(pitch_class_of_name(key)), (), (lead,))]
        )
    )

    assert (name_of(written), degree_of(written), degree_name(written)) == (name, degree, words)


# Ways in ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("steps", "way"),
    [
        ([-1], Way.SEMITONE_BELOW), ([1], Way.SEMITONE_ABOVE), ([11], Way.SEMITONE_BELOW),
        ([-2], Way.SCALE_BELOW), ([2], Way.SCALE_ABOVE), ([-5], Way.FIFTH), ([7], Way.FIFTH),
        ([-2, -1], Way.TWO_SEMITONES_BELOW), ([2, 1], Way.TWO_SEMITONES_ABOVE),
        ([2, -1], Way.ENCLOSURE), ([1, -1], Way.ENCLOSURE), ([-2, 1], Way.ENCLOSURE),
        ([-5, -3, -1], Way.WALK_UP), ([5, 4, 2], Way.WALK_DOWN), ([-5, -1], Way.SEMITONE_BELOW),
        ([0], Way.REPEAT), ([12], Way.REPEAT), ([4], None),
    ],
)  # fmt: skip
def test_a_way_in_is_named_by_what_is_played(steps: list[int], way: Way | None) -> None:
    """Semitones from the root that is coming name the way, wherever that root lies."""
    for root in range(36, 48):
        chord = parse_symbol("Eb")
        run = [
            BassNote(Fraction(i), EIGHTH, root + s, 0.8, Role.ROOT, "", 1, 1, chord, root % 12)
            for i, s in enumerate(steps)
        ]
        assert way_of(run, root % 12) is way


def test_a_way_in_ends_where_the_next_note_is() -> None:
    """Two chords in a bar have two ways in, each with the note that it led to."""
    bars = part("Fm7: F1@1 A1@2>Bb Bb1@3!Bb7 D2@4>Eb | Eb: Eb2@1")
    first, second = leads_of(Spot(bars, 0))

    assert (first.way, first.met, second.way, second.met) == (
        Way.SEMITONE_BELOW, True, Way.SEMITONE_BELOW, True,
    )  # fmt: skip
    assert second.arrival == bars[1].notes[0]


WAYS = [
    ("Bb7: Bb1@1 D2@4>Eb | Eb: Eb2@1", "D on 4 is the major third of Bb7 and a semitone under Eb"),
    ("Fm7: F1@1 A1@4>Bb | Bb7: Bb1@1", "A on 4 belongs to neither Fm7 nor Bb7, but lies a semi"),
    ("Fm7: F1@1 A1@4>Bb | Bb7: Bb2@1", "a semitone under Bb, which lies an octave off"),
    ("Ab: Ab1@1 G1@4>F#  | F#7: F#1@1", "G on 4, in the scale of Ab, lies a semitone over F#"),
    ("Fm7: F1@1 B1@4>Bb | Bb7: Bb1@1", "B on 4, foreign to Fm7, lies a semitone over Bb"),
    ("Eb: Eb2@1 G1@4>F | Fm7: F1@1", "G on 4, in the scale of Eb, is a whole step over F"),
    ("Eb: Eb2@1 G1@3>Ab A1@4>Ab | Ab: Ab1@1", "G from below and A from above close in on Ab"),
    ("Eb: Eb2@1 F#1@3>Ab G1@4>Ab | Ab: Ab1@1", "F#, G and Ab, frets 2 and 3 and then the root"),
    ("Eb: Eb2@1 F1@2>Bb G1@3>Bb A1@4>Bb | Bb7: Bb1@1",
     "F, G and A climb to Bb by step, not all of Eb ionian"),
    ("Eb: Eb2@1 D2@2>Ab C2@3>Ab Bb1@4>Ab | Ab: Ab1@1",
     "D, C and Bb come down to Ab by step, all of Eb ionian, the scale of Eb"),
    ("C#m7: C#2@1 E2@2>Ab F#2@3>Ab G2@4>Ab | Ab: Ab2@1",
     "E, F# and G climb to Ab by step, not all of C# dorian"),
    ("Cm7: C2@1 C2@4>F | F7: F1@1", "C on 4 serves twice, as root of Cm7 and as the fifth above F"),
    ("Ab: Ab1@1 F2@4>Bb | Bb7: Bb1@1", "F on 4 is no tone of Ab, but the fifth above Bb"),
    ("Eb: Eb2@1 D2@4>Eb | Eb: Eb2@1", "D leads back to Eb while Eb stays"),
    ("Eb: Eb2@1 A1@4>Bb | Ab: Ab1@1", "A on 4 aims at Bb, but what comes is Ab"),
    ("Bb7: Bb1@1 G1@4>Ab | Bb7: F1@1", "G on 4 aims at Ab, but Bb7 stays, and the line goes on f"),
    ("Fm7: F1@1 A1@4>Bb | F7: F1@1", "A on 4 aims at Bb, but what comes is F7, and the line goes"),
    ("Fm7: F1@1 G1@3>Ab D2@4>Eb | Eb: Eb2@1", "G on 3 aims at Ab, but from D on the line leads to"),
    ("Db7: Db2@1 D2@4>Eb | Ebmaj7: Eb2@1",
     "D on 4 is no tone of Db7, but one of Ebmaj7, a semitone under Eb"),
    ("Ab: Ab1@1 A1@4>Bb | Bb7: Bb1@1", "A on 4 belongs to neither Ab nor Bb7, but lies a semito"),
    ("C#m7: C#2@1>F# D#2@2>F# E2@3>F# | F#7: F#2@1",
     "C#, D# and E climb to F# by step, all of C# dorian, the scale of C#m7"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "sentence"), WAYS)
def test_a_way_in_is_explained(text: str, sentence: str) -> None:
    """What a way in does is told with the notes that do it."""
    assert any(sentence in line for line in said(part(text), 1))


def test_a_line_that_turns_to_another_chord_has_missed_none() -> None:
    """Fm7 stays when the second lead sets out: nothing came that was not aimed at."""
    turned, stays, missed = (
        said(part(f"Fm7: F1@1 G1@3>Ab {rest}"), 1)
        for rest in ("D2@4>Eb | Eb: Eb2@1", "| Fm7: C2@1", "| Cm7: C2@1")
    )

    assert not any("what comes is" in line for line in (*turned, *stays))
    assert any("what comes is Cm7" in line for line in missed)


def test_an_early_root_is_a_push() -> None:
    """The next root on 4& and held over: nothing is struck on the next 1."""
    bars = part("Eb: Eb2@1 Ab1@4&=!Ab | Ab: Eb2@3")

    assert "Ab on 4& belongs to Ab already and is held across the bar line" in said(bars, 1)[0]
    assert not any("Nothing is struck on 1" in line for line in said(bars, 2))


def test_what_is_pushed_belongs_to_the_chord_that_came() -> None:
    """Played for Abm, as the song had it before: Abmaj7 came, of which Ab is the root as well."""
    for came, belongs in (("Abmaj7", "belongs to Abmaj7 already"), ("G7", None)):
        told = said(part(f"Eb: Eb2@1 Ab1@4&=!Abm | {came}: G1@3"), 1)

        assert [line.split(" and is")[0] for line in told if "across the bar line" in line] == (
            [f"Ab on 4& {belongs}"] if belongs else []
        )


def test_a_note_that_was_mended_is_told() -> None:
    """The bass had played for the chord it expected, and left the note when it heard another."""
    (bar,) = part("Eb: Bb1@1!Bb7 Eb2@1")
    expected, heard = bar.notes
    mended = replace(bar, notes=(expected, replace(heard, beat=Fraction(1, 24))))
    (first, *_) = said((mended,), 1)

    assert first.startswith("Eb was heard where Bb7 was expected, and Eb takes the place of Bb")


# Rhythm -------------------------------------------------------------------------------------

FIGURE = "Eb: Eb2@1 Bb1@2& Eb2@4 | Ab: Ab1@1 Eb2@2& Ab1@4 | Fm7: F1@1 C2@2& F1@4 |"
RHYTHMS = [
    ("Eb: Eb2@1 Bb1@2& Eb2@4", "Note for note bar 1"),
    ("Bb7: Bb1@1 F2@2& Bb1@4", "Bar 3 carried from Fm7 to Bb7, with the same degrees"),
    ("Bb7: Bb1@1 D2@2& F2@4", "The rhythm of bar 3 with other tones, on 2& with D, the major th"),
    ("Bb7: Bb1@1 F2@2& D2@3& Bb1@4", "This is the figure of bar 1 with something added on 3&"),
    ("Bb7: Bb1@1 Bb1@4", "This is the figure of bar 1 with nothing struck on 2&"),
    ("Bb7: Bb1@1 F2@2& Bb1@4&", "This is the figure of bar 1 with its note on 4 moved to 4&"),
    ("Bb7: Bb1@1 D2@2 F2@2& D2@3 Bb1@4 D2@4&", "A fill, 6 notes where the figure of bar 1 has 3"),
    ("Bb7: Bb1@1", "Of the 3 notes of the figure of bar 1 only 1 is left, on 1"),
    ("Bb7: Bb1@2 F2@2& Bb1@4", "Nothing is struck on 1, and the bass speaks on 2"),
    ("Bb7: Bb1@1 x@2e Bb1@4", "A ghost note on 2e"),
    ("Bb7: Bb1@1 D2@2 F2@3 D2@4", "A note on every beat, 4 in the bar, from Bb to D"),
    ("Bb7: Bb1@1& F2@2& Bb1@4", "Of 3 notes 2 fall between the beats (1& and 2&)"),
    ("Bb7:", "Nothing is struck under Bb7"),
    ("Bb7: Bb1@1", "More than half of the bar is silence after 1"),
    ("Bb7: Bb1@1 Bb1@4", "More than half of the bar is silence between 1 and 4"),
]  # fmt: skip


@pytest.mark.parametrize(("fourth", "sentence"), RHYTHMS)
def test_a_rhythm_is_held_against_the_figure(fourth: str, sentence: str) -> None:
    """Repeated, carried, thickened, thinned, displaced, filled: told against bar 1."""
    bars = part(f"{FIGURE} {fourth}")

    assert said(bars, 1)[0].startswith("This is the figure, notes on 1, 2& and 4, and")
    assert any(line.startswith(sentence) for line in said(bars, 4))


# Harmony ------------------------------------------------------------------------------------

HARMONY = [
    ("Eb: Eb2@1 Eb2@3", "Only Eb, twice, under Eb"),
    ("Eb: Eb2@1 Eb2@3 G1@4>Ab | Ab: Ab1@1", "Only Eb, twice, under Eb, before it leads on"),
    ("Eb: Eb2@1 Bb1@3", "Root and fifth of Eb, Eb and Bb"),
    ("Fm7: F1@1 Ab1@3", "Ab on 3 is the minor third of Fm7: with the third the bass"),
    ("Bb7: Bb1@1 Ab1@3", "Ab on 3 is the flat seventh of Bb7: the seventh is the tone that wants"),
    ("Fm7: F1@1 D2@3", "D on 3 is the sixth of Fm7: by its sixth the dorian"),
    ("Eb: Eb2@1 G2@2 Bb2@3", "Eb, G and Bb spell Eb up (root, major third, fifth)"),
    ("Fm7: F1@1 G1@2 Ab1@3", "G on 2 passes between F and Ab, no tone of Fm7 but one of F dorian"),
    ("Fm7: Ab2@1 Eb2@2 C2@3", "Ab, Eb and C go down through Fm7 without its root (minor third"),
    ("Fm7: F1@1 C2@2 Eb2@3", "F, C and Eb go up through Fm7 without its third (root"),
    ("Bb7sus4: Bb1@1 Eb2@2 F2@3", "Bb, Eb and F spell Bb7sus4 up (root"),
    ("Fm7: F1@1 Eb2@4", "Eb on 4 is the flat seventh of Fm7: on a weak place a seventh is colour"),
    ("Fm7: F1@1 Eb2@3", "Eb on 3 is the flat seventh of Fm7."),
    ("Fm7: F1@1 G1@2 Ab1@3", "G on 2 passes between F and Ab, no tone of Fm7 but one of F dorian,"
     " its scale in Eb major: between two chord tones, on a weak place"),
    ("Eb: Bb1@1 C2@2 D2@3 Eb2@4", "C on 2 passes between Bb and D, no tone of Eb but one of Eb"
     " ionian, its scale in Eb major: a line that goes on by step carries"),
    ("Eb/G: G1@1 Bb1@3", "Eb/G wants its major third at the bottom, and G comes first"),
    ("Ab/Bb: Bb1@1 F2@3", "Ab/Bb wants a bass that is no tone of Ab, and Bb comes first"),
    ("Bb7: Bb1@1 | Eb: Eb2@1", "Bb7 goes to Eb, dominant to tonic of Eb major"),
    ("C7: C2@1 | Fm7: F1@1", "C7 is borrowed to lead to Fm7, its third, E, not being in Eb major"),
    ("Fm7: F1@1 | Bb7: Bb1@1", "Fm7 and Bb7 are the two and the five of Eb"),
    ("Adim7: A1@1 | Eb/Bb: Bb1@1", "Adim7 has its bass a semitone under that of Eb/Bb"),
    ("Bdim7/D: D2@1 | Eb: Eb2@1", "Bdim7/D has its bass a semitone under that of Eb: a diminished"
     " chord is a stair between two others, its bass is the way in"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "sentence"), HARMONY)
def test_tones_and_chords_are_explained(text: str, sentence: str) -> None:
    """What the tones say of the chord, and the chord of the key."""
    assert any(line.startswith(sentence) for line in said(part(text), 1))


F_MINOR = Key(5, minor=True)
CADENCES = [
    ("C7/E: E1@1 | Fm: F1@1", "C7/E goes to Fm, dominant to tonic of F minor, but the bass does"),
    ("C7: C2@1 | Fm/Ab: Ab1@1", "C7 goes to Fm/Ab, dominant to tonic of F minor, but the bass"),
    ("C7/G: G1@1 | Fm/Ab: Ab1@1", "C7/G goes to Fm/Ab, dominant to tonic of F minor, but the bass"),
    ("C7: C2@1 | Fm: F1@1", "C7 goes to Fm, dominant to tonic of F minor: no other move"),
    ("F7/A: A1@1 | Bbm: Bb1@1", "F7/A is borrowed to lead to Bbm, its third, A, not being in F"),
    ("Fm7: F1@1 | Bb7: Bb1@1 | Fm7: F1@1", "Fm7 and Bb7 are the one and the four of F minor, made"
     " dorian by D, the third of Bb7"),
    ("Fm7: F1@1 | Bb7: Bb1@1", "Fm7 and Bb7 are the one and the four of F minor"),
    ("Fm7: F1@1 | Bb7: Bb1@1 | Bb7: Bb1@1 | Eb: Eb2@1", "Fm7 and Bb7 are the two and the five of"),
    ("Fm7b5: F1@1 | Bb7: Bb1@1", "Fm7b5 and Bb7 are the two and the five of Eb"),
    ("Bbm7: Bb1@1 | Eb7: Eb2@1", "Bbm7 and Eb7 are the two and the five of Ab"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "sentence"), CADENCES)
def test_a_minor_key_has_its_own_dominant_and_may_have_a_dorian_four(
    text: str, sentence: str
) -> None:
    """The raised seventh of F minor is not borrowed, and Bb7 that goes nowhere is no five."""
    told = said(part(text, F_MINOR), 1)

    assert any(line.startswith(sentence) for line in told)
    assert sum("borrowed" in line for line in told) == ("borrowed" in sentence)


def test_the_dominant_of_the_key_that_begins_is_not_borrowed() -> None:
    """Bb7 in A flat major goes home to Eb, where the next bar is heard in E flat major."""
    before, after = part("Bb7: Bb1@1 | Eb6: Eb2@1")
    away = replace(before, key=Key(8))
    told = said((away, after), 1)

    assert any(line.startswith("Bb7 goes to Eb6, dominant to tonic of Eb major") for line in told)
    assert not any("borrowed" in line for line in told)
    assert any("borrowed to lead to Eb6" in line
               for line in said((away, replace(after, key=Key(8))), 1))  # fmt: skip


def test_two_chords_in_a_bar_each_get_their_bass() -> None:
    """Told when the bass moves with them; a suspension that is let go under one bass is not two."""
    moving = two_chords("Fm7", "Bb7", "F1@1 Bb1@3!Bb7")
    still = two_chords("Bb7sus4", "Bb7", "Bb1@1 Bb1@3!Bb7")

    assert any("F on 1 and Bb on 3" in line for line in said([moving], 1))
    assert not any("share the bar" in line for line in said([still], 1))


def two_chords(first: str, second: str, notes: str) -> Bar:
    """A bar that changes from one chord to another on 3."""
    (bar,) = part(f"{first}: {notes}")
    return replace(bar, chords=(*bar.chords, (Fraction(2), parse_symbol(second))))


def test_first_notes_that_go_by_step_are_a_line() -> None:
    """G, Ab, A under Eb/G, Ab and Adim7 climb; G, Ab, F do not."""
    climbing = part("Eb/G: G1@1 | Ab: Ab1@1 | Adim7: A1@1")
    turning = part("Eb/G: G1@1 | Ab: Ab1@1 | Fm7: F1@1")

    assert any("bars 1 to 3 climb by step, G, Ab and A" in line for line in said(climbing, 3))
    assert not any("by step" in line for line in said(turning, 3))


def test_a_line_through_two_keys_is_written_in_the_one_it_comes_to() -> None:
    """In E major E flat, C sharp and B are D sharp, C sharp and B."""
    *there, last = part("Eb: Eb2@1 | C#m: C#2@1 | B: B1@1")
    told = said((*there, replace(last, key=Key(4))), 3)

    assert any("bars 1 to 3 come down by step, D#, C# and B" in line for line in told)


def test_a_note_that_was_played_for_another_chord_is_none_of_the_one_that_came() -> None:
    """B flat, played for Gm, says nothing of the G7 that came; the F of Gm7 is its seventh too."""
    wrong, right = (
        said(part(f"G7: G1@1 {notes}"), 1) for notes in ("Bb1@2!Gm D2@4!G7", "F2@2!Gm7")
    )

    assert not any("Bb" in line and "G7" in line and "third" in line for line in wrong)
    assert not any(line.startswith("Root and fifth of G7") for line in wrong)
    assert any(line.startswith("F on 2 is the flat seventh of G7") for line in right)


def test_a_chord_that_stays_need_not_begin_on_its_root() -> None:
    """The second bar of Eb may begin on the fifth, and it is said why."""
    assert any("Eb stays, and the bar begins on Bb" in line
               for line in said(part("Eb: Eb2@1 | Eb: Bb1@1"), 2))  # fmt: skip


# The page -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("Fm7: F1@1 D2@4>Eb | Eb: Eb2@1", "semitone below, to Eb"),
        ("Fm7: F1@1 D2@4>Eb | Cm7: C2@1", "semitone below, to Eb, which did not come"),
        ("Fm7: F1@1 D2@4>Eb | Fm7: C2@1", "semitone below, to Eb, but Fm7 stays"),
        ("Fm7: F1@1 G1@3>Ab D2@4>Eb | Eb: Eb2@1", "semitone below, to Ab, given up for Eb"),
        ("Fm7: F1@1 D2@4>Eb", "semitone below, to Eb, where the part ends"),
        ("Eb: Eb2@1 G1@4>F | Fm7: F1@1", "scale above, to F"),
        ("Ab: Ab1@1 F#1@4>E | Em7: E1@1", "whole step above, to E"),
        ("Ab: Ab1@1 A1@4>B | B7: B1@1", "whole step below, to B"),
        ("Eb: Eb2@1 C2@4>Ab | Ab: Ab1@1", "by other steps, to Ab"),
    ],
)
def test_the_page_says_what_became_of_a_way_in(text: str, line: str) -> None:
    """A chord that stays did come, and a whole step outside the scale is no step of the scale."""
    played = Played("walking", 7, 1, (28, 33, 38, 43), 4, part(text))

    assert next(each for each in page(played) if "way in" in each) == f"  way in: {line}"


# The neck -----------------------------------------------------------------------------------

NECK = [
    ("F7: F1@1 F2@2", "The F on 1 and its octave on 2 lie two strings and two frets apart"),
    ("F7: F2@1 F1@2", "The F on 1 and its octave on 2 lie two strings and two frets apart, frets 3"
     " and 1"),
    ("F7: F1@1 C2@2", "F and C lie on neighbouring strings, frets 1 and 3"),
    ("F7: C2@1 F2@2", "C and F lie side by side, both at fret 3"),
    ("Am7: A1@1 D2@2", "A and D lie side by side, both open"),
    ("Am7: A1@1 D2@2", "Open strings only"),
    ("F7: F1@1 A1@2 C2@3", "The whole bar lies in one position, frets 1 to 3 and open strings"),
    ("F7: F1@1 C2@3", "The whole bar lies in one position, frets 1 to 3 on 2 strings"),
    ("F7: F1@1 F1@3 C2@4", "The whole bar lies in one position, frets 1 to 3 on 2 strings"),
    ("F7: F1@1 Eb3@3", "The hand moves 4 frets from F on 1 to Eb on 3"),
    ("F7: F1@1 A1@2 Eb3@3", "While the open A on 2 rings, the hand goes from fret 1 to fret 8"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "sentence"), NECK)
def test_the_hand_is_explained(text: str, sentence: str) -> None:
    """Shapes, positions and shifts are told by string and fret."""
    assert any(line.startswith(sentence) for line in said(part(text), 1))


def test_one_pitch_is_no_position() -> None:
    """The root, three times over: nothing holds the hand anywhere."""
    assert not any("one position" in line for line in said(part("F7: F1@1 F1@2& F1@4"), 1))


@pytest.mark.parametrize(
    ("text", "how", "sentence"),
    [
        ("F7: F1@1 G1@2", Articulation.HAMMERED, "G on 2 is hammered on from F at fret 1"),
        ("Am7: A1@1 B1@2", Articulation.HAMMERED, "B on 2 is hammered on from A on the open"),
        ("F7: F1@1 A1@2", Articulation.SLID, "A on 2 is slid into from F at fret 1"),
    ],
)
def test_notes_without_a_stroke_of_their_own_are_explained(
    text: str, how: Articulation, sentence: str
) -> None:
    """A hammered note and a slide are told with the note that they come from."""
    bar = part(text)[0]
    first, second = bar.notes
    joined = replace(second, articulation=how, joined_from=first.note)

    told = said((replace(bar, notes=(first, joined)),), 1)

    assert any(line.startswith(sentence) for line in told)
    assert not any(f" is {how.value}" in line for line in said((bar,), 1))


def test_an_upright_has_three_frets_under_the_hand() -> None:
    """What is one position on a bass guitar is a shift on an upright."""
    bars = part("F7: F1@1 G#1@3")

    guitar, upright = ([remark.topic for remark in remarks(Spot(bars, 0, span))] for span in (4, 3))

    assert Topic.POSITION in guitar
    assert Topic.POSITION not in upright


# What is told -------------------------------------------------------------------------------

SONG = f"{FIGURE} Bb7: Bb1@1 F2@2& D2@4>Eb |" * 3 + "Eb: Eb2@1="


def test_neighbouring_bars_teach_different_things() -> None:
    """Nobody is told of the same topic in two bars running, nor of one fact twice."""
    told = lessons(part(SONG))
    topics = [lesson.remark.topic for lesson in told]
    facts = [lesson.remark.fact for lesson in told]

    assert all(one is not other for one, other in pairwise(topics))
    assert len(set(facts)) == len(facts)
    assert topics[0] is Topic.FIGURE


def test_why_a_thing_works_is_said_once() -> None:
    """The second time a bar does it, the pupil is only shown."""
    told = [lesson for lesson in lessons(part(SONG)) if lesson.remark.moral]
    with_moral = [lesson.remark.moral for lesson in told if lesson.remark.moral in lesson.teaching]

    assert len(told) > len(with_moral)
    assert len(set(with_moral)) == len(with_moral)


def test_a_lesson_is_the_same_in_every_key() -> None:
    """Moved through all keys the part teaches the same topics, bar for bar."""
    taught = set()
    for key in KEYS[:12]:
        moved = part_in(SONG, key.tonic - E_FLAT.tonic)
        taught.add(tuple(lesson.remark.topic for lesson in lessons(moved)))

    assert len(taught) == 1


def part_in(text: str, semitones: int) -> tuple[Bar, ...]:
    """The part moved by semitones, on the same places of a neck tuned along with it."""
    bars = []
    for bar in part(text):
        notes = tuple(
            replace(
                note,
                note=note.note + semitones,
                chord=note.chord.transposed(semitones),
                aims_at=None if note.aims_at is None else (note.aims_at + semitones) % 12,
            )
            for note in bar.notes
        )
        chords = tuple((place, chord.transposed(semitones)) for place, chord in bar.chords)
        key = Key((bar.key.tonic + semitones) % 12)
        bars.append(replace(bar, key=key, chords=chords, notes=notes))
    return tuple(bars)
