"""Spelled: a chord whose tones are all there, and no others, is what it spells.

Knows: triads, the chords that stand on a low root, and what of a beat may be read as one.
Refuses to know: everything that makes a chord likely in its place.
How: the root that is spelled counts some times more in the belief than the filter makes it; for
the songs the filter was taught with leave tones out freely, and it takes what is played for the
upper part of a larger chord too easily.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from engine.arrays import Doubles
from engine.hearing.evidence import C3, Reading
from engine.theory.harmony import QUALITY_BY_HARTE

# A triad that is all that was struck, while nothing else sounds, may be part of a larger chord, but
# mostly it is itself; its keys may be up again, for played short it is the same chord.  On changes
# followed in a chart of which one chord in eight was replaced, 14 of 3,447 were not landed on with
# it, and 26 without.
_ALONE: Final = 4.0

# So is a chord of these kinds over its own root, if that is a bass: A, C, E flat and G are Am7b5,
# and no F9 without its root.  Voicings without their roots lie higher, from about C3 up.
_ON_ITS_ROOT: Final = 16.0
_STANDING: Final = (
    "maj7", "min7", "7", "maj6", "min6", "minmaj7", "hdim7", "dim7", "dim", "sus4", "sus4(b7)",
    "sus2",
)  # fmt: skip

# And so is one of these over another of its tones: E, G, B and C are Cmaj7/E, and no Em.  Of 384
# of the first three (bench.whole) 16 were at once heard on another root with it, and 92 without.
# Neither moves a share of the labelled songs by more than two hundredths.
_INVERTED: Final = 4.0
_TURNED: Final = ("maj7", "min7", "7", "hdim7", "minmaj7")

# Where chords are sent as they are written, D, F and A over G are Dm/G, not a ninth on G that lacks
# its third.  Of 3,422 changes so sent, one chord in eight replaced, 29 were taken for another root
# with it, and 52 without.  Players leave thirds out: what they play is labelled no better with it.
_OVER_A_BASS: Final = 64.0


# And a chord whose root was struck below it in the bar, and let go, is on that root, though its
# keys alone spell a triad.  The more this counts the better a stride or waltz is heard, and the
# worse a left hand that strikes A on one alone while Am goes to C: at 16 the first bar of a waltz
# is not heard yet in half the keys, and from 64 on one beat of pop in a thousand is lost.
_UPON: Final = 48.0


def spelled_counted(belief: Doubles, reading: Reading, upon: int | None = None) -> Doubles:
    """The belief, flat or by root, in which a chord that is all that is heard counts for itself.

    `upon` is the root that was laid down for it before, if any.
    """
    if upon is not None:
        return _raised(belief, upon, _UPON)
    struck, low = _played(reading)
    if not reading.sounding <= struck:
        return belief
    bass = low % 12 if low is not None and low < C3 else None
    root, counts = spelled(struck, bass)
    return belief if root is None else _raised(belief, root, counts)


def _played(reading: Reading) -> tuple[frozenset[int], int | None]:
    """What was struck, and its low tone; where nothing was, what was struck off the beat before."""
    if reading.struck:
        return reading.struck, reading.low
    return reading.carried, reading.bass


def slash_chord_counted(belief: Doubles, reading: Reading) -> Doubles:
    """The belief, flat or by root, in which a triad over a thirdless bass counts for itself."""
    struck, low = reading.struck, reading.low
    if low is None or not reading.sounding <= struck:
        return belief
    root = triad_over(struck, low % 12)
    return belief if root is None else _raised(belief, root, _OVER_A_BASS)


def _raised(belief: Doubles, root: int, counts: float) -> Doubles:
    out = belief.copy()
    out.reshape(12, -1)[root] *= counts
    out /= out.sum()
    return out


@lru_cache(maxsize=512)
def spelled(pitch_classes: frozenset[int], bass: int | None) -> tuple[int | None, float]:
    """The root that these pitch classes spell over a bass, if any, and how much more it counts."""
    root = spelled_triad(pitch_classes)
    if root is not None:
        return root, _ALONE
    if bass is None:
        return None, 1.0
    if _spells(bass, pitch_classes, _STANDING):
        return bass, _ON_ITS_ROOT
    turned = (root for root in pitch_classes if _spells(root, pitch_classes, _TURNED))
    return next(turned, None), _INVERTED


def spelled_triad(pitch_classes: frozenset[int]) -> int | None:
    """The root of the major or minor triad that these pitch classes spell, all it and no more."""
    triads = (root for root in pitch_classes if _spells(root, pitch_classes, ("maj", "min")))
    return next(triads, None)


def _spells(root: int, pitch_classes: frozenset[int], kinds: tuple[str, ...]) -> bool:
    """Whether they are a whole chord on a root, of one of some kinds."""
    degrees = {(pitch_class - root) % 12 for pitch_class in pitch_classes}
    return any(degrees == {*QUALITY_BY_HARTE[kind].intervals} for kind in kinds)


@lru_cache(maxsize=512)
def triad_over(pitch_classes: frozenset[int], bass: int) -> int | None:
    """The root of the triad that the others spell over a bass, if that has no third among them.

    F, A and C over G are F/G, and over D they are Dm7.
    """
    if bass not in pitch_classes or pitch_classes & {(bass + 3) % 12, (bass + 4) % 12}:
        return None
    return spelled_triad(pitch_classes - {bass})
