"""The ear: held tones, chords, keys."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from bench.corpus import Label, Note, Song, key_of_chart
from bench.doubtful import key_in_doubt, runs_ahead
from bench.whole import heard_after, keys_of
from engine.hearing.ear import Ear
from engine.hearing.evidence import WIDTH_NOW
from engine.hearing.held import HeldNotes
from engine.hearing.key import KeyFilter, written_after
from engine.hearing.naming import alike_but_for_colour, name_chord
from engine.hearing.recall import SongMemory
from engine.hearing.spelled import spelled_triad, triad_over
from engine.hearing.stretch import Counter
from engine.hearing.taught import TAUGHT
from engine.theory.harmony import KEYS, Key
from engine.theory.meter import Metre
from engine.theory.symbols import parse_symbol, symbol
from tests.band import Pianist, moment, voiced


def up(notes: str, semitones: int) -> str:
    """The same notes, moved."""
    return " ".join(str(int(n) + semitones) for n in notes.split())


# Held ---------------------------------------------------------------------------------------


def sounding(held: HeldNotes) -> list[int]:
    """The notes that sound."""
    return sorted(t.note for t in held if t.end is None)


def test_a_tone_ends_with_its_key() -> None:
    """Without the pedal a tone sounds as long as its key is down."""
    held = HeldNotes()
    held.strike(0.0, 60, 80, 0)
    assert sounding(held) == [60]
    held.release(1.0, 60, 0)
    assert sounding(held) == []
    assert held.silent


def test_the_pedal_holds_what_was_played_on_its_channel() -> None:
    """The pedal keeps tones after their keys, on its own channel only, until it comes up."""
    held = HeldNotes()
    held.strike(0.0, 60, 80, 0)
    held.strike(0.0, 64, 80, 1)
    held.control(0.1, 64, 127, 0)
    held.release(0.2, 60, 0)
    held.release(0.2, 64, 1)
    assert sounding(held) == [60]
    held.control(0.3, 64, 0, 0)
    assert sounding(held) == []


@pytest.mark.parametrize(("value", "holds"), [(0, False), (63, False), (64, True), (90, True)])
def test_a_pedal_half_way_down_holds_from_the_middle_on(value: int, holds: bool) -> None:
    """A pedal that sends values in between is down from 64 on."""
    held = HeldNotes()
    held.control(0.0, 64, value, 0)
    held.strike(0.1, 60, 80, 0)
    held.release(0.2, 60, 0)
    assert sounding(held) == ([60] if holds else [])


def test_a_key_struck_again_under_the_pedal_sounds_anew() -> None:
    """A pedalled tone whose key is struck and released again goes on, counted once."""
    held = HeldNotes()
    held.control(0.0, 64, 127, 0)
    for at in (0.0, 1.0, 2.0):
        held.strike(at, 60, 80, 0)
        held.release(at + 0.5, 60, 0)
    assert sounding(held) == [60]
    assert [t.onset for t in held if t.end is None] == [2.0]


def test_a_note_off_after_the_note_on_of_the_same_instant_ends_the_old_tone() -> None:
    """Sequencers repeat a key with note-on before note-off: the new tone sounds on."""
    held = HeldNotes()
    held.strike(0.0, 60, 80, 0)
    held.strike(1.0, 60, 80, 0)
    held.release(1.0, 60, 0)
    assert sounding(held) == [60]
    held.release(2.0, 60, 0)
    assert sounding(held) == []


@pytest.mark.parametrize(
    ("controller", "left"), [(120, "none"), (121, "key"), (123, "pedal"), (7, "both")]
)
def test_controllers_that_end_notes(controller: int, left: str) -> None:
    """120 silences, 121 lifts the pedal, 123 lifts the keys, volume does neither."""
    held = HeldNotes()
    held.control(0.0, 64, 127, 0)
    held.strike(0.0, 60, 80, 0)
    held.strike(0.0, 64, 80, 0)
    held.release(0.1, 64, 0)
    held.control(0.2, controller, 0, 0)
    assert sounding(held) == {
        "none": [], "key": [60], "pedal": [60, 64], "both": [60, 64]
    }[left]  # fmt: skip


def test_velocity_zero_is_a_release() -> None:
    """A note-on with velocity 0 ends the tone."""
    held = HeldNotes()
    held.strike(0.0, 60, 80, 0)
    held.strike(1.0, 60, 0, 0)
    assert held.silent


def test_hours_of_playing_before_the_start_take_no_room() -> None:
    """Tones that ended are kept up to a bound."""
    held = HeldNotes()
    for _ in range(1000):
        held.strike(0.0, 60, 80, 0)
        held.release(0.0, 60, 0)
    assert len(list(held)) < 100


# Chords -------------------------------------------------------------------------------------


def test_nothing_is_heard_before_the_first_note() -> None:
    """Before any note there is no chord, and the key is a guess of one in 24."""
    heard = Pianist().at(0).ear.heard(moment(0.0))
    assert heard.chord is None
    assert heard.key_confidence == pytest.approx(1 / 24)


@pytest.mark.parametrize(
    ("notes", "name"),
    [
        ("48 60 64 67", "C"),
        ("48 60 63 67", "Cm"),
        ("40 60 64 67", "C/E"),
        ("31 60 64 72", "C/G"),
        ("35 59 62 65", "Bdim"),
        ("43 59 62 65 67", "G7"),
        ("48 59 64 67", "Cmaj7"),
        ("45 60 64 67", "Am7"),
        ("36 53 55 60", "Csus4"),
        ("35 57 62 65 69", "Bm7b5"),
        ("43 59 62 65 69", "G9"),
        ("43 60 62 65", "G7sus4"),
    ],
)
def test_a_struck_chord_is_heard_at_once_in_every_key(notes: str, name: str) -> None:
    """Root, kind and inversion of a plainly voiced chord, at the moment it is struck."""
    for steps in range(12):
        expected = symbol(parse_symbol(name).transposed(steps), Key(0))
        assert Pianist().at(0).play(up(notes, steps)).hears() == expected


def test_chords_struck_before_the_sequencer_starts_are_heard_at_its_start() -> None:
    """A sequencer's first notes come before its start, at the place where it will start."""
    player = Pianist().play("48 60 64 67")
    assert player.hears() == "C"
    assert player.at(0).hears() == "C"


def test_a_chord_without_its_third_is_a_plain_one() -> None:
    """G, D and F where the song is in C: G7 is meant, and not G7sus4, for no C sounds."""
    player = Pianist()
    for bar, keys in enumerate(("48 60 64 67", "45 60 64 69", "41 57 60 65", "43 62 65")):
        player.at(4 * bar).play(keys)
    assert player.at(12.1).hears() == "G7"


def test_the_chord_is_kept_in_silence() -> None:
    """When the hands are lifted the last chord stands, for as long as nothing sounds."""
    player = Pianist().at(0).play("45 60 64 69").at(0.5).play("")
    assert player.at(0.9).hears() == "Am"
    assert player.at(9.5).hears() == "Am"


def test_a_chord_that_is_held_stays_what_it_is() -> None:
    """Major sevenths without a bass hold the tones of the next chord too; nobody has played it."""
    player = Pianist()
    for bar, notes in enumerate(("62 66 69 73", "59 62 66 69", "55 59 62 66", "57 62 64 67")):
        player.at(4.0 * bar).play(notes)
        named = player.at(4 * bar + 0.95).hears()
        assert [player.at(4 * bar + beat).hears() for beat in (1.1, 2.1, 3.1, 3.9)] == 4 * [named]


def test_a_right_hand_that_goes_on_keeps_the_bass_up_to_the_bar_line() -> None:
    """D/F# is set down, and its upper keys struck again: still over F#; in the next bar it is D."""
    player = Pianist().at(0).play("42 57 62 66")
    heard = [player.hears()]
    for beat in (1, 2, 3, 4):
        heard.append(player.at(beat).play("57 62 66").at(beat + 0.1).hears())

    assert heard == ["D/F#"] * 4 + ["D"]


def test_a_bass_that_was_set_down_is_gone_with_its_bar() -> None:
    """D/F# once, then the upper keys on two and four: from the second bar on that is D."""
    player = Pianist().at(0).play("42 57 62 66")
    heard = [player.at(b).play("57 62 66").at(b + 0.1).hears() for b in (1, 3, 5, 7)]

    assert heard == ["D/F#", "D/F#", "D", "D"]


def test_a_low_note_alone_is_no_bass_for_the_chord_that_follows() -> None:
    """E under a C that was, and then C, E and G: the E was on its way, and the chord is C."""
    player = Pianist().at(0).play("36 55 60 64").at(1).play("40").at(2)

    assert player.play("55 60 64").at(2.1).hears() == "C"


@pytest.mark.parametrize("early", [0.02, 0.05, 0.1, 0.15, 0.19])
def test_a_chord_struck_just_before_its_beat_is_that_beats(early: float) -> None:
    """A change played a hair early changes nothing about the beat that ends, and is heard as on it.

    A fifth of a beat is 110 ms of a slow song, which even a player who rushes keeps within.
    """
    player = Pianist().at(0).play("47 59 62 66").at(4 - early).play("43 55 59 62").at(4.0)
    assert player.ear.ended.chord == parse_symbol("Bm")
    assert player.at(4.02).hears() == "G"


def test_a_beat_is_read_as_it_begins_though_its_second_is_rounded() -> None:
    """A billionth of a beat too little, and the chord that was struck for the beat is there."""
    player = Pianist().at(0).play("47 59 62 66").at(3.95).play("43 55 59 62").at(4.0)

    assert player.ear.heard(moment(4 - 1e-9)).chord == parse_symbol("G")


@pytest.mark.parametrize(("keys", "struck"), [
    ("57 60 65", 3.85), ("57 60", 3.85), ("57 60 65", 3.75)
])  # fmt: skip
def test_only_a_chord_may_be_as_early_as_that(keys: str, struck: float) -> None:
    """Three keys a little before the beat were meant on it; two, or a sixteenth before it, not."""
    held = HeldNotes()
    for key in keys.split():
        held.strike(struck, int(key), 80, 0)
    held.credit(3.8, 4.0)

    meant = len(keys.split()) == 3 and struck > 3.8
    assert {tone.onset for tone in held} == {4.0 if meant else struck}


def test_passing_notes_of_a_melody_change_no_chord() -> None:
    """A melody runs through the scale over a held C; C it stays."""
    player = Pianist().at(0).play("36 55 60 64")
    for step, note in enumerate((72, 74, 76, 77, 79, 77, 76, 74)):
        player.at(step / 2).strike(note)
        assert parse_symbol(player.hears()).root == 0
        player.at(step / 2 + 0.45).lift(note)


@pytest.mark.parametrize(("one", "other", "alike"), [
    ("C7", "C13", True), ("C", "Cadd9", True), ("Cm9", "Cm11", True), ("C", "C", True),
    ("C", "C7", False), ("C7", "F7", False), ("C9", "C9/E", False), ("Cm", "Csus2", False),
])  # fmt: skip
def test_a_colour_makes_no_other_chord(one: str, other: str, *, alike: bool) -> None:
    """Ninths and what lies above them; a seventh, a bass or a third does."""
    assert alike_but_for_colour(parse_symbol(one), parse_symbol(other)) is alike


def test_a_broken_chord_is_gathered() -> None:
    """Eighth notes up a chord of A minor spell it by the end of its first beats, in every key."""
    for steps in range(12):
        player = Pianist().at(0)
        for step, note in enumerate((45, 52, 57, 60)):
            player.at(step / 2).strike(note + steps)
        heard = player.at(1.9).ear.heard(moment(1.9)).chord
        assert heard == parse_symbol("Am").transposed(steps)


def test_a_chord_taken_for_the_whole_of_a_beat_is_heard_as_at_its_end() -> None:
    """G, D and E are a G for a moment, but Em7 if nothing more is to come."""
    player = Pianist()
    player.at(0).play("48 60 64 67").at(2).play("40 59 64 67 71").at(4).play("55 62 64")
    whole = player.at(4.25).ear.heard(moment(4.25), whole=True).chord
    at_once, by_the_end = player.hears(), player.at(4.9).hears()

    assert whole is not None
    assert (at_once, symbol(whole, Key(0)), by_the_end) == ("G", "Em7", "Em7")


def test_a_pedal_point_stays_the_bass() -> None:
    """Chords move over a low C that is held: their roots are heard, and the C beneath them."""
    player = Pianist().at(0).strike(36)
    said = []
    for bar, notes in enumerate(("60 64 67", "60 65 69", "59 62 67", "60 64 67")):
        said.append(player.at(2 * bar).play(notes).at(2 * bar + 0.5).hears())
    assert said == ["C", "F/C", "G/C", "C"]


@pytest.mark.parametrize("steps", range(-3, 4))
def test_a_bass_pumped_under_a_chord_that_keys_hold_changes_nothing(steps: int) -> None:
    """A, D and F sharp held over a low G in eighths, in G: D/G on every beat, and no G."""
    player, heard = Pianist(), []
    chords = ("55 59 62", "57 62 66", "55 60 64", "55 59 62", "57 62 66")
    for bar, chord in enumerate(chords):
        player.at(4 * bar).play(up(chord, steps))
        for eighth in range(8):
            player.at(4 * bar + eighth / 2).strike(43 + steps)
            heard.append(player.at(4 * bar + eighth / 2 + 0.2).hears())
            player.at(4 * bar + eighth / 2 + 0.4).lift(43 + steps)
    expected = symbol(parse_symbol("D/G").transposed(steps), Key(0))
    assert heard[8:16] + heard[32:] == [expected] * 16


@pytest.mark.parametrize("steps", range(-6, 6))
def test_a_root_struck_short_before_the_chord_is_its_root(steps: int) -> None:
    """A low A flat on one, let go, and C, E flat and G on two and three: A flat, and no C minor."""
    player = Pianist(Metre.of("3/4"))
    player.at(0).play(up("44", steps)).at(0.8).play("")
    heard = []
    for beat in (1, 2):
        player.at(beat).play(up("60 63 67", steps))
        heard += [player.at(beat + later).hears() for later in (0.1, 0.5)]
        player.at(beat + 0.7).play("")
    assert {parse_symbol(name).root for name in heard} == {(8 + steps) % 12}


@pytest.mark.parametrize("steps", range(-6, 3))
def test_a_root_laid_down_for_one_chord_is_not_the_next_ones(steps: int) -> None:
    """A low A on one, A above it on two, C sharp minor by the right hand on three: no Amaj7."""
    player = Pianist()
    player.at(0).play(up("45", steps)).at(1)
    for note in (61, 64, 69):
        player.strike(note + steps)
    player.at(1.9)
    for note in (61, 64, 69):
        player.lift(note + steps)
    player.at(2).play(up("61 64 68", steps))
    heard = [player.at(2 + later).hears() for later in (0.1, 0.5, 0.9)]
    assert {parse_symbol(name).root for name in heard} == {(1 + steps) % 12}


@pytest.mark.parametrize("steps", range(-6, 2))
def test_a_tenth_over_a_held_root_is_no_new_bass(steps: int) -> None:
    """B flat, F and the D flat above, an eighth each and kept down under a tune: B flat minor."""
    player, heard = Pianist(), []
    for bar in (0, 4):
        player.at(bar).play("")
        for step, note in enumerate((34, 41, 49)):
            player.at(bar + step / 2).strike(note + steps)
            if step == 0:
                player.strike(70 + steps)
        for later in (1.1, 1.5, 1.9, 2.1, 2.9, 3.5):
            heard.append(player.at(bar + later).hears())
        for note in (34, 41, 49, 70):
            player.lift(note + steps)
    assert set(heard) == {symbol(parse_symbol("Bbm").transposed(steps), Key(0))}


def test_a_pedal_held_too_long_does_not_hold_the_chord() -> None:
    """With the sustain pedal down over the bar line, the new chord is heard all the same."""
    player = Pianist().at(0)
    player.ear.control(moment(0), 64, 127, 0)
    said = []
    for bar, notes in enumerate(("36 60 64 67", "41 60 65 69", "43 59 62 67", "45 60 64 69")):
        player.at(4 * bar).play(notes)
        said.append(parse_symbol(player.at(4 * bar + 0.9).hears()).root)
    assert said == [0, 5, 7, 9]


def test_a_left_hand_that_leaves_the_bass_to_us_makes_no_slash_chord() -> None:
    """From E3 up the lowest note is no bass: a C in any inversion there is a C."""
    for notes in ("60 64 67", "55 60 64", "52 55 60"):
        assert Pianist().at(0).play("36 55 60 64").at(4).play(notes).hears() == "C"


def test_a_bass_let_go_late_makes_no_slash_chord() -> None:
    """The F below still down for a moment, the chord with a low bass of its own is a B flat."""
    player = Pianist().at(0).play("41 57 60 65").at(4).strike(46).strike(62).strike(65)
    assert player.at(4.02).hears() == "Bb"


@pytest.mark.parametrize(("keys", "name"), [("38 57 60 65", "Dm7"), ("38 56 60 65", "Dm7b5")])
def test_a_sixth_chord_over_its_sixth_is_the_seventh_chord_on_that_bass(
    keys: str, name: str
) -> None:
    """F6 has the keys of Dm7, F minor 6 those of Dm7b5: the bass says which it is."""
    player = Pianist().at(0).play("41 57 60 65").at(4).play("48 55 60 64").at(8).play(keys)

    assert player.hears() == name


def with_the_fifth_on_three(chord: str) -> list[str]:
    """Bass, chord, fifth, chord."""
    bass, *right = voiced(chord)
    above = " ".join(map(str, right))
    return [str(bass), above, str(36 + (bass + 7) % 12), above]


TURN = ("Eb", "Cm", "Fm7", "Bb7")


@pytest.mark.parametrize("up_by", range(0, 12, 5))
def test_a_left_hand_that_goes_to_the_fifth_stays_in_its_chord(up_by: int) -> None:
    """The fifth of C minor, alone on three, is no G minor, the first time round or the second."""
    player = Pianist()
    for bar, chord in enumerate(TURN * 2):
        root = (parse_symbol(chord).root + up_by) % 12
        for beat, keys in enumerate(with_the_fifth_on_three(chord)):
            player.at(4 * bar + beat).play(up(keys, up_by)).at(player.now + 0.9)
            assert parse_symbol(player.hears()).root == root


def test_rootless_voicings_are_heard_in_their_key() -> None:
    """3-7-9 voicings of ii-V-I, the root left out: heard right once the turn is known."""
    player = Pianist()
    turn = [("65 69 72 76", 2), ("65 69 71 76", 7), ("64 67 71 74", 0), ("64 67 71 74", 0)]
    roots = []
    for bar in range(12):
        player.at(4 * bar).play(turn[bar % 4][0])
        roots.append(parse_symbol(player.at(4 * bar + 3.9).hears()).root)
    assert roots[8:] == [root for _, root in turn]


def test_what_comes_back_is_expected() -> None:
    """After four rounds of four chords, the next chord is expected before it sounds."""
    player = Pianist()
    turn = ("48 60 64 67", "45 60 64 69", "41 57 60 65", "43 59 62 67")
    for bar in range(16):
        player.at(4 * bar).play(turn[bar % 4])
    expected = player.at(64).ear.foretold()
    assert int(expected.sum(axis=1).argmax()) == 0
    assert expected.sum() == pytest.approx(1)


def test_a_clear_chord_stands_against_any_expectation() -> None:
    """Whatever was to come, an F with its root below is an F."""
    player = Pianist().at(0).play("48 60 64 67").at(4).play("41 57 60 65")
    assert player.hears() == "F"
    assert player.ear.holds_against(5, 0, 0.99)


def test_four_tones_with_two_names_are_what_was_to_come() -> None:
    """C6 or Am7, close and without a bass: the one that was foreseen."""
    player = Pianist().at(0).play("41 57 60 65").at(4).play("60 64 67 69")
    heard = parse_symbol(player.hears()).root
    other = 9 - heard
    assert {heard, other} == {0, 9}
    assert not player.ear.holds_against(heard, other, 0.999)
    assert player.ear.holds_against(heard, other, 0.001)


@pytest.mark.parametrize(("also", "name"), [("", "F"), ("50", "Dm")])
def test_a_full_triad_is_itself_though_another_chord_was_to_come(also: str, name: str) -> None:
    """C, F and A where two bars of Dm were played four times: F, unless a D is held under them."""
    player = Pianist()
    for bar, keys in enumerate(4 * ("38 57 62 65", "38 57 62 65", "43 59 62 65", "36 60 64 67")):
        player.at(4 * bar).play(keys)
    player.at(64).play("38 57 62 65").at(68).play(f"{also} 60 65 69")
    assert parse_symbol(player.hears()).root == parse_symbol(name).root


def test_a_full_triad_needs_no_more_to_come() -> None:
    """B, E flat and A flat are A flat minor, from the first moment on, and no B6."""
    player = Pianist()
    player.at(0).play("48 60 64 67").at(2).play("40 59 64 67 71").at(4).play("59 63 68")
    assert [player.at(4 + later).hears() for later in (0.02, 0.25, 0.9)] == ["Abm"] * 3


@pytest.mark.parametrize(("keys", "root"), [
    ({5, 9, 0}, 5), ({2, 5, 9}, 2), ({5, 9}, None), ({5, 9, 0, 2}, None), ({11, 2, 5}, None)
])  # fmt: skip
def test_three_keys_may_spell_a_triad(keys: set[int], root: int | None) -> None:
    """F, and Dm; two keys, four, and a diminished triad, which is most of G7, do not."""
    assert spelled_triad(frozenset(keys)) == root


KINDS = "m 7 maj7 m7 6 m6 m(maj7) m7b5 dim7 dim aug sus4 7sus4 9 m9 maj9 13 m11 7b9 7#9 7#11 add9"


@pytest.mark.parametrize("kind", ["", *KINDS.split()])
@pytest.mark.parametrize("before", ["Bb Gm7 Cm7 F7", "Cm7 F7 Bbmaj7 Ebmaj7"])
def test_a_whole_chord_over_its_own_root_is_on_that_root(kind: str, before: str) -> None:
    """Whatever came before it, on every root, and as soon as its keys are down."""
    assert all(heard.root == played.root for played, heard in heard_after(before, f"C{kind}"))


@pytest.mark.parametrize("name", ["C7/E", "C7/G", "C7/Bb", "Cmaj7/E", "Cmaj7/B", "Cm7/Bb"])
@pytest.mark.parametrize("before", ["Bb Gm7 Cm7 F7", "Cm7 F7 Bbmaj7 Ebmaj7", "Gm Cm D7 Gm"])
def test_so_is_a_seventh_chord_over_another_of_its_tones(name: str, before: str) -> None:
    """On ten of twelve roots at least: E, G, B and C are Cmaj7/E, not Em."""
    assert sum(heard.root == played.root for played, heard in heard_after(before, name)) >= 10


@pytest.mark.parametrize(("before", "name"), [
    ("Fmaj7 Bb", "C7#5"), ("Cm7 F7 Bbmaj7 Ebmaj7", "Am7b5"), ("Gm F7", "Am6"), ("F Dm", "Asus4"),
])  # fmt: skip
def test_a_whole_chord_bears_its_own_name(before: str, name: str) -> None:
    """A, C, E flat and G are no F9 without its root; and a sharp fifth is no flat thirteenth."""
    player = Pianist()
    for bar, chord in enumerate(before.split()):
        player.at(4 * bar).play(keys_of(chord))
    at = 4 * len(before.split())
    player.at(at).play(keys_of(name))
    assert [player.at(at + later).hears() for later in (0.02, 0.5, 1.5)] == [name] * 3


def test_a_suspended_second_on_a_low_root_is_on_that_root() -> None:
    """E, B, F sharp and B over a low E are no Bsus4, on any root, and after any key's changes."""
    for steps in range(-4, 8):
        for before in ("", "40 56 59 64", "45 57 61 64", "47 59 63 66"):
            player = Pianist().at(0).play(before).at(4).play(up("40 47 66 71", steps))
            heard = [parse_symbol(player.at(4 + later).hears()) for later in (0.02, 0.5, 1.5)]
            assert [chord.root for chord in heard] == [(4 + steps) % 12] * 3


def test_a_chord_played_short_is_what_it_is_when_held() -> None:
    """F sharp minor over A, let go within its beat, is no A by the end of it, in any key."""
    turn = ("48 58 63 67", "41 57 60 63", "46 57 62 65", "51 58 62 67")
    for steps in range(-6, 6):
        player = Pianist()
        for bar, keys in enumerate(turn):
            player.at(4 * bar).play(up(keys, steps))
        heard = [player.at(16).play(up("45 57 61 66", steps)).hears()]
        player.at(16.3).play("")
        heard += [player.at(16 + later).hears() for later in (0.75, 0.95, 1.2)]
        assert heard == [symbol(parse_symbol("F#m/A").transposed(steps), Key(0))] * 4


def test_a_chord_off_the_beat_is_the_same_when_the_beat_comes() -> None:
    """C minor over E flat, on the last eighth of a bar and over the bar line, in every key."""
    turn = ("48 58 63 67", "41 57 60 63", "46 57 62 65", "51 58 62 67", "43 58 62 67")
    for steps in range(-6, 6):
        player = Pianist()
        for bar, keys in enumerate(turn):
            player.at(4 * bar).play(up(keys, steps))
        player.at(19.5).play(up("39 55 60 63", steps))
        heard = [player.at(20 + later).hears() for later in (0.02, 0.5, 0.95)]
        assert heard == [symbol(parse_symbol("Cm/Eb").transposed(steps), Key(0))] * 3


def test_a_sixth_that_sounds_is_not_heard_as_a_seventh_that_does_not() -> None:
    """Where Cm6 goes on from Cm(maj7) and Cm7, the bass has no B flat to play."""
    player = Pianist()
    for bar, chord in enumerate(("Cm", "Cm(maj7)", "Cm7", "Cm6")):
        player.at(4 * bar).play(keys_of(chord))
    heard = [parse_symbol(player.at(12 + later).hears()) for later in (0.02, 0.5, 1.5)]
    assert all(chord.root == 0 and 10 not in chord.pitch_classes for chord in heard)


@pytest.mark.parametrize(("keys", "bass", "root"), [
    ({5, 9, 0, 7}, 7, 5), ({2, 5, 9, 7}, 7, 2), ({5, 9, 0, 2}, 2, None), ({5, 9, 0, 3}, 5, None),
    ({5, 9, 0}, 5, None), ({5, 9, 0}, 7, None), ({5, 9, 7}, 7, None), ({5, 9, 0, 7, 10}, 7, None),
])  # fmt: skip
def test_a_triad_over_another_bass(keys: set[int], bass: int, root: int | None) -> None:
    """F/G and Dm/G; but F over D is Dm7, and F7, F alone, a bare fifth and five keys are none."""
    assert triad_over(frozenset(keys), bass) == root


@pytest.mark.parametrize(("keys", "name"), [
    ("43 60 65 69", "F/G"), ("36 62 65 70", "Bb/C"), ("43 62 65 70", "Gm7"),
    ("43 60 62 65 69", "Gm11"),
])  # fmt: skip
def test_a_triad_that_is_sent_over_a_bass_is_called_so(keys: str, name: str) -> None:
    """Where the song has had Gm7 and C9, F over G is no Gm11; but five keys are, and Gm7 stays."""
    player = Pianist()
    player.ear = Ear(sent=True)
    for bar, chord in enumerate(2 * ("43 55 58 62 65", "36 58 62 64")):
        player.at(4 * bar).play(chord)
    player.at(16).play(keys)
    names = [player.at(16 + later).hears() for later in (0.01, 0.5, 1.5, 2.5)]
    assert names == [name] * 4


@pytest.mark.parametrize(("notes", "called", "name"), [
    ("43 60 65 69", "F", "F/G"), ("41 60 65 67 69", "F", "Fadd9"), ("38 60 64 67 70", "C7", "C7/D"),
    ("55 60 65 69", "F", "Fadd9"), ("48 60 64 67 70 74", "C7", "C9"), ("50 60 64 67", "C", "C/D"),
])  # fmt: skip
def test_a_bass_of_its_own_colours_nothing(notes: str, called: str, name: str) -> None:
    """G below F is F/G; above it, or where it is no bass, it is the ninth."""
    keys, chord = [int(note) for note in notes.split()], parse_symbol(called)
    sounding = frozenset(key % 12 for key in keys)
    assert symbol(name_chord(chord.root, chord.quality, sounding, min(keys)), Key(5)) == name


def test_looking_twice_changes_nothing() -> None:
    """The belief depends on what was played, not on how often it is asked for."""
    once, often = Pianist().at(0).play("40 59 62 67"), Pianist().at(0).play("40 59 62 67")
    for step in range(50):
        often.at(step / 100).hears()
    assert once.at(0.5).hears() == often.at(0.5).hears()
    assert np.array_equal(once.at(1).ear.foretold(), often.at(1).ear.foretold())


def test_to_ask_what_comes_changes_nothing() -> None:
    """One ear is asked on and on, in silence too, and hears and expects what the other does."""
    asked, unasked = Pianist(), Pianist()
    for beat in range(48):
        keys = ("45 57 60 64", "", "50 57 62 65")[beat // 4 % 3]
        for player in (asked, unasked):
            player.at(beat)
            if beat % 4 == 0:
                player.play(keys)
        for part in (0.1, 0.6):
            asked.at(beat + part).ear.coming()
    assert asked.at(47.9).hears() == unasked.at(47.9).hears()
    assert np.array_equal(asked.at(48).ear.foretold(), unasked.at(48).ear.foretold())


def test_what_is_to_come_is_what_is_expected_when_it_comes() -> None:
    """At the end of a beat it is known already what will be expected as the next one begins."""
    player = Pianist()
    for bar, keys in enumerate(3 * ("45 57 60 64", "50 57 62 65", "40 56 59 64", "45 57 60 64")):
        player.at(4 * bar).play(keys)
        coming = player.at(4 * bar + 3.95).ear.coming()
        expected = player.at(4 * bar + 4.0).ear.foretold().sum(axis=1)
        assert np.allclose(coming, expected, atol=0.05)


def test_nobody_knows_what_comes_before_it_has_begun() -> None:
    """Before the first beat any root is as likely as another."""
    assert np.allclose(Pianist().ear.coming(), 1 / 12)


def test_chords_are_heard_in_other_metres() -> None:
    """In 6/8 a felt beat lasts a dotted quarter, and a chord for each is heard."""
    player = Pianist(Metre(6, 8))
    said = []
    for bar, chords in enumerate([("48 60 64 67", "43 59 62 67"), ("45 60 64 69", "41 57 60 65")]):
        for half, notes in enumerate(chords):
            player.at(3 * bar + 1.5 * half).play(notes)
            said.append(player.at(player.now + 1.2).hears())
    assert said == ["C", "G", "Am", "F"]


def test_a_jump_forgets_the_place_and_keeps_the_keys_down() -> None:
    """After a jump the chord that is still held is heard at the new place."""
    player = Pianist().at(0).play("48 60 64 67").at(1.5)
    player.ear.relocate(moment(32.0))
    player.ear.cross(moment(32.0))
    heard = player.ear.heard(moment(32.1))
    assert heard.chord == parse_symbol("C")


# Memory -------------------------------------------------------------------------------------


def sure_of(root: int) -> np.ndarray:
    """Nearly all belief in one root."""
    belief = np.full((12, 1), 0.01)
    belief[root] = 0.89
    return belief.ravel()


def looped(roots: tuple[int, ...], first_take: dict[int, int]) -> SongMemory:
    """A loop of beats played three times; some were at first taken for other roots."""
    memory = SongMemory(12)
    memory.expect(0, 4)
    for beat in range(3 * len(roots)):
        at = beat % len(roots)
        if at - 1 in first_take:
            memory.revise(sure_of(roots[at - 1]))
        memory.add(float(beat), beat % 4, sure_of(first_take.get(at, roots[at])))
    return memory


def test_a_beat_is_remembered_as_it_turned_out() -> None:
    """The first two notes of C over E may be E minor; the third said C, so C is expected again."""
    recalled = looped((0, 0, 5, 7), {0: 4}).expect(0, 4)
    assert int(recalled.log_shares.argmax()) == 0


def test_a_pass_too_long_ago_is_forgotten() -> None:
    """The song has come round after 700 beats; 700 later nobody knows any more that it did."""
    random = Random(7)
    song = [random.randrange(12) for _ in range(700)]
    come_round, elsewhere = SongMemory(12), SongMemory(12)
    for memory, place in ((come_round, 0.0), (elsewhere, 5000.0)):
        memory.expect(0, 4)
        for beat in range(1490):
            if beat == 700:
                memory.jump(place)
            position = beat % 700 + (place if beat >= 700 else 0.0)
            memory.add(position, beat % 4, sure_of(song[beat % 700]))
    seen, expected = (memory.expect(0, 4) for memory in (come_round, elsewhere))
    assert np.allclose(seen.log_shares, expected.log_shares)


def test_memory_may_be_asked_what_it_would_expect() -> None:
    """At any beat, also of a song so long that its beginning is forgotten: it learns nothing."""
    asked, unasked = looped((0, 0, 5, 7), {}), looped((0, 0, 5, 7), {})
    for beat in range(12, 1100):
        if beat < 40 or beat > 1000:
            asked.foresee(beat % 4, sure_of(3))
        for memory in (asked, unasked):
            memory.add(float(beat), beat % 4, sure_of((0, 0, 5, 7)[beat % 4]))
    seen, expected = (memory.expect(0, 4) for memory in (asked, unasked))
    assert np.array_equal(seen.log_shares, expected.log_shares)
    assert np.array_equal(seen.hints, expected.hints)


def test_what_memory_would_expect_is_what_it_then_does() -> None:
    """The beat that it was told of as over is over, with just that belief."""
    memory = looped((0, 0, 5, 7), {})
    foreseen = memory.foresee(0, sure_of(0))
    memory.add(12.0, 0, sure_of(0))
    assert np.array_equal(foreseen.log_shares, memory.expect(1, 4).log_shares)


def test_a_chord_is_expected_where_it_turned_out_to_have_been_due() -> None:
    """Its keys came on two: told that it was due on one, memory expects it there."""
    told, untold = SongMemory(12), SongMemory(12)
    for memory in (told, untold):
        memory.expect(0, 4)
        for beat in range(32):
            memory.add(float(beat), beat % 4, sure_of((9, 0, 0, 9)[beat % 4]))
            if memory is told and beat % 4 == 1:
                memory.amend(0, beat - 1.0, float(beat))
    assert int(untold.expect(0, 4).log_shares.argmax()) == 9
    assert int(told.expect(0, 4).log_shares.argmax()) == 0


def test_memory_told_otherwise_is_as_if_it_had_been_heard_so() -> None:
    """The beats after those that are amended keep what they were heard as."""
    heard_so, told = SongMemory(12), SongMemory(12)
    only_five = np.full((12, 1), 1e-9)
    only_five[5] = 1.0
    for memory in (heard_so, told):
        memory.expect(0, 4)
        for beat in range(40):
            as_five = memory is heard_so and 37 <= beat < 39
            belief = only_five.ravel() if as_five else sure_of((0, 0, 5, 7)[beat % 4])
            memory.add(float(beat), beat % 4, belief)
    told.amend(5, 37.0, 39.0)
    seen, wanted = (memory.expect(0, 4) for memory in (told, heard_so))
    assert np.allclose(seen.log_shares, wanted.log_shares, atol=1e-6)
    assert np.allclose(seen.hints, wanted.hints)


@pytest.mark.parametrize("asked", [False, True])
def test_eight_beats_can_be_remembered_otherwise(*, asked: bool) -> None:
    """Of a bar of nine the first stays as it was heard, whether or not memory was asked since."""
    told, wanted = looped((0, 0, 5, 7), {}), looped((0, 0, 5, 7), {})
    for beat in range(12, 21):
        for memory in (told, wanted):
            memory.add(float(beat), beat % 4, sure_of(2))
    if asked:
        told.foresee(1, sure_of(2))
    told.amend(9, 12.0, 21.0)
    wanted.amend(9, 13.0, 21.0)
    seen, expected = (memory.expect(1, 4) for memory in (told, wanted))
    assert np.array_equal(seen.log_shares, expected.log_shares)


@pytest.mark.parametrize("since", [3.0, 100.0])
def test_nothing_is_amended_across_a_jump(since: float) -> None:
    """Nor is there anything to amend where nothing has been heard yet."""
    memory, unasked = looped((0, 0, 5, 7), {}), looped((0, 0, 5, 7), {})
    for each in (memory, unasked):
        each.jump(100.0)
    memory.amend(3, since, 200.0)
    assert np.array_equal(memory.expect(0, 4).log_shares, unasked.expect(0, 4).log_shares)


def test_nothing_is_put_right_across_a_jump() -> None:
    """What is heard after a jump says nothing about the beat before it."""
    memory = looped((0, 0, 5, 7), {})
    memory.jump(100.0)
    memory.revise(sure_of(11))
    memory.add(100.0, 0, sure_of(0))
    shares = memory.expect(1, 4).log_shares
    assert shares[11] == pytest.approx(shares[1])


def test_a_place_played_before_is_known_after_a_jump() -> None:
    """One root for eight bars but on beat 5, which had another: back there, that is expected."""
    memory = SongMemory(12)
    for beat in range(30):
        memory.expect(beat % 4, 4)
        memory.add(float(beat), beat % 4, sure_of(2 if beat == 5 else 9))
    gone_on = int(memory.expect(2, 4).log_shares.argmax())
    memory.jump(5.0)

    assert (gone_on, int(memory.expect(1, 4).log_shares.argmax())) == (9, 2)


# Keys ---------------------------------------------------------------------------------------


def test_a_cadence_tells_its_key_in_all_keys() -> None:
    """I, IV, V7, I over two bars: the major key is heard, whichever it is."""
    for steps in range(12):
        player = Pianist()
        for bar, notes in enumerate(("48 60 64 67", "41 57 60 65", "43 59 62 65", "48 60 64 67")):
            player.at(2 * bar).play(up(notes, steps))
        assert player.at(8).ear.heard(moment(8.0)).key == Key(steps)


@pytest.mark.parametrize(("chord", "minor"), [("48 60 64 67", False), ("48 60 63 67 70", True)])
def test_the_first_chord_is_in_its_own_key_until_more_is_known(chord: str, minor: bool) -> None:
    """Not in C: whoever walks from Em in C has F for a second step, a semitone above the root."""
    for steps in range(12):
        first = Pianist().at(0).play(up(chord, steps)).at(0.1).ear.heard(moment(0.1))
        assert (first.key.tonic, first.key.minor) == (steps, minor)
        assert first.key_confidence < 0.5


def test_a_first_chord_does_not_shake_the_key_that_the_player_tells() -> None:
    """Who says A flat and begins on Fm means A flat."""
    ear = Ear(told=Key(8))
    ear.cross(moment(0.0))
    for note in (41, 60, 65, 68):
        ear.note_on(moment(0.0), note, 80, 0)
    assert ear.heard(moment(0.1)).key == Key(8)


def test_a_modulation_is_followed_within_four_bars() -> None:
    """Sixteen bars in C, then the same in E flat: four bars on, its scale is heard."""
    player = Pianist()
    turn = ("48 60 64 67", "45 60 64 69", "41 57 60 65", "43 59 62 65")
    for bar in range(20):
        player.at(4 * bar).play(up(turn[bar % 4], 0 if bar < 16 else 3))
    assert set(player.at(79).ear.heard(moment(79)).key.scale) == set(Key(3).scale)


def test_a_song_that_comes_home_is_in_its_own_key_again() -> None:
    """Gm Eb Bb F may be in Bb as well; after a middle part in E it is G minor, as before it."""
    home = "Gm Eb Bb F " * 3
    middle = "E A B7 E C#m A B7 E " * 2 + "E A B7 E "
    player, keys = Pianist(), []
    for bar, name in enumerate((home + "Gm Cm D7 Gm " * 3 + middle + home).split()):
        player.at(4 * bar).play(keys_of(name))
        keys.append(player.at(4 * bar + 3).ear.heard(moment(player.now)).key)

    assert keys[40] == Key(4)
    assert set(keys[-8:]) == {Key(7, minor=True)}


def test_a_minor_song_may_end_in_major() -> None:
    """A minor for sixteen bars, with a last chord of A major held two bars: A minor it was."""
    player = Pianist()
    turn = ("45 60 64 69", "50 57 62 65", "40 56 62 64", "45 60 64 69")
    for bar in range(16):
        player.at(4 * bar).play(turn[bar % 4])
    player.at(64).play("45 61 64 69").at(72)
    assert player.ear.heard(moment(72)).key == Key(9, minor=True)


def test_a_secondary_dominant_does_not_shake_the_key() -> None:
    """C Am F G7, C A7 Dm G7, over and over: the A7 belongs to its D minor, and C is the key."""
    player = Pianist()
    turn = ["48 60 64 67", "45 60 64 69", "41 57 60 65", "43 59 62 65"]
    turn += ["48 60 64 67", "45 61 64 67", "50 57 62 65", "43 59 62 65"]
    keys = []
    for bar in range(24):
        player.at(4 * bar).play(turn[bar % 8])
        keys.append(player.at(4 * bar + 3).ear.heard(moment(player.now)).key)
    assert set(keys) == {Key(0)}


def test_relative_minor_is_told_by_its_chords() -> None:
    """The notes of C, but at home on A minor with its E7: A minor is heard."""
    player = Pianist()
    turn = ("45 60 64 69", "50 57 62 65", "40 56 62 64", "45 60 64 69")
    for bar in range(8):
        player.at(4 * bar).play(turn[bar % 4])
    assert player.at(32).ear.heard(moment(32)).key == Key(9, minor=True)


def test_phrases_of_four_bars_are_counted_from_the_first_bar_that_sounds() -> None:
    """Bar 3 is the first to sound: phrases open with 3, 7 and 11, and with no beat inside a bar."""
    counter = Counter(("maj",))
    bars = [None, 3, None, 4, 5, 6, 7, None, 9, 10, 11, 12]
    opened = [counter.beat(np.zeros(WIDTH_NOW), np.ones(12), bar).opens_phrase for bar in bars]
    assert [bar for bar, opens in zip(bars, opened, strict=True) if opens] == [3, 7, 11]


def chance_of_minor(loop: list[str]) -> float:
    """How likely E minor is after four times four bars of a loop."""
    keys, player = KeyFilter(TAUGHT), Pianist()
    player.ear = Ear(keys=keys)
    for bar in range(16):
        player.at(4 * bar).play(keys_of(loop[bar % 4]))
    player.at(64)
    return float(keys.belief[KEYS.index(Key(4, minor=True))])


def test_a_song_is_at_home_where_its_phrases_begin() -> None:
    """Em C G D goes round as G D Em C does, and is five times as likely to be in E minor."""
    assert chance_of_minor(["Em", "C", "G", "D"]) > 5 * chance_of_minor(["G", "D", "Em", "C"])


@pytest.mark.parametrize(("form", "key"), [
    ("F7 F7 F7 F7 Bb7 Bb7 F7 F7 C7 Bb7 F7 F7 " * 3, Key(5)),
    ("F7 Bb7 F7 F7 Bb7 Bb7 F7 D7 Gm7 C7 F7 C7 " * 3, Key(5)),
    ("F7 Bb7 F7 F7 Bb7 Bdim7 F7 D7 Gm7 C7 F7 Gm7 " * 3, Key(5)),
    ("A7 D7 A7 D7 A7 D7 E7 D7 " * 4, Key(9)),
    ("Gm7 C7 " * 16, Key(7, minor=True)),
    ("Bm7 E7 " * 16, Key(11, minor=True)),
])  # fmt: skip
def test_a_blues_or_a_vamp_is_in_the_key_of_its_first_chord(form: str, key: Key) -> None:
    """All dominants, and no B flat but its seventh chord: F.  Nobody plays the F of Gm7 and C7."""
    assert set(keys_by_bar(form)) == {key}


def test_a_blues_may_move_and_a_dominant_lead_home() -> None:
    """A chorus and a half in F, then C for good; and F7 may lead to B flat where that is home."""
    moves = "F7 Bb7 F7 F7 Bb7 Bb7 F7 F7 C7 Bb7 F7 F7 " * 2 + "C Am Dm G7 C Am Dm G7 C Am F G7 C C "
    assert keys_by_bar(moves)[-1] == Key(0)
    assert keys_by_bar("Bb Eb F7 Bb Bb7 Eb F7 Bb " * 3)[-1] == Key(10)


def keys_by_bar(form: str) -> list[Key]:
    """The key named at the end of each bar of chords, a bar each."""
    player, keys = Pianist(), []
    for bar, name in enumerate(form.split()):
        player.at(4 * bar).play(keys_of(name))
        keys.append(player.at(4 * bar + 3.9).ear.heard(moment(player.now)).key)
    return keys


def test_a_song_that_moves_keeps_its_mode() -> None:
    """A song in B minor goes up a semitone: it is in C minor then, and not in E flat."""
    before = "Bm G D A " * 4 + "Bm Em F#7 Bm " * 2
    assert set(keys_by_bar(before + "Cm Ab Eb Bb " * 3)[-8:]) == {Key(0, minor=True)}


def test_a_borrowed_chord_is_no_move() -> None:
    """F between D and G, borrowed from D minor, comes and goes in a song in D major."""
    home = "D Bm G A "
    assert set(keys_by_bar(4 * home + 2 * "D F G D " + home)) == {Key(2)}


def keys_named(told: Key | None, turn: str, bars: int) -> list[Key]:
    """The key named at the end of each bar of a turn of chords, a bar each."""
    player = Pianist()
    player.ear = Ear(told=told)
    chords = turn.split(" | ")
    keys = []
    for bar in range(bars):
        player.at(4 * bar).play(chords[bar % len(chords)])
        player.at(4 * bar + 3.9)
        keys.append(player.ear.heard(moment(player.now)).key)
    return keys


# Ab, Fm, Bbm, Eb7: it might be F minor's.
HOMEWARD = "44 60 63 68 | 41 60 65 68 | 46 61 65 70 | 51 61 67 70"


@pytest.mark.parametrize("told", [Key(8), Key(5, minor=True)])
def test_the_key_that_a_player_tells_is_believed_where_the_notes_leave_it_open(told: Key) -> None:
    """Before the first note too, so that everything is spelled in it from the start."""
    assert Ear(told=told).ended.key == told
    assert keys_named(told, HOMEWARD, 8)[-4:] == [told] * 4


def test_a_key_told_wrongly_is_left_within_two_bars() -> None:
    """Who says B major and plays in A flat is heard, not believed."""
    keys = keys_named(Key(11), HOMEWARD, 8)
    assert Key(11) not in keys[1:]


@pytest.mark.parametrize(
    ("key", "before", "name"),
    [
        (Key(6), "Bb", "Gb major"), (Key(6), "Db", "Gb major"), (Key(6), "E", "F# major"),
        (Key(3, minor=True), "B", "D# minor"), (Key(3, minor=True), "Gb", "Eb minor"),
        (Key(8, minor=True), "Ab", "Ab minor"), (Key(8, minor=True), "A", "G# minor"),
        (Key(1), "F#", "Db major"), (Key(11), "Gb", "B major"),
    ],
)  # fmt: skip
def test_a_key_is_written_from_the_side_of_the_one_before(key: Key, before: str, name: str) -> None:
    """A song in B flat that goes down a third is in Gb; one in E that goes up a second, in F#."""
    assert written_after(key, Key.named(before)).name == name


def test_a_song_in_flats_stays_in_flats() -> None:
    """It begins in D flat and goes to G flat, and is in Gb major there, never in F#."""
    player = Pianist()
    chords = 4 * ["Db", "Bbm", "Ebm7", "Ab7"] + 6 * ["Gb", "Ebm", "Abm7", "Db7"]
    names = []
    for bar, name in enumerate(chords):
        player.at(4 * bar).play(keys_of(name))
        names.append(player.at(4 * bar + 3.9).ear.heard(moment(player.now)).key.name)

    assert names[-1] == "Gb major"
    assert "F# major" not in names


@pytest.mark.parametrize(
    ("song", "away", "name"),
    [
        ("Gb Cb Gb Db7", "Gbm Cbm Gbm Db7", "Gb major"),
        ("Gb Cb Gb Db7", "Gbm A D Db7", "Gb major"),
        ("Ebm Abm Ebm Bb7", "Gbm Cbm Gbm Db7", "Eb minor"),
    ],
)
def test_a_song_comes_back_to_its_key_as_it_was_written(song: str, away: str, name: str) -> None:
    """From D flat to G flat, to its minor, which is written F#m, and back: to Gb, and no F#."""
    player = Pianist()
    names = []
    turns = [*4 * ["Db Bbm Ebm7 Ab7"], *8 * [song], *3 * [away], *4 * [song]]
    for bar, played in enumerate(" ".join(turns).split()):
        player.at(4 * bar).play(keys_of(played))
        names.append(player.at(4 * bar + 3.9).ear.heard(moment(player.now)).key.name)

    assert "F# minor" in names
    assert names[-1] == name
    assert not {"F# major", "D# minor"} & set(names)


def test_the_key_that_a_player_tells_is_written_as_told() -> None:
    """Who says F# reads F# from the first note on, and who says Gb reads Gb."""
    for told in (Key.named("F#"), Key.named("Gb")):
        player = Pianist()
        player.ear = Ear(told=told)
        tonic = player.ear.ended.key.name
        for bar, name in enumerate(4 * ["F#", "D#m", "G#m", "C#7"]):
            player.at(4 * bar).play(keys_of(name))

        assert player.ear.heard(moment(player.now)).key.name == tonic == told.name


@pytest.mark.parametrize(("late", "ahead"), [(0.0, False), (1.0, True)])
def test_labels_that_run_ahead(late: float, ahead: bool) -> None:
    """Labels that stand a beat before the roots are told from labels that stand on them."""
    roots = [41, 46, 48, 41]
    labels = tuple(
        Label(4.0 * i, 4.0 * i + 4, name)
        for i, name in enumerate(("F:maj", "Bb:maj", "C:7", "F:maj"))
    )
    notes = tuple(Note(4.0 * i + late, 4.0 * i + 3, root, 80) for i, root in enumerate(roots))
    assert runs_ahead(Song("made up", "1", labels, notes)) is ahead


@pytest.mark.parametrize(
    ("key", "doubt"), [(Key(5), False), (Key(2, minor=True), False), (Key(4), True)]
)
def test_a_key_whose_scale_the_song_leaves_is_in_doubt(key: Key, doubt: bool) -> None:
    """Its relative's is the same scale."""
    notes = tuple(
        Note(float(i), i + 1.0, n, 80) for i, n in enumerate((53, 58, 60, 57, 55, 64, 62))
    )
    assert key_in_doubt(Song("made up", "1", (), notes, key=key)) is doubt


@pytest.mark.parametrize(
    ("chords", "key"),
    [
        ("G:min G:min C:7 G:maj", Key(7, minor=True)),
        ("G:min C:7 G:maj G:maj7", Key(7)),
        ("C:7 D:7 Eb:maj F:7", Key(7)),
    ],
)
def test_a_chart_is_as_the_chords_on_its_tonic_are(chords: str, key: Key) -> None:
    """Two bars of G minor against one of G make a chart on G minor; without either it is major."""
    labels = tuple(Label(4.0 * i, 4.0 * i + 4, name) for i, name in enumerate(chords.split()))
    assert key_of_chart(Song("made up", "1", labels, (), tonics=((0.0, 7),))) == key


def test_a_chart_of_two_tonics_has_no_one_key() -> None:
    """It begins on G, and ends on A."""
    assert key_of_chart(Song("made up", "1", (), (), tonics=((0.0, 7), (32.0, 9)))) is None
