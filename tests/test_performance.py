"""Performance: how a written note is played, and how a slide is bent."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import inf
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.events import Bend, Play, Release
from engine.figures import Figure, Grid
from engine.part import Part, Ready
from engine.performance import Performed, Performer, struck, swung
from engine.score import Articulation, BassNote, Role
from engine.style import Feel, Rhythm, Style, Touch
from engine.theory.harmony import Chord
from engine.theory.meter import FOUR_FOUR, Metre, Moment

PLAIN = Style("plain", Rhythm(Grid.EIGHTHS, (Figure.of("XxXxXxXx", "", Grid.EIGHTHS),)))


def note(beat: Fraction, length: Fraction = Fraction(1, 2), accent: float = 0.6) -> BassNote:
    """A written note; an accent of 0.2 is a ghost."""
    role = Role.GHOST if accent <= 0.2 else Role.ROOT
    return BassNote(beat, length, 40, accent, role, "E: the root of E", 1, 12, Chord.of(4))


def bar(seconds_per_beat: float = 0.5, metre: Metre = FOUR_FOUR, start: int = 0) -> Moment:
    """A bar at a tempo."""
    return Moment(0.0, float(start), Fraction(start), 1, metre, seconds_per_beat)


class TestSwing:
    """Where an off-beat falls."""

    @pytest.mark.parametrize(
        ("beat", "swing", "grid", "place"),
        [
            ("0", 0.66, Grid.EIGHTHS, 0.0), ("1/2", 0.66, Grid.EIGHTHS, 0.66),
            ("3/2", 0.5, Grid.EIGHTHS, 1.5), ("1/4", 0.66, Grid.EIGHTHS, 0.33),
            ("3/4", 0.66, Grid.EIGHTHS, 0.83), ("1/4", 0.6, Grid.SIXTEENTHS, 0.3),
            ("1/2", 0.6, Grid.SIXTEENTHS, 0.5), ("2/3", 0.66, Grid.EIGHTHS, 2 / 3),
            ("-1/2", 0.6, Grid.EIGHTHS, -0.4),
        ],
    )  # fmt: skip
    def test_only_the_off_beat_of_the_swung_grid_comes_late(
        self, beat: str, swing: float, grid: Grid, place: float
    ) -> None:
        """Beats stay, triplets stay, the off-beat moves and takes its halves along."""
        assert swung(Fraction(beat), Feel(swing, grid), bar()) == pytest.approx(place)

    @given(
        st.integers(-200, 200),
        st.integers(1, 50),
        st.floats(0.5, 0.75),
        st.sampled_from([2, 4]),
        st.sampled_from([FOUR_FOUR, Metre(7, 8), Metre(6, 8), Metre(3, 4)]),
    )
    def test_swing_never_turns_two_notes_round(
        self, sixteenths: int, later: int, swing: float, grid: int, metre: Metre
    ) -> None:
        """What is written later is played later."""
        feel = Feel(swing, Grid(grid))

        early, late = Fraction(sixteenths, 4), Fraction(sixteenths + later, 4)
        place = bar(metre=metre)

        assert swung(early, feel, place) < swung(late, feel, place)

    @pytest.mark.parametrize("metre", [Metre(7, 8), Metre(6, 8), Metre(9, 8), Metre(5, 8)])
    @pytest.mark.parametrize("grid", [Grid.EIGHTHS, Grid.SIXTEENTHS])
    def test_felt_beats_are_never_late_by_swing(self, metre: Metre, grid: Grid) -> None:
        """Whatever bar it is: the second bar of 7/8 begins on half a quarter note of the song."""
        feel = Feel(0.66, grid)
        for number in range(3):
            start = number * metre.bar
            place = replace(bar(metre=metre), bar_start=start)
            for pulse in metre.pulses:
                assert swung(start + pulse, feel, place) == float(start + pulse)

    def test_a_felt_beat_of_three_eighths_is_straight_and_one_of_two_swings(self) -> None:
        """7/8 is felt 2+2+3: its first two beats swing, the last has no off-beat to be late."""
        places = [swung(Fraction(i, 2), Feel(0.66), bar(metre=Metre(7, 8))) for i in range(7)]
        assert places == pytest.approx([0, 0.66, 1, 1.66, 2, 2.5, 3])

    def test_sixteenths_swing_within_a_beat_of_three_eighths(self) -> None:
        """Each of its eighths is a pair of them."""
        feel = Feel(0.6, Grid.SIXTEENTHS)
        places = [swung(Fraction(i, 4), feel, bar(metre=Metre(6, 8))) for i in range(6)]
        assert places == pytest.approx([0, 0.3, 0.5, 0.8, 1, 1.3])


class TestPerformer:
    """Time, length and velocity of one note."""

    def test_looseness_never_has_a_note_before_its_felt_beat(self) -> None:
        """Keys that are on the beat are heard first; between the beats it goes either way."""
        style = replace(PLAIN, feel=Feel(looseness_ms=5))
        players = [Performer(style, Random(seed)) for seed in range(50)]
        on = [player.perform(note(Fraction(3)), bar()).lag for player in players]
        off = [player.perform(note(Fraction(3, 2)), bar()).lag for player in players]
        assert 0.0 <= min(on) < max(on)
        assert min(off) < 0.0 < max(off)

    def test_a_note_that_is_written_anew_keeps_its_looseness(self) -> None:
        """As late and as hard at its place as it was to be; elsewhere, or the next time, anew."""
        style = replace(PLAIN, feel=Feel(looseness_ms=5), touch=replace(PLAIN.touch, spread=9))
        player = Performer(style, Random(1))
        two = player.perform(note(Fraction(2)), bar())
        three = player.perform(note(Fraction(3)), bar())
        assert player.perform(note(Fraction(2)), bar()) == two
        assert (three.lag, three.velocity) != (two.lag, two.velocity)
        player.forget()
        assert player.perform(note(Fraction(2)), bar()).lag != two.lag

    def test_a_style_that_lays_back_plays_behind_the_beat(self) -> None:
        """Ten milliseconds are ten milliseconds at any tempo."""
        style = replace(PLAIN, feel=Feel(lay_back_ms=10, looseness_ms=0))
        for seconds_per_beat in (0.3, 0.5, 1.0):
            played = Performer(style, Random(1)).perform(note(Fraction(2)), bar(seconds_per_beat))
            assert (played.beat, played.lag) == (2.0, 0.01)

    @given(
        start=st.integers(0, 64),
        steps=st.integers(1, 8),
        swing=st.floats(0.5, 0.75),
        lay_back=st.floats(-30, 60),
        looseness=st.floats(0, 15),
        length=st.floats(0.1, 1),
        seconds=st.floats(0.25, 1.5),
        seed=st.integers(0, 1000),
    )
    def test_a_note_ends_before_the_next_may_begin(
        self, *, start: int, steps: int, swing: float, lay_back: float, looseness: float,
        length: float, seconds: float, seed: int,
    ) -> None:  # fmt: skip
        """One note at a time, however loosely two neighbours are played."""
        style = replace(
            PLAIN,
            feel=Feel(swing, Grid.SIXTEENTHS, lay_back, looseness),
            touch=Touch(length=length),
        )
        performer = Performer(style, Random(seed))
        beat, following = Fraction(start, 4), Fraction(start + steps, 4)
        first = performer.perform(note(beat, following - beat), bar(seconds))
        second = performer.perform(note(following), bar(seconds))

        begins = first.beat + first.lag / seconds
        assert begins < first.until
        assert first.until <= second.beat + second.lag / seconds

    def test_accents_are_louder_than_plain_notes_and_ghosts_are_soft(self) -> None:
        """The three velocities of a style, and what lies between."""
        touch = Touch(accent=110, plain=90, ghost=40)

        assert [struck(a, touch) for a in (1.0, 0.8, 0.6, 0.4, 0.2, 0.0)] == pytest.approx(
            [110, 100, 90, 65, 40, 40]
        )

    def test_a_ghost_is_short(self) -> None:
        """However long its place, the touched string sounds for 60 ms."""
        style = replace(PLAIN, feel=Feel(looseness_ms=0), touch=Touch(spread=0))
        played = Performer(style, Random(1)).perform(note(Fraction(0), Fraction(2), 0.2), bar(1.0))

        assert played.until == pytest.approx(0.06, abs=0.001)
        assert played.velocity == style.touch.ghost

    def test_what_the_left_hand_makes_is_softer(self) -> None:
        """A hammered note has less than a slid one, that less than a plucked one."""
        style = replace(PLAIN, touch=replace(PLAIN.touch, spread=0))
        plucked = note(Fraction(0))
        hammered = replace(plucked, articulation=Articulation.HAMMERED, joined_from=39)
        slid = replace(plucked, articulation=Articulation.SLID, joined_from=39)
        soft, softer, hard = (
            Performer(style, Random(1)).perform(n, bar()).velocity
            for n in (slid, hammered, plucked)
        )

        assert softer < soft < hard

    def test_a_note_that_is_joined_to_the_next_rings_up_to_it(self) -> None:
        """However short the style plays, a finger cannot hammer on a string that is damped."""
        style = replace(PLAIN, touch=replace(PLAIN.touch, length=0.3), feel=Feel(looseness_ms=0))
        alone = Performer(style, Random(1)).perform(note(Fraction(0)), bar())
        joined = Performer(style, Random(1)).perform(
            replace(note(Fraction(0)), rings_on=True), bar()
        )

        assert alone.until == pytest.approx(0.15)
        assert joined.until == pytest.approx(0.5, abs=0.01)

    def test_the_same_seed_plays_the_same(self) -> None:
        """Looseness is seeded."""
        first, second = (Performer(PLAIN, Random(7)) for _ in range(2))
        for beat in range(8):
            assert first.perform(note(Fraction(beat)), bar()) == second.perform(
                note(Fraction(beat)), bar()
            )


SLIDE = Performed(beat=0.0, lag=0.0, until=1.0, velocity=80, bent=-2)


def _sliding(bend_range: int) -> Part:
    """A part with a slide and a plain note written."""
    part = Part(bend_range)
    slid = replace(note(Fraction(0)), articulation=Articulation.SLID, joined_from=38)
    plain = replace(SLIDE, beat=1.0, until=2.0, bent=0)
    part.write([Ready(slid, SLIDE), Ready(note(Fraction(1)), plain)])
    return part


def _glided(part: Part) -> list[tuple[float, float]]:
    """All the steps that a slide under way still takes: when, and how far it is bent then."""
    steps = []
    while (at := part.bends_at) < inf:
        steps += [(o.at, o.semitones) for o in part.bend(at, 0.0) if isinstance(o, Bend)]
    return steps


class TestSlides:
    """A slide as a bend of the pitch."""

    def test_a_slide_begins_where_the_finger_was_and_ends_on_its_note(self) -> None:
        """Bent before it is struck, two semitones down, and straight after 70 milliseconds."""
        part = _sliding(12)
        bend, begun = part.play(5.0, 0.0)
        steps = _glided(part)

        assert isinstance(bend, Bend)
        assert isinstance(begun, Play)
        assert bend.semitones == -2
        assert [s for _, s in steps] == sorted(s for _, s in steps)
        assert steps[-1] == (pytest.approx(5.07), 0)

    @pytest.mark.parametrize("taken", [0, 4, 10])
    def test_the_next_note_is_struck_unbent(self, taken: int) -> None:
        """However far the slide got."""
        part = _sliding(12)
        part.play(5.0, 0.0)
        for _ in range(taken):
            part.bend(part.bends_at, 0.0)
        out = part.play(5.5, 1.0)

        assert [o.semitones for o in out if isinstance(o, Bend)] == ([0.0] if taken < 10 else [])
        assert isinstance(out[-1], Play)
        assert part.bends_at == inf

    def test_a_release_takes_the_bend_with_it(self) -> None:
        """Silence is never bent: the note is let go first, then its bend."""
        part = _sliding(12)
        part.play(5.0, 0.0)
        out = part.release(5.01, 0.0)

        assert [type(o) for o in out] == [Release, Bend]
        assert part.bends_at == inf

    def test_no_slide_is_bent_beyond_the_range(self) -> None:
        """What the synth was told is the most it is asked for."""
        bend = _sliding(1).play(5.0, 0.0)[0]

        assert isinstance(bend, Bend)
        assert bend.semitones == -1

    def test_without_a_range_nothing_is_bent(self) -> None:
        """A synth that was told nothing gets plain notes."""
        assert [type(o) for o in _sliding(0).play(5.0, 0.0)] == [Play]
