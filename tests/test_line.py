"""The line: rhythm, tones, ways in, hand and search."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise, product
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.figures import Figure, Grid, Stroke
from engine.line.bassline import Bassline
from engine.line.fitting import fitted
from engine.line.grades import Grade, graded
from engine.line.hand import Hand, moved, reachable
from engine.line.joining import Joining
from engine.line.placing import is_new
from engine.line.pools import interval_of, lead_in, offered, pool_of, role_of, scale_of
from engine.line.reasons import reason_for, spell_plainly
from engine.line.rhythm import Rhythms, at_density
from engine.line.roots import Roots
from engine.score import Articulation, Ask, BassNote, Manner, Role, Span
from engine.style import Approach, Neck, Phrase, Register, Rhythm, Style, Touch, Way
from engine.theory.harmony import (
    KEYS,
    MAJOR,
    MINOR,
    QUALITIES,
    QUALITY_BY_SUFFIX,
    Chord,
    Family,
    Key,
    degree_fifths,
)
from engine.theory.meter import FOUR_FOUR, Metre
from engine.theory.pitch import name_of_fifths, pitch_class_of_fifths, pitch_class_of_name
from presets.loader import load, names

EB = Key(3)
STYLES = {name: load(name) for name in names()}
CHANGES = (
    "Eb | Eb | Ab Bb7 | Gm7 C7 | Fm7 | Bb7 | Eb Eb/G | Ab Adim7 | "
    "Eb/Bb | Cm7 | F7 | Bb7sus4 Bb7 | Gm7 | C7b9 | Fm7 Bb7 | Eb6"
)


def chord(symbol: str) -> Chord:
    """A chord from its symbol: "C7b9", "Eb/G"."""
    name, _, bass = symbol.partition("/")
    match = re.match(r"([A-G][b#]*)(.*)", name)
    assert match is not None
    root = pitch_class_of_name(match[1])
    return Chord.of(root, QUALITY_BY_SUFFIX[match[2]], pitch_class_of_name(bass) if bass else None)


def written(text: str, metre: str = "4/4") -> Figure:
    """A figure with its tones after a colon, in the grid that its signs fill the bar with."""
    signs, _, tones = text.partition(":")
    steps = len("".join(signs.split()))
    wanted = Metre.of(metre)
    grid = next(grid for grid in Grid if wanted.bar / grid.step == steps)
    return Figure.of(signs, tones, grid, wanted)


def spans_of(changes: str, metre: Metre = FOUR_FOUR, confidence: float = 0.9) -> list[Span]:
    """The spans of a chart: bars parted by |, the chords of a bar sharing it."""
    spans = []
    beat = Fraction(0)
    for bar in changes.split("|"):
        symbols = bar.split()
        for symbol in symbols:
            length = metre.bar / len(symbols)
            spans.append(Span(beat, beat + length, chord(symbol), confidence))
            beat += length
    return spans


def ask_for(
    bar: int,
    spans: Sequence[Span],
    last: BassNote | None,
    *,
    metre: Metre = FOUR_FOUR,
    start: Fraction = Fraction(0),
    key: Key = EB,
) -> Ask:
    """The ask for a bar (from 0) of these spans, from `start` in the bar on."""
    begin, end = bar * metre.bar, (bar + 1) * metre.bar
    begin_at = begin + start
    within = tuple(
        replace(s, start=max(s.start, begin_at), end=min(s.end, end))
        for s in spans
        if s.start < end and s.end > begin_at
    )
    coming = next((s for s in spans if s.start >= end), None)
    return Ask(begin_at, begin, bar + 1, metre, within, coming, key, last, 0.5)


def part(
    style: Style, changes: str = CHANGES, seed: int = 1, times: int = 1
) -> list[list[BassNote]]:
    """The bars that a style plays over a chart."""
    metre = style.metres[0]
    spans = spans_of(" | ".join([changes] * times), metre)
    line = Bassline(style, Random(seed))
    bars: list[list[BassNote]] = []
    last = None
    for bar in range(times * (changes.count("|") + 1)):
        bars.append(list(line.write(ask_for(bar, spans, last, metre=metre))))
        last = bars[-1][-1] if bars[-1] else last
    return bars


def onsets(notes: Sequence[BassNote]) -> list[Fraction]:
    """The beats on which notes begin."""
    return [note.beat for note in notes]


OCTAVES = {name: style for name, style in STYLES.items() if style.rhythm.octaves}
UPRIGHT = [name for name, style in STYLES.items() if style.neck.span == 3]

WALK = Style(
    "walk",
    Rhythm(Grid.EIGHTHS, (Figure.of("x- x- x- x-", "", Grid.EIGHTHS),)),
    phrase=Phrase(vary=0, fill=0, answer=0, motive=0),
)


class TestBassline:
    """What is written for a bar."""

    @pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
    @pytest.mark.parametrize("seed", range(4))
    def test_the_first_note_on_a_change_is_the_root_or_the_slash_bass(
        self, style: Style, seed: int
    ) -> None:
        """Whatever else happens, a new chord begins with its bass, on its beat or early."""
        notes = [note for bar in part(style, seed=seed) for note in bar]

        for before, span in pairwise(spans_of(CHANGES, style.metres[0])):
            if is_new(span.chord, before.chord):
                first = next(n for n in notes if n.chord == span.chord and n.beat > before.start)
                assert first.note % 12 == span.chord.bass
                assert first.beat <= span.start + Fraction(style.approach.wait)

    @pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
    def test_the_same_seed_plays_the_same_part(self, style: Style) -> None:
        """Two players with one seed play one part, another seed another."""
        assert part(style, seed=5) == part(style, seed=5)
        assert part(style, seed=5) != part(style, seed=6)

    @pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
    def test_a_bar_planned_again_keeps_its_rhythm(self, style: Style) -> None:
        """From any beat on the same strokes follow, when the chords stay as they were."""
        metre = style.metres[0]
        spans = spans_of(CHANGES, metre)
        line = Bassline(style, Random(3))
        for bar, start in product(range(8), metre.pulses[1:]):
            whole = line.write(ask_for(bar, spans, None, metre=metre))
            from_here = bar * metre.bar + start
            last = next((n for n in reversed(whole) if n.beat < from_here), None)
            rest = line.write(ask_for(bar, spans, last, metre=metre, start=start))

            assert onsets(rest) == [beat for beat in onsets(whole) if beat >= from_here]

    def test_a_chord_that_comes_late_and_clashes_is_met_at_once(self) -> None:
        """The bass holds Eb, the player changes to A7 off the figure: the root A follows now."""
        held = part(WALK, "Eb")[0][0]
        late = Fraction(9, 8)
        ask = ask_for(0, [Span(late, Fraction(4), chord("A7"), 0.9)], held, start=late)

        first = Bassline(WALK, Random(1)).write(ask)[0]

        assert (first.beat, first.note % 12, first.role) == (late, 9, Role.ROOT)

    @pytest.mark.parametrize("shift", range(12))
    @pytest.mark.parametrize(
        ("figure", "metre", "late", "met"),
        [
            ("X--- ----", "4/4", "1/4", "1"),
            ("X--- ----", "4/4", "3/2", "2"),
            ("X--- --x-", "4/4", "1/4", "1"),
            ("X-x- x---", "4/4", "1/4", "1"),
            ("Xx-- x---", "4/4", "1/4", "1/2"),
            ("X--- ---x", "4/4", "13/4", "7/2"),
            ("X-- ---", "6/8", "1/4", "3/2"),
            ("X- -- ---", "7/8", "5/4", "2"),
        ],
    )
    def test_a_chord_that_comes_late_and_fits_is_met_with_the_next_beat(
        self, figure: str, metre: str, late: str, met: str, shift: int
    ) -> None:
        """The bass holds the Eb of Eb, which is Cm: the C need not wait for a slow figure."""
        wanted = Metre.of(metre)
        style = replace(
            WALK,
            rhythm=Rhythm(Grid.EIGHTHS, (written(figure, metre),)),
            metres=(wanted,),
            approach=Approach(led=0),
        )
        before, came = (chord(name).transposed(shift) for name in ("Eb", "Cm"))
        line = Bassline(style, Random(1))
        held = line.write(ask_for(0, [Span(Fraction(0), wanted.bar, before, 0.9)], None))[0]
        start = Fraction(late)
        spans = [Span(start, wanted.bar, came, 0.9)]
        first = line.write(ask_for(0, spans, held, metre=wanted, start=start))[0]

        assert (first.beat, first.note % 12) == (Fraction(met), came.root)

    @pytest.mark.parametrize("shift", range(12))
    @pytest.mark.parametrize(
        ("rang", "length", "met"), [("Am7b5", "2", 4), ("Cm", "2", 5), ("Am7b5", "1", 5)]
    )
    def test_a_change_waits_for_the_figure_while_nothing_rubs(
        self, rang: str, length: str, met: int, shift: int
    ) -> None:
        """On 4 a tumbao rings over the bar line: a C into Ab, but no A, which has to be left."""
        figure = Figure.of("--x- --X-", "8 >1", Grid.EIGHTHS)
        style = replace(WALK, rhythm=Rhythm(Grid.EIGHTHS, (figure,)), approach=Approach(wait=1))
        line = Bassline(style, Random(1))
        before, came = (chord(name).transposed(shift) for name in (rang, "Ab"))
        spans = [Span(Fraction(0), Fraction(4), before, 0.9)]
        last = line.write(ask_for(0, spans, None))[-1]
        last = replace(last, beat=Fraction(3), length=Fraction(length), note=36 + before.root)
        spans = [Span(Fraction(4), Fraction(8), came, 0.9)]
        first = line.write(ask_for(1, spans, last))[0]

        assert (first.beat, first.note % 12) == (met, came.root)

    @pytest.mark.parametrize(("walks", "basses"), [(True, {10}), (False, {10, 5, 2})])
    def test_a_left_hand_that_walks_is_not_doubled(self, basses: set[int], *, walks: bool) -> None:
        """Bb7, Bb7/F and Bb7/D are one chord under a walking hand, three if it sets them down."""
        figure = Figure.of("x--- ----", "1", Grid.EIGHTHS)
        style = replace(WALK, rhythm=Rhythm(Grid.EIGHTHS, (figure,)), approach=Approach(led=0))
        thirds = zip((0, 1, 2), (1, 2, 4), ("Bb7", "Bb7/F", "Bb7/D"), strict=True)
        spans = [Span(Fraction(a), Fraction(b), chord(name), 0.9) for a, b, name in thirds]
        ask = replace(ask_for(0, spans, None), manner=Manner(low=1, walks=walks))

        assert {n.note % 12 for n in Bassline(style, Random(1)).write(ask)} == basses

    @pytest.mark.parametrize("root", range(12))
    @pytest.mark.parametrize("style", OCTAVES.values(), ids=OCTAVES)
    def test_a_figure_of_octaves_has_its_octave_on_every_root(
        self, style: Style, root: int
    ) -> None:
        """Coming from C# too, E lies low enough for the E above it."""
        roots = Roots(style.register, 1, style.rhythm.octaves)

        assert all(roots.has(roots.note(root, before, 3) + 12) for before in range(12))

    def test_a_way_in_that_is_written_anew_goes_on_from_the_step_played(self) -> None:
        """C led to Bb; with Bb in doubt now the next stroke is the other step, not C again."""
        ways = ((Way.SCALE_ABOVE, 1), (Way.REPEAT, 0.001))
        style = replace(WALK, approach=Approach(led=1, daring=0.3, ways=ways))
        spans = [*spans_of("Fm7"), Span(Fraction(4), Fraction(8), chord("Bb"), 0.5)]
        line = Bassline(style, Random(1))
        first = line.write(ask_for(0, spans, None))[-1]
        assert (first.note % 12, first.aims_at) == (0, 10)

        step = replace(first, beat=Fraction(2))
        again = line.write(ask_for(0, spans, step, start=Fraction(3)))

        assert [note.note % 12 for note in again] == [5]

    @pytest.mark.parametrize("way", [Way.SEMITONE_BELOW, Way.SEMITONE_ABOVE, Way.SCALE_ABOVE])
    @pytest.mark.parametrize("shift", range(12))
    def test_a_way_in_that_is_found_late_begins_near_the_note_that_sounds(
        self, shift: int, way: Way
    ) -> None:
        """The high Eb sounds when Ab is foreseen: B flat and Ab above, no leap of 17 semitones."""
        key = Key((3 + shift) % 12)
        style = replace(
            WALK, register=Register(home=35), approach=Approach(led=1, ways=((way, 1),))
        )
        moved = [replace(s, chord=s.chord.transposed(shift)) for s in spans_of("Eb7 | Ab")]
        high = next(n for n in range(52, 40, -1) if n % 12 == moved[0].chord.root)
        (string, fret), _ = Hand(style.neck).places(high)[0]
        line = Bassline(style, Random(1))
        before = line.write(ask_for(0, moved, None, key=key))[0]
        sounds = replace(before, beat=Fraction(2), note=high, string=string, fret=fret)

        leads = line.write(ask_for(0, moved, sounds, start=Fraction(5, 2), key=key))[-1]
        root = line.write(ask_for(1, moved, leads, key=key))[0]

        assert leads.aims_at == root.note % 12 == moved[1].chord.root
        assert abs(leads.note - sounds.note) <= 12
        assert abs(root.note - leads.note) <= 2

    def test_a_root_that_is_met_an_octave_up_is_no_octave_above_itself(self) -> None:
        """Led to from above, Ab is high; what is at that place later in the bar is Ab again."""
        style = _figured("X- x- x- x-", "1 8 1 8", register=Register(28, 52, 33))
        line, spans = Bassline(style, Random(1)), spans_of("Eb7 | Ab")
        before = line.write(ask_for(0, spans, None))[-1]
        leads = replace(before, note=45, aims_at=8, string=4, fret=2)

        notes = line.write(ask_for(1, spans, leads))

        assert notes[0].note == 44
        assert {n.note for n in notes if n.role is Role.ROOT} >= {44}
        assert all(n.role is Role.ROOT for n in notes if n.note <= 44)

    @pytest.mark.parametrize("shift", range(12))
    def test_nor_is_it_where_the_rest_of_the_bar_is_written_anew(self, shift: int) -> None:
        """The high root has sounded; what the figure repeats is that root, not its octave."""
        style = _figured("X- x- x- x-", "8 8 1 8", register=Register(28, 52, 33))
        key = Key((EB.tonic + shift) % 12)
        spans = [replace(s, chord=s.chord.transposed(shift)) for s in spans_of("Ab")]
        whole = Bassline(style, Random(1)).write(ask_for(0, spans, None, key=key))
        root = whole[0]
        high = (
            root if style.neck.tuning[0] + 12 <= root.note else replace(root, note=root.note + 12)
        )
        ask = ask_for(0, spans, high, start=Fraction(1), key=key)

        again = Bassline(style, Random(1)).write(ask)

        assert again
        assert all(n.role is Role.ROOT for n in again if n.note == high.note)

    def test_a_chord_that_comes_late_and_fits_waits_for_the_figure(self) -> None:
        """The bass holds Eb, the player changes to Ab: Eb is its fifth, the root comes in time."""
        held = part(WALK, "Eb")[0][0]
        late = Fraction(9, 8)
        ask = ask_for(0, [Span(late, Fraction(4), chord("Ab"), 0.9)], held, start=late)

        first = Bassline(WALK, Random(1)).write(ask)[0]

        assert (first.beat, first.note % 12) == (2, 8)

    def test_an_unlikely_chord_is_not_aimed_at(self) -> None:
        """Below the style's daring the bar ends as if nothing were coming."""
        style = replace(WALK, approach=Approach(led=1, daring=0.5, ways=((Way.SEMITONE_BELOW, 1),)))
        sure = [*spans_of("Eb"), Span(Fraction(4), Fraction(8), chord("Ab"), 0.8)]
        unsure = [*spans_of("Eb"), Span(Fraction(4), Fraction(8), chord("Ab"), 0.4)]

        led = Bassline(style, Random(1)).write(ask_for(0, sure, None))[-1]
        stays = Bassline(style, Random(1)).write(ask_for(0, unsure, None))[-1]

        assert (led.note % 12, led.aims_at) == (7, 8)
        assert stays.aims_at is None

    @pytest.mark.parametrize(("confidence", "pushed"), [(0.8, True), (0.4, False)])
    def test_a_change_is_pushed_only_if_it_is_believed_in(
        self, confidence: float, *, pushed: bool
    ) -> None:
        """Ab may come on 3, and the figure pushes: its root on 2&, or Eb there and Ab on 3."""
        figure = Figure.of("x--x --x-", "1 >1 1", Grid.EIGHTHS)
        style = replace(WALK, rhythm=Rhythm(Grid.EIGHTHS, (figure,)))
        style = replace(style, approach=Approach(led=0, daring=0.5))
        here, coming = spans_of("Eb Ab")
        spans = [here, replace(coming, confidence=confidence)]

        notes = Bassline(style, Random(1)).write(ask_for(0, spans, None))
        played = [(note.beat, note.note % 12) for note in notes]

        half = Fraction(3, 2)
        there = [(half, 8)] if pushed else [(half, 3), (2, 8)]
        assert played == [(0, 3), *there, (3, 8)]

    @pytest.mark.parametrize("seed", range(8))
    def test_a_chord_that_may_not_come_is_led_into_by_a_tone_that_fits(self, seed: int) -> None:
        """Above the daring but in doubt, the way into Gb is in the scale of Eb, no semitone."""
        ways = ((Way.SEMITONE_BELOW, 3), (Way.SEMITONE_ABOVE, 3), (Way.SCALE_BELOW, 1))
        style = replace(WALK, approach=Approach(led=1, daring=0.5, ways=ways))
        spans = [*spans_of("Eb"), Span(Fraction(4), Fraction(8), chord("Gb"), 0.55)]

        last = Bassline(style, Random(seed)).write(ask_for(0, spans, None))[-1]

        assert (last.note - 3) % 12 in {0, 2, 4, 5, 7, 9, 11}
        assert (last.note - 6) % 12 not in {1, 11} or last.aims_at is None

    @pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
    def test_the_share_of_changes_led_by_semitone_is_the_preset_s(self, share: float) -> None:
        """Set to none, three in ten or all, so many changes are reached by a semitone."""
        ways = ((Way.SEMITONE_BELOW, share), (Way.FIFTH, 1 - share))
        style = replace(WALK, approach=Approach(led=1, daring=0.5, ways=ways))
        semitones = changes = 0
        for seed in range(6):
            bars = part(style, "Eb | Cm7 | Fm7 | Bb7 | Gm7 | C7 | F7 | Bb7sus4", seed, times=4)
            notes = [note for bar in bars for note in bar]
            for before, after in pairwise(notes):
                if before.chord != after.chord:
                    changes += 1
                    semitones += (after.note - before.note) % 12 in (1, 11)

        assert semitones / changes == pytest.approx(share, abs=0.05)

    @pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
    @pytest.mark.parametrize("name", ["walking", "shuffle", "country"])
    def test_walks_leave_the_share_of_semitones_as_it_is(self, name: str, share: float) -> None:
        """A style that walks into every chord it can still reaches as many by a semitone."""
        ways = (
            (Way.SEMITONE_BELOW, share),
            (Way.SEMITONE_ABOVE, share),
            (Way.FIFTH, 2 - 2 * share),
        )
        approach = Approach(led=1, walked=1, ways=ways)
        style = replace(STYLES[name], approach=approach)
        led = []
        for seed in range(8):
            bars = part(style, "Eb | Cm7 | Fm7 | Bb7 | Gm7 | C7 | F7 | Bb7sus4", seed, times=4)
            notes = [note for bar in bars for note in bar]
            for before, after in pairwise(notes):
                if before.chord != after.chord and before.beat % 4:
                    led.append((after.note - before.note) % 12 in (1, 11))

        assert sum(led) / len(led) == pytest.approx(share, abs=0.05)

    @pytest.mark.slow
    @given(
        style=st.sampled_from(list(STYLES.values())),
        seed=st.integers(0, 10**6),
        bar=st.integers(-2, 40),
        roots=st.lists(st.integers(0, 11), min_size=1, max_size=4),
        quality=st.sampled_from(QUALITIES),
        bass=st.none() | st.integers(0, 11),
        key=st.sampled_from(KEYS),
        metre=st.sampled_from([FOUR_FOUR, Metre(3, 4), Metre(6, 8), Metre(12, 8), Metre(7, 8)]),
        start=st.integers(0, 15),
        confidence=st.floats(0, 1),
        seconds=st.floats(0.15, 1.5),
    )
    @settings(max_examples=150, deadline=None)
    def test_any_ask_gets_a_part_that_can_be_played(
        self, *, style: Style, seed: int, bar: int, roots: list[int], quality: object,
        bass: int | None, key: Key, metre: Metre, start: int, confidence: float, seconds: float,
    ) -> None:  # fmt: skip
        """Inside the bar, one note at a time, in range, each on the neck where it says it is."""
        begin = bar * metre.bar
        begin_at = begin + metre.bar * Fraction(start, 16)
        end = begin + metre.bar
        edges = [
            begin_at + (end - begin_at) * Fraction(i, len(roots)) for i in range(len(roots) + 1)
        ]
        spans = tuple(
            Span(a, b, Chord.of(root, quality, bass), confidence)  # type: ignore[arg-type]
            for a, b, root in zip(edges, edges[1:], roots, strict=False)
        )
        coming = Span(end, end + 4, Chord.of(roots[0]), confidence)
        ask = Ask(begin_at, begin, bar, metre, spans, coming, key, None, seconds)

        notes = Bassline(style, Random(seed)).write(ask)

        for note, following in zip(notes, [*onsets(notes)[1:], end], strict=True):
            ends = note.beat + note.length
            assert begin_at <= note.beat < ends
            assert ends <= following or (following == end and _anticipates(style))
            assert style.register.lowest <= note.note <= style.register.highest
            assert style.neck.tuning[note.string - 1] + note.fret == note.note
            assert 0 <= note.fret <= style.neck.frets
            assert note.reason

    @pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
    def test_an_octave_lies_above_the_bass_note_it_is_an_octave_of(self, style: Style) -> None:
        """A figure turned down to its own bass note has the root again, and says so."""
        for bar in (bar for seed in range(3) for bar in part(style, seed=seed)):
            lowest: dict[Chord, int] = {}
            for note in bar:
                if note.role in (Role.ROOT, Role.BASS):
                    lowest[note.chord] = note.note
                elif note.role is Role.OCTAVE and note.chord in lowest:
                    assert note.note > lowest[note.chord]

    def test_a_part_reads_as_it_should(self) -> None:
        """Every note says why in words that name notes as the key spells them."""
        notes = [
            note for bar in part(STYLES["walking"], "Gm7 | C7 | F | F7", seed=2) for note in bar
        ]

        assert all(re.match(r"[A-G][b#]?: \w", note.reason) for note in notes)
        assert notes[0].reason == "G: the root of Gm7"

    @pytest.mark.parametrize("key", range(-6, 6))
    @pytest.mark.parametrize(
        ("taken_for", "held", "came", "left"),
        [
            ("Ab", "C", "Abm6", True),
            ("Ab7sus4", "Db", "Ab7", True),
            ("Ab7", "C", "Abmaj7", False),
            ("Abm7", "Ab", "Abm7b5", False),
        ],
    )
    def test_a_tone_that_the_chord_turns_out_not_to_have_is_left(
        self, taken_for: str, held: str, came: str, left: bool, key: int
    ) -> None:
        """C on the one of Ab rubs as soon as the keys say Abm6; then the root is played."""
        was, now = (chord(c).transposed(key) for c in (taken_for, came))
        note = 36 + (pitch_class_of_name(held) + key) % 12
        last = replace(_placed("4", 2, 3, "1"), note=note, chord=was)
        spans = [Span(Fraction(4), Fraction(8), now, 0.9)]

        first, *_ = Bassline(WALK, Random(1)).write(ask_for(1, spans, last, start=Fraction(1, 24)))

        assert (first.beat < 5) == left
        assert not left or first.note % 12 == now.root


class TestStyles:
    """What tells the presets apart."""

    def test_soul_speaks_between_the_beats_and_repeats_its_figure(self) -> None:
        """More than a third of a soul part is off the beat; two rhythms fill most bars."""
        bars = part(STYLES["soul"], seed=3, times=4)
        notes = [note for bar in bars for note in bar]

        assert sum(note.beat.denominator > 1 for note in notes) / len(notes) > 0.35
        assert _two_commonest(bars) >= 0.5

    def test_walking_keeps_four_in_the_bar(self) -> None:
        """At least 85% of bars have all four quarters; beat one is a chord tone in 90%."""
        bars = part(STYLES["walking"], seed=3, times=4)
        quarters = [sum(note.beat.denominator == 1 for note in bar) == 4 for bar in bars]
        ones = [
            bar[0].note % 12 in bar[0].chord.pitch_classes | {bar[0].chord.bass} for bar in bars
        ]

        assert sum(quarters) / len(bars) >= 0.85
        assert sum(ones) / len(bars) >= 0.9

    def test_rock_drives_eighths_on_roots(self) -> None:
        """Seven notes a bar or more, three quarters of them roots."""
        bars = part(STYLES["rock"], seed=3, times=2)
        notes = [note for bar in bars for note in bar]

        assert len(notes) / len(bars) >= 7
        assert sum(n.note % 12 == n.chord.bass for n in notes) / len(notes) > 0.75

    @pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
    @pytest.mark.parametrize("seed", range(3))
    def test_no_bar_is_the_fourth_copy_in_a_row(self, style: Style, seed: int) -> None:
        """On one chord for ever, something turns at least every fourth bar."""
        bars = part(style, "Eb", seed, times=33)
        literal = [[(n.beat % 4, n.note) for n in bar] for bar in bars]

        assert all(
            any(bar != literal[i] for bar in literal[i + 1 : i + 4]) for i in range(len(bars) - 4)
        )


def _anticipates(style: Style) -> bool:
    figures = (*style.rhythm.figures, *style.rhythm.answers, *style.rhythm.fills)
    return any(stroke.early for figure in figures for stroke in figure.strokes)


def _two_commonest(bars: Sequence[Sequence[BassNote]]) -> float:
    rhythms = [tuple(note.beat % 4 for note in bar) for bar in bars]
    counts = sorted((rhythms.count(r) for r in set(rhythms)), reverse=True)
    return sum(counts[:2]) / len(rhythms)


TWO_BEAT = Style(
    "two-beat",
    Rhythm(Grid.EIGHTHS, (Figure.of("X--- X---", "1 5,", Grid.EIGHTHS),)),
    phrase=Phrase(vary=0, fill=0, answer=0),
    approach=Approach(led=0, walked=1, ways=((Way.SEMITONE_BELOW, 1),)),
)


def _bar_of(style: Style, changes: str, bar: int) -> list[tuple[Fraction, int]]:
    """The places and notes of one bar, counted from 1, of a part over these changes."""
    notes = part(style, changes)[bar - 1]
    return [(note.beat - 4 * (bar - 1) + 1, note.note) for note in notes]


def _figured(strokes: str, tones: str, **how: object) -> Style:
    """A style of one figure in eighths, which leads nowhere by itself."""
    figure = Figure.of(strokes, tones, Grid.EIGHTHS)
    style = replace(
        TWO_BEAT, rhythm=Rhythm(Grid.EIGHTHS, (figure,)), approach=Approach(led=0, walked=0)
    )
    return replace(style, **how)  # type: ignore[arg-type]


def _in_metre(metre: str, strokes: str, *ways: Way) -> Style:
    """A style of one figure in a metre, which leads into every change by these ways."""
    figure = written(strokes, metre)
    return replace(
        TWO_BEAT,
        rhythm=Rhythm(Grid.EIGHTHS, (figure,)),
        metres=(Metre.of(metre),),
        register=Register(home=40),
        approach=Approach(led=1, walked=0, ways=tuple((way, 1.0) for way in ways)),
    )


class TestFigures:
    """What becomes of a figure's tones over the changes."""

    @pytest.mark.parametrize(
        ("changes", "notes"),
        [
            ("Bb7 | Eb | Ab", [(Fraction(5, 2), 34), (Fraction(4), 32)]),
            ("Eb | Ab Bb7 | Eb", [(Fraction(5, 2), 34), (Fraction(4), 39)]),
        ],
        ids=["the chord stays", "the chord changes on three"],
    )
    def test_a_fifth_that_anticipates_is_the_root_where_the_chord_changes(
        self, changes: str, notes: list[tuple[Fraction, int]]
    ) -> None:
        """On the "and" of two, held over three: the fifth, or the root that three brings."""
        tumbao = _figured("---x --X-", ">5, >1")

        assert _bar_of(tumbao, changes, 2) == notes

    @pytest.mark.parametrize(("expected", "more"), [("Ab", []), ("Bb7", [39])])
    def test_a_root_that_came_early_is_taken_back_only_for_another_chord(
        self, expected: str, more: list[int]
    ) -> None:
        """Ab on 4 rings on where Ab is still to come; if not, it gives way to the Eb that holds."""
        tumbao = _figured("---x --X-", ">5, >1")
        line = Bassline(tumbao, Random(1))
        early = line.write(ask_for(0, spans_of("Eb | Ab"), None))[-1]
        assert (early.beat, early.note % 12, early.anticipates) == (3, 8, 4)

        ask = ask_for(0, spans_of(f"Eb | {expected}"), early, start=Fraction(25, 8))

        assert [note.note for note in line.write(ask)] == more

    @pytest.mark.parametrize(
        ("start", "heard", "played"),
        [
            (Fraction(13, 8), "Ab", [(3, 8)]),  # as it was expected
            (Fraction(2), "Bbm7", [(2, 10), (3, 8)]),  # another chord comes on three
        ],
    )
    def test_a_root_that_came_early_in_the_bar_is_for_that_place(
        self, start: Fraction, heard: str, played: list[tuple[Fraction, int]]
    ) -> None:
        """Ab on 2&, for three: it rings there, but says nothing of an Ab in the next bar."""
        tumbao = _figured("---x --X-", ">1 >1")
        line = Bassline(tumbao, Random(1))
        early = line.write(ask_for(0, spans_of("Eb Ab | Ab"), None))[0]
        early = replace(early, beat=Fraction(3, 2), note=32, anticipates=Fraction(2))
        early = replace(early, chord=chord("Ab"))

        ask = ask_for(0, spans_of(f"Eb {heard} | Ab"), early, start=start)

        assert [(note.beat, note.note % 12) for note in line.write(ask)] == played

    @pytest.mark.parametrize(
        ("changes", "fifth"),
        [("Ab | Eb/G", 2), ("Ab | Adim7", 4), ("Eb | B", 6), ("Ebmaj7 | Am7b5", 4)],
        ids=["of a third in the bass", "that the chord lacks", "outside the scale", "flat there"],
    )
    def test_the_way_by_a_fifth_wants_the_fifth_of_a_root(self, changes: str, fifth: int) -> None:
        """D under Ab leads to no G that is the third of Eb: it is only a wrong note."""
        ways = ((Way.FIFTH, 9.0), (Way.SCALE_BELOW, 1.0), (Way.SEMITONE_BELOW, 1.0))
        style = _figured("X- x- x- x-", "1 5 1 >", approach=Approach(led=1, ways=ways))
        for seed in range(6):
            notes = part(style, changes, seed)[0]
            assert notes[-1].note % 12 != fifth

    def test_from_five_to_one_the_root_that_sounds_leads_nowhere(self) -> None:
        """Bb under Bb7 is the fifth of Eb, but nobody hears it lead: a step of the scale does."""
        ways = ((Way.FIFTH, 9.0), (Way.SCALE_ABOVE, 1.0))
        style = _figured("X- x- x- x-", "1 5 1 >", approach=Approach(led=1, ways=ways))

        assert {part(style, "Bb7 | Eb", seed)[0][-1].note % 12 for seed in range(6)} == {5}

    @pytest.mark.parametrize(
        ("changes", "role"),
        [("Bb7 | G", Role.THIRD), ("Eb | Ab", Role.ROOT), ("Fm7/Eb | Ab", Role.SEVENTH)],
    )
    def test_a_fifth_that_leads_is_named_as_its_own_chord_has_it(
        self, changes: str, role: Role
    ) -> None:
        """D leads from Bb7 to G: the fifth to come, and the third that is."""
        style = _figured("X- x- x- x-", "1 1 1 >", approach=Approach(led=1, ways=((Way.FIFTH, 1),)))

        assert part(style, changes)[0][-1].role is role

    @pytest.mark.parametrize(
        ("changes", "notes"),
        [("Fm7 | Ab", [44, 39, 36, 39]), ("Fm7 | Eb", [39, 34, 31, 34])],
        ids=["down from the octave", "an octave lower where the neck ends"],
    )
    def test_a_figure_that_comes_down_begins_at_its_top(
        self, changes: str, notes: list[int]
    ) -> None:
        """The octave is a root as well, and the line comes down from it without a break."""
        style = _figured("X- X- X- X-", "8 5 3 5", register=Register(28, 46, 33))

        assert [note for _, note in _bar_of(style, changes, 2)] == notes

    @pytest.mark.parametrize(
        ("strokes", "tones", "places"),
        [
            ("X--- X---", "1 5,", [1, 3, 4]),
            ("X--- ----", "1", [1, 4]),
            ("X--- X-x-", "1 5, 5,", [1, 3, 4]),
            ("X--x ---x", "1 5 5", [1, Fraction(5, 2), Fraction(9, 2)]),
        ],
    )
    def test_a_note_that_leads_is_not_in_the_middle_of_the_bar(
        self, strokes: str, tones: str, places: list[Fraction]
    ) -> None:
        """Where the figure has no later stroke it gets one on the last beat."""
        ways = ((Way.SEMITONE_ABOVE, 1.0),)
        style = _figured(strokes, tones, approach=Approach(led=1, ways=ways))
        notes = part(style, "Bb7 | Eb | Ab")[1]

        assert [note.beat - 3 for note in notes] == places
        assert [note.aims_at for note in notes] == [None] * (len(notes) - 1) + [8]

    @pytest.mark.parametrize(
        ("metre", "strokes", "places"),
        [
            ("6/8", "X-x --- : 1 5", [0, 1, Fraction(5, 2)]),
            ("6/8", "X-- x-- : 1 5", [0, Fraction(3, 2), Fraction(5, 2)]),
            ("12/8", "X-- --- x-- --- : 1 5", [0, 3, Fraction(9, 2)]),
            ("12/8", "X-- --- --x --- : 1 5", [0, 4, Fraction(9, 2)]),
            ("6/8", "X-x --x : 1 5 5", [0, 1, Fraction(5, 2)]),
            ("12/8", "X-- x-- X-- x-- : 1 5 1 5", [0, Fraction(3, 2), 3, Fraction(9, 2)]),
        ],
    )
    def test_in_slow_threes_a_semitone_is_a_pickup(
        self, metre: str, strokes: str, places: list[Fraction]
    ) -> None:
        """A third eighth that rings to the bar line keeps its chord, as does beat two of 6/8."""
        style = _in_metre(metre, strokes, Way.SEMITONE_BELOW)
        notes = part(style, "Fm7 | Ab")[0]

        assert onsets(notes) == places
        assert [note.aims_at for note in notes] == [None] * (len(notes) - 1) + [8]

    @pytest.mark.parametrize("shift", range(12))
    @pytest.mark.parametrize(
        ("metre", "strokes", "seconds", "led"),
        [
            ("4/4", "X- x- X- x- : 1 5 1 5", 0.4, [11]),
            ("12/8", "X-- x-- X-- x-- : 1 5 1 5", 0.6, [11]),
            ("12/8", "X-- x-- X-x --x : 1 5 1 5 5", 0.6, [11]),
            ("12/8", "X-- x-- X-- x-x : 1 5 1 5 5", 0.6, [10, 11]),
            ("3/4", "X- x- x- : 1 5 5", 0.4, [10, 11]),
            ("3/4", "X- x- x- : 1 5 5", 0.9, [11]),
        ],
        ids=["on three", "on three of four", "a long third eighth", "within the last beat",
             "a quick waltz", "a slow waltz"],
    )  # fmt: skip
    def test_of_two_semitones_the_first_is_played_where_it_is_soon_over(
        self, *, metre: str, strokes: str, seconds: float, led: list[int], shift: int
    ) -> None:
        """Gb and G lead from Fm7 to Ab; Gb is in no scale there, and not for the middle."""
        style = _in_metre(metre, strokes, Way.TWO_SEMITONES_BELOW)
        spans = [
            replace(span, chord=span.chord.transposed(shift))
            for span in spans_of("Fm7 | Ab", Metre.of(metre))
        ]
        ask = ask_for(0, spans, None, metre=Metre.of(metre), key=Key((3 + shift) % 12))

        notes = Bassline(style, Random(1)).write(replace(ask, seconds_per_beat=seconds))

        goal = spans[1].chord.root
        assert [(n.note - goal) % 12 for n in notes if n.aims_at is not None] == led

    @pytest.mark.parametrize(
        ("way", "led"), [(Way.SEMITONE_BELOW, []), (Way.SCALE_ABOVE, [7])], ids=["or not", "led"]
    )
    def test_before_a_change_within_the_bar_a_long_stroke_is_led_by_the_scale(
        self, way: Way, led: list[int]
    ) -> None:
        """F7 comes on three of 12/8; what rings to it from the third eighth is no E over Eb."""
        style = _in_metre("12/8", "X-x --- X-- --- : 1 5 1", Way.SEMITONE_BELOW, way)
        notes = part(style, "Eb F7 | F7")[0]

        assert [n.note % 12 for n in notes if n.aims_at == 5] == led
        assert all(n.note % 12 != 4 for n in notes)

    def test_a_way_in_aims_at_the_octave_where_the_next_bar_begins_there(self) -> None:
        """A semitone below the note that comes, not an octave and a semitone."""
        style = _figured(
            "X- X- X- X-", "8 5 3 5",
            register=Register(28, 46, 33),
            approach=Approach(led=1, ways=((Way.SEMITONE_BELOW, 1),)),
        )  # fmt: skip

        assert _bar_of(style, "Fm7 | Ab", 1)[-1][1] == 43

    @pytest.mark.parametrize("key", range(-6, 6))
    @pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
    def test_a_note_that_leads_is_no_more_than_a_tenth_away(self, style: Style, key: int) -> None:
        """From a low Ab the octave of Db is an eleventh up: funk goes into Db another way."""
        metre, line, last = style.metres[0], Bassline(style, Random(9)), None
        spans = spans_of(" | ".join(["Ab7 | Db | Fm | Db | Gm7 | Eb7 | E | B7"] * 3), metre)
        spans = [replace(span, chord=span.chord.transposed(key)) for span in spans]
        for bar in range(24):
            for note in line.write(ask_for(bar, spans, last, metre=metre)):
                if last is not None and note.aims_at is not None:
                    assert abs(note.note - last.note) <= 16
                last = note

    def test_the_octave_of_a_root_leads_there_from_an_octave(self) -> None:
        """From the high Ab to the octave of Db is a fourth, and from the low one an eleventh."""
        ways = ((Way.OCTAVE, 1.0), (Way.REPEAT, 0.01))
        how = {"register": Register(28, 52, 33), "approach": Approach(led=1, ways=ways)}

        assert _bar_of(_figured("X- x- x- x-", "1 5 8 5", **how), "Ab | Db", 1)[-1][1] == 49
        assert _bar_of(_figured("X- x- x- x-", "1 5 1 5", **how), "Ab | Db", 1)[-1][1] != 49

    @pytest.mark.parametrize(
        ("way", "changes", "notes"),
        [
            (Way.SEMITONE_BELOW, "Bb7 | Eb", [36, 37, 38]),
            (Way.SEMITONE_BELOW, "Eb | Ab", [36, 34, 33]),
            (Way.FIFTH, "Eb | Bb", [39, 38, 36]),
        ],
    )
    def test_a_fill_steps_to_the_next_root(self, way: Way, changes: str, notes: list[int]) -> None:
        """From the root that is left, if that is near; by a whole step where none is a semitone."""
        style = _figured("X- x- x- x-", "1 > > >", approach=Approach(led=1, ways=((way, 1),)))

        assert [note for _, note in _bar_of(style, changes, 1)][1:] == notes

    @pytest.mark.parametrize("shift", range(12))
    @pytest.mark.parametrize("changes", ["G | Am", "Bb7 | Eb", "Eb | Ab", "Eb | Bb", "Fm7 | Fm7"])
    @pytest.mark.parametrize(("at_first", "then"), [(0.7, 0.9), (0.9, 0.7), (0.9, 0.9)])
    @pytest.mark.parametrize("tones", ["1 > > >", "1 5 > >"])
    def test_a_run_that_has_set_out_goes_on(
        self, tones: str, at_first: float, then: float, changes: str, shift: int
    ) -> None:
        """D and C on the way from G down to A are followed by a B, how likely A may be by then."""
        ways = ((Way.SEMITONE_BELOW, 1.0), (Way.SCALE_BELOW, 1.0), (Way.FIFTH, 1.0))
        style = _figured("X- x- x- x-", tones, approach=Approach(led=1, walked=0, ways=ways))
        key = Key((10 + shift) % 12)
        asks = [
            ask_for(0, [replace(s, chord=s.chord.transposed(shift)) for s in spans], None, key=key)
            for spans in (spans_of(changes, confidence=sure) for sure in (at_first, then))
        ]
        for seed in range(6):
            line = Bassline(style, Random(seed))
            notes = line.write(asks[0])
            for played in range(1, 4):
                start, last = Fraction(played), notes[played - 1]
                rest = replace(asks[1], start=start, last=last)
                rest = replace(rest, spans=(replace(rest.spans[0], start=start),))
                if last.aims_at is not None:
                    line_on = [last.note, *(n.note for n in line.write(rest))]
                    steps = [abs(b - a) for a, b in pairwise(line_on)]
                    assert max(steps) <= 4

    @pytest.mark.parametrize(
        ("symbol", "key", "tone"),
        [
            ("C7", Key(5), "6"), ("C7", Key(5, minor=True), "b7"),
            ("Cm7", Key(10), "6"), ("Cm7", Key(3), "b7"),
        ],
    )  # fmt: skip
    def test_a_sixth_that_the_key_makes_flat_is_no_tone_for_a_figure(
        self, symbol: str, key: Key, tone: str
    ) -> None:
        """It rubs against the fifth: the flat seventh takes its place."""
        pool = (("1", 6.0), ("5", 4.0), ("6", 4.0), ("b7", 2.0))

        assert offered("6", chord(symbol), key, pool) == tone

    @pytest.mark.parametrize("shift", range(12))
    @pytest.mark.parametrize(
        ("symbol", "degree", "tone"),
        [("Fm6", "b7", "6"), ("Fm6", "6", "6"), ("Fm7", "b7", "b7"), ("Fm", "b7", "b7"),
         ("Bb13", "b7", "b7"), ("Eb6", "b7", "b7")],
    )  # fmt: skip
    def test_a_minor_sixth_chord_has_no_flat_seventh(
        self, symbol: str, degree: str, tone: str, shift: int
    ) -> None:
        """Eb under Fm6 rubs against the D that is played: the bass has the D as well."""
        pool = (("1", 6.0), ("b3", 2.0), ("5", 4.0), ("b7", 4.0))
        moved = chord(symbol).transposed(shift)

        assert offered(degree, moved, Key((3 + shift) % 12), pool) == tone

    def test_on_a_minor_sixth_chord_a_pool_without_colours_has_the_fifth(self) -> None:
        """Held back, the player gets root and fifth for what was a flat seventh."""
        assert offered("b7", chord("Gbm6"), Key(1), (("1", 6.0), ("5", 4.0), ("8", 2.0))) == "5"

    @pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
    def test_no_style_plays_a_flat_seventh_under_a_minor_sixth_chord(self, style: Style) -> None:
        """In a figure or free: Ab over Bbm6 is only ever a note on the way elsewhere."""
        for seed in range(3):
            notes = [n for bar in part(style, "F | Bbm6 | F/C | Dbm6 | F", seed) for n in bar]
            sixths = [n for n in notes if n.chord.quality.harte == "min6" and n.aims_at is None]
            assert sixths
            assert all((n.note - n.chord.root) % 12 != 10 for n in sixths)

    def test_the_root_of_a_slash_chord_lies_where_the_hand_is(self) -> None:
        """Where the bass is the flat seventh already, its place in the figure takes the root."""
        style = _figured("X-x- x-x-", "1 8 b7 8")

        assert [n for _, n in _bar_of(style, "Gm7/F", 1)] == [29, 41, 43, 41]


class TestIntensity:
    """What chords offer while the player holds back, or is in full flight."""

    def test_a_colour_goes_and_another_comes_in_its_turn(self) -> None:
        """The faintest goes first; what both pools have stays throughout."""
        style = replace(
            WALK,
            pools=((Family.MAJOR, (("1", 6), ("3", 2), ("5", 4), ("6", 1))),),
            quiet_pools=((Family.MAJOR, (("1", 1),)),),
            full_pools=((Family.MAJOR, (("1", 6), ("5", 4), ("2", 4))),),
        )
        offered = [
            "".join(tone for tone, _ in pool_of(style, Family.MAJOR, step / 8)) for step in range(9)
        ]

        assert offered == [
            "1", "15", "135", "1356", "1356", "13562", "1352", "152", "152",
        ]  # fmt: skip

    def test_without_other_pools_nothing_changes(self) -> None:
        """A style that says nothing of it offers the same to every player."""
        pools = {pool_of(STYLES["tumbao"], Family.MINOR, step / 8) for step in range(9)}

        assert len(pools) == 1

    @pytest.mark.parametrize("name", ["soul", "gospel", "ballad", "pop"])
    def test_a_quiet_player_gets_roots_and_fifths(self, name: str) -> None:
        """Held back, the figure keeps its rhythm and loses its colours; ways in stay."""
        style = replace(
            STYLES[name], approach=replace(STYLES[name].approach, led=0, walked=0),
            phrase=replace(STYLES[name].phrase, fill=0),
        )  # fmt: skip
        spans = spans_of("Eb | Cm7 | Ab | Bb7", style.metres[0])
        line, degrees = Bassline(style, Random(1)), set()
        for bar in range(4):
            ask = ask_for(bar, spans, None, metre=style.metres[0])
            quiet = replace(ask, manner=Manner(loud=0, busy=0))
            degrees |= {_degree(note) for note in line.write(quiet) if not note.ghost}

        assert degrees <= {1, 5}


class TestWalks:
    """Steps to the next chord that set out beats ahead of it."""

    @pytest.mark.parametrize(
        ("way", "changes", "notes"),
        [
            (Way.SEMITONE_BELOW, "Bb7 | Eb", [34, 36, 38]),
            (Way.SEMITONE_BELOW, "Bb | Bb | Eb", [34, 36, 37, 38]),
            (Way.SEMITONE_BELOW, "Eb | Eb | Ab", [39, 36, 34, 33]),
            (Way.SCALE_BELOW, "Eb | Eb7 | Ab", [39, 37, 36, 34]),
            (Way.SCALE_BELOW, "Eb | Bb", [39, 38, 36]),
            (Way.SCALE_BELOW, "Eb | Cm", [39, 39, 38]),
            (Way.SEMITONE_BELOW, "Cm7 | Eb", [36, 36, 38]),
            (Way.SCALE_BELOW, "Gm7 | Cm7", [31, 31, 34]),
            (Way.SCALE_BELOW, "Gm7 | Gm7 | Cm7", [31, 31, 31, 34]),
            (Way.SEMITONE_BELOW, "Gm7 | Gm7 | Cm7", [31, 32, 34, 35]),
        ],
    )
    def test_the_way_to_the_next_root_is_filled_step_by_step(
        self, way: Way, changes: str, notes: list[int]
    ) -> None:
        """From root to root: two steps, or three where the chord has stood for a bar.

        The middle of a bar has no Ab over Gm7, but its root again.
        """
        style = replace(TWO_BEAT, approach=Approach(led=0, walked=1, ways=((way, 1),)))
        bar = changes.count("|")

        assert [note for _, note in _bar_of(style, changes, bar)] == notes

    def test_the_arrival_is_on_the_change(self) -> None:
        """Root on one, steps on three and four, and the new root on the next one."""
        part_of = [_bar_of(TWO_BEAT, "Bb7 | Eb", bar) for bar in (1, 2)]

        assert [place for place, _ in part_of[0]] == [1, 3, 4]
        assert part_of[1][0] == (1, 39)

    @pytest.mark.parametrize("changes", ["Eb | Fm7", "Eb | Eb", "Eb7 | D7"])
    def test_a_step_away_is_no_walk(self, changes: str) -> None:
        """Nor is there one to where the bass is already."""
        assert all(note.aims_at is None for bar in part(TWO_BEAT, changes) for note in bar)

    def test_no_walk_to_a_chord_that_may_not_come(self) -> None:
        """Below the style's daring the figure is played as ever."""
        unsure = [*spans_of("Bb7"), Span(Fraction(4), Fraction(8), chord("Eb"), 0.4)]
        notes = Bassline(TWO_BEAT, Random(1)).write(ask_for(0, unsure, None))

        assert all(note.aims_at is None for note in notes)

    def test_a_chord_that_has_just_come_is_not_left_at_once(self) -> None:
        """Changing on three, it has its root on three; nothing is walked over it."""
        assert _bar_of(TWO_BEAT, "Bb7 | Eb Bb7 | Eb", 2)[1] == (3, 34)

    def test_a_walk_written_anew_under_way_goes_on(self) -> None:
        """The same steps, whether the bar is written once or again in its middle."""
        spans = spans_of("Bb | Bb | Eb")
        line = Bassline(TWO_BEAT, Random(1))
        before = line.write(ask_for(0, spans, None))
        whole = line.write(ask_for(1, spans, before[-1]))
        again = line.write(ask_for(1, spans, whole[1], start=Fraction(2)))

        assert [n.note for n in again] == [n.note for n in whole[2:]] == [37, 38]

    def test_a_style_with_a_rhythm_keeps_it_while_it_walks(self) -> None:
        """A shuffle's pairs stay pairs, two to each step."""
        figure = Figure.of("Xx Xx Xx Xx", "1 1 3 3 5 5 6 6", Grid.EIGHTHS)
        straight = Figure.of("X- X- X- X-", "1 3 5 6", Grid.EIGHTHS)
        shuffle = replace(
            TWO_BEAT,
            rhythm=Rhythm(Grid.EIGHTHS, (figure,), answers=(straight,)),
            phrase=Phrase(vary=0, fill=0, answer=1, answer_every=2),
        )

        assert [n for _, n in _bar_of(shuffle, "Bb7 | Eb", 1)] == [34] * 4 + [36] * 2 + [38] * 2


def _placed(
    beat: str, string: int, fret: int, length: str = "1/2", accent: float = 0.6
) -> BassNote:
    """A note where it lies on the neck."""
    note = (28, 33, 38, 43)[string - 1] + fret
    role = Role.GHOST if accent <= 0.2 else Role.ROOT
    return BassNote(
        Fraction(beat), Fraction(length), note, accent, role, "", string, fret, chord("Eb")
    )  # fmt: skip


def _joining(**touch: float) -> Joining:
    """A left hand that does what it can."""
    return Joining(replace(WALK, touch=Touch(**touch)), 1)  # type: ignore[arg-type]


class TestJoining:
    """Notes that the left hand makes out of the one before."""

    @pytest.mark.parametrize(
        ("before", "note", "slid", "hammered"),
        [
            (_placed("0", 2, 3), _placed("1/2", 2, 5), True, True),
            (_placed("0", 2, 5), _placed("1/2", 2, 3), True, False),
            (_placed("0", 2, 0), _placed("1/2", 2, 2), False, True),
            (_placed("0", 2, 3), _placed("1/2", 2, 7), True, False),
            (_placed("0", 2, 3), _placed("1/2", 2, 9), False, False),
            (_placed("0", 2, 3), _placed("1/2", 3, 5), False, False),
            (_placed("0", 2, 3), _placed("1/2", 2, 3), False, False),
            (_placed("0", 2, 3, "1/4"), _placed("1/2", 2, 5), False, False),
            (_placed("0", 2, 3, accent=0.2), _placed("1/2", 2, 5), False, False),
            (_placed("0", 2, 3), _placed("1/2", 2, 5, accent=1), True, False),
            (_placed("0", 2, 3, "2"), _placed("2", 2, 5), True, False),
        ],
        ids=[
            "two frets up", "two frets down", "from the open string", "four frets", "six frets",
            "another string", "the same note", "after silence", "after a ghost", "an accent",
            "a string that has rung too long",
        ],
    )  # fmt: skip
    def test_what_a_finger_can_do(
        self, before: BassNote, note: BassNote, *, slid: bool, hammered: bool
    ) -> None:
        """Slid on one string over few frets; hammered upwards, soon, and without an accent."""
        ways = {Articulation.SLID: _joining(slides=1), Articulation.HAMMERED: _joining(hammers=1)}
        done = {how: joining.joined([before, note], None, 0.5) for how, joining in ways.items()}

        assert (done[Articulation.SLID][1].articulation is Articulation.SLID) == slid
        assert (done[Articulation.HAMMERED][1].articulation is Articulation.HAMMERED) == hammered
        for first, second in done.values():
            assert first.rings_on == (second.joined_from is not None)

    def test_at_speed_nothing_is_slid(self) -> None:
        """Sixteenths at 160: the slide would be over before it is heard."""
        notes = [_placed("0", 2, 3, "1/4"), _placed("1/4", 2, 5, "1/4")]

        assert _joining(slides=1).joined(notes, None, 0.375) == tuple(notes)

    def test_the_first_note_of_a_bar_can_be_slid_into(self) -> None:
        """From the last one of the bar before."""
        (note,) = _joining(slides=1).joined([_placed("4", 2, 5)], _placed("7/2", 2, 4), 0.5)

        assert (note.articulation, note.joined_from) == (Articulation.SLID, 37)

    @pytest.mark.parametrize("share", [0, 0.3, 1])
    def test_a_preset_says_how_often(self, share: float) -> None:
        """Of the moves that could be slid so many are."""
        style = replace(STYLES["walking"], touch=replace(STYLES["walking"].touch, slides=share))
        most = replace(style, touch=replace(style.touch, slides=1))

        def slides(style: Style) -> int:
            notes = [n for s in range(12) for bar in part(style, seed=s) for n in bar]
            return sum(n.articulation is Articulation.SLID for n in notes)

        assert slides(style) / slides(most) == pytest.approx(share, abs=0.07)


class TestGrades:
    """The same changes in seven degrees of difficulty."""

    @pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
    def test_each_grade_adds_what_it_is_named_for(self, style: Style) -> None:
        """Roots; then fifths; then thirds; the pattern; links by scale; by semitone; all."""
        tones = {}
        for grade in Grade:
            notes = [n for bar in part(graded(style, grade), seed=2) for n in bar]
            tones[grade] = {_degree(note) for note in notes}
            if grade <= Grade.PATTERN:
                assert all(n.aims_at is None for n in notes)
            if grade < Grade.EVERYTHING:
                assert not any(n.ghost or n.joined_from is not None for n in notes)
            if grade == Grade.SCALE_LINKS:
                led = [n for n in notes if n.aims_at is not None]
                assert all(n.note % 12 in scale_of(n.chord, EB) for n in led)

        assert tones[Grade.ROOTS] <= {1}
        assert tones[Grade.FIFTHS] <= {1, 5}
        assert tones[Grade.TRIADS] <= {1, 3, 4, 5}  # a suspended chord has its fourth

    @pytest.mark.parametrize("name", ["tumbao", "reggae"])
    @pytest.mark.parametrize("grade", [Grade.ROOTS, Grade.FIFTHS, Grade.TRIADS])
    def test_who_plays_less_of_a_style_meets_a_change_on_its_beat(
        self, name: str, grade: Grade
    ) -> None:
        """A tumbao without its early roots, a reggae thinned out: roots in time, not on three."""
        notes = [n for bar in part(graded(STYLES[name], grade), seed=2) for n in bar]
        spans = spans_of(CHANGES)
        changes = [b.start for a, b in pairwise(spans) if is_new(b.chord, a.chord)]

        assert set(changes) <= set(onsets(notes))

    def test_semitones_from_outside_come_with_the_sixth(self) -> None:
        """Soul leads by semitones: up to the fifth grade within the scale, then from outside."""

        def outside(grade: Grade) -> int:
            notes = [n for bar in part(graded(STYLES["soul"], grade), times=3) for n in bar]
            led = [n for n in notes if n.aims_at is not None]
            return sum(n.note % 12 not in scale_of(n.chord, EB) for n in led)

        assert outside(Grade.SCALE_LINKS) == 0
        assert outside(Grade.CHROMATIC_LINKS) > 0

    def test_the_first_grades_have_fewer_notes(self) -> None:
        """A beginner plays two notes where the style has five."""
        counts = [
            sum(map(len, part(graded(STYLES["soul"], grade), seed=2)))
            for grade in (Grade.ROOTS, Grade.FIFTHS, Grade.TRIADS, Grade.PATTERN)
        ]

        assert counts == sorted(set(counts))


def _degree(note: BassNote) -> int:
    if note.note % 12 in (note.chord.root, note.chord.bass):
        return 1
    return int(note.chord.degree_of(note.note % 12).lstrip("b#"))


class TestRhythm:
    """Where in the bar the bass speaks."""

    def test_a_figure_is_read_sign_by_sign(self) -> None:
        """X accented, x plain, g ghost, - rings on, . silence."""
        figure = Figure.of("X-x. .g--", "1 5", Grid.EIGHTHS)

        assert figure.strokes == (
            Stroke(Fraction(0), Fraction(1), 1.0, False, "1"),
            Stroke(Fraction(1), Fraction(1, 2), 0.6, False, "5"),
            Stroke(Fraction(5, 2), Fraction(3, 2), 0.2, True),
        )

    @pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
    def test_density_thins_and_thickens_one_figure(self, style: Style) -> None:
        """Each step of eleven has more notes, and keeps at least 70% of those before."""
        metre = style.metres[0]
        counts = []
        before: list[set[Fraction]] = []
        for step in range(11):
            rhythms = Rhythms(style, 4, density=step / 10)
            bars = [{s.in_bar for s in rhythms.bar(bar, metre)} for bar in range(1, 33)]
            counts.append(sum(map(len, bars)))
            kept = sum(len(old & new) for old, new in zip(before, bars, strict=False))
            assert kept >= 0.7 * sum(map(len, before))
            before = bars

        assert counts == sorted(set(counts))

    def test_a_thinned_bar_keeps_its_one(self) -> None:
        """The bar line is the last thing to go."""
        bar = Figure.of("X--x --x- X--x --x-", "", Grid.SIXTEENTHS).strokes

        assert [s.in_bar for s in at_density(bar, 0.0, 0.5, FOUR_FOUR, STYLES["soul"])] == [0]

    @pytest.mark.parametrize(
        ("figure", "density", "kept"),
        [
            ("X- x- x- x-", 0.3, [0, 2, 3]),
            ("X- x- x- x-", 0.2, [0, 2]),
            ("-x -x -x -x", 0.2, [Fraction(1, 2), Fraction(5, 2)]),
        ],
        ids=["the way in", "in two", "spread over the bar"],
    )
    def test_a_thinned_bar_does_not_limp(
        self, figure: str, density: float, kept: list[Fraction]
    ) -> None:
        """Who walks with less room leaves out two, not four, which leads into the next bar."""
        bar = Figure.of(figure, "", Grid.EIGHTHS).strokes

        assert [s.in_bar for s in at_density(bar, density, 0.5, FOUR_FOUR, WALK)] == kept

    @pytest.mark.parametrize("metre", ["3/4", "6/8", "12/8", "2/4", "5/4", "7/8"])
    def test_a_figure_fits_a_metre_it_was_not_written_for(self, metre: str) -> None:
        """Begun again or broken off, it ends at the bar line."""
        count, unit = metre.split("/")
        wanted = Metre(int(count), int(unit))
        for style in STYLES.values():
            for bar in range(1, 13):
                strokes = Rhythms(style, 1).bar(bar, wanted)
                assert strokes[0].in_bar < wanted.bar
                assert all(s.in_bar + s.length <= wanted.bar for s in strokes if not s.early)

    @pytest.mark.parametrize("low", [0.25, 0.5, 0.75, 1.0])
    def test_over_a_busy_left_hand_the_figure_stays_one_figure(self, low: float) -> None:
        """In a phrase all bars that are alike lose the same strokes, or the bass would limp."""
        for style in STYLES.values():
            metre = style.metres[0]
            room = replace(style, interplay=replace(style.interplay, room=1.0))
            rhythms = Rhythms(room, 3)
            for begin in range(1, 33, style.phrase.bars):
                thinned: dict[tuple[tuple[Fraction, float], ...], list[Fraction]] = {}
                for bar in range(begin, begin + style.phrase.bars):
                    full = tuple((s.in_bar, s.accent) for s in rhythms.bar(bar, metre))
                    less = [s.in_bar for s in rhythms.bar(bar, metre, Manner(low=low))]
                    assert thinned.setdefault(full, less) == less

    @pytest.mark.parametrize("metre", ["4/4", "2/2", "6/8", "7/8", "5/16", "6/16", "7/16"])
    @pytest.mark.parametrize("density", [0.6, 0.8, 1.0])
    def test_however_full_no_place_is_struck_twice(self, density: float, metre: str) -> None:
        """One string is plucked once at a time, and nothing is struck before the bar begins."""
        for style in STYLES.values():
            rhythms = Rhythms(style, 3, density=density)
            for bar in range(1, 9):
                strokes = rhythms.bar(bar, Metre.of(metre))
                assert strokes[0].in_bar >= 0
                assert all(a.in_bar + a.length <= b.in_bar for a, b in pairwise(strokes))

    def test_a_density_between_two_wholes_is_met_over_phrases(self) -> None:
        """With 2.5 strokes a bar some phrases of a walk in quarters have two, some three."""
        rhythms = Rhythms(STYLES["walking"], 1, density=0.25)
        counts = [len(rhythms.bar(bar, FOUR_FOUR)) for bar in range(1, 401)]

        assert set(counts) == {2, 3}
        assert 2.4 < sum(counts) / len(counts) < 2.6

    @pytest.mark.parametrize(
        ("figure", "metre", "played"),
        [
            ("Xxxx Xxxx", "6/8", "X-x X-x"),
            ("Xxxx Xxxx", "9/8", "X-x x-x X-x"),
            ("X-x- X-x- : 1 5 8 5", "9/8", "X-- x-- X-- : 1 5 8"),
            ("X--x --x- X--- x--- : 1 1 5 8 6", "12/8", "X-x --x X-- x-- : 1 1 5 8 6"),
            ("X-xx X-xx X-xx X-xx", "12/8", "X-x X-x X-x X-x"),
            ("X-gx X-xg X--- ----", "12/8", "X-x X-x X-- ---"),
            ("xxxx xxxx xxxx xxxx", "6/8", "xxx xxx"),
            ("X--x ---x : 1 5 >1", "12/8", "X-- --x --- --x : 1 5 >1"),
            ("X--g ..x-", "6/8", "X-- --g"),
            ("X-.. x-x-", "6/8", "X-- ..."),
            (".... X---", "6/8", "x-- ---"),
        ],
    )  # fmt: skip
    def test_in_threes_what_was_on_a_beat_is_on_a_beat(
        self, figure: str, metre: str, played: str
    ) -> None:
        """A half of the beat is played as two thirds, as in a shuffle; 6/8 has its accents on 1 4.

        Where two strokes would fall together, it is the stronger that is played.
        """
        assert fitted(written(figure), Metre.of(metre)) == written(played, metre).strokes

    @pytest.mark.parametrize(
        ("figure", "metre", "played"),
        [
            ("Xxxx Xxxx : 1 3 5 3 8 5 3 5", "7/8", "Xx xx Xxx : 1 3 5 3 8 8 5"),
            ("X--x --x- X--- x--- : 1 1 5 8 6", "7/8", "X--x --x- X----- : 1 1 5 8"),
            ("X--x --x- : 1 5 8", "5/8", "X- --x : 1 5"),
        ],
    )  # fmt: skip
    def test_in_seven_what_was_on_a_beat_is_on_a_beat(
        self, figure: str, metre: str, played: str
    ) -> None:
        """7/8 has beats of 2, 2 and 3 eighths; where eighths run, all seven are played."""
        assert fitted(written(figure), Metre.of(metre)) == written(played, metre).strokes

    @pytest.mark.parametrize(
        ("figure", "metre", "played"),
        [
            ("X--x --x- : 1 5 8", "3/4", "X--x -- : 1 5"),
            ("X--x --x- : 1 5 8", "5/4", "X--x --x- X- : 1 5 8 1"),
            ("X--x --x- : 1 5 8", "2/2", "X--x --x- : 1 5 8"),
        ],
    )
    def test_where_the_beats_are_alike_the_figure_runs_on(
        self, figure: str, metre: str, played: str
    ) -> None:
        """A figure in 4/4 is broken off in 3/4 and begun again in 5/4."""
        assert fitted(written(figure), Metre.of(metre)) == written(played, metre).strokes

    @pytest.mark.parametrize(
        ("figure", "metre", "played"),
        [
            ("X-- --x X-x xxx", "4/4", "X-- --x X-x xxx"),
            ("X-- --x X-x xxx", "3/4", "X-- --x X-x"),
            ("X-- --x X-x xxx", "7/8", "X--x X-x"),
        ],
    )
    def test_twelve_eighths_are_triplets_in_quarters(
        self, figure: str, metre: str, played: str
    ) -> None:
        """A slow gospel is felt in threes in 4/4 too; in 7/8 it takes the eighths of that."""
        assert fitted(written(figure, "12/8"), Metre.of(metre)) == written(played, metre).strokes

    @pytest.mark.parametrize("metre", ["6/8", "9/8", "12/8"])
    def test_nobody_plays_across_three_eighths(self, metre: str) -> None:
        """Ornaments and pushes of a style in quarters go to the eighths too, and none overlap."""
        for style in (style for style in STYLES.values() if style.metres[0].unit == 4):
            rhythms = Rhythms(style, 1)
            for bar in range(1, 17):
                strokes = rhythms.bar(bar, Metre.of(metre))
                assert all(stroke.in_bar % Fraction(1, 2) == 0 for stroke in strokes)
                assert all(a.in_bar + a.length <= b.in_bar for a, b in pairwise(strokes))
                assert all(stroke.length > 0 for stroke in strokes)


class TestTones:
    """What a degree is on a chord."""

    @pytest.mark.parametrize(
        ("tone", "symbol", "semitones"),
        [
            ("1", "Eb", 0), ("3", "Eb", 4), ("3", "Cm7", 3), ("5", "Adim7", 6), ("7", "Eb", 11),
            ("7", "Bb7", 10), ("b7", "Eb", 10), ("6", "Eb", 9), ("8", "Eb", 12), ("10", "Cm7", 15),
            ("2", "Gm7", 1), ("4", "Ab", 6), ("5", "C7b9", 7), ("4", "Bb7sus4", 5),
        ],
    )  # fmt: skip
    def test_a_bare_degree_is_the_chord_s_own(self, tone: str, symbol: str, semitones: int) -> None:
        """In Eb the 3 of Cm7 is minor, the 4 of Ab is lydian, the 2 of Gm7 phrygian."""
        assert interval_of(tone, chord(symbol), EB) == semitones

    @pytest.mark.parametrize(
        ("tone", "symbol", "role"),
        [
            ("b6", "Eb7#5", Role.FIFTH), ("#4", "Eb7b5", Role.FIFTH), ("5", "Adim7", Role.FIFTH),
            ("b6", "Eb7b13", Role.SIXTH), ("b3", "Eb7#9", Role.THIRD), ("6", "Eb", Role.SIXTH),
            ("4", "Eb", Role.SCALE_STEP), ("4", "Eb7sus4", Role.FOURTH), ("8", "Eb", Role.OCTAVE),
        ],
    )  # fmt: skip
    def test_a_tone_of_the_seventh_chord_is_what_that_calls_it(
        self, tone: str, symbol: str, role: Role
    ) -> None:
        """The B of Eb7#5 is its fifth, though a figure asked for a sixth; in all keys."""
        for shift in range(12):
            moved = chord(symbol).transposed(shift)
            pitch_class = (moved.root + interval_of(tone, moved, EB)) % 12

            assert role_of(tone, moved, pitch_class) is role

    @pytest.mark.parametrize("shift", range(12))
    def test_degrees_do_not_depend_on_the_key(self, shift: int) -> None:
        """Everything transposes."""
        key = Key((3 + shift) % 12)
        for symbol in ("Eb", "Cm7", "C7b9", "Adim7"):
            for tone in ("2", "3", "4", "5", "6", "7"):
                moved_chord = chord(symbol).transposed(shift)
                assert interval_of(tone, moved_chord, key) == interval_of(tone, chord(symbol), EB)

    @pytest.mark.parametrize(
        ("way", "notes"),
        [
            (Way.SEMITONE_BELOW, [[33]]), (Way.SEMITONE_ABOVE, [[35]]),
            (Way.TWO_SEMITONES_BELOW, [[32], [33]]), (Way.TWO_SEMITONES_ABOVE, [[36], [35]]),
            (Way.FIFTH, [[41, 29]]), (Way.SCALE_BELOW, [[32]]), (Way.SCALE_ABOVE, [[36]]),
            (Way.ENCLOSURE, [[36], [33]]), (Way.WALK_UP, [[29], [31], [32]]),
        ],
    )  # fmt: skip
    def test_the_ways_from_fm7_into_bb(self, way: Way, notes: list[list[int]]) -> None:
        """In Eb, Bb lies at 34: A or B by semitone, Ab or C by scale, F by fifth."""
        assert [list(place) for place in lead_in(way, chord("Fm7"), EB, 34)] == notes

    def test_a_scale_step_of_a_semitone_is_no_scale_way(self) -> None:
        """From Bb7 into Eb the step below is the leading note, so it counts as a semitone."""
        assert lead_in(Way.SCALE_BELOW, chord("Bb7"), EB, 39) == ()
        assert 2 in scale_of(chord("Bb7"), EB)

    @pytest.mark.parametrize(
        ("symbol", "key", "way", "root", "notes"),
        [
            ("Fm6", EB, Way.TWO_SEMITONES_ABOVE, 43, []),
            ("Dm7b5", EB, Way.TWO_SEMITONES_ABOVE, 40, []),
            ("Gm7", EB, Way.TWO_SEMITONES_BELOW, 37, []),
            ("Abmaj7", EB, Way.TWO_SEMITONES_BELOW, 37, []),
            ("G", Key(0, minor=True), Way.ENCLOSURE, 32, []),
            ("Fm6", EB, Way.TWO_SEMITONES_ABOVE, 42, [[44], [43]]),
            ("Bb7", EB, Way.TWO_SEMITONES_BELOW, 39, [[37], [38]]),
        ],
    )  # fmt: skip
    def test_no_way_in_sets_out_with_the_third_that_makes_another_chord(
        self, symbol: str, key: Key, way: Way, root: int, notes: list[list[int]]
    ) -> None:
        """A under Fm6 is F major on 3; only a dominant has a blue third, which goes to its own."""
        for shift in range(12):
            moved = Key((key.tonic + shift) % 12, minor=key.minor)
            found = lead_in(way, chord(symbol).transposed(shift), moved, root + shift)

            assert [[note - shift for note in place] for place in found] == notes


class TestReasons:
    """What is said about a note."""

    @pytest.mark.parametrize(
        ("role", "note", "symbol", "key", "aims_at", "sentence"),
        [
            (Role.ROOT, 39, "Eb", 3, None, "Eb: the root of Eb"),
            (Role.THIRD, 42, "D", 2, None, "F#: the third of D"),
            (Role.SEVENTH, 44, "Bb7", 3, None, "Ab: the seventh of Bb7"),
            (Role.BASS, 43, "Eb/G", 3, None, "G: the bass that Eb/G asks for"),
            (Role.APPROACH_BELOW, 42, "C", 0, 7, "F#: a semitone below G, the bass note to come"),
            (Role.APPROACH_ABOVE, 44, "C", 0, 7, "Ab: a semitone above G, the bass note to come"),
            (Role.APPROACH_ABOVE, 40, "F", 3, 3, "E: a semitone above Eb, the bass note to come"),
            (Role.SCALE_STEP, 45, "C", 0, 7, "A: a scale step above G, the bass note to come"),
            (Role.FIFTH, 34, "Bb7", 3, 3, "Bb: the fifth of Eb, the bass note to come"),
            (Role.THIRD, 41, "C#7", 6, 6, "E#: a semitone below F#, the bass note to come"),
            (Role.SEVENTH, 35, "Db7", 1, 10, "Cb: a semitone above Bb, the bass note to come"),
            (Role.ROOT, 34, "Bb/D", 10, None, "Bb: the root of Bb/D"),
            (Role.SCALE_STEP, 41, "Eb", 3, None, "F: a scale step over Eb"),
            (Role.SCALE_STEP, 41, "E", 4, None, "F: a step from outside over E"),
            (Role.SCALE_STEP, 43, "Gbmaj7", 5, None, "G: a step from outside over Gbmaj7"),
            (Role.SCALE_STEP, 42, "C", 0, 4, "F#: a whole step above E, the bass note to come"),
        ],
    )  # fmt: skip
    def test_a_note_is_explained_with_its_name_in_the_key(
        self, *, role: Role, note: int, symbol: str, key: int, aims_at: int | None, sentence: str
    ) -> None:
        """Names follow the chord and the key, and a lead says where it goes."""
        assert reason_for(role, note, chord(symbol), Key(key), aims_at) == sentence

    @pytest.mark.parametrize("goal", ["1", "5"])
    @pytest.mark.parametrize("key", KEYS, ids=lambda key: key.name)
    def test_a_semitone_up_to_the_one_or_the_five_is_a_raised_step_in_every_key(
        self, key: Key, goal: str
    ) -> None:
        """As F# climbs to G in C, so E# climbs to F# in B, and B# to C# in C# minor."""
        aims_at = key.tonic_fifths + degree_fifths(goal)
        tonic = Chord.of(key.tonic, MINOR if key.minor else MAJOR)
        target = pitch_class_of_fifths(aims_at)
        reason = reason_for(Role.APPROACH_BELOW, 47 + target, tonic, key, target)
        raised = name_of_fifths(aims_at + 5)
        # C## to D# is not what anybody wants to read
        name = raised if len(raised) <= 2 else spell_plainly((target - 1) % 12)

        assert reason.startswith(f"{name}: a semitone below {name_of_fifths(aims_at)},")


class TestHand:
    """String and fret."""

    @pytest.mark.parametrize(
        ("note", "places"),
        [(28, {(1, 0)}), (33, {(1, 5), (2, 0)}), (43, {(2, 10), (3, 5), (4, 0)})],
    )
    def test_a_note_lies_where_the_strings_have_it(
        self, note: int, places: set[tuple[int, int]]
    ) -> None:
        """The open A is also the fifth fret of the E string."""
        assert {place for place, _ in Hand(Neck()).places(note)} == places

    @pytest.mark.parametrize(
        ("position", "fret", "then"), [(2, 0, 2), (2, 5, 2), (2, 6, 3), (5, 3, 3), (1, 12, 9)]
    )
    def test_the_hand_moves_no_farther_than_it_must(
        self, position: int, fret: int, then: int
    ) -> None:
        """Four frets lie under the fingers; an open string needs none."""
        assert moved(position, fret, 4) == then
        assert fret == 0 or then <= fret < then + 4

    @pytest.mark.parametrize("seconds", [0.05, 0.1, 0.2, 0.4])
    @pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
    def test_no_note_is_played_that_no_hand_could_reach(self, style: Style, seconds: float) -> None:
        """At any tempo, also at absurd ones, the hand gets there in time."""
        metre = style.metres[0]
        spans = spans_of(CHANGES, metre)
        line = Bassline(style, Random(2))
        for bar in range(16):
            notes = line.write(
                replace(ask_for(bar, spans, None, metre=metre), seconds_per_beat=seconds)
            )
            position = max(1, notes[0].fret - 1)
            for before, note in pairwise(notes):
                there = moved(position, note.fret, style.neck.span)
                time = float(note.beat - before.beat) * seconds
                assert reachable(abs(there - position), time)
                position = there

    @pytest.mark.parametrize(
        ("tuning", "lowest"),
        [((23, 28, 33, 38, 43), 23), ((26, 33, 38, 43), 26), ((28, 33, 38, 43, 48), 28)],
        ids=["five strings, low B", "drop D", "five strings, high C"],
    )
    @pytest.mark.parametrize("name", ["soul", "walking", "rock"])
    def test_other_tunings_are_used_to_their_lowest_note(
        self, name: str, tuning: tuple[int, ...], lowest: int
    ) -> None:
        """Every note lies where that neck has it, and the new low notes are played."""
        style = STYLES[name]
        low = replace(
            style,
            neck=replace(style.neck, tuning=tuning),
            register=replace(style.register, lowest=lowest, home=lowest + 4),
        )
        notes = [note for seed in range(4) for bar in part(low, seed=seed) for note in bar]

        assert all(tuning[n.string - 1] + n.fret == n.note for n in notes)
        assert min(n.note for n in notes) <= lowest + 2

    @pytest.mark.parametrize(
        ("position", "fret", "then"),
        [(1, 3, 1), (1, 4, 2), (3, 2, 2), (5, 0, 5), (2, 7, 5)],
    )
    def test_on_an_upright_a_hand_covers_a_whole_tone(
        self, position: int, fret: int, then: int
    ) -> None:
        """First finger to fourth is two semitones; the third semitone wants a shift."""
        assert moved(position, fret, 3) == then

    @pytest.mark.parametrize("name", UPRIGHT)
    def test_an_upright_keeps_to_its_positions(self, name: str) -> None:
        """Below the neck's heel, on four strings, and every shift made in time at its fastest."""
        style = STYLES[name]
        seconds = 60 / style.tempo.high
        metre = style.metres[0]
        spans = spans_of(CHANGES, metre)
        for seed in range(4):
            line, last, position = Bassline(style, Random(seed)), None, 1
            for bar in range(16):
                ask = replace(ask_for(bar, spans, last, metre=metre), seconds_per_beat=seconds)
                for note in line.write(ask):
                    there = moved(position, note.fret, 3)
                    time = float(note.beat - last.beat) * seconds if last else 1.0
                    assert note.fret <= 7
                    assert reachable(abs(there - position), time)
                    last, position = note, there

    @pytest.mark.parametrize("foreseen", [True, False], ids=["foreseen", "not foreseen"])
    @pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
    def test_no_tempo_takes_the_note_from_a_change(self, style: Style, foreseen: bool) -> None:
        """Where the hand has no time to come down to a root it takes the octave."""
        metre, line, last = style.metres[0], Bassline(style, Random(1)), None
        leisurely = Bassline(style, Random(1))
        spans = spans_of(" | ".join(["Eb | F7 | Bb | Gm7"] * 7), metre)
        for bar in range(28):
            ask = ask_for(bar, spans, last, metre=metre)
            ask = ask if foreseen else replace(ask, coming=None)
            first = leisurely.write(replace(ask, seconds_per_beat=2.0))[0]
            notes = line.write(replace(ask, seconds_per_beat=60 / style.tempo.high))
            assert notes[0].beat == first.beat
            assert notes[0].note % 12 == first.note % 12
            last = notes[-1]

    @pytest.mark.parametrize("key", range(-6, 6))
    @pytest.mark.parametrize("name", UPRIGHT)
    def test_a_wrong_guess_is_left_as_soon_as_the_hand_can_shift(self, name: str, key: int) -> None:
        """Gb was expected and struck, Db comes: no beat of Gb, be the root a shift away."""
        style, metre = STYLES[name], STYLES[name].metres[0]
        line, bar = Bassline(style, Random(1)), metre.bar
        spans = [replace(s, chord=s.chord.transposed(key)) for s in spans_of("Gb | Db", metre)]
        guess, late = spans[0].chord, Fraction(1, 24)
        (struck, *_) = line.write(ask_for(1, [Span(bar, 2 * bar, guess, 0.9)], None, metre=metre))
        ask = replace(ask_for(1, spans, struck, metre=metre, start=late), seconds_per_beat=0.4)
        notes = line.write(ask)

        assert notes[0].note % 12 == spans[1].chord.root
        assert notes[0].beat - struck.beat <= Fraction(1, 2)
        stands = max(1, struck.fret - 1)
        shift = abs(moved(stands, notes[0].fret, style.neck.span) - stands)
        assert reachable(shift, float(notes[0].beat - struck.beat) * 0.4)

    @pytest.mark.parametrize("key", range(-6, 6))
    @pytest.mark.parametrize("style", STYLES.values(), ids=STYLES)
    def test_a_change_that_comes_as_a_surprise_is_no_leap_over_an_octave(
        self, style: Style, key: int
    ) -> None:
        """From the octave of one root down to the next one's, where the style has it."""
        metre, line, last = style.metres[0], Bassline(style, Random(1)), None
        spans = spans_of(" | ".join(["Bb | Gm7 | Cm7 | F7 | Dm7 | Eb"] * 3), metre)
        spans = [replace(span, chord=span.chord.transposed(key)) for span in spans]
        for bar in range(18):
            notes = line.write(replace(ask_for(bar, spans, last, metre=metre), coming=None))
            if last is not None:
                assert (
                    last.note - notes[0].note <= 12 or notes[0].note + 12 > style.register.highest
                )
            last = notes[-1]

    @pytest.mark.parametrize("seed", range(1, 4))
    def test_a_low_root_that_is_foreseen_is_come_down_to_in_time(self, seed: int) -> None:
        """A sixteenth before the low F the hand is no farther up than it gets down from."""
        metre, line, last = Metre(5, 4), Bassline(STYLES["soul"], Random(seed)), None
        spans = spans_of(" | ".join(["Bb | Gm7 | Eb | F7"] * 7), metre)
        for bar in range(28):
            notes = line.write(ask_for(bar, spans, last, metre=metre))
            if bar % 4 == 3:
                assert (notes[0].beat, notes[0].note) == (5 * bar, 29)
            last = notes[-1]

    def test_a_long_shift_takes_time(self) -> None:
        """Nine frets are no matter of a tenth of a second."""
        assert not reachable(9, 0.1)
        assert reachable(9, 0.3)
        assert reachable(0, 0.01)
