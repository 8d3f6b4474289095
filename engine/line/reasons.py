"""Reasons: why a note is played, in a musician's words.

Knows: how to name a note and a chord in the key, and what to say about each role.
Refuses to know: how the note was chosen.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

from engine.score import Role
from engine.theory.harmony import Chord, Key, degree_fifths
from engine.theory.pitch import fifths_near, name_of_fifths, pitch_class_of_fifths
from engine.theory.spelling import fifths_over, is_in_mode, is_known, spelled
from engine.theory.symbols import symbol

# Semitones up to the goal: from a step below or above it, and from its fifth.
_STEPS_AND_FIFTH: Final = frozenset({1, 2, 5, 10, 11})

# Where a step is written on the line of fifths from its goal, by semitones up to that.
_FROM_A_STEP: Final = MappingProxyType({1: 5, 11: -5, 2: -2, 10: 2})

# The sharpest tone that a key writes, above its tonic on the line of fifths: E# in B.
_RAISED_FOURTH: Final = degree_fifths("#4")

_DEGREES: Final = MappingProxyType(
    {
        Role.SECOND: "second", Role.THIRD: "third", Role.FOURTH: "fourth", Role.FIFTH: "fifth",
        Role.SIXTH: "sixth", Role.SEVENTH: "seventh",
    }
)  # fmt: skip


def reason_for(
    role: Role, note: int, chord: Chord, key: Key, aims_at: int | None, *, goal: int | None = None
) -> str:
    """One line of teaching: "F#: a semitone below G, the bass note to come".

    `goal` is where the note aimed at is written on the line of fifths, if not where the key has it.
    """
    if aims_at is not None:
        return _leading(role, note, chord, key, key.tone_fifths(aims_at) if goal is None else goal)
    name = spelled(note % 12, chord, key)
    over = symbol(chord, key)
    match role:
        case Role.ROOT:
            return f"{name}: the root of {over}"
        case Role.OCTAVE:
            return f"{name}: the octave above the bass of {over}"
        case Role.BASS:
            return f"{name}: the bass that {over} asks for"
        case Role.GHOST:
            return f"{name}: a ghost note, the string only touched"
        case Role.SCALE_STEP | Role.APPROACH_BELOW | Role.APPROACH_ABOVE:
            # in none where the key has become another since it was played
            inside = is_in_mode(note % 12, chord, key)
            return f"{name}: a {'scale step' if inside else 'step from outside'} over {over}"
    return f"{name}: the {_DEGREES[role]} of {over}"


def _leading(role: Role, note: int, chord: Chord, key: Key, target: int) -> str:
    below = (pitch_class_of_fifths(target) - note) % 12
    name = _leading_name(note % 12, target, chord, key)
    goal = f"{name_of_fifths(target)}, the bass note to come"
    if below in (1, 11):
        return f"{name}: a semitone {'below' if below == 1 else 'above'} {goal}"
    if below in (2, 10):
        inside = role is Role.SCALE_STEP and is_in_mode(note % 12, chord, key)
        kind = "scale step" if inside else "whole step"
        return f"{name}: a {kind} {'below' if below == 2 else 'above'} {goal}"
    if below == 5:
        return f"{name}: the fifth of {goal}"
    if below == 0:
        return f"{name}: {goal}, already"
    return f"{name}: on the way to {goal}"


def _leading_name(pitch_class: int, target: int, chord: Chord, key: Key) -> str:
    """A semitone below is a raised step, one above a lowered one, and a whole step is two letters.

    Unless that gives a name nobody wants to read: E over Eb, not Fb; but in B it is E# that climbs
    to F#, and in C# minor B# to C#.  A tone of the chord keeps its name, and so does one of its
    mode or of the key: the third of C#7 is E#, G flat major has a Cb, and it is Bb that climbs from
    Fm to B.
    """
    fifths = fifths_over(pitch_class, chord, key)
    below = (pitch_class_of_fifths(target) - pitch_class) % 12
    own = pitch_class in chord.pitch_classes
    if below in _STEPS_AND_FIFTH and pitch_class in key.scale and not own:
        # over A7 too it is Eb that leads as a fifth to Ab
        fifths = min(fifths, key.tone_fifths(pitch_class), key=lambda each: abs(each - target))
    if not is_known(pitch_class, chord, key):
        fifths = target + _FROM_A_STEP.get(below, fifths - target)
    name = name_of_fifths(fifths)
    belongs = own or key.signature - 1 <= fifths <= key.tonic_fifths + _RAISED_FOURTH
    unwanted = (name in ("Cb", "Fb", "E#", "B#") and not belongs) or len(name) > 2
    return spell_plainly(pitch_class) if unwanted else name


def spell_plainly(pitch_class: int) -> str:
    """The name with no accidental where there is one, else the usual one of five."""
    return name_of_fifths(fifths_near(pitch_class, 0))
