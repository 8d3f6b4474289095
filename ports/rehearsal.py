"""Rehearsal: a scripted keyboard player, for a machine without MIDI and for showing the job.

The changes are our own: sixteen bars in E flat with minor, dominant, slash and diminished
chords.  The player comps as people do: the left hand holds the chord's bass and a tone above it,
the right hand moves as little as it can, chords are rolled by a few milliseconds, and some bars
are syncopated.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from random import Random
from typing import Final

from engine.events import SUSTAIN, Control, Incoming, NoteOff, NoteOn, Stop
from engine.theory.harmony import QUALITY_BY_SUFFIX, Chord, Key
from engine.theory.pitch import pitch_class_of_name

KEY: Final = Key(3)
BARS: Final = 16
BEATS_PER_BAR: Final = 4

# One line of changes per phrase of four bars; chords in one bar share it equally.
_CHANGES: Final = (
    "Eb      | Cm7    | Fm7     | Bb7sus4 Bb7",
    "Eb/G    | Abmaj7 | Adim7   | Bb7",
    "Cm      | Cm/Bb  | Am7b5   | Abm6",
    "Gm7 C7  | Fm7    | Bb9 Bb7 | Eb Bb7",
)

# Where the hands strike in a bar of one chord, in beats; every chord is struck where it comes.
_COMPING: Final = (
    ("0",),
    ("0", "2"),
    ("0", "3/2"),
    ("0", "3/2", "3"),
    ("0", "1", "5/2"),
)

LEFT_HAND_LOWEST: Final = 43
RIGHT_HAND: Final = range(58, 78)


@dataclass(frozen=True, slots=True)
class Change:
    """A chord of the script and the beat it comes on."""

    beat: Fraction
    chord: Chord


def changes(bars: int = BARS) -> tuple[Change, ...]:
    """What is truly played, for judging what was heard; the form repeats as often as needed."""
    written = [bar.split() for line in _CHANGES for bar in line.split("|")]
    return tuple(
        Change(Fraction(BEATS_PER_BAR) * (bar + Fraction(i, len(symbols))), _chord(symbol))
        for bar, symbols in ((b, written[b % BARS]) for b in range(bars))
        for i, symbol in enumerate(symbols)
    )


def _chord(symbol: str) -> Chord:
    upper, _, bass = symbol.partition("/")
    length = 2 if upper[1:2] in ("b", "#") else 1
    root = pitch_class_of_name(upper[:length])
    quality = QUALITY_BY_SUFFIX[upper[length:]]
    return Chord.of(root, quality, pitch_class_of_name(bass) if bass else None)


def events(tempo: float, seed: int = 0, bars: int = BARS) -> tuple[Incoming, ...]:
    """What the player's keyboard sends, in order of time, from 0 seconds; a stop ends it.

    Args:
        tempo: quarter notes per minute.
        seed: of the player's small inaccuracies and choices.
        bars: how many to play.
    """
    random = Random(seed)
    beat_seconds = 60 / tempo
    played: list[Incoming] = []
    hands: tuple[int, ...] = ()
    script = changes(bars)
    for change, end in zip(script, _ends(script, bars), strict=True):
        hands = _voicing(change.chord, hands)
        strikes = _strikes(change.beat, end, random)
        for start, stop in zip(strikes, [*strikes[1:], end], strict=True):
            held = float(stop - start) * (1.0 if stop < end else random.uniform(0.93, 0.99))
            at = float(start) * beat_seconds
            played += _strike(hands, at, at + held * beat_seconds, random)
        played += _pedal(float(change.beat) * beat_seconds, float(end) * beat_seconds)
    played.append(Stop(bars * BEATS_PER_BAR * beat_seconds))
    return tuple(sorted(played, key=_order))


def _ends(script: tuple[Change, ...], bars: int) -> list[Fraction]:
    return [c.beat for c in script[1:]] + [Fraction(BEATS_PER_BAR * bars)]


def _strikes(start: Fraction, end: Fraction, random: Random) -> list[Fraction]:
    """The beats a chord is struck on: a comping figure, as far as the chord lasts."""
    figure = random.choice(_COMPING)
    return [start + Fraction(place) for place in figure if start + Fraction(place) < end]


def _strike(notes: tuple[int, ...], at: float, until: float, random: Random) -> Iterator[Incoming]:
    """Strike the notes from the bottom up, and let them go in no order."""
    late = abs(random.gauss(0.0, 0.004)) if at else 0.0
    loudness = random.randint(66, 84)
    for note in notes:
        sounding_at = at + late
        yield NoteOn(sounding_at, note, loudness + random.randint(-6, 6))
        yield NoteOff(max(until - random.uniform(0.004, 0.02), sounding_at + 0.03), note)
        late += random.uniform(0.0, 0.003)


def _pedal(start: float, end: float) -> Iterator[Incoming]:
    """Catch the chord with the pedal just after the strike, lift it before the next."""
    yield Control(start + 0.09, SUSTAIN, 100)
    yield Control(end - 0.03, SUSTAIN, 0)


def _order(event: Incoming) -> tuple[float, bool]:
    """By time; of two at once the release first, so that a key is up before it is struck again."""
    return event.at, isinstance(event, NoteOn)


def _voicing(chord: Chord, before: tuple[int, ...]) -> tuple[int, ...]:
    """Both hands on a chord: bass and a companion on the left, the rest near where it was."""
    bass = LEFT_HAND_LOWEST + (chord.bass - LEFT_HAND_LOWEST) % 12
    tones = [(chord.root + i) % 12 for i in chord.quality.intervals]
    companion = next((bass + i for i in (7, 10, 9) if (bass + i) % 12 in tones), None)
    left = (bass,) if companion is None else (bass, companion)
    right = _right_hand(_right_tones(chord, tones), before)
    return tuple(sorted({*left, *right}))


def _right_tones(chord: Chord, tones: list[int]) -> list[int]:
    """The tones that tell the chord; of four or more the bass note is left to the left hand."""
    return [t for t in tones if t != chord.bass] if len(tones) > 3 else tones


def _right_hand(tones: list[int], before: tuple[int, ...]) -> tuple[int, ...]:
    """The placing of the tones that moves least from the last chord and fits the hand."""
    places = [[n for n in RIGHT_HAND if n % 12 == tone] for tone in tones]
    fitting = [p for p in product(*places) if max(p) - min(p) <= 12]
    return min(fitting, key=lambda p: (_travel(p, before), sorted(p)))


def _travel(placing: tuple[int, ...], before: tuple[int, ...]) -> int:
    upper = [n for n in before if n in RIGHT_HAND] or [67]
    return sum(min(abs(note - old) for old in upper) for note in placing)
