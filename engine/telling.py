"""Telling: says what is believed whenever that becomes another belief.

Knows: what was told last.
Refuses to know: how beliefs come about, and who listens.
How: a belief equal to the one told last is kept to oneself; confidence alone is no news.
"""

from __future__ import annotations

from fractions import Fraction

from engine.events import (
    BarOfSilence,
    ChangeExpected,
    ChordHeard,
    Forecast,
    Heard,
    KeyHeard,
    NothingExpected,
    Outgoing,
)
from engine.theory.harmony import Chord, Key
from engine.theory.meter import Moment


class Telling:
    """What has been told of chord, key and the change to come."""

    def __init__(self) -> None:
        self._key: Key | None = None
        self._chord: Chord | None = None
        self._change: tuple[Fraction, Chord] | None = None
        self._silent = False

    def key_down(self) -> None:
        """A key goes down: there is something to hear."""
        self._silent = False

    def silence(self, bar: int, moment: Moment, *, still: bool) -> list[Outgoing]:
        """Tell that a bar had no key in it: the next chord is news, be it the same.

        `still` is whether none is down yet: one may have come a little ahead of the bar line.
        """
        self._chord, self._silent = None, still
        return [BarOfSilence(moment.at, moment.position, bar)]

    def heard(self, heard: Heard, moment: Moment) -> list[Outgoing]:
        """Tell the key and the chord, where they are news."""
        at, position = moment.at, moment.position
        out: list[Outgoing] = []
        if heard.chord is None or self._silent:
            return out
        if heard.key != self._key:
            self._key = heard.key
            out.append(KeyHeard(at, position, heard.key, heard.key_confidence))
        if heard.chord != self._chord:
            self._chord = heard.chord
            out.append(ChordHeard(at, position, heard.chord, heard.key, heard.confidence))
        return out

    def expected(self, change: Forecast | None, key: Key, moment: Moment) -> list[Outgoing]:
        """Tell the change that is expected next, or that none is any more, where it is news."""
        before, self._change = self._change, None
        at, position = moment.at, moment.position
        if change is None or change.chord is None:
            return [] if before is None else [NothingExpected(at, position)]
        self._change = change.beat, change.chord
        if self._change == before:
            return []
        at_beat = float(change.beat)
        return [ChangeExpected(at, position, at_beat, change.chord, key, change.confidence)]
