"""Rhythm: what the bars of a part have to do with each other, and how a bar fills its time.

Knows: which rhythm is the part's own, which bar repeats, thins or thickens which, and where
silence, ghosts and off-beats are.
Refuses to know: tones and chords, except to say that they changed.
How: the rhythm of a bar is where its pitched notes begin; the part's own is the commonest.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import groupby
from typing import Final

from engine.score import BassNote
from engine.teaching.bars import Bar, counted, degree_name, listed, name_of, times_over
from engine.teaching.remarks import Remark, Spot, Topic

_BUSY: Final = 1.4  # so many times the notes of the usual bar are heard as a fill, not a variant
_MORE: Final = 2  # one note more is a variant even where there are only two
_OFTEN: Final = 3  # from here on a rhythm is a figure, and not a bar that happens to come back


def remarks(spot: Spot) -> Iterator[Remark]:
    """What the rhythm of a bar teaches."""
    if not spot.bar.pitched:
        yield _silent(spot.bar)
        return
    if spot.bar.silent:
        yield _alone(spot)
    yield from _ending(spot)
    yield from _figure(spot)
    yield from _space(spot.bar, _held(spot))
    yield from _pulse(spot)
    yield from _ghosts(spot.bar)


def _alone(spot: Spot) -> Remark:
    """The keys are silent, and the bass is not."""
    bar, before = spot.bar, spot.before
    if before is not None and before.silent and len(bar.pitched) == 1:
        return Remark(
            Topic.ENDING, 0.95,
            f"The keys stay silent, so the bass ends the phrase on {name_of(bar.pitched[0])}",
            "an ending that is held leaves the others room to come in",
        )  # fmt: skip
    over = listed([bar.symbol(chord) for _, chord in bar.chords])
    return Remark(
        Topic.ALONE, 0.95,
        f"No key is down, and the bass goes on over {over}, which it expects here",
        "whoever keeps the form while the others rest keeps them a place to come back to",
    )  # fmt: skip


def _silent(bar: Bar) -> Remark:
    if bar.silent:
        return Remark(
            Topic.SPACE, 0.9, "Neither keys nor bass play", "the bar is counted all the same"
        )
    under = f" under {bar.symbol(bar.chords[-1][1])}" if bar.chords else ""
    return Remark(
        Topic.SPACE, 0.9, f"Nothing is struck{under}", "the bar is left to the others, and counted"
    )


# The figure ---------------------------------------------------------------------------------


def _figure(spot: Spot) -> Iterator[Remark]:
    bars, bar, rhythms = spot.bars, spot.bar, spot.rhythms
    usual, often = rhythms.usual, rhythms.often
    first = rhythms.bars_with(bar.rhythm)[0]
    if often >= _OFTEN and bar.rhythm == usual and first == spot.index:
        yield Remark(
            Topic.FIGURE, 0.95,
            f"This is the figure, notes on {_counts(bar.rhythm, bar)}, and {often} of the"
            f" {len(bars)} bars have its rhythm",
            "learn that before any of the notes",
        )  # fmt: skip
    if first < spot.index:
        yield _again(spot, _like(spot))
    elif often >= _OFTEN and bar.rhythm != usual:
        yield from _varied(spot, usual, bars[rhythms.bars_with(usual)[0]])


def _ending(spot: Spot) -> Iterator[Remark]:
    """A last bar with less in it than the others does not thin out: the song is over."""
    if spot.after is not None or len(spot.bar.rhythm) >= len(spot.rhythms.usual):
        return
    bar, last = spot.bar, spot.bar.pitched[-1]
    degree = degree_name(last)
    yield Remark(
        Topic.ENDING, 0.97,
        f"The part ends on {bar.count(last)} with {name_of(last)}, the {degree} of"
        f" {bar.symbol(last.chord)}",
        "after a last root nothing need follow, so let it ring as long as the keyboard does"
        if degree == "root"
        else "",
    )  # fmt: skip


def _spoken(bar: Bar) -> str:
    runs = [(degree, len(list(run))) for degree, run in groupby(_degrees(bar))]
    return ", ".join(
        f"{degree} {times_over(times)}" if times > 1 else degree for degree, times in runs
    )


def _held(spot: Spot) -> list[BassNote]:
    """What still rings from the bar before."""
    before = spot.before
    return [note for note in before.pitched if before.rings_over(note)] if before else []


def _like(spot: Spot) -> Bar:
    """The bar with this rhythm that is most like this one: note for note, else the one before."""
    with_it = spot.rhythms.bars_with(spot.bar.rhythm)
    earlier = [spot.bars[i] for i in with_it[: bisect_left(with_it, spot.index)]]
    same = (bar for bar in reversed(earlier) if _pitches(bar) == _pitches(spot.bar))
    return next(same, earlier[-1])


def _pitches(bar: Bar) -> list[int]:
    return [note.note for note in bar.pitched]


def _again(spot: Spot, other: Bar) -> Remark:
    bar = spot.bar
    if _pitches(bar) == _pitches(other):
        return Remark(
            Topic.AGAIN, 0.5,
            f"Note for note bar {other.number}",
            "what comes back unchanged is what a listener takes for the tune of the bass",
        )  # fmt: skip
    if _degrees(bar) == _degrees(other) and bar.chords and other.chords:
        return Remark(
            Topic.AGAIN, 0.7,
            f"Bar {other.number} carried from {other.symbol(other.chords[0][1])} to"
            f" {bar.symbol(bar.chords[0][1])}, with the same degrees ({_spoken(bar)})",
            "who thinks in degrees has learned one bar and can play twelve",
        )  # fmt: skip
    new = next(
        (
            a
            for a, b in zip(bar.pitched, other.pitched, strict=True)
            if degree_name(a) != degree_name(b) and not spot.is_in_vain(a)
        ),
        bar.pitched[0],
    )
    return Remark(
        Topic.AGAIN, 0.45,
        f"The rhythm of bar {other.number} with other tones, on {bar.count(new)} with"
        f" {name_of(new)}, the {degree_name(new)} of {bar.symbol(new.chord)}",
        "the rhythm holds the part together, the tones may go where they like",
    )  # fmt: skip


def _degrees(bar: Bar) -> list[str]:
    return [degree_name(note) for note in bar.pitched]


def _varied(spot: Spot, usual: Sequence[Fraction], figure: Bar) -> Iterator[Remark]:
    bar = spot.bar
    if _held(spot) and 0 in usual and 0 not in bar.rhythm:
        return  # its 1 was struck early, in the bar before
    more, fewer = set(bar.rhythm) - set(usual), set(usual) - set(bar.rhythm)
    added, missing = _counts(sorted(more), bar), _counts(sorted(fewer), bar)
    begins = "of" if figure.number < bar.number else "that begins in"
    of_bar = f"the figure {begins} bar {figure.number}"
    if len(bar.rhythm) >= max(_BUSY * len(usual), len(usual) + _MORE):
        yield _busy(spot, f"{len(bar.rhythm)} notes where {of_bar} has {len(usual)}")
    elif not fewer and more:
        yield Remark(
            Topic.VARIED, 0.75,
            f"This is {of_bar} with something added on {added}",
            "enough to be noticed, too little to be another tune",
        )  # fmt: skip
    elif not more and len(fewer) > len(bar.rhythm):
        yield Remark(
            Topic.VARIED, 0.75,
            f"Of the {len(usual)} notes of {of_bar} only {len(bar.rhythm)}"
            f" {'is' if len(bar.rhythm) == 1 else 'are'} left, on {_counts(bar.rhythm, bar)}",
            "a bar that thins out turns the ear to whoever goes on",
        )  # fmt: skip
    elif not more and fewer:
        yield Remark(
            Topic.VARIED, 0.75,
            f"This is {of_bar} with nothing struck on {missing}",
            "whoever knows the figure hears the gap",
        )  # fmt: skip
    elif len(more) == len(fewer) == 1:
        yield Remark(
            Topic.VARIED, 0.8,
            f"This is {of_bar} with its note on {missing} moved to {added}",
            "one displaced note, and the whole bar leans another way",
        )  # fmt: skip


def _busy(spot: Spot, notes: str) -> Remark:
    bar = spot.bar
    if bar.number % 4 == 0:
        follows = spot.after is not None
        return Remark(
            Topic.FILL, 0.92,
            f"A fill, {notes}, and it closes {'four bars' if follows else 'the part'}",
            f"after it a listener hears bar {bar.number + 1} as a beginning" if follows else "",
        )  # fmt: skip
    return Remark(
        Topic.FILL, 0.85,
        f"Busier than the rest, with {notes}",
        "in the middle of a phrase it answers the bars around it; kept up, it would fill them all",
    )  # fmt: skip


def _counts(places: Sequence[Fraction], bar: Bar) -> str:
    return listed([counted(place, bar.metre) for place in places])


# Time ---------------------------------------------------------------------------------------


def _space(bar: Bar, held: Sequence[BassNote]) -> Iterator[Remark]:
    notes = bar.pitched
    if len(notes) == 1 and notes[0].length >= bar.metre.bar * Fraction(3, 4):
        yield Remark(
            Topic.SPACE, 0.7,
            f"One note, {name_of(notes[0])}, held",
            "a long note must last to the end of its count and not a moment less",
        )  # fmt: skip
        return
    sounding = sum((min(n.length, bar.end - n.beat) for n in bar.notes), Fraction(0))
    if sounding <= bar.metre.bar / 2:
        share = "Half" if sounding == bar.metre.bar / 2 else "More than half"
        where = "between" if len(notes) > 1 else "after"
        yield Remark(
            Topic.SPACE, 0.68,
            f"{share} of the bar is silence {where} {_counts(bar.rhythm, bar)}",
            "the rests are as much the figure as the notes, so stop the string in time",
        )  # fmt: skip
    if bar.place(bar.notes[0]) > 0 and not held:
        yield Remark(
            Topic.SPACE, 0.6,
            f"Nothing is struck on 1, and the bass speaks on {bar.count(notes[0])}",
            "the downbeat is felt all the more when somebody leaves it out",
        )  # fmt: skip


def _pulse(spot: Spot) -> Iterator[Remark]:
    bar = spot.bar
    pulses = bar.metre.pulses
    off = [place for place in bar.rhythm if place not in pulses]
    if bar.rhythm == pulses and len(pulses) > 2:
        new = spot.before is None or spot.before.rhythm != bar.rhythm
        yield Remark(
            Topic.PULSE, 0.8 if new else 0.3,
            f"A note on every beat, {len(pulses)} in the bar, from {name_of(bar.pitched[0])} to"
            f" {name_of(bar.pitched[-1])}",
            "nothing is left to the rhythm, so the order of the tones must carry the line",
        )  # fmt: skip
    elif len(off) >= 2 and len(off) > len(bar.rhythm) / 2:
        yield Remark(
            Topic.PULSE, 0.55,
            f"Of {len(bar.rhythm)} notes {len(off)} fall between the beats ({_counts(off, bar)})",
            "keep the foot on the beat and let the hand go against it",
        )  # fmt: skip
    elif not off and len(bar.rhythm) > 1:
        yield Remark(
            Topic.PULSE, 0.35,
            f"Every note lies on a beat ({_counts(bar.rhythm, bar)})",
            "where nothing is off the beat, the groove is in how long the notes last",
        )  # fmt: skip


def _ghosts(bar: Bar) -> Iterator[Remark]:
    ghosts = [bar.place(note) for note in bar.notes if note.ghost]
    if ghosts:
        yield Remark(
            Topic.GHOSTS, 0.6,
            f"{'Ghost notes' if len(ghosts) > 1 else 'A ghost note'} on {_counts(ghosts, bar)}",
            "the left hand damps and the right goes on, so that the subdivision is felt without a"
            " tone",
        )  # fmt: skip
