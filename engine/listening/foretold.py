"""Foretold: what was expected of the running beat, held against what its keys say.

Knows: the forecast of the beat, and the chord that was played by before it.
Refuses to know: how a forecast comes about, and what is made of a beat that is over.
How: keys that the chord foretold has as well bear its name; while its own may still come, or
others speak for another no louder than it was foretold, the chord foretold is the one to play by.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Final

from engine.events import Forecast, Heard
from engine.hearing.ear import Ear
from engine.theory.harmony import Chord
from engine.theory.voicings import shows
from engine.timing import Timing

# Below this probability of the chord expected on a beat the keys are waited for, and below this
# probability of the chord that they spell as yet, for more of them.  Of changes played as block
# chords whose keys land within 20 ms the first note was right on 93.4% without the latter, on
# 96.4% with it (bench.expecting on 19 charts, --rendered block --spread 20).
SURE: Final = 0.9

# What is believed less than this changes nothing that the bass plays.
BELIEVED: Final = 0.5

# As a beat begins, though, a little is enough: all else that is known of it was known before its
# keys.  On ten labelled songs each of two players the first note of 97.0 and 92.7% of changes was
# right with 0.5 here, of 97.5 and 94.6% with 0.3, and with 0.2 no more.
_BELIEVED_AT_FIRST: Final = 0.25

# So many keys are only the first of a chord.
FIRST_KEYS: Final = 2


def is_believed(confidence: float, *, at_first: bool) -> bool:
    """Whether the bass plays by what is heard, so surely, of a beat that may only just begin."""
    return confidence >= (_BELIEVED_AT_FIRST if at_first else BELIEVED)


def is_rest(forecast: Forecast) -> bool:
    """Whether it is believed that nobody is to play."""
    return forecast.chord is None and forecast.confidence >= BELIEVED


class Foretold:
    """What was foretold for a beat.

    Args:
        forecast: that, None if nothing was.
        before: the chord that was played by before the beat, if any.
        bar_line: whether the beat is one, where chords change.
        charted: whether a chart is followed, which names chords as the player does.
        opening: what a song begins with, by whose name its keys may go although nobody foretold it.

    `chord` is the one foretold, if one was, `confidence` how surely, and `before` the chord before.
    """

    def __init__(
        self,
        forecast: Forecast | None = None,
        before: Chord | None = None,
        *,
        bar_line: bool = False,
        charted: bool = False,
        opening: Forecast | None = None,
    ) -> None:
        self._bar_line = bar_line
        self._charted = charted
        self._forecast = forecast
        self._names = forecast or opening
        self.before = before
        self.chord = None if forecast is None else forecast.chord
        self.confidence = 0.0 if forecast is None else forecast.confidence

    @property
    def rest(self) -> Fraction | None:
        """The beat, if it is believed that nobody is to play on it."""
        forecast = self._forecast
        return forecast.beat if forecast is not None and is_rest(forecast) else None

    @property
    def sure(self) -> bool:
        """Whether what was foretold needs no keys to be played by."""
        return self.confidence >= SURE

    @property
    def changes(self) -> bool:
        """Whether it is believed to bring another root than the beat before."""
        if self.chord is None or self.before is None:
            return False
        return self.confidence >= BELIEVED and self.chord.root != self.before.root

    @property
    def _is_enough_in_silence(self) -> bool:
        return self._bar_line or self.confidence >= BELIEVED

    @property
    def in_silence(self) -> Chord | None:
        """The chord to play by while nobody plays: the one foretold, or the one before goes on."""
        return self.chord if self._is_enough_in_silence else self.chord and self.before

    def came_when_due(self, ended: Heard, known: Chord) -> bool:
        """Whether the beat brought a change from a chord to the very root foretold for it."""
        began, came = self.chord or self.before, ended.chord
        return began is not None and came is not None and began.root == came.root != known.root

    def still_sounds(self, chord: Chord, played: Chord | None) -> bool:
        """Whether a chord is the one before the beat, and another is played by since it began."""
        before = self.before
        return before is not None and before.root == chord.root != (played or chord).root

    def named(self, heard: Heard, ear: Ear) -> Heard:
        """Keys that the chord foretold has too, over its bass, go by its name: F#m/B, not Bm9.

        Who leaves the bass to us plays no low key, so that no other bass speaks against it; and
        may leave the root out too: where the chart has Gm7 Bb D F A is no Bbmaj7.
        Of a chord that is broken only the first come at once: G and E begin C/G.
        """
        chord, names = heard.chord, self._names
        foretold = None if names is None or names.confidence < BELIEVED else names.chord
        if chord is None or foretold is None:
            return heard
        over_it = chord.bass == foretold.bass or (ear.leaves_the_bass and not ear.silent)
        if chord.root == foretold.root or not over_it:
            return heard
        keys = ear.struck | ear.sounding
        fits = keys <= foretold.keys or chord.shares_keys(foretold)
        fits = fits or (self._charted and ear.leaves_the_bass and shows(foretold, keys))
        return replace(heard, chord=foretold) if fits else heard

    def may_come_yet(
        self, chord: Chord, ear: Ear, timing: Timing, *, late: bool, again: bool = False
    ) -> bool:
        """Whether the chord foretold is waited for a little, though as yet another is heard.

        None of its keys has gone down, and this player is often late; or the first of them have,
        and this player rolls chords.  The more so, the surer it was foretold.  While nothing
        sounds at all, nothing speaks against it: on a bar line the likeliest chord will do.
        Another bass than its own speaks against it.  `late` is whether the beat has gone too far,
        `again` whether it is to be read once more: until then the hand that has the bass may be
        a little behind the other one, which plays what was foretold for sure.
        """
        foretold, struck = self.chord, ear.struck
        if foretold is None or chord.root == foretold.root:
            return False
        if ear.silent and not struck and self._is_enough_in_silence:
            return True
        if late or not struck <= foretold.keys:
            return False
        if struck and ear.low not in (None, foretold.bass):
            return False
        if again and self.sure and struck and foretold.bass not in struck:
            return not ear.leaves_the_bass
        if len(struck) > FIRST_KEYS:
            return False
        return timing.lets_wait(self.confidence, begun=bool(struck))

    def yields_to(self, heard: Chord, played: Chord, ear: Ear) -> bool:
        """Whether a chord heard stands against it, if it is what is played by.

        A bass that is none of its tones is the same by either name: where F is played, Eb/F's is F.
        """
        if self.chord is None or self.chord.root != played.root:
            return True
        foreign = heard.bass not in heard.pitch_classes
        if heard.root == played.root or (foreign and heard.bass == played.bass):
            return True
        return ear.holds_against(heard.root, played.root, self.confidence)
