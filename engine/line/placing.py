"""Placing: the bar's rhythm laid over its chords.

Knows: where chords change in the bar, and that a change wants a note of its own.
Refuses to know: which notes are played.
How: strokes of the figure from the start of the ask on, cut where the chord changes; a change
that no stroke meets gets one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from engine.figures import OCTAVE, Stroke
from engine.score import Ask, BassNote, Span
from engine.style import Approach
from engine.theory.harmony import Chord

_SIXTEENTH: Final = Fraction(1, 4)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of one chord; `change` is whether it wants a note: its root or bass is a new one.

    Or the note that sounds was a tone of it as it was taken for, and is none as it turned out.
    """

    start: Fraction
    end: Fraction
    chord: Chord
    confidence: float
    change: bool


@dataclass(frozen=True, slots=True)
class Placed:
    """A stroke at its place in the song, with the index of its stretch.

    `lands` is whether it is the first stroke of a chord that is new here; its stretch may be the
    one after the chord that holds, where the stroke anticipates.
    """

    beat: Fraction
    length: Fraction
    accent: float
    ghost: bool
    tone: str
    stretch: int
    lands: bool


def stretches_of(ask: Ask) -> list[Stretch]:
    """The chords of the ask, equal neighbours joined; last the one that comes at the bar line."""
    found: list[Stretch] = []
    for span in _over_one_bass(ask):
        if found and found[-1].chord == span.chord:
            found[-1] = replace(found[-1], end=span.end)
        else:
            change = _is_next(span, found[-1], ask) if found else _is_first(span, ask)
            found.append(Stretch(span.start, span.end, span.chord, span.confidence, change))
    coming = ask.coming
    if coming is not None and coming.start == ask.end:
        change = _is_next(coming, found[-1], ask)
        found.append(Stretch(ask.end, coming.end, coming.chord, coming.confidence, change))
    return found


def _over_one_bass(ask: Ask) -> Iterator[Span]:
    """The spans; where a left hand walks, with its steps under one chord not taken for its bass.

    Else the bass would play every step of the hand a moment later, the notes between chords too.
    A chord on its own root is always that, whatever step came before.
    """
    last = ask.last
    before = None if last is None or last.beat < ask.bar_start else last.chord
    for span in ask.spans:
        chord = span.chord
        walked = ask.manner.walks and chord.bass != chord.root
        if walked and before is not None and is_same_but_for_bass(chord, before):
            chord = replace(chord, bass=before.bass)
        yield replace(span, chord=chord)
        before = chord


def is_same_but_for_bass(one: Chord, other: Chord) -> bool:
    """Whether two chords differ by their bass, or a longer name, at most."""
    return (one.root, one.family) == (other.root, other.family)


def is_new(chord: Chord, before: Chord) -> bool:
    """Whether a bass player hears a change: another root, or another bass under it."""
    return (chord.root, chord.bass) != (before.root, before.bass)


def _is_first(span: Span, ask: Ask) -> bool:
    last = ask.last
    if last is None or is_new(span.chord, last.chord):
        following = (*ask.spans[1:], ask.coming)
        return not any(_has_come_early(each, ask) for each in following)
    if _is_no_tone_now(last, span):
        return True
    # A note that led over the bar line wants to arrive, whether or not the chord it led to came.
    return last.aims_at is not None and ask.start == ask.bar_start


def _is_no_tone_now(last: BassNote, span: Span) -> bool:
    """Whether what sounds fitted the chord it was played for, and rubs in the one that came."""
    tone = last.note % 12
    rings = last.beat + last.length > span.start
    fitted = tone in last.chord.pitch_classes and last.aims_at is None
    return rings and fitted and tone not in span.chord.pitch_classes


def _is_next(span: Span, before: Stretch, ask: Ask) -> bool:
    return is_new(span.chord, before.chord) and not _has_come_early(span, ask)


def _has_come_early(span: Span | None, ask: Ask) -> bool:
    """Whether a chord still to come has been anticipated: its note is there, and not taken back."""
    last = ask.last
    if span is None or last is None or last.anticipates != span.start:
        return False
    return not is_new(span.chord, last.chord)


def placed(
    ask: Ask,
    strokes: Sequence[Stroke],
    stretches: Sequence[Stretch],
    approach: Approach,
) -> list[Placed]:
    """The strokes of the rest of the bar, and one on every change that none speaks for.

    A change may be anticipated: then its first note has sounded already.  Or the style lets it
    wait for the next stroke of the figure.
    """
    moments = {
        ask.bar_start + s.in_bar: s for s in strokes if ask.bar_start + s.in_bar >= ask.start
    }
    for stretch in stretches:
        if not stretch.change or stretch.start >= ask.end:
            continue
        if not _wants_note(stretch, ask):
            _meet_late(stretch, ask, moments)
            continue
        # Who has not played yet comes in with the chord, whatever the figure says.
        first = ask.last is None and stretch.start == ask.start
        if first or _rubs(stretch, ask) or not _spoken_for(stretch, moments, approach):
            _meet(stretch.start, moments)
    return _cut(ask, moments, stretches, approach.daring)


def _wants_note(stretch: Stretch, ask: Ask) -> bool:
    """On a beat every change is played; a chord that came late only if the bass does not fit."""
    if stretch.start > ask.start or ask.last is None or stretch.start.denominator == 1:
        return True
    return ask.last.note % 12 not in stretch.chord.pitch_classes


def _rubs(stretch: Stretch, ask: Ask) -> bool:
    """Whether a note rings into a chord that came as a surprise, and is none of its tones."""
    last = ask.last
    if last is None or stretch.start > ask.start:
        return False
    rings = last.beat + last.length > stretch.start
    return rings and last.note % 12 not in stretch.chord.keys


def _spoken_for(stretch: Stretch, moments: dict[Fraction, Stroke], approach: Approach) -> bool:
    change = stretch.start
    waited = (b for b, s in moments.items() if not s.ghost and not s.early)
    if change not in moments and any(change < b <= change + approach.wait for b in waited):
        return True
    if stretch.confidence < approach.daring:
        return False
    before = max((beat for beat in moments if beat < change), default=None)
    return before is not None and _reaches(moments[before], before, stretch)


def _reaches(stroke: Stroke, beat: Fraction, stretch: Stretch) -> bool:
    return stroke.early and beat < stretch.start <= beat + stroke.length


def _meet_late(stretch: Stretch, ask: Ask, moments: dict[Fraction, Stroke]) -> None:
    """Let the root of a chord that came late be struck with the next felt beat, if not before."""
    at = stretch.start - ask.bar_start
    began, length = ask.metre.felt_beat_at(at)
    beat = ask.bar_start + began + length
    spoken = any(stretch.start <= b <= beat and not s.ghost for b, s in moments.items())
    if not spoken and beat < min(stretch.end, ask.end):
        _meet(beat, moments)


def _meet(change: Fraction, moments: dict[Fraction, Stroke]) -> None:
    """Let a stroke fall on the change: the one a sixteenth later comes early, or one is added."""
    stroke = moments.get(change)
    if stroke is None:
        late = [beat for beat in moments if change < beat <= change + _SIXTEENTH]
        later = min((beat for beat in moments if beat > change + _SIXTEENTH), default=change + 1)
        stroke = Stroke(Fraction(0), later - change, 0.8, ghost=False)
        for beat in late:
            stroke = moments.pop(beat)
            stroke = replace(stroke, length=stroke.length + beat - change)
    moments[change] = replace(stroke, ghost=False, accent=max(stroke.accent, 0.8))


def _cut(
    ask: Ask, moments: dict[Fraction, Stroke], stretches: Sequence[Stretch], daring: float
) -> list[Placed]:
    beats = sorted(moments)
    found: list[Placed] = []
    landed = -1
    for beat, following in zip(beats, [*beats[1:], None], strict=False):
        stroke = moments[beat]
        index = _stretch_of(stroke, beat, stretches, daring)
        lands = stretches[index].change and landed < index and not stroke.ghost
        landed = index if lands else landed
        tone = stroke.tone[1:] if stroke.early else stroke.tone
        # A figure that comes down from the octave lands on that.
        if lands and not (tone == OCTAVE and beat == ask.bar_start):
            tone = "1"
        found.append(
            Placed(
                beat,
                _length(stroke, beat, following, ask, stretches[index]),
                stroke.accent,
                stroke.ghost,
                tone,
                index,
                lands,
            )
        )
    return found


def _stretch_of(stroke: Stroke, beat: Fraction, stretches: Sequence[Stretch], daring: float) -> int:
    """The chord that a stroke belongs to: the one that holds, or the one it anticipates."""
    holds = max((i for i, s in enumerate(stretches) if s.start <= beat), default=0)
    if holds + 1 < len(stretches):
        following = stretches[holds + 1]
        if following.confidence >= daring and _reaches(stroke, beat, following):
            return holds + 1
    return holds


def _length(
    stroke: Stroke, beat: Fraction, following: Fraction | None, ask: Ask, stretch: Stretch
) -> Fraction:
    end = beat + stroke.length
    if following is not None:
        end = min(end, following)
    if not stroke.early:
        end = min(end, stretch.end, ask.end)
    return end - beat
