"""Chord charts played as keyboard players play them: voicings whose truth is known.

    python -m bench.voicings FOLDER [--folds CACHE] [--every N] [--seed S] [--worst N]

A folder of charts (bars and chords, no notes) is rendered in several manners and heard by the
ear, and judged by the end of every beat.  "first beat" counts the first beats of chords only,
"first, on root" those of chords that stand on their root: C over E, broken, begins with E and G;
"own bass" leaves out chords over a bass that is none of their tones, since F over G and G9sus4
are the same keys; "root silent" has only beats of chords whose root nobody plays while they last.
A row of less than two in a hundred of all beats is left out.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import Final

from bench.arguments import a_folder, folder_of_songs, from_nought, from_one, run
from bench.corpus import NO_CHORD, Label, MetreChange, Note, Song, read_charts
from bench.folds import tables_from
from bench.listening import listen, percent, worst
from engine.hearing.tables import Tables
from engine.theory.harmony import C_MAJOR, QUALITIES, QUALITY_BY_HARTE, Chord, Family, Key
from engine.theory.labels import harte, parse_harte
from engine.theory.meter import Metre

Voices = list[int]


def charted(song: Song) -> Song:
    """The song with the metres of its bars; charts counted in eighths are set in eighths."""
    lengths = Counter(bar.beats for bar in song.bars)
    commonest = lengths.most_common(1)[0][0]
    eighths = commonest in (6, 9, 12)
    scale = 0.5 if eighths else 1.0
    unit = 8 if eighths else 4
    metres: list[MetreChange] = []
    for bar in song.bars:
        count = round(bar.beats)
        if 1 <= count <= 32 and (not metres or metres[-1].metre.count != count):
            start = Fraction(bar.start * scale).limit_denominator(96)
            metres.append(MetreChange(start, Metre(count, unit)))
    labels = tuple(Label(a * scale, b * scale, c) for a, b, c in song.labels)
    return replace(song, labels=labels, metres=tuple(metres))


def render(song: Song, manner: str, seed: int) -> Song:
    """The charted song, played in a manner."""
    rng = Random(f"{seed} {song.number} {manner}")
    notes: list[Note] = []
    for label in merged(song.labels):
        chord = parse_harte(label.harte)
        if chord is not None:
            notes += MANNERS[manner](chord, label.start, label.end, rng)
    return replace(song, notes=tuple(sorted(notes)))


def merged(labels: tuple[Label, ...]) -> Iterator[Label]:
    """Labels, with neighbours of the same name made one."""
    running: Label | None = None
    for label in labels:
        if running and running.harte == label.harte and running.end == label.start:
            running = Label(running.start, label.end, label.harte)
            continue
        if running:
            yield running
        running = label
    if running:
        yield running


def close(tones: list[int], lowest: int) -> Voices:
    """Pitch classes stacked upward in their order, the first at or above a note."""
    out: Voices = []
    floor = lowest
    for tone in tones:
        note = floor + (tone - floor) % 12
        out.append(note)
        floor = note + 1
    return out


def _strokes(start: float, end: float, rng: Random) -> Iterator[tuple[float, float]]:
    """Where a comping hand strikes within a chord, and how long it holds."""
    step = rng.choice((1.0, 2.0, 2.0, 4.0))
    hold = rng.choice((0.5, 0.9, 1.0))
    at = start
    while at < end:
        length = min(step, end - at)
        yield at, at + length * hold
        at += length


def _comped(
    voices: Voices, start: float, end: float, rng: Random, velocity: int = 80
) -> list[Note]:
    return [
        Note(a, b, v, velocity + rng.randint(-9, 9))
        for a, b in _strokes(start, end, rng)
        for v in voices
    ]


def block(chord: Chord, start: float, end: float, rng: Random) -> list[Note]:
    """All tones, close, in any inversion, over the root or slash bass in the left hand.

    A triad comes half the time without the left hand: its inversion is then its bass.  Chords of
    four tones need theirs, since C E G A alone is C6 and Am7 alike.
    """
    tones = [(chord.root + i) % 12 for i in sorted(chord.quality.intervals)]
    turn = rng.randrange(len(tones))
    right = close(tones[turn:] + tones[:turn], rng.randint(52, 60))
    plain = len(tones) == 3 and chord.bass == chord.root and chord.family in _THIRDS
    if plain and rng.random() < 0.5:
        return _comped(right, start, end, rng)
    return _comped([36 + (chord.bass - 36) % 12, *right], start, end, rng)


_THIRDS = (Family.MAJOR, Family.MINOR, Family.DIMINISHED)


def shell(chord: Chord, start: float, end: float, rng: Random) -> list[Note]:
    """Root, third and seventh in the left hand; a triad has root and third, or root and fifth.

    A suspended triad keeps its fifth: root and fourth alone are a fifth upside down.
    """
    wanted = chord.quality.intervals
    tones = [chord.bass] if chord.bass == chord.root else [chord.bass, chord.root]
    thirds = [i for i in wanted if i in (2, 3, 4, 5)][:1] or [7]
    sevenths = [i for i in wanted if i in (9, 10, 11)][:1]
    fifths = [7] if chord.family is Family.SUSPENDED and not sevenths else []
    tones += [(chord.root + i) % 12 for i in thirds + fifths + sevenths]
    voices = close(tones, rng.randint(40, 48))
    if not sevenths and rng.random() < 0.5:
        voices.append(voices[0] + 12)
    return _comped(voices, start, end, rng)


def rootless(chord: Chord, start: float, end: float, rng: Random) -> list[Note]:
    """Third, fifth, seventh and ninth, from the third or the seventh; triads in inversion."""
    wanted = set(chord.quality.intervals)
    sevenths = wanted & {9, 10, 11}
    if not sevenths or not wanted & {3, 4, 5}:
        tones = [(chord.root + i) % 12 for i in sorted(wanted)]
        return _comped(close(tones[1:] + tones[:1], rng.randint(52, 59)), start, end, rng)
    fifth = sorted(wanted & {6, 7, 8})[:1]
    if chord.family is Family.DOMINANT and fifth == [7] and rng.random() < 0.5:
        fifth = [9]  # the thirteenth in place of the fifth
    lower = sorted(wanted & {3, 4, 5})[:1] + fifth
    upper = sorted(sevenths)[-1:] + (sorted(wanted & {1, 2, 3} - set(lower)) or _ninth(chord))
    order = lower + upper if rng.random() < 0.5 else upper + lower
    tones = [(chord.root + i) % 12 for i in order]
    return _comped(close(tones, rng.randint(52, 58)), start, end, rng)


def _ninth(chord: Chord) -> list[int]:
    dark = chord.family in (Family.HALF_DIMINISHED, Family.DIMINISHED)
    return [] if dark else [2]


def broken(chord: Chord, start: float, end: float, rng: Random) -> list[Note]:
    """Eighth notes up and down the chord from its bass, with or without pedal."""
    tones = [(chord.root + i) % 12 for i in sorted(chord.quality.intervals)]
    low = 40 + (chord.bass - 40) % 12
    figure = rng.choice(((0, 2, 1, 2), (0, 1, 2, 1), (0, 2, 3, 2), (0, 2, 3, 4, 3, 2)))
    ladder = [low, *close([t for t in tones if t != chord.bass], low + 1), low + 12]
    ladder += [n + 12 for n in ladder[1:]]
    pedal = rng.random() < 0.5
    notes = []
    at, step = start, 0
    while at < end:
        stop = end if pedal else min(at + 0.5, end)
        notes.append(Note(at, stop, ladder[figure[step % len(figure)]], 75 + rng.randint(-9, 9)))
        at += 0.5
        step += 1
    return notes


def melody(chord: Chord, start: float, end: float, rng: Random) -> list[Note]:
    """A block chord with bass, and a melody of chord tones and passing tones above it."""
    low = 36 + (chord.bass - 36) % 12
    tones = sorted((chord.root + i) % 12 for i in chord.quality.intervals)
    notes = _comped([low, *close(tones, 52)], start, end, rng, 70)
    pool = [n for n in range(67, 86) if n % 12 in tones]
    here = rng.choice(pool)
    at = start
    while at < end:
        length = rng.choice((0.5, 0.5, 1.0, 1.5))
        on_beat = at == int(at)
        chosen = here if (rng.random() < 0.6 and on_beat) else here + rng.choice((-2, -1, 1, 2))
        if on_beat and rng.random() < 0.8:
            _, chosen = min((abs(n - chosen), n) for n in pool)
        notes.append(Note(at, min(at + length, end), chosen, 95))
        here = min(max(chosen, 67), 84)
        at += length
    return notes


MANNERS: dict[str, Callable[[Chord, float, float, Random], list[Note]]] = {
    "block": block,
    "shell": shell,
    "rootless": rootless,
    "broken": broken,
    "melody": melody,
}


# Turns of harmony that jazz standards are made of: semitones above the tonic and quality, a bar
# or half a bar each.
_TURNS: Final = (
    "2:min7 7:7 0:maj7 0:maj7", "2:min7 7:7 0:maj7 9:7", "0:maj7 9:min7 2:min7 7:7",
    "4:min7 9:7 2:min7 7:7", "2:hdim7 7:7(b9) 0:min7 0:min7", "5:min7 10:7 0:maj7 0:maj6",
    "0:7 5:7 0:7 0:7", "5:7 5:7 0:7 9:7", "0:maj7 1:dim7 2:min7 3:dim7", "2:min7 1:7 0:maj7 0:maj6",
    "9:min7 2:7 2:min7 7:7", "5:maj7 5:min6 0:maj7 9:7(b9)", "0:min7 5:min7 10:7 3:maj7",
    "2:7 2:7 7:sus4(b7) 7:7", "0:maj6(9) 0:maj6(9) 5:maj7 5:maj7",
)  # fmt: skip


def turns(number: int) -> Song:
    """A chart of our own, of turns that standards are made of: what no pop song teaches."""
    rng = Random(f"turns {number}")
    labels: list[Label] = []
    tonic = rng.randrange(12)
    chorus = [rng.choice(_TURNS) for _ in range(4)]
    length = rng.choice((2.0, 4.0, 4.0))
    at = 0.0
    for turn in chorus * (4 if length == 4.0 else 6):
        for step in turn.split():
            root, quality = step.split(":")
            chord = Chord.of((tonic + int(root)) % 12, QUALITY_BY_HARTE[quality])
            labels.append(Label(at, at + length, harte(chord, Key(tonic))))
            at += length
    return Song("turns", str(3 * number), tuple(labels))


def any_quality(song: Song) -> Song:
    """The chart with every chord made another of the same root, so that rare ones are heard too."""
    rng = Random(f"any {song.number}")
    names: dict[str, str] = {}

    def other(label: str) -> str:
        chord = parse_harte(label)
        if chord is None:
            return label
        if label not in names:
            names[label] = harte(Chord.of(chord.root, rng.choice(QUALITIES)), C_MAJOR)
        return names[label]

    return replace(song, labels=tuple(Label(a, b, other(c)) for a, b, c in song.labels))


def sounds_root(song: Song) -> Callable[[float], bool]:
    """Whether a chord's root is played at all while its label lasts, by beat."""
    silent: list[Label] = []
    for label in merged(song.labels):
        chord = parse_harte(label.harte)
        if chord and not any(
            n.note % 12 == chord.root and label.start <= n.start < label.end for n in song.notes
        ):
            silent.append(label)
    return lambda beat: not any(a <= beat < b for a, b, _ in silent)


ROWS: Final = ("all", "own bass", "first beat", "first, on root", "root silent")


def _on_own_bass(label: str) -> bool:
    chord = parse_harte(label)
    return chord is not None and chord.bass in chord.pitch_classes


def _on_root(label: str) -> bool:
    chord = parse_harte(label)
    return chord is not None and chord.bass == chord.root


def judge(song: Song, tables: Tables, seed: int, manner: str) -> dict[str, list[tuple[str, str]]]:
    """What was played and what was heard, beat by beat, for each row of the table."""
    played = render(song, manner, seed)
    answers = listen(played, tables)
    begins = {label.start for label in merged(song.labels)}
    sounds = sounds_root(played)
    rows: dict[str, list[tuple[str, str]]] = {name: [] for name in ROWS}
    for beat, truth, said in zip(answers.beats, answers.truth, answers.said["end"], strict=True):
        rows["all"].append((truth, said))
        if beat in begins:
            rows["first beat"].append((truth, said))
            if _on_root(truth):
                rows["first, on root"].append((truth, said))
        if _on_own_bass(truth):
            rows["own bass"].append((truth, said))
        if not sounds(beat):
            rows["root silent"].append((truth, said))
    return rows


def main() -> None:
    """Print one table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folder", type=folder_of_songs, metavar="FOLDER")
    parser.add_argument(
        "--folds", type=a_folder, metavar="CACHE", help="tables fitted on other songs"
    )
    parser.add_argument(
        "--every", type=from_one, default=6, metavar="N", help="render every Nth song"
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--worst", type=from_nought, default=0, metavar="N", help="list the worst songs"
    )
    options = parser.parse_args()
    tables = tables_from(options.folds)
    songs = [charted(s) for s in read_charts(options.folder)[:: options.every]]
    print("tables:", options.folds or "those that ship, fitted on all development songs")
    print(f"{'by the end of the beat':26}{'root':>9}{'majmin':>9}{'sevenths':>9}{'beats':>9}")
    for manner in MANNERS:
        heard = [judge(song, tables(song), options.seed, manner) for song in songs]
        for row in ROWS:
            pairs = [pair for each in heard for pair in each[row] if pair[0] not in NO_CHORD]
            if len(pairs) > 0.02 * sum(len(each["all"]) for each in heard):
                values = percent([t for t, _ in pairs], [s for _, s in pairs])
                figures = "".join(f"{v:9.2f}" for v in values.values())
                print(f"{manner:12}{row:14}{figures}{len(pairs):9}", flush=True)
        by_song = [
            (percent(*map(list, zip(*each["all"], strict=True)))["root"], song.number)
            for each, song in zip(heard, songs, strict=True)
        ]
        for value, number in worst(by_song, options.worst):
            print(f"    {number:22}{value:9.2f}")


if __name__ == "__main__":
    run(main)
