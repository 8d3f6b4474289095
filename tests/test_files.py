"""MIDI files in and out, the trace, the tally and virtual time."""

from __future__ import annotations

import json
import os
import sys
import tracemalloc
from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from io import BytesIO
from pathlib import Path
from random import Random

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.bassist import Bassist
from engine.events import (
    Beat,
    Bend,
    ChangeExpected,
    ChordHeard,
    ClockTick,
    Control,
    Incoming,
    KeyHeard,
    NewMetre,
    NoteOff,
    NoteOn,
    Outgoing,
    Play,
    Release,
    Start,
    Stop,
    Tick,
)
from engine.line.grades import Grade
from engine.score import BassNote, Role
from engine.theory.harmony import QUALITY_BY_HARTE, Chord, Key
from engine.theory.meter import Metre
from engine.theory.symbols import parse_symbol
from ports.bass_file import BassFile
from ports.files import FileError, create, replacing, spare
from ports.replay import replay
from ports.song import Song, TempoMap, read
from ports.tally import Tally, told
from ports.trace import LiveTrace, Trace
from presets.loader import load

B_FLAT = Key(10)
CM7 = Chord.of(0, QUALITY_BY_HARTE["min7"])
F7_OVER_A = Chord.of(5, QUALITY_BY_HARTE["7"], 9)


def midi_file(
    path: Path, *tracks: Iterable[tuple[int, mido.Message | mido.MetaMessage]], beat: int = 480
) -> Path:
    """Write a MIDI file whose tracks are (tick, message) pairs."""
    file = mido.MidiFile(type=1, ticks_per_beat=beat)
    for timed in tracks:
        track = mido.MidiTrack()
        last = 0
        for tick, message in timed:
            track.append(message.copy(time=tick - last))
            last = tick
        file.tracks.append(track)
    file.save(path)
    return path


def tempo(per_minute: float) -> mido.MetaMessage:
    """A tempo message."""
    return mido.MetaMessage("set_tempo", tempo=round(60e6 / per_minute))


def metre(count: int, unit: int) -> mido.MetaMessage:
    """A time signature message."""
    return mido.MetaMessage("time_signature", numerator=count, denominator=unit)


def named(name: str) -> tuple[int, mido.MetaMessage]:
    """A track's name, at its start."""
    return 0, mido.MetaMessage("track_name", name=name)


def key(tick: int, until: int, note: int, channel: int = 0) -> list[tuple[int, mido.Message]]:
    """A key held from one tick to another."""
    return [
        (tick, mido.Message("note_on", note=note, velocity=70, channel=channel)),
        (until, mido.Message("note_off", note=note, channel=channel)),
    ]


def _tick(timed: tuple[int, object]) -> int:
    return timed[0]


def bass(note: int, chord: Chord = CM7, role: Role = Role.ROOT) -> BassNote:
    """A bass note as written, on beat 2."""
    return BassNote(Fraction(2), Fraction(1), note, 0.8, role, "on the one", 2, 3, chord)


# Reading ------------------------------------------------------------------------------------


def test_tempo_map_places_ticks_in_seconds() -> None:
    """A beat at 60 lasts a second, one at 120 half of it, and the map runs both ways."""
    song = TempoMap.of(480, [(0, 1_000_000), (960, 500_000)])

    assert [song.seconds_at(tick) for tick in (0, 480, 960, 1440)] == [0, 1, 2, 2.5]
    assert [song.beat_at(second) for second in (0, 1, 2, 2.5)] == [0, 1, 2, 3]


@given(
    st.lists(st.tuples(st.integers(1, 5000), st.integers(100_000, 2_000_000)), max_size=8),
    st.integers(0, 60_000),
)
def test_tempo_map_is_its_own_inverse(steps: list[tuple[int, int]], tick: int) -> None:
    """A place in the file, turned into seconds and back, is the same place."""
    at, changes = 0, []
    for step, pace in steps:
        at += step
        changes.append((at, pace))
    song = TempoMap.of(480, changes)

    assert song.tick_at(song.seconds_at(tick)) == pytest.approx(tick, abs=1e-4)


def test_reading_tells_what_the_player_did(tmp_path: Path) -> None:
    """Keys and pedal come at their seconds, a note on with velocity 0 being a key coming up."""
    pedal = (480, mido.Message("control_change", control=64, value=127))
    up = (960, mido.Message("note_on", note=58, velocity=0))
    down = (0, mido.Message("note_on", note=58, velocity=70))
    song = read(midi_file(tmp_path / "a.mid", [(0, tempo(60))], [down, pedal, up]))

    assert song.played == (NoteOn(0, 58, 70), Control(1, 64, 127), NoteOff(2, 58))
    assert song.end == 2


def test_all_tracks_play_together(tmp_path: Path) -> None:
    """Two tracks come as one player, in the order of time; drums are left out."""
    song = read(
        midi_file(
            tmp_path / "a.mid", key(480, 960, 55), key(0, 480, 58), key(0, 480, 36, channel=9)
        )
    )

    assert [(e.at, e.note) for e in song.played if isinstance(e, NoteOn)] == [(0, 58), (0.5, 55)]


def test_named_tracks_are_chosen(tmp_path: Path) -> None:
    """Only the tracks asked for are played, whatever the case; a nameless one goes by number."""
    path = midi_file(
        tmp_path / "a.mid",
        [named("Keys"), *key(0, 480, 58)],
        [named("Guitar"), *key(0, 480, 60)],
        key(0, 480, 62),
    )

    assert {e.note for e in read(path, ["keys", "track 3"]).played if isinstance(e, NoteOn)} == {
        58,
        62,
    }


def notes_of(song: Song) -> set[int]:
    """Which keys are struck in it."""
    return {event.note for event in song.played if isinstance(event, NoteOn)}


def test_a_track_is_chosen_by_the_name_that_a_program_shows(tmp_path: Path) -> None:
    """Programs of today write names in UTF-8, those of yesterday in Latin-1; both are read."""
    today = "Flügel, 左手".encode().decode("latin-1")
    path = midi_file(
        tmp_path / "a.mid",
        [named(today), *key(0, 480, 58)],
        [named("Flügel"), *key(0, 480, 60)],
    )

    assert notes_of(read(path, ["FLÜGEL", " 左手"])) == {58}
    assert notes_of(read(path, ["FLÜGEL"])) == {60}
    with pytest.raises(FileError, match=r"there are: 'Flügel, 左手', Flügel$"):
        read(path, ["Piano"])


@pytest.mark.parametrize(
    ("asked", "played"),
    [
        ("Piano, left", {58}),
        ("piano, LEFT,Piano", {58, 60}),
        ("Piano,Piano, left", {58, 60}),
        ("Piano,left", {60, 62}),
    ],
)
def test_a_name_may_have_a_comma_in_it(tmp_path: Path, asked: str, played: set[int]) -> None:
    """What is between commas is a name, unless with its commas it is one too."""
    path = midi_file(
        tmp_path / "a.mid",
        [named("Piano, left"), *key(0, 480, 58)],
        [named("Piano"), *key(0, 480, 60)],
        [named("left"), *key(0, 480, 62)],
    )

    assert notes_of(read(path, asked.split(","))) == played


def test_every_track_goes_by_its_number(tmp_path: Path) -> None:
    """Of two tracks of one name the number tells which; a name that looks like one is a name."""
    path = midi_file(
        tmp_path / "a.mid",
        [named("Piano"), *key(0, 480, 58)],
        [named("Piano"), *key(0, 480, 60)],
        [named("Track 1"), *key(0, 480, 62)],
    )

    assert notes_of(read(path, ["Piano"])) == {58, 60}
    assert notes_of(read(path, ["Track 2"])) == {60}
    assert notes_of(read(path, ["track 1"])) == {62}


def test_a_track_that_is_asked_for_twice_plays_once(tmp_path: Path) -> None:
    """By its name and by its number it is the same pair of hands."""
    path = midi_file(tmp_path / "a.mid", [named("Keys"), *key(0, 480, 58)])

    assert read(path, ["keys", "track 1"]) == read(path, ["Keys"])


def test_a_track_that_is_not_there(tmp_path: Path) -> None:
    """A wrong track name is answered with the names there are."""
    path = midi_file(tmp_path / "a.mid", [(0, tempo(90))], [named("Keys"), *key(0, 480, 58)])

    with pytest.raises(FileError, match=r"no track 'Piano'; there are: Keys$"):
        read(path, ["Piano"])


def test_clock_follows_the_tempo_map(tmp_path: Path) -> None:
    """The clock ticks 24 times a beat, faster where the file is faster, after one start."""
    song = read(midi_file(tmp_path / "a.mid", [(0, tempo(60)), (480, tempo(120))], key(0, 960, 58)))
    events = list(song.with_clock())
    ticks = [e.at for e in events if isinstance(e, ClockTick)]

    assert len(ticks) == 48
    assert ticks[24] == 1.0
    assert ticks[25] - ticks[24] == pytest.approx(0.5 / 24)
    assert [type(e) for e in events].count(Start) == 1
    assert events[-1] == Stop(1.5)


def test_what_falls_together_comes_in_a_sequencers_order(tmp_path: Path) -> None:
    """At bar 1 the metre comes first, then the chord, then start and clock."""
    song = read(midi_file(tmp_path / "a.mid", [(0, metre(3, 4))], key(0, 480, 58)))

    assert list(song.with_clock())[:4] == [
        NewMetre(0, Metre(3, 4)), NoteOn(0, 58, 70), Start(0), ClockTick(0),
    ]  # fmt: skip


@pytest.mark.parametrize("per_minute", [97, 113, 120, 130, 151])
def test_a_bar_is_counted_in_the_metre_that_begins_with_it(tmp_path: Path, per_minute: int) -> None:
    """Two bars of four, then three to a bar: the third is a bar of three from its first beat."""
    head = [(0, tempo(per_minute)), (0, metre(4, 4)), (3840, metre(3, 4))]
    strikes = [(at, note) for at in (0, 1920, 3840, 5280) for note in (39, 55, 58)]
    keys = sorted((event for at, note in strikes for event in key(at, at + 480, note)), key=_tick)
    song = read(midi_file(tmp_path / "a.mid", head, keys))
    out: list[Outgoing] = []
    bassist = Bassist(load("rock"), Random(1), external_clock=True)
    replay(bassist, song.with_clock(), out.append)

    bars = [(o.beat, o.bar, str(o.metre)) for o in out if isinstance(o, Beat) and o.count == 1]
    assert bars[:4] == [(0, 1, "4/4"), (4, 2, "4/4"), (8, 3, "3/4"), (11, 4, "3/4")]


@pytest.mark.parametrize("tick", [1920, 2400])
def test_a_metre_after_the_last_key_is_not_played(tmp_path: Path, tick: int) -> None:
    """Where the keys end the song ends, whatever metre a program writes after the last bar."""
    path = midi_file(tmp_path / "a.mid", [(0, metre(4, 4)), (tick, metre(3, 4))], key(0, 1920, 58))
    events = list(read(path).with_clock())

    assert [event for event in events if isinstance(event, NewMetre)] == [NewMetre(0, Metre(4, 4))]
    assert events[-1] == Stop(2)
    assert all(event.at <= 2 for event in events)


def test_without_clock_only_the_player_is_heard(tmp_path: Path) -> None:
    """Without the file's clock there is no tick, no start, and only the opening metre."""
    song = read(
        midi_file(tmp_path / "a.mid", [(0, metre(3, 4)), (1440, metre(4, 4))], key(0, 1920, 58))
    )

    assert list(song.without_clock()) == [
        NewMetre(0, Metre(3, 4)), NoteOn(0, 58, 70), NoteOff(2, 58), Stop(2),
    ]  # fmt: skip


def test_a_metre_nobody_could_count_is_passed_over(tmp_path: Path) -> None:
    """A time signature of 40/4 is skipped and the file read on."""
    song = read(midi_file(tmp_path / "a.mid", [(0, metre(40, 4))], key(0, 480, 58)))

    assert song.metres == (NewMetre(0, Metre(4, 4)),)


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        pytest.param(0x59, (8, 0), id="a key of eight sharps"),
        pytest.param(0x59, (0, 255), id="a key neither major nor minor"),
        pytest.param(0x59, (), id="a key that is not told"),
        pytest.param(0x54, (255, 0, 0, 0, 0), id="a film time that no film has"),
        pytest.param(0x20, (), id="a channel that is not told"),
        pytest.param(0x08, b"Grand", id="a sound's name"),
        pytest.param(0x4B, (1, 2), id="what no standard knows"),
    ],
)
def test_what_a_bassist_does_not_need_from_a_file_may_be_odd(
    tmp_path: Path, kind: int, data: Iterable[int]
) -> None:
    """Tempo, metre, names and notes are read; whatever else is said between them moves nothing."""
    plain = [named("Keys"), (0, tempo(60)), (0, metre(3, 4)), *key(480, 960, 58)]
    odd = [(240, mido.UnknownMetaMessage(kind, data)), (600, mido.UnknownMetaMessage(kind, data))]
    wanted = read(midi_file(tmp_path / "a.mid", plain))
    with_odd = midi_file(tmp_path / "b.mid", sorted([*plain, *odd], key=lambda timed: timed[0]))

    assert read(with_odd, ["Keys"]) == wanted


def test_odd_events_are_passed_over_between_all_that_a_track_may_hold(tmp_path: Path) -> None:
    """Struck keys without a status of their own, wheel, sound and system messages stay in step."""
    track = (
        b"\x00\xff\x59\x02\x08\x00"  # eight sharps
        b"\x00\xf0\x03\x59\x02\xf7" b"\x00\xf7\x02\xff\x59"  # system exclusive
        b"\x00\xc0\x05" b"\x00\xe0\x00\x40"  # another sound, the wheel
        b"\x00\x90\x3a\x46" b"\x60\xff\x59\x02\x00\xff"  # a key down; no mode
        b"\x81\x40\x3a\x00" b"\x00\xff\x2f\x00"  # the key up, without a status
    )  # fmt: skip
    path = tmp_path / "a.mid"
    path.write_bytes(
        b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk" + len(track).to_bytes(4, "big") + track
    )

    assert read(path).played == (NoteOn(0, 58, 70), NoteOff(1.5, 58))


BROKEN = [
    (b"", "is empty; give a MIDI file"),
    (b"Bb7 | Eb7 | Bb7 | F7\n", "is not a MIDI file, or is damaged"),
    (b"RIFF\x24\x00\x00\x00WAVEfmt ", "is not a MIDI file, or is damaged"),
    (b"RIFF\x04\x00\x00\x00RMID", "damaged"),
    (b"MThd\x00\x00\x00\x06\x00\x01\x00\x01\x01\xe0MTrk\x00\x00\x00\x20\x00\x90", "damaged"),
    (b"MThd\x00\x00\x00\x06\x00\x02\x00\x00\x01\xe0", "type 2"),
    (b"MThd\x00\x00\x00\x06\x00\x01\x00\x00\xe7\x28", "film frames"),
    (b"MThd\x00\x00\x00\x06\x00\x01\x00\x00\x00\x00", "has 0 ticks to a beat"),
    (b"MThd\x00\x00\x00\x06\x00\x01\x00\x00\x01\xe0", "has no notes"),
]


@pytest.mark.parametrize(("content", "sentence"), BROKEN)
def test_a_broken_file_gets_its_sentence(tmp_path: Path, content: bytes, sentence: str) -> None:
    """Whatever the file holds, the player reads one sentence that names it."""
    path = tmp_path / "take 3.mid"
    path.write_bytes(content)

    with pytest.raises(FileError, match=sentence) as caught:
        read(path)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("before", [b"", b"DISP\x06\x00\x00\x00\x01\x00\x00\x00Bb"])
def test_a_song_may_be_wrapped_up(tmp_path: Path, before: bytes) -> None:
    """Some programs save MIDI files as .rmi, with or without a title: the song in it is read."""
    path = midi_file(tmp_path / "a.mid", key(0, 480, 58))
    plain, song = read(path), path.read_bytes()
    chunks = b"RMID" + before + b"data" + len(song).to_bytes(4, "little") + song
    path.write_bytes(b"RIFF" + len(chunks).to_bytes(4, "little") + chunks)

    assert read(path) == plain


@pytest.mark.parametrize("missing", [1, 4, 20])
def test_a_song_without_its_end_is_called_so(tmp_path: Path, missing: int) -> None:
    """What a broken copy has lost is not guessed at; who reads the sentence knows what to do."""
    path = midi_file(tmp_path / "a.mid", key(0, 480, 58))
    path.write_bytes(path.read_bytes()[:-missing])

    with pytest.raises(FileError, match=r"damaged: its end is missing; copy it again, or save it"):
        read(path)


@pytest.mark.skipif(sys.platform == "win32", reason="pipes have no path there")
def test_a_song_may_come_through_a_pipe(tmp_path: Path) -> None:
    """What another program hands over is read like a file; if it hands over nothing, it is said."""
    song = midi_file(tmp_path / "a.mid", key(0, 480, 58)).read_bytes()
    for handed_over in (song, b""):
        reading, writing = os.pipe()
        os.write(writing, handed_over)
        os.close(writing)
        pipe = Path(f"/dev/fd/{reading}")
        if handed_over:
            assert read(pipe).played == (NoteOn(0, 58, 70), NoteOff(0.5, 58))
        else:
            with pytest.raises(FileError, match=r"is empty; give a MIDI file"):
                read(pipe)
        os.close(reading)


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege there")
def test_a_file_that_does_not_open_is_not_called_damaged(tmp_path: Path) -> None:
    """A link to itself holds no bytes that could be bad; the system's reason is said."""
    link = tmp_path / "a.mid"
    link.symlink_to(link)

    with pytest.raises(FileError, match=r"a\.mid cannot be read: \w"):
        read(link)


@given(st.binary(max_size=60))
def test_no_bytes_break_the_reader(tmp_path_factory: pytest.TempPathFactory, tail: bytes) -> None:
    """A damaged MIDI file is either read as far as it makes sense or refused, never a crash."""
    path = tmp_path_factory.mktemp("fuzz") / "a.mid"
    head = b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60"
    path.write_bytes(head + b"MTrk" + len(tail).to_bytes(4, "big") + tail)

    try:
        song = read(path)
    except FileError:
        return
    assert all(a.at <= b.at for a, b in zip(song.played, song.played[1:], strict=False))


def test_a_song_of_days_is_refused(tmp_path: Path) -> None:
    """A delta time of days is a damaged file, and said to be one."""
    path = midi_file(tmp_path / "a.mid", key(0, 0x0FFFFFFF, 58), beat=96)

    with pytest.raises(FileError, match="hours"):
        read(path)


def test_drums_alone_are_no_notes(tmp_path: Path) -> None:
    """A file of drums has no harmony to play to."""
    with pytest.raises(FileError, match="drums do not count"):
        read(midi_file(tmp_path / "a.mid", key(0, 480, 36, channel=9)))


# Writing ------------------------------------------------------------------------------------


def written(song: Song, tmp_path: Path, *part: Outgoing, bend_range: int = 0) -> mido.MidiFile:
    """What a part looks like after it was saved and read again."""
    file = BassFile(song, bend_range)
    for outgoing in part:
        file.take(outgoing)
    with create(tmp_path / "bass.mid") as target:
        file.save(target)
    return mido.MidiFile(tmp_path / "bass.mid")


@pytest.mark.parametrize("seconds", [0.0, 1e-5, 0.5])
def test_a_note_in_a_bass_file_lasts_a_tick(tmp_path: Path, seconds: float) -> None:
    """However short it sounded: many programs drop a note without a length, or let it hang."""
    song = read(midi_file(tmp_path / "a.mid", key(0, 960, 58)))
    part = Play(0.5, 1, 36, 90, bass(36)), Release(0.5 + seconds, 1, 36)
    (length,) = [m.time for m in written(song, tmp_path, *part).tracks[1] if m.type == "note_off"]

    assert length == max(1, round(seconds * 960))


def test_bass_file_keeps_the_songs_time(tmp_path: Path) -> None:
    """Tempo and metre stand where they stood, and a note where it sounded."""
    song = read(
        midi_file(
            tmp_path / "a.mid",
            [(0, tempo(60)), (0, metre(3, 4)), (96 * 3, tempo(120))],
            key(0, 960, 58),
            beat=96,
        )
    )
    file = written(song, tmp_path, Play(3.5, 4, 36, 90, bass(36)), Release(4.0, 5, 36))
    conductor = [(m.type, m.time) for m in file.tracks[0] if m.type != "end_of_track"]

    assert file.ticks_per_beat == 480
    assert conductor == [("set_tempo", 0), ("time_signature", 0), ("set_tempo", 3 * 480)]
    assert [m.time for m in file.tracks[1] if m.type in ("note_on", "note_off")] == [4 * 480, 480]


def test_bass_file_says_it_is_a_bass(tmp_path: Path) -> None:
    """The track is named, and plays with a bass sound on any General MIDI instrument."""
    song = read(midi_file(tmp_path / "a.mid", key(0, 960, 58)))
    track = written(song, tmp_path, Play(0, 0, 36, 90, bass(36)), Release(1, 1, 36)).tracks[1]

    assert track.name == "Bass"
    assert [m.program for m in track if m.type == "program_change"] == [33]


def test_bass_file_bends_only_where_a_range_is_given(tmp_path: Path) -> None:
    """The range stands before the first note, and the wheel comes to rest after the slide."""
    song = read(midi_file(tmp_path / "a.mid", key(0, 960, 58)))
    part: list[Outgoing] = [
        Bend(0, 0, -2.0), Play(0, 0, 36, 90, bass(36)), Bend(0.05, 0.1, -1.0), Bend(0.1, 0.2, 0.0),
        Release(1, 2, 36),
    ]  # fmt: skip
    bent = written(song, tmp_path, *part, bend_range=4).tracks[1]
    plain = written(song, tmp_path, *part).tracks[1]

    assert [(m.control, m.value) for m in bent if m.type == "control_change"] == [
        (101, 0), (100, 0), (6, 4), (38, 0), (101, 127), (100, 127),
    ]  # fmt: skip
    assert [m.pitch for m in bent if m.type == "pitchwheel"] == [-4096, -2048, 0]
    assert {m.type for m in plain} == {
        "track_name", "program_change", "note_on", "note_off", "end_of_track",
    }  # fmt: skip


def test_bass_file_has_one_note_at_a_time(tmp_path: Path) -> None:
    """Notes that touch, or are shorter than a tick, still end before the next begins."""
    song = read(midi_file(tmp_path / "a.mid", key(0, 960, 58)))
    part: list[Outgoing] = [
        Play(0, 0, 36, 90, bass(36)), Release(0, 0, 36),
        Play(0, 0, 41, 90, bass(41)), Release(0.5, 1, 41),
        Play(0.5, 1, 43, 90, bass(43)), Release(1.0, 2, 43),
    ]  # fmt: skip
    track = written(song, tmp_path, *part).tracks[1]
    sounding: list[int] = []
    for message in track:
        if message.type == "note_on":
            assert sounding == []
            sounding.append(message.note)
        elif message.type == "note_off":
            sounding.remove(message.note)

    assert sounding == []


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    """A folder that is not there is named in the sentence."""
    with pytest.raises(FileError, match=r"bass\.mid cannot be written: No such file"):
        create(tmp_path / "nowhere" / "bass.mid")


def test_what_is_broken_off_leaves_the_file_that_was_there(tmp_path: Path) -> None:
    """The old part is lost only to a whole new one, and nothing else is left lying about."""
    path = tmp_path / "bass.mid"
    path.write_bytes(b"yesterday's part")
    with pytest.raises(KeyboardInterrupt), replacing(path) as target:
        target.write(b"half of")
        raise KeyboardInterrupt

    assert path.read_bytes() == b"yesterday's part"
    assert list(tmp_path.iterdir()) == [path]

    with replacing(path) as target:
        target.write(b"today's part")
    assert path.read_bytes() == b"today's part"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="only Linux has a disk that is full")
def test_a_full_disk_is_named_by_the_file_that_did_not_go_on_it() -> None:
    """With a part and a trace it matters which."""
    sentence = "^/dev/full cannot be written: No space left on device$"
    with pytest.raises(FileError, match=sentence), replacing(Path("/dev/full")) as target:
        target.write(b"part")


@pytest.mark.skipif(not Path("/dev/fd").exists(), reason="pipes have no names there")
def test_a_part_goes_into_a_pipe_by_its_name() -> None:
    """As /dev/stdout is one where what comes out is read by another program."""
    reading, writing = os.pipe()
    with os.fdopen(reading, "rb") as other:
        with os.fdopen(writing, "wb"), replacing(Path(f"/dev/fd/{writing}")) as target:
            target.write(b"part")
        assert other.read() == b"part"


@pytest.mark.skipif(not Path("/dev/fd").exists(), reason="pipes have no names there")
def test_a_reader_who_has_gone_is_no_fault_of_the_file() -> None:
    """Who looks at the first lines only is told of no error."""
    reading, writing = os.pipe()
    with (
        os.fdopen(writing, "wb"),
        pytest.raises(BrokenPipeError),
        replacing(Path(f"/dev/fd/{writing}")) as target,
    ):
        os.close(reading)
        target.write(b"part")


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege there")
def test_a_link_to_a_part_stays_a_link(tmp_path: Path) -> None:
    """What it points to is written anew."""
    (tmp_path / "bass.mid").write_bytes(b"")
    link = tmp_path / "latest.mid"
    link.symlink_to(tmp_path / "bass.mid")
    with replacing(link) as target:
        target.write(b"new")

    assert link.is_symlink()
    assert (tmp_path / "bass.mid").read_bytes() == b"new"


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege there")
def test_a_link_that_goes_round_is_no_place_to_write_to(tmp_path: Path) -> None:
    """Two links that point to each other lead to no file; they are named, and left as they are."""
    one, other = tmp_path / "one.mid", tmp_path / "other.mid"
    one.symlink_to(other)
    other.symlink_to(one)
    sentence = r"one\.mid leads to a link that points back to itself; give another file$"

    with pytest.raises(FileError, match=sentence), replacing(one):
        pass
    with pytest.raises(FileError, match=sentence):
        spare({}, one, tmp_path / "trace.jsonl")
    assert one.is_symlink()
    assert other.is_symlink()


# The trace ----------------------------------------------------------------------------------


def traced(*outgoing: Outgoing, close: float = 10.0) -> list[dict[str, object]]:
    """The lines of the trace at two beats a second."""
    lines: list[str] = []
    trace = Trace(lines.append, lambda at: at * 2)
    for one in outgoing:
        trace.take(one)
    trace.close(close)
    return [json.loads(line) for line in lines]


def test_trace_tells_chord_key_and_expectation() -> None:
    """Each belief is a line with its labels spelled in the key."""
    assert traced(
        ChordHeard(1.0, 2.0, F7_OVER_A, B_FLAT, 0.9),
        KeyHeard(1.0, 2.0, B_FLAT, 0.8),
        ChangeExpected(1.0, 2.0, 4.0, CM7, B_FLAT, 0.7),
    ) == [
        {
            "type": "chord", "time": 1.0, "beat": 2.0, "label": "F:7/3", "symbol": "F7/A",
            "bass": "A", "confidence": 0.9,
        },
        {"type": "key", "time": 1.0, "beat": 2.0, "label": "Bb:maj", "confidence": 0.8},
        {
            "type": "expect", "time": 1.0, "beat": 2.0, "at_beat": 4.0, "label": "C:min7",
            "confidence": 0.7,
        },
    ]  # fmt: skip


def test_trace_calls_the_bass_what_the_symbol_does() -> None:
    """In B flat D7 has an F# in the bass, although the key alone would write a Gb."""
    (line,) = traced(ChordHeard(0.5, 1.0, parse_symbol("D7/F#"), B_FLAT, 1.0))

    assert (line["symbol"], line["bass"]) == ("D7/F#", "F#")


def test_trace_tells_silence() -> None:
    """No chord is N, and has no bass."""
    (line,) = traced(ChordHeard(0.5, 1.0, None, B_FLAT, 1.0))

    assert (line["label"], line["symbol"], line["bass"]) == ("N", "N.C.", None)


def test_trace_tells_a_note_when_it_ends() -> None:
    """A note's line holds its onset, its end and why it was played."""
    assert traced(Play(1.0, 2.0, 36, 90, bass(36)), Release(1.4, 2.8, 36)) == [
        {
            "type": "note", "time": 1.0, "beat": 2.0, "until": 1.4, "until_beat": 2.8,
            "pitch": 36, "velocity": 90, "role": "root", "reason": "on the one",
            "string": 2, "fret": 3, "articulation": "plucked", "joined_from": None,
            "bar": 1, "place": 2.0, "length": 1.0, "chord": "C:min7",
            "aims_at": None,
        },
    ]  # fmt: skip


def test_trace_tells_the_instrument_and_the_bars() -> None:
    """First what is played on, then each bar as it begins; the count-in is no bar."""
    lines: list[str] = []
    trace = Trace(lines.append, lambda at: at * 2)
    trace.begin(load("walking"), Grade.TRIADS, 5)
    for bar in (0, 1, 2):
        for count in (1, 2, 3):
            trace.take(Beat(1.5 * bar + 0.5 * count, 3 * bar + count - 4, bar, count, Metre(3, 4)))

    assert [json.loads(line) for line in lines] == [
        {"type": "style", "time": 0.0, "beat": 0.0, "name": "walking", "grade": 3, "seed": 5,
         "tuning": [28, 33, 38, 43], "span": 3},
        {"type": "bar", "time": 2.0, "beat": 4.0, "bar": 1, "metre": "3/4"},
        {"type": "bar", "time": 3.5, "beat": 7.0, "bar": 2, "metre": "3/4"},
    ]  # fmt: skip


def test_trace_writes_an_early_note_into_the_bar_it_was_written_for() -> None:
    """A bassist ahead of the beat plays the 1 before the bar line; on paper it stays the 1."""
    early = replace(bass(36), beat=Fraction(4), aims_at=5)
    (_, line) = traced(Beat(0.0, 0.0, 1, 1), Play(1.99, 3.98, 36, 90, early), close=2.5)

    assert (line["bar"], line["place"], line["aims_at"]) == (2, 0.0, "F")


def test_a_live_trace_counts_from_its_beginning() -> None:
    """Played at any second of the clock, the trace begins at 0, and beats are the bassist's."""
    target = BytesIO()
    target.close = lambda: None  # type: ignore[method-assign]
    trace = LiveTrace(target, load("soul"), Grade.EVERYTHING, 1)
    for one in (
        Beat(700.0, 0.0, 1, 1),
        Play(701.0, 2.0, 36, 90, bass(36)),
        Beat(701.5, 3.0, 1, 4),
        Play(702.0, 4.1, 36, 90, bass(36)),
        Release(702.5, 5.0, 36),
    ):
        trace.take(one)
    trace.close()
    facts = [json.loads(line) for line in target.getvalue().decode().splitlines()]

    assert [fact["type"] for fact in facts] == ["style", "bar", "note", "note"]
    assert [(f["time"], f["beat"], f["until"], f["until_beat"]) for f in facts[2:]] == [
        (1.0, 2.0, 2.0, 4.1), (2.0, 4.1, 2.5, 5.0),
    ]  # fmt: skip


def test_a_live_trace_can_be_read_along(tmp_path: Path) -> None:
    """Each thing stands in the file as soon as it is told, with nothing closed yet."""
    path = tmp_path / "take.jsonl"
    with create(path) as target:
        trace = LiveTrace(target, load("soul"), Grade.EVERYTHING, 1)
        kinds = []
        for one in (
            Beat(700.0, 0.0, 1, 1),
            ChordHeard(700.0, 0.0, F7_OVER_A, B_FLAT, 0.9),
            Play(700.0, 0.0, 45, 90, bass(45)),
            Release(700.4, 0.8, 45),
        ):
            trace.take(one)
            kinds.append([json.loads(line)["type"] for line in path.read_text().splitlines()])

    assert kinds == [
        ["style", "bar"],
        ["style", "bar", "chord"],
        ["style", "bar", "chord"],
        ["style", "bar", "chord", "note"],
    ]


@pytest.mark.parametrize("plays", [False, True])
def test_a_live_trace_is_kept_in_the_file_and_not_in_memory(*, plays: bool) -> None:
    """An evening takes no more room than a bar, whether or not the bass has anything to play."""
    with Path(os.devnull).open("wb") as nowhere:
        trace = LiveTrace(nowhere, load("soul"), Grade.EVERYTHING, 1)
        for beat in range(4000):
            if beat == 2000:  # what Python itself keeps for the next time is full by then
                tracemalloc.start()
            trace.take(Beat(0.5 * beat, float(beat), beat // 4 + 1, beat % 4 + 1))
            if plays:
                trace.take(Play(0.5 * beat, float(beat), 36, 90, bass(36)))
                trace.take(Release(0.5 * beat + 0.4, beat + 0.8, 36))
        kept, _ = tracemalloc.get_traced_memory()
        tracemalloc.stop()

    assert kept < 20_000


def test_trace_ends_a_note_that_still_sounds() -> None:
    """When the playing is over the last note has its line too."""
    (line,) = traced(Play(1.0, 2.0, 36, 90, bass(36)), close=3.0)

    assert line["until"] == 3.0


def test_trace_counts_expected_beats_from_the_file() -> None:
    """Where the engine's count began late, its beat 4 is told as the file's beat."""
    (line,) = traced(ChangeExpected(3.0, 2.0, 4.0, CM7, B_FLAT, 0.7))

    assert (line["beat"], line["at_beat"]) == (6.0, 8.0)


# The tally ----------------------------------------------------------------------------------


def counted(*outgoing: Outgoing) -> str:
    """The summary of what went by."""
    tally = Tally()
    for one in outgoing:
        tally.take(one)
    return told(tally.figures())


def test_tally_asks_for_the_new_root() -> None:
    """Of two changes one begins on its root and one does not."""
    assert counted(
        ChordHeard(0.0, 0, CM7, B_FLAT, 1),
        Play(0.01, 0, 36, 90, bass(36)),
        ChordHeard(2.0, 4, F7_OVER_A, B_FLAT, 1),
        Play(2.01, 4, 43, 90, bass(43)),
        Play(2.51, 4, 41, 90, bass(41)),
    ) == "2 chords heard, 2 changes (50% of them begun on the new root), 3 notes"  # fmt: skip


def test_tally_counts_a_change_that_was_foreseen() -> None:
    """A root played on the beat, just before the ear was sure, begins the change."""
    figures_of_foreseen = counted(
        Play(1.98, 4, 41, 90, bass(41)),
        ChordHeard(2.0, 4, F7_OVER_A, B_FLAT, 1),
        Play(2.5, 5, 48, 90, bass(48)),
    )

    assert "100%" in figures_of_foreseen


def test_tally_does_not_credit_an_approach() -> None:
    """A note an eighth earlier led to the change; it does not begin it."""
    assert "(0% of them" in counted(
        Play(1.75, 3.5, 41, 90, bass(41)),
        ChordHeard(2.0, 4, F7_OVER_A, B_FLAT, 1),
        Play(2.5, 5, 48, 90, bass(48)),
    )


def test_tally_takes_the_slash_bass_for_the_root() -> None:
    """Over F7/A the bass belongs on A, and the same root heard better is no change."""
    assert counted(
        ChordHeard(0.0, 0, Chord.of(5), B_FLAT, 1),
        ChordHeard(0.0, 0, F7_OVER_A, B_FLAT, 1),
        Play(0.01, 0, 45, 90, bass(45)),
    ) == "2 chords heard, 1 change (100% of them begun on the new root), 1 note"  # fmt: skip


def test_tally_counts_a_change_that_the_bass_left_out() -> None:
    """Three changes under one bass note: one of the three was begun on its root, not all."""
    assert counted(
        ChordHeard(0.0, 0, CM7, B_FLAT, 1),
        Play(0.01, 0, 36, 90, bass(36)),
        ChordHeard(1.0, 2, F7_OVER_A, B_FLAT, 1),
        ChordHeard(2.0, 4, Chord.of(10), B_FLAT, 1),
    ) == "3 chords heard, 3 changes (33% of them begun on the new root), 1 note"  # fmt: skip


def test_tally_counts_no_change_that_was_played_to_nobody() -> None:
    """Who plays on while the sequencer stands is not told that the bass missed it all."""
    alone = [ChordHeard(0.0, 0, Chord.of(root), B_FLAT, 1) for root in (0, 5, 10)]

    assert counted(*alone) == "3 chords heard, 0 notes"
    assert counted(
        *alone,
        Play(4.01, 0, 34, 90, bass(34)),
        ChordHeard(6.0, 4, F7_OVER_A, B_FLAT, 1),
        Play(6.01, 4, 41, 90, bass(41)),
    ) == "4 chords heard, 2 changes (100% of them begun on the new root), 2 notes"  # fmt: skip


# Virtual time -------------------------------------------------------------------------------


class Metronome:
    """A player that wants to be woken every half second and tells what it was given."""

    def __init__(self, *, stuck: bool = False) -> None:
        self.received: list[Incoming] = []
        self.due: float | None = 0.5
        self.stuck = stuck

    def receive(self, event: Incoming) -> list[Outgoing]:
        """Note the event; a tick is a beat; silence after stop."""
        self.received.append(event)
        if isinstance(event, Stop):
            self.due = None
        if isinstance(event, Tick) and self.due is not None and not self.stuck:
            self.due += 0.5
        return [Beat(event.at, 0.0, 1, 1)] if isinstance(event, Tick) else []

    def next_deadline(self) -> float | None:
        """The next half second."""
        return self.due


def test_replay_keeps_every_deadline_in_order() -> None:
    """Deadlines come at their own time, and at the same instant after the event."""
    player, heard = Metronome(), list[Outgoing]()
    song: list[Incoming] = [NoteOn(0.0, 58), NoteOn(1.0, 60), Stop(1.7)]
    replay(player, song, heard.append)

    assert player.received == [
        song[0], Tick(0.5), song[1], Tick(1.0), Tick(1.5), song[2],
    ]  # fmt: skip
    assert [beat.at for beat in heard] == [0.5, 1.0, 1.5]


def test_replay_does_not_hang_on_an_engine_that_does() -> None:
    """An engine that asks for the same instant for ever is a fault, told as one."""
    with pytest.raises(RuntimeError, match=r"woken at 0\.500 s"):
        replay(Metronome(stuck=True), [Stop(1.0)], lambda _: None)
