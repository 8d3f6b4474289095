"""The benches: what they count, and what they do not let pass."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from io import BytesIO
from math import isnan, nan

import mido
import pytest

from bench.alter import joined
from bench.baselines import stacker
from bench.changes import Change
from bench.charts import changes_of
from bench.corpus import Bar, Label, Note, Song
from bench.expecting import Tally
from bench.foresight import Calls, Felt, cost, report
from bench.jam import Part, Timed
from bench.landing import Landing
from bench.listening import percent, settle_times, worst
from bench.playing import Sounded, Take
from bench.replay import faults_of_hand, faults_of_part
from bench.rhythms import elsewhere
from bench.styles import landings
from engine.events import Outgoing, Play, Release
from engine.hearing.taught import TAUGHT
from engine.score import BassNote, Role
from engine.theory.harmony import Key
from engine.theory.labels import harte
from engine.theory.meter import FOUR_FOUR
from engine.theory.symbols import parse_symbol
from presets.loader import load
from tests.band import bass_player


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
        ((), ["the bass plays nothing"]),
    ],
    ids=["sound", "two at once", "one ends twice", "one ends before any began", "silence"],
)  # fmt: skip
def test_each_fault_of_a_part_is_told(messages: list[tuple[str, int]], faults: list[str]) -> None:
    """A part that is broken in whatever way is told of, and the bench goes on."""
    begun = sum(kind == "note_on" for kind, _ in messages)

    assert faults_of_part(part_of(*messages)) == (begun, faults)


def bass(beat: float, note: int, chord: str = "Bb", fret: int = 1) -> Sounded:
    """A bass note of a beat at 120 a minute, over a chord."""
    place, root = Fraction(beat), parse_symbol(chord)
    written = BassNote(place, Fraction(1), note, 0.5, Role.ROOT, "", 1, fret, root)
    return Sounded(beat, beat + 1, Play(beat / 2, beat, note, 80, written), 0.5)


@pytest.mark.parametrize("open_between", [False, True])
def test_no_hand_gets_far_up_the_neck_in_no_time_with_an_open_string_between(
    open_between: bool,
) -> None:
    """From the first fret to the twelfth takes a quarter of a second, whatever else is played."""
    style = load("rock")
    open_string, up = style.neck.tuning[0], style.neck.tuning[0] + 12
    notes = [bass(0.0, open_string + 1, fret=1), bass(0.25, up, fret=12)]
    if open_between:
        notes.insert(1, bass(0.125, open_string, fret=0))

    assert faults_of_hand(notes, style) == ["fret 1 to 12 at beat 0.25 is too far"]


def outgoing(*told: tuple[str, int]) -> Iterable[Outgoing]:
    """Notes that begin (+) and end (-)."""
    for sign, note in told:
        yield bass(0, note).play if sign == "+" else Release(0.0, 0.0, note)


@pytest.mark.parametrize(
    ("told", "hanging"),
    [
        ((("+", 34), ("-", 34)), []),
        ((("+", 34),), [34]),
        ((("+", 34), ("+", 39), ("-", 39)), [34]),
        ((("+", 34), ("-", 39)), [34]),
        ((("-", 34), ("+", 34)), [34]),
    ],
)
def test_a_note_that_hangs_in_a_jam_is_found_whatever_is_played_after_it(
    told: tuple[tuple[str, int], ...], hanging: list[int]
) -> None:
    """Only its own end ends it."""
    part = Part()
    for each in outgoing(*told):
        part.take(each)

    assert part.hanging() == hanging


def test_changes_that_the_bass_leaves_out_are_told_beside_those_it_lands_on() -> None:
    """Who plays at one change of four and lands there, lands on all, and has answered a quarter."""
    landing = Landing()
    for i, chord in enumerate(("Eb", "Cm", "Fm7", "Bb7")):
        change = Change(4.0 * i, parse_symbol(chord), 4.0 * i + 4)
        landing.add(change, [bass(4, 36, "Cm")] if chord == "Cm" else [])

    assert landing.report().startswith("answered 25.0%  landed 100.0%")


def test_a_bass_that_is_silent_is_not_counted_as_one_that_is_never_elsewhere() -> None:
    """It is nowhere."""
    song = Song("made up", "3", (Label(0, 4, "Bb:maj"), Label(4, 8, "G:min")))

    assert isnan(elsewhere(song, Take((), ())))
    assert elsewhere(song, Take((bass(0, 34), bass(4, 34)), ())) == 0.5


@pytest.mark.parametrize(("first", "share"), [(31, 1.0), (34, 0.0)])
def test_a_change_is_landed_on_with_its_root_and_not_with_the_way_there(
    first: int, share: float
) -> None:
    """A semitone that leads to G does not make a B flat over it a root."""
    part = [[bass(0, 34).play.written, replace(bass(3, 32).play.written, aims_at=7)]]
    part.append([bass(4, first, "Gm").play.written])

    assert landings([(part, Key(10))]) == share


def labelled(number: str, beats: int, bars: int = 4, key: Key | None = None) -> Song:
    """A song of a chord a bar, so many beats each, whose bars are written."""
    labels = tuple(
        Label(beats * i, beats * i + beats, ("Bb:maj", "G:min")[i % 2]) for i in range(bars)
    )
    written = tuple(Bar(beats * i, beats, "") for i in range(bars))
    return Song("made up", number, labels, bars=written, key=key)


@pytest.mark.parametrize(("beats", "bars"), [(4, 4), (3, 0), (6, 0)])
def test_styles_are_tried_on_charts_in_four_four_only(beats: int, bars: int) -> None:
    """A waltz is none, though a chart has no time signature that says so."""
    assert len(changes_of(labelled("3", beats))) == bars


@pytest.mark.parametrize(
    ("keys", "count"),
    [
        ([], 0),
        ([Key(3)], 0),
        ([Key(3), Key(0, minor=True)], 0),
        ([Key(3), Key(10)], 5),
    ],
    ids=["no song", "one song", "relative keys", "two scales"],
)
def test_songs_are_joined_only_if_there_is_another_scale_to_go_to(
    keys: list[Key], count: int
) -> None:
    """Else there is no modulation to be heard, and nobody waits for one."""
    songs = [labelled(str(i), 4, bars=40, key=key) for i, key in enumerate(keys)]

    assert len(list(joined(songs, 5))) == count


def test_of_no_beats_no_share_is_right() -> None:
    """It is said, or is no number; it is neither 0 nor 100%."""
    assert all(isnan(value) for value in percent([], []).values())
    assert all(isnan(value) for value in percent(["N"], ["C:maj"]).values())
    assert report(Calls(), "nothing").split() == [
        "nothing",
        "0",
        *["no", "beat", "is", "to", "be", "judged"],
    ]
    assert Tally().report("of none") == "of none: no beat is to be judged"


def test_a_change_without_keys_is_counted_apart_from_those_that_are_heard() -> None:
    """Nobody can settle on what is not struck; it is not left out unsaid."""
    labels = tuple(
        Label(4 * i, 4 * i + 4, name) for i, name in enumerate(("Eb:maj", "C:min", "Ab:maj"))
    )
    keys = {0.0: (51, 63, 67, 70), 8.0: (44, 60, 63, 68)}
    notes = tuple(Note(at, at + 4, note, 80) for at, struck in keys.items() for note in struck)
    without, heard = settle_times(Song("made up", "3", labels, notes), TAUGHT)

    assert isnan(without) and heard < 0.5


def test_the_shortest_jam_has_figures_too() -> None:
    """A quarter in which nothing was played has none to be told, and the bench goes on."""
    assert Timed(bass_player()).report().split() == ["nan"] * 4
    assert len(list(cost([labelled("3", 4)], hours=1e-6))) == 4


def test_the_worst_songs_are_those_of_which_something_was_right_or_wrong() -> None:
    """A song without a chord is not among them, and does not hide the others."""
    songs = [(96.0, "b"), (nan, "c"), (40.0, "a"), (nan, "d"), (70.0, "e")]

    assert worst(songs, 2) == [(40.0, "a"), (70.0, "e")]


@pytest.mark.parametrize(
    ("before", "name"),
    [(33, "semitone"), (45, "other"), (41, "fourth or fifth"), (29, "fourth or fifth"),
     (53, "fourth or fifth"), (46, "the same"), (32, "tone"), (38, "other")],
)  # fmt: skip
def test_the_way_into_a_change_is_told_octaves_aside(before: int, name: str) -> None:
    """A fifth from an octave above is a fifth."""
    beats = [
        Felt(Fraction(i), Fraction(i % 4), FOUR_FOUR, parse_symbol("F7" if i < 4 else "Bb"))
        for i in range(8)
    ]
    tally = Tally()
    tally.lead_in(beats, Take((bass(3, before, "F7"), bass(4, 34)), ()), {4.0})

    assert dict(tally.ways_in) == {name: 1}


@pytest.mark.parametrize(
    ("keys", "name"),
    [
        ((48, 56, 63, 68), "Ab:maj"),  # Ab/C
        ((54, 61, 69), "F#:min"),
        ((50, 53, 56), "D:dim"),
        ((58, 63, 65), "Eb:maj"),  # Bbsus4, which is no stack of thirds
    ],
)
def test_the_listener_that_stacks_thirds(keys: tuple[int, ...], name: str) -> None:
    """It knows a triad upside down, takes a suspended chord for none, and keeps it in silence."""
    by_thirds = stacker()
    assert by_thirds is not None, "music21 is among the developer's packages"
    notes = tuple(Note(0.0, 1.0, key, 80) for key in keys)
    song = Song("pop", "7", (Label(0.0, 2.0, "N"),), notes)

    assert [harte(chord, Key(3)) for chord in by_thirds(song)] == [name] * 2
