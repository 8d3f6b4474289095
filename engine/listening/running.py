"""Running: the felt beat that runs, and what is known of it.

Knows: where it began, what was foretold for it, and what is still open of it.
Refuses to know: what was heard before it, and what comes after.
How: one value for all that ends with the beat; another takes its place when the next one begins or
the song goes on elsewhere, so that nothing of it can be left behind.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

from engine.hearing.ear import Ear
from engine.listening.foretold import FIRST_KEYS, Foretold
from engine.theory.harmony import Chord
from engine.theory.meter import ON_THE_BEAT, Moment

# How long a beat has only just begun.
_AT_FIRST_SECONDS: Final = 0.05


@dataclass(slots=True)
class Running:
    """What is known of the running beat: nothing, after a jump, until the next one begins.

    `known` is the chord that had been heard when it began, `seen_from` the place from which it is
    looked ahead: where it began, or where another chord was heard.  `doubted` is its beat while it
    is open which chord it brings, `awaits` whether what was foretold may come yet.  `tacet` is
    whether nobody is to play, and nobody does, `defied` whether a chord is played all the same.
    `named` is the chord that its keys go by, if the ear has another name for them.
    """

    began: Moment | None = None
    foretold: Foretold = field(default_factory=Foretold)
    known: Chord | None = None
    seen_from: Moment | None = None
    doubted: Fraction | None = None
    awaits: bool = False
    tacet: bool = False
    defied: bool = False
    named: Chord | None = None

    @classmethod
    def begin(
        cls, moment: Moment, foretold: Foretold, before: Running, known: Chord | None
    ) -> Running:
        """The beat that begins: what was foretold for it, the beat before, and the chord heard.

        Where nobody is to play still, a chord that is played all the same plays on.
        """
        rest, defied = foretold.rest is not None, before.defied
        return cls(
            began=moment,
            foretold=foretold,
            known=known,
            seen_from=moment,
            tacet=rest and not defied,
            defied=rest and defied,
        )

    @property
    def rest(self) -> Fraction | None:
        """The beat, if nobody is to play on it and nobody does."""
        return self.foretold.rest if self.tacet else None

    def come_in(self) -> bool:
        """A chord is played; whether none was to be."""
        tacet, self.tacet = self.tacet, False
        self.defied = self.defied or tacet
        return tacet

    def is_late(self, moment: Moment) -> bool:
        """Whether keys that go down by now are none of those that begin it."""
        began = self.began
        return began is not None and moment.position - began.position >= ON_THE_BEAT

    def has_just_begun(self, moment: Moment) -> bool:
        """Whether all that is known of it but its first keys was known before."""
        return self.began is not None and moment.at - self.began.at < _AT_FIRST_SECONDS

    def begins_too_soon(self, moment: Moment, chord: Chord, played: Chord | None, ear: Ear) -> bool:
        """Whether it begins here and sounds like the one before still: keys may be late.

        A chord that was struck for it stays; what only goes on is asked about once more.
        """
        begins = self.began is not None and moment.position == self.began.position
        if not begins or len(ear.struck) > FIRST_KEYS:
            return False
        self.awaits = self.foretold.still_sounds(chord, played)
        return self.awaits

    @property
    def may_be_a_bar_line(self) -> bool:
        """Whether it is the first of its bar, or nobody knows which it is."""
        return self.began is None or self.began.in_bar == 0
