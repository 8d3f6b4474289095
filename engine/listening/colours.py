"""Colours: the ninths and thirteenths of a chord, and whose they are.

Knows: the chord as its keys spelled it last, with all the colour that it had then.
Refuses to know: which chord it is; only alterations of one and the same are held together.
How: a colour that comes or goes by a key or two within a bar is the tune's, so the part keeps the
name it was playing by; foresight knows songs as they are heard, so it gets the name with all.
"""

from __future__ import annotations

from engine.hearing.naming import alike_but_for_colour
from engine.listening.foretold import FIRST_KEYS
from engine.theory.harmony import Chord


class Colours:
    """The colours of the chord that was heard last."""

    def __init__(self) -> None:
        self._spelled: Chord | None = None

    def without_the_tune(
        self, heard: Chord, before: Chord | None, keys: int, *, bar_line: bool
    ) -> Chord:
        """The chord to play by, of that heard and that played by before.

        `keys` is how many went down for it, `bar_line` whether they came with one.
        """
        self._spelled = heard
        if before is None or not alike_but_for_colour(heard, before):
            return heard
        return before if keys <= FIRST_KEYS and not bar_line else heard

    def with_the_tune(self, chord: Chord) -> Chord:
        """A chord that is played by, in all the colours that it was heard in last."""
        spelled = self._spelled
        if spelled is None or not alike_but_for_colour(spelled, chord):
            return chord
        return spelled
