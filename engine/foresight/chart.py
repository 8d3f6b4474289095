"""Chart: what the player told us, followed loosely.

Knows: the chords of the song as written down, bar by bar, and where in them the player may be.
Refuses to know: how a chart is spelled in a file, what the song's own past says.
How: a belief over all felt beats of the chart.  It moves on a beat at a time, with a little
chance at each bar line of a jump: back to the start of the section, to another section, or to
any bar.  What is heard raises the places that have it, also where the ear gave the same keys
another name.  A chord played instead of the written one has a row of its own, so that a substitute
is not taken for another place; how often this player does so is learned on the way, and what is
played instead is pencilled in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.arrays import Doubles
from engine.foresight.agreement import FAMILY_INDEX, NO_CHORD, NO_FAMILY, ROOTS, Step
from engine.foresight.pencil import Pencil
from engine.theory.harmony import Chord, Key
from engine.theory.meter import FOUR_FOUR, Metre

# The chance of a jump at a bar line inside a section, and where a section ends; players leave
# the form mostly there.
_JUMP: Final = 0.0005
_JUMP_AT_END: Final = 0.06

# Of the jumps: back to the start of the section just played, to the start of any section, to any
# bar of the chart.
_TO_SAME: Final = 0.5
_TO_SECTION: Final = 0.4
_TO_BAR: Final = 0.1

# The chance that a written chord is replaced by another before any was heard, and how many chords
# heard count as much as that; and the chance that the ear gets a beat wrong, be it as sure as it
# may.
_REPLACED: Final = 0.04
_REPLACED_COUNTS: Final = 20.0
_MISHEARD: Final = 0.02

# The chance that the ear calls a written chord by another root that its keys can have as well:
# F#m over B by the name of Bm9, or Am over F# by that of F#m7b5.
_RENAMED: Final = 0.3

# How much another family on the right root, and another felt beat of the bar, count for.
_OTHER_FAMILY: Final = 0.5
_OTHER_PLACE: Final = 0.02

# A chord played instead is pencilled in where the player is, this surely, in the chart.
_FOUND: Final = 0.6


# Beliefs further apart than this are not the same.
_MUCH: Final = 0.1


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar as written: each chord (None: no chord), with its quarter note in the bar."""

    chords: tuple[tuple[Fraction, Chord | None], ...]

    def at(self, in_bar: Fraction) -> Chord | None:
        """The chord that sounds at a place of the bar."""
        return [chord for start, chord in self.chords if start <= in_bar][-1]


@dataclass(frozen=True, slots=True)
class Section:
    """A named part of the song: its bars in the order in which they are played once through.

    Raises:
        ValueError: no bars.
    """

    name: str
    bars: tuple[Bar, ...]

    def __post_init__(self) -> None:
        if not self.bars:
            raise ValueError(f"the section {self.name!r} has no bars; give it at least one")


@dataclass(frozen=True, slots=True)
class Chart:
    """A song as written: its sections in order, its metre, its key and tempo where given."""

    sections: tuple[Section, ...]
    metre: Metre = FOUR_FOUR
    key: Key | None = None
    tempo: float | None = None

    def __post_init__(self) -> None:
        if not self.sections:
            raise ValueError("the chart has no bars; give it at least one, such as | Bb | F7 |")

    @property
    def bars(self) -> tuple[Bar, ...]:
        """All bars in the order in which they are played."""
        return tuple(bar for section in self.sections for bar in section.bars)

    def chords_by_beat(self) -> list[Chord | None]:
        """The chord of every felt beat, once through."""
        return [bar.at(pulse) for bar in self.bars for pulse in self.metre.pulses]


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where the player may be: by row (as written, replaced) and felt beat of the chart.

    `last` is the root heard last, None before the first beat; of so many chords `entered`, so
    many were `replaced`; `pencil` has by which.
    """

    belief: Doubles
    pencil: Pencil
    last: int | None = None
    entered: float = 0.0
    replaced: float = 0.0

    def with_habits(self, other: Whereabouts) -> Whereabouts:
        """The same place, with what is pencilled in by now."""
        return replace(self, pencil=other.pencil)

    def is_elsewhere_than(self, other: Whereabouts) -> bool:
        """Whether some place is believed in by much more or less than there."""
        return bool(np.abs(self.belief - other.belief).max() > _MUCH)

    @property
    def replaces(self) -> float:
        """How likely this player is to replace the next written chord."""
        before = _REPLACED_COUNTS * _REPLACED
        return (before + self.replaced) / (_REPLACED_COUNTS + self.entered)


class Follower:
    """Follows a player through a chart."""

    def __init__(self, chart: Chart) -> None:
        self.chords: Sequence[Chord | None] = chart.chords_by_beat()
        pulses = len(chart.metre.pulses)
        self._roots = np.array([NO_CHORD if c is None else c.root for c in self.chords])
        self._families = np.array(
            [NO_FAMILY if c is None else FAMILY_INDEX[c.family] for c in self.chords]
        )
        self._basses = np.array([NO_CHORD if c is None else c.bass for c in self.chords])
        self._names = tuple(dict.fromkeys(self.chords))
        self._name_of = np.array([self._names.index(c) for c in self.chords])
        self._places = np.arange(len(self.chords)) % pulses
        self._ends_bar = self._places == pulses - 1
        self._starts = np.flatnonzero(self._places == 0)
        self._moves = np.array([c != self.chords[i - 1] for i, c in enumerate(self.chords)])
        self._section_of, self._section_starts = _sections_by_beat(chart, pulses)
        self._ends_section = np.roll(self._section_of, -1) != self._section_of
        self._ends_section[-1] = True
        self._jumps = np.where(self._ends_section, _JUMP_AT_END, _JUMP) * self._ends_bar

    def anywhere(self) -> Whereabouts:
        """Before anything is heard: about to begin the song, or a section of it, or any bar."""
        return Whereabouts(self._anywhere(0), Pencil.blank(len(self.chords)))

    def elsewhere(self, where: Whereabouts) -> Whereabouts:
        """After a jump: what this player does with the chart is known, the place is not."""
        return replace(where, belief=self._anywhere(0), last=None)

    def after(self, where: Whereabouts, step: Step) -> Whereabouts:
        """Where the player is when this beat has sounded next."""
        if where.last is None:  # begun within a bar, as on a pick-up
            where = replace(where, belief=self._anywhere(step.place))
        moved = self._moved(where)
        root = step.root
        misheard = _misheard(step)
        goes_on = 1 - misheard if root == where.last else misheard / 12
        by_others = where.pencil.instead(root, where.replaces)
        by_others = (1 - misheard) * by_others + misheard / ROOTS
        instead = np.where(self._moves, by_others, goes_on)
        belief = moved * np.stack((self._as_written(where, step), instead))
        belief *= np.where(self._places == step.place, 1.0, _OTHER_PLACE)
        total = float(belief.sum())
        if total <= 0:
            return replace(where, belief=self._anywhere(step.place + 1), last=root)
        belief /= total
        written, instead = belief[:, self._moves].sum(axis=1).tolist()
        entered, replaced = where.entered + written + instead, where.replaced + instead
        return Whereabouts(belief, where.pencil, root, entered, replaced)

    def heard(self, where: Whereabouts, step: Step) -> Whereabouts:
        """As `after`, of a beat that was played and not only thought of: it is learned from."""
        now = self.after(where, step)
        beats = now.belief.sum(axis=0)
        beat = int(beats.argmax())
        # Who goes on in the chord before is late; unless that is the root which is written.
        begins = step.root != where.last or step.root == self._roots[beat]
        told = self._moves[beat] and begins and step.root != NO_CHORD
        if not told or beats[beat] < _FOUND:
            return now
        replaced = bool(now.belief[1, beat] > now.belief[0, beat])
        return replace(now, pencil=now.pencil.noting(beat, step.root, replaced=replaced))

    def opening(self, place: int) -> tuple[Chord | None, float]:
        """What a player most likely begins with on a felt beat of a bar, and how likely that is."""
        places: Doubles = self._anywhere(place + 1)[0]
        odds = np.bincount(self._roots, places, ROOTS)
        root = int(odds.argmax())
        return self.chord_on(root, places), float(odds[root])

    def odds(self, where: Whereabouts) -> tuple[Doubles, Doubles]:
        """The next beat: the probability of each root, and of each place of the chart."""
        written, replaced = self._moved(where)
        odds: Doubles = np.bincount(self._roots, written, ROOTS).astype(np.float64)
        last = NO_CHORD if where.last is None else where.last
        odds[last] += float(replaced[~self._moves].sum())
        odds += where.pencil.shared_out(np.where(self._moves, replaced, 0.0), where.replaces)
        odds = odds * (1 - _MISHEARD / 4) + _MISHEARD / 4 / ROOTS
        odds /= odds.sum()
        return odds, written

    def foretold(self, odds: Doubles, places: Doubles, step: Step) -> float:
        """How likely, by what `odds` gave, this beat was, by its own root or as written."""
        fits = (self._roots == step.root) | self._goes_by(step)
        return max(float(odds[step.root]), float(places[fits].sum()))

    def chord_on(self, root: int, places: Doubles) -> Chord | None:
        """The likeliest chord as written, on a root."""
        fits = np.where(self._roots == root, places, -1.0)
        best = int(fits.argmax())
        return self.chords[best] if fits[best] > 0 else None

    def _as_written(self, where: Whereabouts, step: Step) -> Doubles:
        """How likely this beat is heard so at each place of the chart, if it has that chord."""
        misheard = _misheard(step)
        anew = self._moves | (step.root != where.last)
        renamed = np.where(anew, _RENAMED, 1 - misheard)
        match = np.where(self._goes_by(step), renamed, misheard / 12)
        match = np.where(self._roots == step.root, 1 - misheard, match)
        match *= np.where(self._families == step.family, 1.0, _OTHER_FAMILY)
        return match

    def _goes_by(self, step: Step) -> NDArray[np.bool_]:
        """Where the chart has a chord that the ear may give this name: its bass or all its keys.

        A bass that the player has played is the chord's: E over a low E is no C#m7.
        """
        named: NDArray[np.bool_] = self._basses == step.root
        if (heard := step.chord) is not None:
            same = [
                c is not None
                and c.shares_keys(heard)
                and (c.bass == heard.bass or not step.grounded)
                for c in self._names
            ]
            named |= np.array(same)[self._name_of]
        return named

    def _anywhere(self, place: int) -> Doubles:
        """Belief in the beats before this place of every bar: most of all of the first one."""
        belief = np.zeros((2, len(self.chords)))
        belief[0, self._ends_bar] = 0.2 / self._ends_bar.sum()
        belief[0, self._ends_section] += 0.3 / self._ends_section.sum()
        belief[0, -1] += 0.5
        return np.roll(belief, place, axis=1)

    def _moved(self, where: Whereabouts) -> Doubles:
        """The belief a beat later, before that beat is heard."""
        leaving = where.belief * self._jumps
        moved = np.roll(where.belief - leaving, 1, axis=1)
        written, replaced = moved
        fresh = written + replaced
        out: Doubles = np.empty_like(moved)
        replaces = where.pencil.replaces(where.replaces)
        out[0] = np.where(self._moves, fresh * (1 - replaces), written)
        out[1] = np.where(self._moves, fresh * replaces, replaced)
        self._land(out[0], leaving.sum(axis=0))
        return out

    def _land(self, places: Doubles, leaving: Doubles) -> None:
        total = float(leaving.sum())
        by_section = np.bincount(self._section_of, leaving, len(self._section_starts))
        places[self._section_starts] += _TO_SAME * by_section
        places[self._section_starts] += _TO_SECTION * total / len(self._section_starts)
        places[self._starts] += _TO_BAR * total / len(self._starts)


def _misheard(step: Step) -> float:
    """The chance that a beat was another chord than was heard.

    The doubt squared: what is doubted on a chord's first beat mostly goes on to sound, and a chord
    played instead is to be known as such from that beat on.
    """
    return max(_MISHEARD, (1 - step.confidence) ** 2)


def _sections_by_beat(chart: Chart, pulses: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The section of every felt beat, and the felt beat at which each section starts."""
    beats = [len(section.bars) * pulses for section in chart.sections]
    return np.repeat(np.arange(len(beats)), beats), np.cumsum([0, *beats[:-1]])
