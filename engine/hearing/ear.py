"""Ear: what is heard, from keys to chord and key.

Knows: the order in which the parts of hearing are asked.
Refuses to know: what the bass will make of it.
How: tones are held, a beat's tones are read as evidence, the evidence is weighed by the chord
filter; when the beat is over, it is committed and the key, the past and the filter learn of it.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np

from engine.arrays import Doubles
from engine.events import Heard
from engine.hearing.choice import NOTHING_HEARD, Chooser
from engine.hearing.chord import ChordFilter
from engine.hearing.evidence import (
    EARLY,
    NOTHING_READ,
    Past,
    Reading,
    read_beat,
)
from engine.hearing.held import HeldNotes
from engine.hearing.key import KeyFilter
from engine.hearing.laid import LaidDown
from engine.hearing.low import LowKeys, on_a_low_key
from engine.hearing.recall import SongMemory
from engine.hearing.set_down import SetDown, over_held_bass
from engine.hearing.spelled import slash_chord_counted
from engine.hearing.tables import BAR_LINE, LAST, MIDDLE, SECOND, Tables
from engine.hearing.taught import TAUGHT
from engine.theory.harmony import Key
from engine.theory.meter import FOUR_FOUR, ON_THE_BEAT, Metre, Moment

# Who foresees a chord from the song's past has it from this very ear, which expects it already:
# their word counts for this power of itself.  At 1 the bass landed a point less often on pop909
# and pop909cl (ten songs each) than without their word; at 1/4 as often there, and on changes
# followed in a chart always, where without it two in two hundred were missed.
_WORD: Final = 0.25

# Keys have been held into a beat if they were down this share of one before it: what was struck
# later still belongs to it.
_BEFORE: Final = 0.5


@lru_cache(maxsize=64)
def beats_of_bar(metre: Metre) -> tuple[tuple[float, float, int], ...]:
    """Of each felt beat of a bar: where it is, how long it lasts, which place it has."""
    starts = metre.pulses
    out = []
    for i, start in enumerate(starts):
        end = starts[i + 1] if i + 1 < len(starts) else metre.bar
        weight = metre.weight(start)
        place = {4: BAR_LINE, 3: MIDDLE}.get(weight, SECOND if 2 * i < len(starts) else LAST)
        out.append((float(start), float(end - start), place))
    return tuple(out)


class Ear:
    """What is believed about chord and key, as the notes come in.

    Args:
        tables: what it was taught.
        keys: names the key, if not the usual one.
        told: the key that the player gave, if any.
        sent: whether chords are sent as they are written, not as a player leaves tones out.
    """

    def __init__(
        self,
        tables: Tables = TAUGHT,
        keys: KeyFilter | None = None,
        told: Key | None = None,
        *,
        sent: bool = False,
    ) -> None:
        self._tables = tables
        self._sent = sent
        self._chooser = Chooser(tables)
        self._held = HeldNotes()
        self._chords = ChordFilter(tables)
        self._keys = KeyFilter(tables, told) if keys is None else keys
        self._past = Past()
        self._memory = SongMemory(12 * tables.count)
        self._beat: float | None = None
        self._beats = beats_of_bar(FOUR_FOUR)
        self._length = 1.0
        self._place = BAR_LINE
        self._bar: int | None = None
        self._pulse = 0
        self._struck = False
        self._named = False  # since the start or the last jump
        self._choice = NOTHING_HEARD
        self._set_down = SetDown()
        self._laid = LaidDown()
        self._low = LowKeys()
        self._reading = NOTHING_READ

    # Events -------------------------------------------------------------------------------

    def note_on(self, moment: Moment, note: int, velocity: int, channel: int) -> None:
        """A key goes down."""
        self._held.strike(moment.position, note, velocity, channel)
        self._laid.strike(moment.position, note, velocity)
        self._low.strike(moment.position, note, velocity)
        self._struck = self._struck or velocity > 0

    def note_off(self, moment: Moment, note: int, channel: int) -> None:
        """A key comes up."""
        self._held.release(moment.position, note, channel)

    def control(self, moment: Moment, controller: int, value: int, channel: int) -> None:
        """A controller moves."""
        self._held.control(moment.position, controller, value, channel)

    def cross(self, moment: Moment) -> None:
        """A felt beat begins: the one before it is over.

        A chord that was struck a little before it, as of a player who rushes, is heard as on it.
        """
        self._held.credit(moment.position - ON_THE_BEAT, moment.position)
        if self._beat is None:
            self._held.forget_ended(float("inf"))
        else:
            self._commit(self._beat, min(moment.position, self._beat + self._length))
        self._begin(moment)
        self._held.forget_ended(moment.position - EARLY * self._length)

    def relocate(self, moment: Moment) -> None:
        """The song goes on elsewhere: what sounds and the key are kept, the place is not."""
        self._held.move(moment.position)
        self._chords.forget()
        self._past.leave()
        self._memory.jump(moment.position)
        self._named = False
        self._set_down = SetDown()
        self._laid = LaidDown()
        self._low.move(moment.position)
        self._beat = None

    def amend(self, root: int, since: float, until: float) -> None:
        """Remember the beats from one place to before another as of a root they turned out to have.

        For whoever knows that a chord was due before its keys came, or after them.  What was said
        of the beats, and what is believed now, is not changed by it.
        """
        self._memory.amend(root, since, until)

    # Beliefs ------------------------------------------------------------------------------

    def heard(self, moment: Moment, *, whole: bool = False) -> Heard:
        """What is believed now; `whole` takes what sounds for all that the beat is to bring."""
        if self._struck:
            begins = self._beat if whole else None
            self._hear(moment.position if begins is None else begins + self._length)
        return Heard(self._choice.chord, self._choice.confidence, *self._keys.best())

    def foretold(self) -> Doubles:
        """The belief about the running beat before any of its notes, (12, qualities)."""
        return self._chords.expected.reshape(12, -1)

    def coming(self) -> Doubles:
        """The belief about the root of the next beat, if this one ends as it sounds now, (12,).

        Nothing is changed by asking.
        """
        if self._beat is None:
            return np.full(12, 1 / 12)
        reading = self._read(self._beat + self._length)
        sounds = reading.bass is not None
        belief = self._believed(reading) if sounds else self._chords.committed
        past = self._past.after(reading) if sounds else self._past
        recalled = self._memory.foresee(self._pulse, belief)
        _, _, place = self._beats[(self._pulse + 1) % len(self._beats)]
        keys = self._keys.belief
        expected = self._chords.foresee(place, past.vector(), keys, recalled, weighed=sounds)
        roots: Doubles = expected.reshape(12, -1).sum(axis=1)
        return roots

    def holds_against(self, root: int, expected: int, odds: float) -> bool:
        """Whether a root heard stands against another, expected by who asks with these odds."""
        own = float(self.foretold()[expected].sum())
        gain: float = (_ratio(odds) / _ratio(own)) ** _WORD
        roots = self._choice.roots
        return float(roots[root]) > float(roots[expected]) * gain

    @property
    def struck(self) -> frozenset[int]:
        """The pitch classes struck in the running beat, when the keys were last read."""
        return self._reading.struck

    @property
    def low(self) -> int | None:
        """The pitch class that was struck lowest on the running beat, if below E3."""
        low = self._reading.low
        return None if low is None else low % 12

    @property
    def leaves_the_bass(self) -> bool:
        """Whether nothing below C3 was struck for two bars of four, and nothing sounds there."""
        return self._low.left(self._beat, self._reading)

    @property
    def sounding(self) -> frozenset[int]:
        """The pitch classes that sounded when the keys were last read, struck now or before."""
        return self._reading.sounding

    @property
    def silent(self) -> bool:
        """Whether no key and no pedal holds a tone."""
        return self._held.silent

    @property
    def ended(self) -> Heard:
        """The beat that ended last, as it was finally heard; to be asked right after it ended."""
        return Heard(self._choice.chord, self._choice.confidence, *self._keys.best())

    @property
    def grounded(self) -> bool:
        """Whether the bass was a key below C3, when the keys were last read."""
        return on_a_low_key(self._reading)

    # ------------------------------------------------------------------------------------------

    def _read(self, until: float) -> Reading:
        beat = until if self._beat is None else self._beat
        # The second at which a beat begins may be, rounded, a hair before it.
        return read_beat(self._held, beat, self._length, max(until, beat))

    def _hear(self, until: float) -> None:
        reading = self._reading = self._read(until)
        if self._tells(reading):
            belief = self._weighed(reading)
            self._keys.guess(reading.now, belief, self._bar)
            self._name(belief, reading)

    def _tells(self, reading: Reading) -> bool:
        """Whether a reading may bring another chord: not in silence, nor while all is held.

        A chord that is held says less with every beat, until what is expected outweighs it.
        """
        if reading.bass is None:
            return False
        return not self._named or (reading.fresh and not self._goes_on(reading))

    def _goes_on(self, reading: Reading) -> bool:
        """Whether only the bass of the chord heard is struck again, and keys hold the others."""
        chord = self._choice.chord
        if chord is None or self._beat is None or reading.struck != {chord.bass}:
            return False
        held = self._held.kept_down(self._beat - _BEFORE * self._length)
        return chord.keys - {chord.bass} <= held

    def _name(self, belief: Doubles, reading: Reading) -> None:
        self._named = True
        upon = self._laid.root_under(reading)
        choice = self._chooser.choose(belief, reading, self._keys.best()[0], upon)
        chord = over_held_bass(choice.chord, self._choice.chord, reading)
        self._choice = choice._replace(chord=self._set_down.over(chord, reading))

    def _commit(self, beat: float, end: float) -> None:
        reading = self._read(end)
        if reading.bass is not None:
            belief = self._believed(reading)
            if self._tells(reading):
                self._name(belief, reading)
            self._memory.revise(self._chords.look_back())
            self._chords.commit(belief)
            self._past = self._past.after(reading)
            self._keys.add(reading.now, belief, self._bar)
        self._memory.add(beat, self._pulse, self._chords.committed)
        self._set_down.commit(self._choice.chord, reading)

    def _believed(self, reading: Reading) -> Doubles:
        """What is believed of a beat that sounds: of one that tells nothing, the chord before."""
        belief = self._weighed(reading)
        return belief if self._tells(reading) else self._chords.committed

    def _weighed(self, reading: Reading) -> Doubles:
        belief = self._chords.weigh(reading.now)
        return slash_chord_counted(belief, reading) if self._sent else belief

    def _begin(self, moment: Moment) -> None:
        self._beats = beats = beats_of_bar(moment.metre)
        self._pulse = min(range(len(beats)), key=lambda i: abs(beats[i][0] - moment.in_bar))
        _, self._length, self._place = beats[self._pulse]
        self._bar = moment.bar if self._place == BAR_LINE else None
        if self._place == BAR_LINE:
            self._set_down = SetDown()
            self._laid.since(moment.position - ON_THE_BEAT)
        self._beat = moment.position
        recalled = self._memory.expect(self._pulse, len(beats))
        self._chords.begin(self._place, self._past.vector(), self._keys.belief, recalled)


def _ratio(odds: float) -> float:
    return max(odds, 1e-6) / max(1 - odds, 1e-6)
