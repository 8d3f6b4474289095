"""Set down: a chord that was laid over a bass of its own, and keeps it while its upper keys go on.

Knows: which chord that is, within the bar.
Refuses to know: what is believed of the keys.
How: the left hand has laid D/F# down, the right hand goes on without it: nobody has made it a D.
At the bar line whoever wants the bass says it again.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from engine.hearing.evidence import E3, Reading
from engine.theory.harmony import Chord

# So many tones struck on a beat are a chord with its bass; a low note alone is only the first of
# one, and may be on its way.
_WHOLE: Final = 3


class SetDown:
    """The chord of one bar that was set down over a bass of its own, if one was."""

    def __init__(self) -> None:
        self._chord: Chord | None = None

    def over(self, chord: Chord | None, reading: Reading) -> Chord | None:
        """A chord as it is heard: struck again without a low key it keeps the bass it has."""
        before, bass = self._chord, reading.bass
        if chord is None or before is None or chord.bass != chord.root:
            return chord
        without = bass is None or bass >= E3
        same = without and chord.root == before.root
        return replace(chord, bass=before.bass) if same else chord

    def commit(self, chord: Chord | None, reading: Reading) -> None:
        """A beat is over, in which this chord was heard: it was set down whole, or keeps on."""
        before = self._chord
        self._chord = None
        if chord is not None and chord.bass != chord.root:
            kept = before is not None and (before.root, before.bass) == (chord.root, chord.bass)
            self._chord = chord if kept or len(reading.struck) >= _WHOLE else None


def over_held_bass(chord: Chord | None, before: Chord | None, reading: Reading) -> Chord | None:
    """A chord as it is heard over a bass that is held: a tenth above it is no new one.

    Where the root stays, and the lowest tone that sounds is the bass told before.
    """
    under = reading.under
    if chord is None or before is None or under is None or under == reading.bass:
        return chord
    stays = chord.root == before.root and under % 12 == before.bass
    return replace(chord, bass=before.bass) if stays else chord
