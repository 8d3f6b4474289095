"""Labelled songs made harder, in the ways in which players make them hard."""

from __future__ import annotations

import bisect
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from fractions import Fraction
from math import inf
from random import Random
from types import MappingProxyType
from typing import Final, NamedTuple

from bench.corpus import Label, Note, Song
from bench.listening import beats_of

E3 = 52
PEDAL_TOO_LONG = 0.3
LOOSE = 0.03


def smeared(song: Song) -> Song:
    """Every note held until 0.3 beat past the next bar line: a dirty pedal."""
    bars = sorted({float(b.bar_start) for b in beats_of(song)})

    def end(note: Note) -> float:
        following = bisect.bisect_right(bars, note.start)
        line = bars[following] if following < len(bars) else note.end
        return max(note.end, line + PEDAL_TOO_LONG)

    return replace(song, notes=tuple(n._replace(end=end(n)) for n in song.notes))


def without_low_notes(song: Song) -> Song:
    """Nothing below E3, as keyboard players do when there is a bassist."""
    return replace(song, notes=tuple(n for n in song.notes if n.note >= E3))


def loose(song: Song, seed: int = 1) -> Song:
    """Every note a little off, by chance, and the whole hand now ahead and now behind."""
    rng = Random(f"{seed} {song.number}")
    drift = 0.0
    notes = []
    for note in song.notes:
        drift = 0.95 * drift + rng.gauss(0, 0.3 * LOOSE)
        off = rng.gauss(0, LOOSE) + drift
        start = max(0.0, note.start + off)
        notes.append(note._replace(start=start, end=start + max(0.02, note.end - note.start)))
    return replace(song, notes=tuple(sorted(notes)))


# The ways in which a song is heard: as it is, and made harder.
ALTERED: Final[Mapping[str, Callable[[Song], Song]]] = MappingProxyType(
    {
        "as played": lambda song: song,
        "pedal": smeared,
        "no low notes": without_low_notes,
        "loose": loose,
    }
)


class Hands(NamedTuple):
    """How exactly a player strikes chords, in seconds."""

    late: float = 0.0
    give: float = 0.0
    apart: float = 0.0


def struck_by(hands: Hands, song: Song) -> Song:
    """Every chord late by so much, give or take so much, its keys so far apart at most."""
    return spread(behind(song, hands.late, hands.give), hands.apart)


def spread(song: Song, seconds: float, seed: int = 1) -> Song:
    """The keys of a chord do not land at once, but in some order within so many seconds."""
    rng = Random(f"{seed} {song.number}")
    within = seconds / song.tempi[0].seconds_per_beat
    notes = (n._replace(start=n.start + rng.uniform(0, within)) for n in song.notes)
    return replace(song, notes=tuple(sorted(notes)))


def behind(song: Song, seconds: float, give: float, seed: int = 1) -> Song:
    """Every chord so many seconds late, give or take so many, as of a player who lays back.

    A chord that is held until the next is so still.
    """
    rng = Random(f"{seed} {song.number}")
    mean, deviation = (s / song.tempi[0].seconds_per_beat for s in (seconds, give))
    late = {start: rng.gauss(mean, deviation) for start in sorted({n.start for n in song.notes})}
    struck_again: dict[int, float] = {}
    notes = []
    for note in sorted(song.notes, key=lambda n: n.start + late[n.start], reverse=True):
        start = max(0.0, note.start + late[note.start])
        end = note.end + late.get(note.end, 0.0)
        end = min(max(end, start + 0.1), struck_again.get(note.note, inf))
        struck_again[note.note] = start
        if end > start:
            notes.append(note._replace(start=start, end=end))
    return replace(song, notes=tuple(sorted(notes)))


def joined(songs: list[Song], count: int, seed: int = 1) -> Iterator[tuple[Song, float, Song]]:
    """Half of one song, then half of another in another scale: the song, the seam, the other.

    None, if all songs that are long enough share one scale.
    """
    rng = Random(seed)
    keyed = [s for s in songs if s.key is not None and s.labels[-1].end > 96]
    if len({frozenset(s.key.scale) for s in keyed if s.key}) < 2:
        return
    while count:
        first, second = rng.sample(keyed, 2)
        assert first.key is not None and second.key is not None
        if set(first.key.scale) == set(second.key.scale):
            continue
        seam = _middle(first)
        yield _seam(first, second, seam, _middle(second)), seam, second
        count -= 1


def _middle(song: Song) -> float:
    bars = [b.position for b in beats_of(song) if b.in_bar == 0]
    return bars[len(bars) // 2]


def _seam(first: Song, second: Song, at: float, begin: float) -> Song:
    by = at - begin
    notes = [n._replace(end=min(n.end, at)) for n in first.notes if n.start < at]
    notes += [
        n._replace(start=n.start + by, end=n.end + by) for n in second.notes if n.start >= begin
    ]
    labels = [Label(a, min(b, at), c) for a, b, c in first.labels if a < at]
    labels += [Label(max(a, begin) + by, b + by, c) for a, b, c in second.labels if b > begin]
    metres = [m for m in first.metres if float(m.start) < at]
    running = [m for m in second.metres if float(m.start) <= begin][-1]
    metres.append(running._replace(start=Fraction(at)))
    metres += [
        m._replace(start=m.start + Fraction(by)) for m in second.metres if float(m.start) > begin
    ]
    return replace(
        first, notes=tuple(sorted(notes)), labels=tuple(labels), metres=tuple(metres), key=None
    )
