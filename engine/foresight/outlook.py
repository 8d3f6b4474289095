"""Outlook: which chord comes next, at which beat, how surely.

Knows: whom to ask (this song's memory, the habits of songs, the chart if there is one), how far
each is to be trusted here, and how to walk their answers forward.
Refuses to know: notes, seconds, what the bass does about it.
How: the one-beat question is answered as a distribution over roots.  Asked again from its own best
answer, beat after beat, it gives the beats ahead, each as sure as all those before it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from fractions import Fraction
from typing import Final

import numpy as np

from engine.arrays import Doubles
from engine.events import Forecast
from engine.foresight.agreement import NO_CHORD, ROOTS, Step, place_in_bar
from engine.foresight.chart import Chart, Follower, Whereabouts
from engine.foresight.clues import GIVEN, Record, Said, gather, of_customs
from engine.foresight.course import Course
from engine.foresight.custom import Custom
from engine.foresight.judge import Judge
from engine.foresight.memory import Memory
from engine.foresight.standing import Before, Call, Present, Standing, Way
from engine.foresight.tables import DEFAULT, Tables
from engine.theory.harmony import MAJOR, MINOR, Chord, Key
from engine.theory.meter import Metre, Moment

FARTHEST: Final = 8
"""Beats looked ahead at most: two bars of four, as far as a line is planned."""

_RECOVERS: Final = 0.06
"""How often a beat is right although one before it on the way was not."""

WEIGHED: Final = 2
"""How many beats are thought through anew in one look; those thought through before are kept.
With 3 a look took half as long again, and the bass landed no better for it."""

_TAKEN_BACK: Final = 4
"""How many beats can be remembered otherwise when the next one is there: a bar's."""

_LEAN: Final = 1.4
"""A change is called although staying is up to this much likelier: a change missed costs the line
its way in, one called for nothing is said with so little certainty that the line stays in the
chord.  Cross-validated on charts it calls a point more changes at the right beat (three in new
material), and no more others with a half or more."""

_GUESSED: Final = 0.92
"""How likely a farther beat goes on as the best agreeing past did."""

_TRUST_FADE: Final = 0.97
"""Chart and song are trusted by how they did over the last thirty beats or so."""

_TRUST_IN_CHART: Final = 3.0
"""By how much (log odds) the chart is believed before anything was heard."""


class Foresight:
    """What is expected of the coming beats, told beat by beat what was heard.

    Args:
        tables: what it was fitted to.
        chart: the song as written, if the player gave one.
    """

    def __init__(self, tables: Tables = DEFAULT, chart: Chart | None = None) -> None:
        self._judge = Judge(tables.networks)
        self._custom = Custom(tables.counts)
        self._follower = None if chart is None else Follower(chart)
        self._where = None if self._follower is None else self._follower.anywhere()
        self._trust = _TRUST_IN_CHART
        self._memory = Memory()
        self._said = GIVEN
        self._record = Record()
        self._course = Course()
        self._last: Step | None = None
        self._standing: Standing | None = None
        self._path: list[Way] = []
        self._due: Fraction | None = None
        self._before: deque[Before] = deque(maxlen=_TAKEN_BACK)

    # What was heard --------------------------------------------------------------------------

    def commit(
        self,
        beat: Fraction,
        in_bar: Fraction,
        metre: Metre,
        chord: Chord | None,
        *,
        grounded: bool = False,
        confidence: float = 1.0,
    ) -> None:
        """Remember the felt beat that just ended, as it was finally heard.

        Args:
            beat: where it began, in quarter notes of the song.
            in_bar: where it began in its bar, likewise.
            metre: of the bar.
            chord: that was heard, None where there was none.
            grounded: whether the player has played its bass.
            confidence: how surely it was heard.
        """
        step = Step(chord, place_in_bar(in_bar, metre), grounded, confidence)
        self._keep(beat, in_bar, metre)
        self._learn(step)
        path = self._path if self._path and self._path[0].step == step else []
        self._memory.remember(step, beat, path[0].agreement if path else None)
        self._last = step
        self._course = self._course.after(step, len(metre.pulses))
        if self._follower is not None and self._where is not None:
            self._where = here = self._follower.heard(self._where, step)
            path = [way._replace(where=way.where and way.where.with_habits(here)) for way in path]
            if path and path[0].where is not None and here.is_elsewhere_than(path[0].where):
                path = []
        self._standing = path[0].standing if path else None
        self._path = [way._replace(standing=None) for way in path[1:2]] + path[2:]
        self._due = beat + metre.start_of(step.place + 1) - metre.start_of(step.place)

    def _keep(self, beat: Fraction, in_bar: Fraction, metre: Metre) -> None:
        """Keep what is known before a beat is committed."""
        before = Before(
            beat, in_bar, metre, self._last, self._memory.now, self._stand(), self._course,
            self._where, self._record.hits, self._trust,
        )  # fmt: skip
        self._before.append(before)

    def amend(self, chord: Chord | None, beats: int, *, grounded: bool = False) -> None:
        """Remember so many beats, the last ones, as another chord, as the beat after has told.

        At least one, at most four, and no more than since the song went on from another place;
        `grounded` is as in `commit`.
        """
        undone = list(self._before)[-beats:]
        if not undone or undone[0].agreement.beats + len(undone) != self._memory.count:
            return  # none, or the oldest beats of a long song have been forgotten meanwhile
        for _ in undone:
            self._before.pop()
        before = undone[0]
        self._memory.return_to(before.agreement)
        self._last, self._standing, self._path = before.last, before.standing, []
        self._course, self._where = before.course, before.where
        self._record.hits, self._trust = before.hits, before.trust
        for each in undone:
            self.commit(each.beat, each.in_bar, each.metre, chord, grounded=grounded)

    def relocate(self, beat: Fraction) -> None:
        """The song goes on from another place."""
        if beat != self._due:
            self._leave(beat)
            self._due = beat

    def _followed(self, where: Whereabouts | None, step: Step) -> Whereabouts | None:
        if self._follower is None or where is None:
            return None
        return self._follower.after(where, step)

    def _leave(self, beat: Fraction) -> None:
        self._memory.breaks(beat)
        self._standing = None
        self._before.clear()
        self._path = []
        if self._follower is not None and self._where is not None:
            self._where = self._follower.elsewhere(self._where)

    def _learn(self, step: Step) -> None:
        """Who had called this beat, and so who is to be trusted."""
        standing = self._stand()
        if standing is None:
            return
        self._record.judge(standing.clues.votes.longest, standing.step.root, step.root)
        charted, places = standing.charted, standing.places
        if self._follower is not None and charted is not None and places is not None:
            chart = self._follower.foretold(charted, places, step)
            song = float(standing.judged[step.root])
            by_chance = (1 - step.confidence) / ROOTS + 1e-4
            sure = step.confidence
            gained = float(np.log((sure * chart + by_chance) / (sure * song + by_chance)))
            self._trust = _TRUST_IN_CHART + _TRUST_FADE * (self._trust - _TRUST_IN_CHART) + gained

    @property
    def follows_chart(self) -> bool:
        """Whether there is a chart, and it has told no less well than the song itself."""
        return self._follower is not None and self._trust > 0

    def opening(self, moment: Moment) -> Forecast | None:
        """The felt beat on which the song begins, if there is a chart to begin it by."""
        if self._follower is None or self._last is not None:
            return None
        metre, in_bar = moment.metre, Fraction(moment.in_bar).limit_denominator(96)
        place = place_in_bar(in_bar, metre)
        return Forecast(moment.bar_start + metre.start_of(place), *self._follower.opening(place))

    # What is expected ------------------------------------------------------------------------

    def look(self, now: Present, horizon: int, *, weigh: int = WEIGHED) -> tuple[Forecast, ...]:
        """One forecast for each of the coming felt beats.

        A next beat that was weighed before the ear was asked about it is weighed again.
        So many beats are weighed, at half a millisecond or so each; to weigh one, and then look
        once more and weigh another, comes to the same as to weigh two.
        """
        moment, metre = now.moment, now.moment.metre
        if now.coming is not self._said.coming:
            self._path[:1] = [way._replace(standing=None) for way in self._path[:1]]
        self._said = Said(now.confidence, now.coming)
        first = place_in_bar(Fraction(moment.in_bar).limit_denominator(96), metre)
        forecasts: list[Forecast] = []
        sure = 1.0
        step = Step(now.chord, first, now.grounded)
        for call in self._calls(step, len(metre.pulses), now.key, weigh):
            beat = moment.bar_start + metre.start_of(first + len(forecasts) + 1)
            sure = sure * call.odds + (1 - sure) * _RECOVERS
            forecasts.append(Forecast(beat, call.chord, sure))
            if len(forecasts) >= min(horizon, FARTHEST):
                break
        self._memory.forget_imagined()
        return tuple(forecasts)

    def _calls(self, step: Step, pulses: int, key: Key, weigh: int) -> Iterator[Call]:
        """The best path, a beat at a time, from a beat that is taken as sounding."""
        course, where, said = self._course, self._where, self._said
        path, self._path = self._path, []
        self._memory.forget_imagined()
        while True:
            way = path[0] if path and path[0].step == step else None
            if weigh <= 0 and (way is None or way.standing is None):
                break
            if way is not None and self._memory.resume(step, way.agreement):
                del path[0]
            else:
                path.clear()
                self._memory.imagine(step)
                way = self._way(step, course.after(step, pulses), self._followed(where, step))
            course, where, standing = way.course, way.where, way.standing
            if standing is None:
                standing = self._weigh(way, said)
                weigh -= 1
            said = said._replace(coming=None)  # of no beat but the next one
            self._path.append(way._replace(standing=standing))
            root = _called(standing.odds, step.root)
            stays = root == step.root
            chord = step.chord if stays else self._chord_on(root, standing, key)
            yield Call(chord, float(standing.odds[root]))
            step = Step(chord, (step.place + 1) % pulses, step.grounded)
        yield from self._guesses(step.chord)

    def _guesses(self, chord: Chord | None) -> Iterator[Call]:
        """Farther on, what followed the best agreeing past, or no change."""
        for after in self._memory.after_best(FARTHEST):
            chord = after or chord
            yield Call(chord, _GUESSED)

    def _stand(self) -> Standing | None:
        """What is known after the last committed beat."""
        if self._standing is None and self._last is not None:
            self._memory.forget_imagined()
            said = self._said._replace(coming=None)
            self._standing = self._weigh(self._way(self._last, self._course, self._where), said)
        return self._standing

    def _way(self, step: Step, course: Course, where: Whereabouts | None) -> Way:
        """The beat that the memory has come to, and what speaks after it."""
        customs = of_customs(course, self._custom.odds(course))
        clues = gather(self._memory, course)
        return Way(step, self._memory.now, course, where, clues, customs, None)

    def _weigh(self, way: Way, said: Said) -> Standing:
        """Judge the beat after this one, by all that speaks."""
        step, where, clues = way.step, way.where, way.clues
        candidates, common = clues.told(self._record, said)
        judged = self._judge.odds(np.concatenate((candidates, way.customs), axis=1), common)
        if self._follower is None or where is None:
            return Standing(step, clues, judged, None, None, judged.astype(np.float64))
        charted, places = self._follower.odds(where)
        share = 1 / (1 + np.exp(-self._trust))
        odds = share * charted + (1 - share) * judged
        return Standing(step, clues, judged, charted, places, odds)

    def _chord_on(self, root: int, standing: Standing, key: Key) -> Chord | None:
        """The chord to expect on a root: as written, as heard in this song, or as in the key."""
        if root == NO_CHORD:
            return None
        charted = None
        if self._follower is not None and standing.places is not None and self.follows_chart:
            charted = self._follower.chord_on(root, standing.places)
        return charted or self._memory.likeliest_chord(root) or _diatonic(root, key)


def _called(odds: Doubles, root: int) -> int:
    """The root to be expected after a root."""
    leaning = odds.copy()
    leaning[root] /= _LEAN
    return int(leaning.argmax())


def _diatonic(root: int, key: Key) -> Chord:
    """The triad of the key on a root."""
    minor = (root + 3) % 12 in key.scale and (root + 4) % 12 not in key.scale
    return Chord.of(root, MINOR if minor else MAJOR)
