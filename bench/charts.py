"""Charts for styles to be tried on: a song's labels as bars of chords, in whatever metre is wanted.

Only songs in 4/4 are used.  In another metre a chord that entered at a share of the bar enters at
the nearest felt beat, so that every style plays the same changes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Final

from bench.corpus import Song, read_folder
from engine.line.bassline import Bassline
from engine.score import Ask, BassNote, Span
from engine.style import Style
from engine.theory.harmony import C_MAJOR, KEYS, Chord, Key
from engine.theory.labels import parse_harte
from engine.theory.meter import FOUR_FOUR, Metre
from ports.files import FileError

Change = tuple[Fraction, Chord]
"""A chord and where it enters, as a share of all bars: 2 1/2 is the middle of the third bar."""

Chart = tuple[list[Change], Key]
"""The changes of a song, and its key."""

Part = list[list[BassNote]]

LEAST_CHANGES: Final = 9


def changes_of(song: Song) -> list[Change]:
    """The chords of a song in 4/4, equal neighbours joined; empty for another metre.

    A chart has no time signatures, but says how many beats each bar has.
    """
    if any(change.metre != FOUR_FOUR for change in song.metres):
        return []
    if any(bar.beats != FOUR_FOUR.bar for bar in song.bars):
        return []
    found: list[Change] = []
    for label in song.labels:
        chord = parse_harte(label.harte)
        place = Fraction(round(label.start * 4), 16)
        if chord is not None and (not found or found[-1][1] != chord):
            found.append((place, chord))
    return found


def charts_in(folder: Path, count: int) -> list[Chart]:
    """The first so many songs of a folder that are in 4/4 and change their chord often enough.

    Raises:
        FileError: there is none.
    """
    songs = read_folder(folder)
    found = [(c, key_of(s, c)) for s in songs if len(c := changes_of(s)) >= LEAST_CHANGES]
    if not found:
        raise FileError(f"{folder} has no song in 4/4 with {LEAST_CHANGES} changes or more")
    return found[:count]


def key_of(song: Song, changes: Sequence[Change]) -> Key:
    """The labelled key, else the one that holds most of the chords' tones."""
    if song.key is not None:
        return song.key
    tones = [p for _, chord in changes for p in chord.pitch_classes]
    return max(KEYS[:12], key=lambda k: sum(t in k.scale for t in tones)) if tones else C_MAJOR


def spans_in(changes: Sequence[Change], metre: Metre, bars: int) -> list[Span]:
    """The changes as spans in a metre, sure ones."""
    placed: list[Change] = []
    for place, chord in changes:
        bar, share = divmod(place, 1)
        beat = min((*metre.pulses, metre.bar), key=lambda p: abs(p - share * metre.bar))
        start = bar * metre.bar + beat
        if placed and placed[-1][0] == start:
            placed.pop()
        placed.append((start, chord))
    ends = [*(start for start, _ in placed[1:]), bars * metre.bar]
    return [
        Span(start, end, chord, 0.95)
        for (start, chord), end in zip(placed, ends, strict=True)
        if start < end
    ]


def asks(style: Style, changes: Sequence[Change], key: Key) -> Iterator[Ask]:
    """What a style is asked for, bar by bar, when every change is sure; `last` is left open."""
    metre = style.metres[0]
    seconds_per_beat = 120 / (style.tempo.low + style.tempo.high)
    bars = int(changes[-1][0]) + 2
    spans = spans_in(changes, metre, bars)
    for bar in range(int(spans[0].start / metre.bar), bars):
        begin, end = bar * metre.bar, (bar + 1) * metre.bar
        within = tuple(_within(spans, begin, end))
        if within:
            start = within[0].start
            coming = next((s for s in spans if s.start >= end), None)
            yield Ask(start, begin, bar + 1, metre, within, coming, key, None, seconds_per_beat)


def play(style: Style, changes: Sequence[Change], key: Key, seed: int = 1) -> Part:
    """The bars that a style plays over the changes."""
    line = Bassline(style, Random(seed))
    part: Part = []
    last: BassNote | None = None
    for ask in asks(style, changes, key):
        part.append(list(line.write(replace(ask, last=last))))
        last = part[-1][-1] if part[-1] else last
    return part


def _within(spans: Sequence[Span], begin: Fraction, end: Fraction) -> Iterator[Span]:
    for span in spans:
        if span.start < end and span.end > begin:
            yield replace(span, start=max(span.start, begin), end=min(span.end, end))
