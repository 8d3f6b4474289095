"""Standing: what is known of the song after a beat, and before it.

Knows: what belongs together when a beat is weighed, walked on from, or taken back.
Refuses to know: how any of it is worked out.
How: frozen values, so that what was known once can be returned to.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from engine.arrays import Doubles, Singles
from engine.foresight.agreement import Agreement, Step
from engine.foresight.chart import Whereabouts
from engine.foresight.clues import Clues
from engine.foresight.course import Course
from engine.theory.harmony import Chord, Key
from engine.theory.meter import Metre, Moment


@dataclass(frozen=True, slots=True)
class Standing:
    """All that is known after a beat about the next one."""

    step: Step
    clues: Clues
    judged: Singles
    charted: Doubles | None
    places: Doubles | None
    odds: Doubles


class Way(NamedTuple):
    """A beat on the path looked along, what speaks after it, and what is made of that.

    `customs` is what songs in general would do next, see clues.of_customs; `standing` is None where
    it is to be judged anew.
    """

    step: Step
    agreement: Agreement
    course: Course
    where: Whereabouts | None
    clues: Clues
    customs: Singles
    standing: Standing | None


class Before(NamedTuple):
    """What was known before a beat was committed, and where that beat was."""

    beat: Fraction
    in_bar: Fraction
    metre: Metre
    last: Step | None
    agreement: Agreement
    standing: Standing | None
    course: Course
    where: Whereabouts | None
    hits: Singles
    trust: float


class Present(NamedTuple):
    """What a look ahead starts from: a place of the song, and what is heard there.

    `chord` is taken as sounding, with this confidence.  `coming` is what the ear expects of the
    root of the next beat (12,), where it was asked (Ear.coming); `grounded` is whether the player
    plays the bass of the chord.
    """

    moment: Moment
    chord: Chord | None
    key: Key
    confidence: float
    coming: Doubles | None = None
    grounded: bool = False


class Call(NamedTuple):
    """A chord expected, and how likely it is after all that was expected before."""

    chord: Chord | None
    odds: float
