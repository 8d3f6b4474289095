"""Remarks: what can be said about a bar, and where a bar stands in the part.

Knows: the shape of a remark and of a place in the part.
Refuses to know: what is worth saying; that is for the teachers of leading, rhythm, tones, harmony
and neck.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from engine.line.hand import SPAN
from engine.score import BassNote
from engine.teaching.bars import Bar, standing
from engine.teaching.heard import heard_over
from engine.theory.harmony import Chord

Rhythm = tuple[Fraction, ...]
"""Where in a bar its pitched notes begin."""


class Topic(Enum):
    """What a remark is about; neighbouring bars are not told of the same."""

    WAY_IN = "way in"
    MISSED = "missed aim"
    MENDED = "mended"
    PUSH = "push"
    FIGURE = "figure"
    AGAIN = "figure again"
    VARIED = "figure varied"
    FILL = "fill"
    ENDING = "ending"
    PULSE = "pulse"
    SPACE = "space"
    ALONE = "bass alone"
    GHOSTS = "ghost notes"
    TONES = "tones"
    SCALE = "scale"
    CADENCE = "cadence"
    BASS_LINE = "bass line"
    SLASH = "slash chord"
    STAY = "chord that stays"
    SHARED = "shared bar"
    SHAPE = "shape"
    POSITION = "position"
    SHIFT = "shift"
    JOINED = "joined notes"


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing that is true of a bar: its topic, how much it teaches (0 to 1), and the words.

    `fact` is what the bar does; `moral` why that works, which need not be said a second time.
    """

    topic: Topic
    weight: float
    fact: str
    moral: str = ""

    def told(self, *, with_moral: bool = True) -> str:
        """The line of teaching."""
        return f"{self.fact}: {self.moral}." if self.moral and with_moral else f"{self.fact}."


class BarsByRhythm:
    """Which bars of a part have which rhythm: a long part is gone through once, not for each bar.

    `usual` is the commonest rhythm of those that are played, and `often` how many bars have it.
    """

    def __init__(self, bars: Iterable[Bar]) -> None:
        self._bars: dict[Rhythm, list[int]] = {}
        for index, bar in enumerate(bars):
            self._bars.setdefault(bar.rhythm, []).append(index)
        played = {rhythm: len(found) for rhythm, found in self._bars.items() if rhythm}
        self.usual = max(played, key=played.__getitem__, default=())
        self.often = played.get(self.usual, 0)

    def bars_with(self, rhythm: Rhythm) -> Sequence[int]:
        """Their indices, in order."""
        return self._bars.get(rhythm, ())


@dataclass(frozen=True, slots=True)
class Spot:
    """A bar, the part around it, and how many frets lie under the hand that plays it.

    `rhythms` are those of all the bars, told by whoever asks about more than one of them.
    """

    bars: Sequence[Bar]
    index: int
    span: int = SPAN
    told: BarsByRhythm | None = None

    @property
    def rhythms(self) -> BarsByRhythm:
        """The rhythms of the part."""
        return self.told or BarsByRhythm(self.bars)

    @property
    def bar(self) -> Bar:
        """The bar itself."""
        return self.bars[self.index]

    @property
    def before(self) -> Bar | None:
        """The bar before it."""
        return self.bars[self.index - 1] if self.index else None

    @property
    def after(self) -> Bar | None:
        """The bar after it."""
        return self.bars[self.index + 1] if self.index + 1 < len(self.bars) else None

    @property
    def chord(self) -> Chord | None:
        """The chord of a bar that has only one."""
        return self.bar.chords[0][1] if len(self.bar.chords) == 1 else None

    @property
    def coming(self) -> Chord | None:
        """The chord that the next bar begins with."""
        after = self.after
        return after.chords[0][1] if after and after.chords and not after.chords[0][0] else None

    @property
    def settled(self) -> tuple[BassNote, ...]:
        """The notes that belong to this bar's chords: no ghosts, none that leads on or is early."""
        return tuple(
            note
            for note in self.bar.pitched
            if note.aims_at is None and not self.bar.rings_over(note)
        )

    def sounding(self, note: BassNote) -> Chord:
        """The chord that a note of the bar was heard over, be it another than was expected."""
        return heard_over(note, standing(self.bars, self.index))

    def is_in_vain(self, note: BassNote) -> bool:
        """Whether a note of this bar or the next was written for a chord that did not come."""
        return any(note.beat in bar.expected for bar in self.bars[self.index : self.index + 2])
