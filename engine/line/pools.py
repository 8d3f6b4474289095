"""Pools: which tones a chord offers, and the ways into the next one.

Knows: what a degree of a style ("5", "b7", "8", "5,") is on a chord, which tones a family offers
at which weight, and the notes of each way into a root.
Refuses to know: rhythm, the neck, what was played before.
How: bare degrees are taken from the chord where it has them and from its mode where it has not, so
one pool serves a whole family.
"""

from __future__ import annotations

from functools import lru_cache
from types import MappingProxyType
from typing import Final

from engine.score import Role
from engine.style import Pool, Style, Way
from engine.theory.harmony import Chord, Family, Key, degree_semitones
from engine.theory.modes import scale_for

# What a family offers when the preset does not say: the tones every tutor starts with.
_PLAIN_POOLS: Final = MappingProxyType(
    {
        Family.MAJOR: (("1", 6), ("3", 2), ("5", 4), ("6", 1), ("8", 2)),
        Family.MINOR: (("1", 6), ("3", 2), ("5", 4), ("b7", 2), ("8", 2)),
        Family.DOMINANT: (("1", 6), ("3", 2), ("5", 4), ("b7", 2), ("8", 2)),
        Family.SUSPENDED: (("1", 6), ("4", 1), ("5", 4), ("8", 2)),
        Family.HALF_DIMINISHED: (("1", 6), ("b3", 2), ("b5", 3), ("b7", 2), ("8", 1)),
        Family.DIMINISHED: (("1", 6), ("b3", 3), ("b5", 3), ("8", 1)),
        Family.AUGMENTED: (("1", 6), ("3", 3), ("#5", 2), ("8", 1)),
        Family.POWER: (("1", 6), ("5", 4), ("8", 3)),
    }
)

_STEPS: Final = 8  # fine enough to be heard as a slope, few enough to be kept
_HEARD: Final = 0.05  # a tone of one in twenty is no colour any more, or not yet

_ROLE_BY_NUMBER: Final = (
    Role.ROOT, Role.SECOND, Role.THIRD, Role.FOURTH, Role.FIFTH, Role.SIXTH, Role.SEVENTH,
)  # fmt: skip


def pool_of(style: Style, family: Family, intensity: float = 0.5) -> Pool:
    """The tones that a style plays on chords of a family, each with its weight.

    At half intensity those of every day; towards 0 and 1 they turn, in steps of an eighth, into
    those of a player who holds back and of one in full flight, where the style has such.
    """
    usual = dict(style.pools).get(family) or _PLAIN_POOLS[family]
    other = dict(style.quiet_pools if intensity < 0.5 else style.full_pools).get(family)
    share = round(abs(2 * intensity - 1) * _STEPS) / _STEPS
    return _blended(usual, other, share) if other and share else usual


@lru_cache(maxsize=1024)
def _blended(usual: Pool, other: Pool, share: float) -> Pool:
    """Weights between two pools; a tone that only one of them has comes and goes in its turn."""
    here, there = _shares(usual), _shares(other)
    mixed = {t: (1 - share) * here.get(t, 0) + share * there.get(t, 0) for t in {**here, **there}}
    both = here.keys() & there.keys()
    return tuple((t, weight) for t, weight in mixed.items() if t in both or weight >= _HEARD)


def _shares(pool: Pool) -> dict[str, float]:
    whole = sum(weight for _, weight in pool)
    return {tone: weight / whole for tone, weight in pool if weight}


@lru_cache(maxsize=4096)
def interval_of(tone: str, chord: Chord, key: Key) -> int:
    """Semitones above the root of a style's degree on this chord; 12 and more above the octave."""
    degree = tone.rstrip(",")
    number = int(degree.lstrip("b#"))
    octave = 12 if number > 7 else 0
    if number > 7:
        degree = degree.replace(str(number), str(number - 7))
        number -= 7
    if degree[0] in "b#":
        return degree_semitones(degree) + octave
    return _own(number, chord, key) + octave


def _own(number: int, chord: Chord, key: Key) -> int:
    """The chord's own form of a degree 1..7, else its mode's, else the major scale's."""
    mode = scale_for(chord, key)
    chord_tones = zip(chord.quality.degrees, chord.quality.intervals, strict=True)
    for degree, interval in (*chord_tones, *zip(mode.degrees, mode.intervals, strict=True)):
        if (int(degree.lstrip("b#")) - 1) % 7 + 1 == number:
            return interval
    return degree_semitones(str(number))


@lru_cache(maxsize=4096)
def offered(tone: str, chord: Chord, key: Key, pool: Pool) -> str:
    """The tone itself where the pool has it, else the pool's form of the degree, or its nearest.

    A bare second or sixth that the key makes flat is left out: a figure stays on its tones, and
    these rub against the root and the fifth.  On a minor sixth chord a flat seventh is the sixth.
    """
    low = tone.endswith(",")
    bare = on_minor_sixth(tone.rstrip(","), chord)
    tone = bare + "," * low
    own = [on_minor_sixth(t, chord) for t, weight in pool if weight]
    tones = [t for t in own if not _rubs(t, chord, key)]
    if number_of(tone) == 1 or bare in tones:
        return tone
    for t in tones:
        if number_of(t) == number_of(tone) and int(bare.lstrip("b#")) < 8:
            return t + "," * low
    wanted = degree_semitones(str(number_of(tone)))  # so a 6 turns into the flat seventh
    near = [t for t in tones if number_of(t) != 1] or ["1"]
    best = min(near, key=lambda t: abs(interval_of(t, chord, key) % 12 - wanted))
    return best + "," * low


def on_minor_sixth(tone: str, chord: Chord) -> str:
    """The sixth for a flat seventh, where a minor chord has that and no seventh of its own.

    The two rub a semitone apart, and it is the sixth that the keyboard plays.  On a major sixth
    chord a flat seventh is blue, and a style that offers it there means that.
    """
    if tone != "b7" or chord.family is not Family.MINOR:
        return tone
    numbers = {number_of(degree) for degree in chord.quality.degrees}
    return "6" if 6 in numbers and 7 not in numbers else tone


def _rubs(tone: str, chord: Chord, key: Key) -> bool:
    interval = interval_of(tone, chord, key) % 12
    flat = tone in ("2", "6") and interval in (1, 8)
    return flat and (chord.root + interval) % 12 not in chord.pitch_classes


def number_of(tone: str) -> int:
    """The degree's number, 1..7."""
    return (int(tone.rstrip(",").lstrip("b#")) - 1) % 7 + 1


def role_of(tone: str, chord: Chord, pitch_class: int) -> Role:
    """What a degree is to its chord: a scale step where the chord does not hold it.

    A tone of the seventh chord is what that calls it: the flat sixth of Eb7#5 is its fifth.
    """
    number, own = number_of(tone), chord.degree_of(pitch_class)
    if number == 1:
        if tone.lstrip("b#").startswith("8"):
            return Role.OCTAVE
        return Role.ROOT if pitch_class == chord.root else Role.BASS
    if pitch_class not in chord.pitch_classes:
        return Role.SCALE_STEP if number in (2, 4) else _ROLE_BY_NUMBER[number - 1]
    if int(own.lstrip("b#")) <= len(_ROLE_BY_NUMBER):  # but a sharp ninth is a style's third
        number = number_of(own)
    return _ROLE_BY_NUMBER[number - 1]


@lru_cache(maxsize=1024)
def scale_of(chord: Chord, key: Key) -> frozenset[int]:
    """The pitch classes of the mode that the chord asks for in the key."""
    return frozenset((chord.root + i) % 12 for i in scale_for(chord, key).intervals)


@lru_cache(maxsize=4096)
def lead_in(way: Way, chord: Chord, key: Key, target: int) -> tuple[tuple[int, ...], ...]:
    """The notes before `target` on a way in, last one last; each place may offer a choice.

    Empty where the way does not exist from this chord: a scale step that is a semitone is no
    scale way, so that the weights of a style say how often a semitone is heard.
    """
    scale = scale_of(chord, key)
    match way:
        case Way.SEMITONE_BELOW:
            return ((target - 1,),)
        case Way.SEMITONE_ABOVE:
            return ((target + 1,),)
        case Way.TWO_SEMITONES_BELOW:
            return _by_two(chord, target - 2, target - 1)
        case Way.TWO_SEMITONES_ABOVE:
            return _by_two(chord, target + 2, target + 1)
        case Way.ENCLOSURE:
            above = 1 if (target + 1) % 12 in scale else 2
            return _by_two(chord, target + above, target - 1)
        case Way.FIFTH:
            return ((target + 7, target - 5),)
        case Way.OCTAVE:
            return ((target + 12, target - 12),)
        case Way.REPEAT:
            return _repeat(chord, target)
        case Way.SCALE_BELOW | Way.SCALE_ABOVE:
            return _whole_step(scale, target, -2 if way is Way.SCALE_BELOW else 2)
        case Way.WALK_UP | Way.WALK_DOWN:
            return _walk(scale, target, -1 if way is Way.WALK_UP else 1)


# The third that makes another chord of the one that sounds.  A dominant may have both: its blue
# third goes up to its own.
_OTHER_THIRD: Final = MappingProxyType(
    {
        Family.MAJOR: 3, Family.AUGMENTED: 3,
        Family.MINOR: 4, Family.HALF_DIMINISHED: 4, Family.DIMINISHED: 4,
    }
)  # fmt: skip


def _by_two(chord: Chord, first: int, last: int) -> tuple[tuple[int, ...], ...]:
    """Two notes of which the first may stand in the middle of the bar, still under the chord."""
    turns = (first - chord.root) % 12 == _OTHER_THIRD.get(chord.family)
    return () if turns else ((first,), (last,))


def _repeat(chord: Chord, target: int) -> tuple[tuple[int, ...], ...]:
    distance = (chord.bass - target) % 12
    if distance in (0, 1, 11):
        return ()
    return ((target + distance, target + distance - 12),)


def _whole_step(scale: frozenset[int], target: int, step: int) -> tuple[tuple[int, ...], ...]:
    near = (target + step // 2) % 12 in scale
    return () if near or (target + step) % 12 not in scale else ((target + step,),)


def _walk(scale: frozenset[int], target: int, step: int) -> tuple[tuple[int, ...], ...]:
    if (target + step) % 12 in scale:
        return ()
    return tuple((note,) for note in scale_run(scale, target, step, 3))


def scale_run(scale: frozenset[int], target: int, step: int, count: int) -> list[int]:
    """The `count` scale tones that lie beyond `target`, farthest first (`step` -1 is below)."""
    found: list[int] = []
    note = target
    while len(found) < count:
        note += step
        if note % 12 in scale:
            found.append(note)
    return found[::-1]


def steps_between(
    scale: frozenset[int], start: int, goal: int, count: int, *, semitone: bool
) -> tuple[int, ...]:
    """`count` notes from `start` towards `goal`, last one a semitone from it or a whole step.

    Empty where the scale has no such steps.  A note too few is made up by the chromatic one
    (1 2 b3 3 to the fourth), or by the root again.
    """
    toward = 1 if goal > start else -1
    notes = [n for n in range(start + toward, goal, toward) if n % 12 in scale]
    near = goal - toward
    if semitone and (not notes or notes[-1] != near):
        notes.append(near)
    elif not semitone and (not notes or notes[-1] != near - toward):
        return ()
    if semitone and 2 <= len(notes) < count and abs(notes[-1] - notes[-2]) == 2:
        notes.insert(-1, notes[-1] - toward)
    missing = count - len(notes)
    if missing > 1:
        return ()
    return tuple([start] * missing + notes[-count:])
