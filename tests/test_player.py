"""The ear on the player: how the keys are played, and what the bass makes of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest

from engine.bassist import Bassist
from engine.events import Forecast, Incoming, NoteOff, NoteOn, Play
from engine.figures import FREE
from engine.line.bassline import Bassline
from engine.line.grades import Grade, graded
from engine.line.offers import Offers
from engine.line.placing import Placed
from engine.line.rhythm import Rhythms
from engine.line.roots import Roots
from engine.performance import Performer
from engine.plan import Belief
from engine.player import Player
from engine.pulse import Pulse
from engine.score import AS_USUAL, BassNote, Manner, Role
from engine.style import Interplay, Style
from engine.theory.harmony import Family, Key
from engine.theory.meter import FOUR_FOUR, Moment
from engine.writing import Writing
from presets.loader import load, names
from tests.band import BEAT_SECONDS, TEMPO, comping, heard_from, plays, voiced
from tests.test_line import CHANGES, ask_for, chord, spans_of

MIDDLE_C = 60
C2, C3 = 36, 48
ALL_THE_WAY = Interplay(loudness=1, busyness=1, room=1)


class TestManner:
    """How the player plays just now."""

    def test_a_player_as_usual_is_of_middling_intensity(self) -> None:
        """Nothing known of the player moves nothing."""
        assert AS_USUAL.intensity == 0.5

    def test_loud_and_busy_build_alike(self) -> None:
        """Who plays as loud and as busy as can be is in full flight; one of the two is half way."""
        assert Manner(loud=1, busy=1).intensity == 1
        assert Manner(loud=1).intensity == Manner(busy=1).intensity == 0.75

    def test_a_manner_beyond_its_limits_is_refused(self) -> None:
        """Louder than can be is a mistake of ours, and said."""
        with pytest.raises(ValueError, match=r"loud is 1.2; a manner is 0 to 1"):
            Manner(loud=1.2)


def manners(
    bars: Iterable[tuple[int, int]],
    *,
    note: int = MIDDLE_C,
    beats: int = 4,
    loose: float = 0.0,
    roll: Sequence[float] = (0.0,),
) -> list[Manner]:
    """The manner at the end of each bar, a bar being (strokes, velocity), evenly spread.

    Strokes stray by up to `loose` seconds; each is a chord with its keys at the times of `roll`.
    """
    player, chance = Player(), Random(1)
    found = []
    strokes: list[tuple[float, int]] = []
    for bar, (count, velocity) in enumerate(bars):
        for i in range(count):
            at = (bar + i / count) * beats * BEAT_SECONDS + chance.uniform(-loose, loose)
            strokes += [(at + late, velocity) for late in roll]
    for beat in range((bar + 1) * beats + 1):
        now = beat * BEAT_SECONDS
        while strokes and strokes[0][0] < now:
            at, velocity = strokes.pop(0)
            player.key_down(at, note, velocity)
        player.cross(now, beats)
        if beat and beat % beats == 0:
            found.append(player.manner)
    return found


class TestPlayer:
    """What is heard of the player's hands."""

    @pytest.mark.parametrize("strokes", [1, 2, 3, 4, 5, 8, 16])
    @pytest.mark.parametrize("velocity", [20, 64, 120])
    def test_who_plays_on_as_before_is_as_usual(self, strokes: int, velocity: int) -> None:
        """However many strokes a bar, however hard, and 30 ms around the beat."""
        heard = manners([(strokes, velocity)] * 40, loose=0.03)

        assert {*heard} == {replace(AS_USUAL, floor=MIDDLE_C)}

    @pytest.mark.parametrize(
        ("line", "walks"),
        [((46, 41, 38, 40), True), ((46, 46, 46, 46), False), ((46, 46, 41, 41), False)],
        ids=["another note on every beat", "a pedal", "in two"],
    )
    def test_a_left_hand_walks_that_moves_on_every_beat(
        self, line: Sequence[int], *, walks: bool
    ) -> None:
        """Two bars are enough to tell, and who stays on a note or two walks nowhere."""
        player = Player()
        for beat in range(9):
            player.cross(beat * BEAT_SECONDS, 4)
            player.key_down(beat * BEAT_SECONDS, line[beat % 4], 70)

        assert player.manner.walks is walks

    def test_nobody_walks_in_a_bar_of_two_beats(self) -> None:
        """Two low notes are its halves, and may be D and D/F#."""
        player = Player()
        for beat in range(9):
            player.cross(beat * BEAT_SECONDS, 2)
            player.key_down(beat * BEAT_SECONDS, (38, 42, 43, 47)[beat % 4], 70)

        assert not player.manner.walks

    def test_a_swell_is_heard_within_two_bars(self) -> None:
        """From piano to forte: louder after a bar, as loud as it gets after two."""
        heard = [m.loud for m in manners([(4, 52)] * 16 + [(4, 82)] * 2)][-3:]

        assert heard[0] == 0.5
        assert 0.5 < heard[1] < heard[2]
        assert heard[2] >= 0.875

    def test_who_stays_loud_is_loud_as_usual_in_the_end(self) -> None:
        """What was a swell becomes the song's level after some choruses."""
        heard = [m.loud for m in manners([(4, 60)] * 8 + [(4, 80)] * 120)]

        assert heard[10] >= 0.75
        assert heard[-1] <= 0.625

    @pytest.mark.parametrize("beats", [2, 3, 4])
    def test_twice_and_half_as_many_strokes_are_heard(self, beats: int) -> None:
        """In any metre: busier and sparser than usual, within two bars."""
        busier = manners([(beats, 70)] * 12 + [(2 * beats, 70)] * 2, beats=beats)
        sparser = manners([(2 * beats, 70)] * 12 + [(beats, 70)] * 2, beats=beats)

        assert (busier[11].busy, sparser[11].busy) == (0.5, 0.5)
        assert busier[-1].busy >= 0.75
        assert sparser[-1].busy <= 0.25

    def test_a_rolled_chord_is_one_stroke(self) -> None:
        """Four keys within 45 ms are as busy as four at once."""
        rolled = manners([(2, 70)] * 8, roll=(0, 0.015, 0.03, 0.045))
        struck = manners([(2, 70)] * 8, roll=(0, 0, 0, 0))

        assert rolled == struck

    @pytest.mark.parametrize(
        ("strokes", "note", "low"),
        [(1, C2, 0), (2, C2, 0.25), (4, C2, 1), (8, C2, 1), (8, C3, 0), (8, MIDDLE_C, 0)],
    )
    def test_a_left_hand_is_in_the_way_when_low_and_busy(
        self, strokes: int, note: int, low: float
    ) -> None:
        """A low root a bar is nobody's hindrance, one a beat fills the place; from C3 up none."""
        assert manners([(strokes, 70)] * 4, note=note)[-1].low == low

    def test_the_lowest_key_of_two_bars_is_known(self) -> None:
        """The lowest note of any stroke in them."""
        assert manners([(4, 70)] * 4, note=C2)[-1].floor == C2

    def test_after_a_rest_the_player_is_heard_afresh(self) -> None:
        """Who comes back as before is not busy for having been silent."""
        heard = manners([(4, 70)] * 8 + [(0, 70)] * 6 + [(4, 70)] * 4)

        assert replace(heard[-1], floor=None) == AS_USUAL

    def test_what_is_struck_while_the_song_stands_is_not_of_it(self) -> None:
        """Noodling before the sequencer starts does not make the first bar a busy one."""
        player = Player()
        for i in range(40):
            player.key_down(i * 0.2, MIDDLE_C, 120)
        player.relocate()
        for beat in range(9):
            player.cross(8 + beat * BEAT_SECONDS, 4)
            player.key_down(8 + beat * BEAT_SECONDS, MIDDLE_C, 70)

        assert player.manner == replace(AS_USUAL, floor=MIDDLE_C)


def strokes_of(name: str, interplay: Interplay, manner: Manner) -> int:
    """Strokes in sixteen bars of a preset that goes along so far."""
    style = replace(load(name), interplay=interplay)
    rhythms = Rhythms(style, seed=3)
    return sum(len(rhythms.bar(bar, style.metres[0], manner)) for bar in range(1, 17))


def notes_over(style: Style, manner: Manner) -> list[int]:
    """The notes of sixteen bars of a style, to a player of this manner."""
    metre = style.metres[0]
    line, spans, found = Bassline(style, Random(1)), spans_of(CHANGES, metre), list[BassNote]()
    for bar in range(16):
        ask = ask_for(bar, spans, found[-1] if found else None, metre=metre)
        found += line.write(replace(ask, manner=manner))
    return [note.note for note in found]


class TestGoingAlong:
    """What a style makes of it."""

    @pytest.mark.parametrize("name", names())
    def test_more_strokes_with_a_busy_player_fewer_over_a_low_left_hand(self, name: str) -> None:
        """Of 16 bars of any style: at no step fewer for busier, and over a low hand fewer."""
        busier = [strokes_of(name, ALL_THE_WAY, Manner(busy=i / 4)) for i in range(5)]

        assert busier == sorted(busier)
        assert busier[0] < busier[2] < busier[4]
        assert strokes_of(name, ALL_THE_WAY, Manner(low=1)) < busier[2]

    @pytest.mark.parametrize("name", names())
    def test_without_interplay_nothing_moves_the_figure(self, name: str) -> None:
        """A style that says nothing of it plays on, whatever the hands do."""
        moved = strokes_of(name, Interplay(), Manner(1, 1, 1, C2))

        assert moved == strokes_of(name, Interplay(), AS_USUAL)

    def test_half_of_the_way_is_half(self) -> None:
        """A style that goes half along is filled by a busy player as one by half as busy a one."""
        half = Interplay(busyness=0.5)

        assert strokes_of("soul", half, Manner(busy=1)) == strokes_of(
            "soul", ALL_THE_WAY, Manner(busy=0.75)
        )

    def test_a_beginner_is_not_filled_up(self) -> None:
        """A pupil who plays roots is not asked for more by a busy player."""
        roots = graded(load("gospel"), Grade.ROOTS)

        assert roots.interplay.busyness == 0
        assert roots.interplay.loudness == load("gospel").interplay.loudness

    @pytest.mark.parametrize("name", names())
    def test_the_part_keeps_below_the_left_hand(self, name: str) -> None:
        """Over a low hand with its lowest key an octave up the register, no note reaches it."""
        style = replace(load(name), interplay=Interplay(room=0.4))
        floor = style.register.lowest + 13

        assert max(notes_over(style, Manner(low=0.5, floor=floor))) < floor

    def test_a_left_hand_is_kept_clear_of_where_it_is_in_the_way(self) -> None:
        """A calm hand, or a style that gives little room, leaves the register as it is."""
        low = Manner(low=0.5, floor=41)
        roomy, narrow = (replace(load("soul"), interplay=Interplay(room=r)) for r in (0.4, 0.2))

        assert max(notes_over(roomy, low)) < 41
        assert max(notes_over(roomy, replace(low, low=0.25))) > 41
        assert max(notes_over(narrow, low)) > 41

    @pytest.mark.parametrize("tone", ["1", "5", "8", FREE])
    def test_a_tone_built_below_the_register_is_offered_in_it(self, tone: str) -> None:
        """However little is left below the left hand: never a note that the neck has not."""
        style = replace(
            load("rock"), pools=tuple((family, (("1", 1.0), ("5", 1.0))) for family in Family)
        )
        roots = Roots(style.register, 1)
        roots.keep_below(41)
        ask = ask_for(0, spans_of("F"), None)
        stroke = Placed(
            Fraction(0), Fraction(1), 0.6, ghost=False, tone=tone, stretch=0, lands=True
        )
        offered = Offers(style, roots, 1).tones(ask, stroke, chord("F"), 17)

        assert offered
        assert all(roots.has(option.note) for option in offered)

    def test_in_its_lowest_octave_there_is_no_way_below(self) -> None:
        """A hand down at the bass's own lowest notes leaves it an octave, so that it has roots."""
        style = replace(load("rock"), interplay=ALL_THE_WAY)
        notes = notes_over(style, Manner(low=0.5, floor=style.register.lowest + 2))

        assert max(notes) <= style.register.lowest + 11

    def test_the_touch_goes_along_velocity_by_velocity(self) -> None:
        """All the way: 24 louder or softer at the most; a ghost stays a ghost."""
        style = replace(load("ballad"), interplay=ALL_THE_WAY)
        bar = Moment(0.0, 0.0, Fraction(0), 1, FOUR_FOUR, 0.5)

        def struck(manner: Manner, style: Style = style, accent: float = 0.6) -> int:
            role = Role.GHOST if accent <= 0.2 else Role.ROOT
            note = BassNote(
                Fraction(0), Fraction(1), 34, accent, role, "Bb: the root", 1, 6, chord("Bb")
            )
            return Performer(style, Random(1)).perform(note, bar, manner).velocity

        aloof = replace(style, interplay=Interplay())
        assert struck(Manner(loud=1)) - struck(AS_USUAL) == 24
        assert struck(AS_USUAL) - struck(Manner(loud=0)) == 24
        assert struck(Manner(loud=1), aloof) == struck(AS_USUAL, aloof)
        assert struck(Manner(loud=1), accent=0.2) <= style.touch.ghost + style.touch.spread

    def test_a_bar_written_again_keeps_its_manner(self) -> None:
        """The player's hands never thin a bar that has begun; the next bar goes along."""
        player = Player()
        style = replace(load("rock"), interplay=ALL_THE_WAY)
        pulse = Pulse(TEMPO, external=False, count_in=0, metre=FOUR_FOUR)
        pulse.strike(0.0, 0)
        writing = Writing(style, Random(1), pulse, player)
        belief = Belief(chord("Bb"), 0.9, Key(10), ())
        writing.rewrite(Fraction(0), belief)
        first = _taken(writing)
        player.manner = Manner(busy=0)
        writing.part.clear()
        writing.rewrite(Fraction(0), belief)
        again = _taken(writing)
        writing.write_on(Fraction(4), Fraction(8), belief)

        assert again == first
        assert len(_taken(writing)) < len(first)


@pytest.mark.parametrize(
    ("comes", "beat"), [("Ab", "5/4"), ("F/Eb", "5/4"), ("A7", "13/12"), ("F", "13/12")]
)
def test_what_sounds_is_left_at_once_only_if_the_chord_has_it_not(comes: str, beat: str) -> None:
    """Under an Eb that sounds: Ab has it as its fifth and F/Eb as its bass, so a sixteenth will do.

    A7 and F have it not, and the part is written anew from here.
    """
    pulse = Pulse(TEMPO, external=False, count_in=0, metre=FOUR_FOUR)
    pulse.strike(0.0, 0)
    writing = Writing(load("ballad"), Random(1), pulse, Player())
    writing.rewrite(Fraction(0), Belief(chord("Eb"), 0.9, Key(3), ()))
    writing.part.play(0.0, 0.0)
    moment = pulse.moment(1.1 * BEAT_SECONDS)

    assert writing.place_to_change(moment, lambda _: chord(comes)) == Fraction(beat)


def test_a_bar_is_as_full_as_the_hands_ask_each_time_it_is_asked_for() -> None:
    """The same bar for a usual, a busy and a sparse player, and again for the usual one."""
    style = replace(load("rock"), interplay=ALL_THE_WAY)
    rhythms = Rhythms(style, 1)
    usual, busy, sparse, again = (
        len(rhythms.bar(3, FOUR_FOUR, Manner(busy=busy))) for busy in (0.5, 1.0, 0.0, 0.5)
    )

    assert sparse < usual == again < busy


def test_what_is_struck_out_is_no_reason_to_write_anew() -> None:
    """The bar to come was written for Eb; when it is struck out, Ab is no news there any more."""
    pulse = Pulse(TEMPO, external=False, count_in=0, metre=FOUR_FOUR)
    pulse.strike(0.0, 0)
    writing = Writing(load("rock"), Random(1), pulse, Player())
    before, after = (
        Belief(chord("Bb"), 0.9, Key(10), tuple(Forecast(Fraction(b), c, 0.9) for b, c in ahead))
        for ahead in (
            [(3, chord("Bb")), (4, chord("Eb")), (5, chord("Eb"))],
            [(3, chord("Bb")), (4, chord("Ab")), (5, chord("Ab"))],
        )
    )
    writing.rewrite(Fraction(2), before)
    writing.write_on(Fraction(2), Fraction(4), before)
    assert writing.stale(after.ahead)

    writing.rewrite(Fraction(2), after)
    assert not writing.stale(after.ahead)
    assert writing.stale(before.ahead)


def _taken(writing: Writing) -> list[Fraction]:
    """Where the notes lie that are written, all of them played off."""
    found = []
    while writing.part.next() is not None:
        found += [p.written.beat for p in writing.part.play(0.0, 0.0) if isinstance(p, Play)]
    return found


CHART = "Bb Gm7 Eb F7 " * 4


def with_interplay(interplay: Interplay, events: Sequence[Incoming], preset: str) -> list[Play]:
    """What a bassist plays to these keys in a preset that goes along so far."""
    style: Style = replace(load(preset), interplay=interplay)
    bassist = Bassist(style, Random(2), tempo=TEMPO)
    return plays(heard_from(bassist, events, until=32.0))


def per_bar(notes: Sequence[Play], first: int, last: int) -> float:
    """Notes a bar, from one bar to another, both from 1 and played to the end."""
    return sum(4 * (first - 1) <= n.written.beat < 4 * last for n in notes) / (last - first + 1)


def restruck(chart: str, times: int, start: float = 0.0, *, low: bool = False) -> list[Incoming]:
    """A bar for each chord, struck so many times; by the left hand alone if low."""
    events: list[Incoming] = []
    each = 4 * BEAT_SECONDS / times
    for bar, symbol in enumerate(chart.split()):
        keys = voiced(symbol)
        for i in range(times):
            at = start + bar * 4 * BEAT_SECONDS + i * each
            struck = keys if not low else keys[:1] if i else keys
            events += [NoteOn(at, n, 80) for n in struck]
            events += [NoteOff(at + 0.9 * each, n) for n in struck]
    return sorted(events, key=lambda e: (e.at, isinstance(e, NoteOn)))


class TestBand:
    """The whole bassist."""

    @pytest.mark.slow
    @pytest.mark.parametrize("preset", ["soul", "walking", "ballad"])
    def test_under_a_steady_player_the_part_is_the_style_as_written(self, preset: str) -> None:
        """Block chords, one a bar, as loud as ever: all the way along is nowhere to go."""
        events = comping(CHART)

        assert with_interplay(ALL_THE_WAY, events, preset) == with_interplay(
            Interplay(), events, preset
        )

    def test_the_bass_swells_and_fades_with_the_keys(self) -> None:
        """Eight bars at 60, eight at 90: the last four are louder, as far as the style goes."""
        events = comping("Bb Gm7 Eb F7 " * 2, velocity=60)
        events += comping("Bb Gm7 Eb F7 " * 2, start=16.0, velocity=90)
        events.sort(key=lambda e: (e.at, isinstance(e, NoteOn)))
        rises = []
        for loudness in (0, 0.5, 1):
            notes = with_interplay(Interplay(loudness=loudness), events, "ballad")
            early = [n.velocity for n in notes if 16 <= n.written.beat < 32]
            late = [n.velocity for n in notes if n.written.beat >= 48]
            rises.append(sum(late) / len(late) - sum(early) / len(early))

        assert abs(rises[0]) < 3
        assert rises[1] > 4
        assert rises[2] > rises[1] + 4

    def test_the_bass_fills_when_the_player_does(self) -> None:
        """From a chord a bar to eighths: all the way along the bass plays more, else as before."""
        events = comping("Bb Gm7 Eb F7 " * 2) + restruck("Bb Gm7 Eb F7 " * 2, 8, start=16.0)
        along, aloof = (
            with_interplay(i, events, "soul") for i in (Interplay(busyness=1), Interplay())
        )

        assert per_bar(along, 1, 8) == per_bar(aloof, 1, 8)
        assert per_bar(along, 11, 16) > per_bar(aloof, 11, 16) + 1

    def test_the_bass_leaves_room_for_a_low_and_busy_left_hand(self) -> None:
        """Eighths below C3 from the first bar on: from the third the bass plays less."""
        events = restruck(CHART, 8, low=True)
        along, aloof = (with_interplay(i, events, "rock") for i in (Interplay(room=1), Interplay()))

        assert per_bar(along, 3, 16) < per_bar(aloof, 3, 16) - 1
