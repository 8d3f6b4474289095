"""The player stops within the song: what the bass plays while no key sounds."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from engine.events import BarOfSilence, ChordHeard, Forecast, Incoming, NoteOff, NoteOn
from engine.theory.symbols import parse_symbol
from tests.band import (
    Outlook,
    WatchedForesight,
    bass_player,
    clock,
    heard_from,
    in_time,
    pedal,
    plays,
    voiced,
)

BAR = 2.0


def struck(bar: int, name: str) -> list[Incoming]:
    """A chord that is let go just before the next bar line."""
    on: list[Incoming] = [NoteOn(bar * BAR, n) for n in voiced(name)]
    return on + [NoteOff((bar + 1) * BAR - 0.05, n) for n in voiced(name)]


def swaying(silent: str) -> WatchedForesight:
    """Foresight that has of the third bar, beat by beat, these guesses: "Eb .6, Eb .4"."""
    guesses = {
        Fraction(8 + i): (parse_symbol(guess.split()[0]), float(guess.split()[1]))
        for i, guess in enumerate(silent.split(", "))
    }

    def swayed(forecast: Forecast) -> Forecast:
        chord, sure = guesses.get(forecast.beat, (forecast.chord, forecast.confidence))
        return replace(forecast, chord=chord, confidence=sure)

    def watch(seen: Outlook) -> Outlook:
        return tuple(map(swayed, seen))

    return WatchedForesight(watch)


@pytest.mark.parametrize("preset", ["soul", "rock", "walking"])
@pytest.mark.parametrize(
    ("song", "silent", "played"),
    [
        ("Bb Gm7", "Eb .6, Eb .4, Eb .4, Eb .4", "Eb"),
        ("Bb Gm7", "Eb .4, Eb .9, F7 .4, Eb .4", "Eb"),
        ("Bb Gm7", "Eb .6, F7 .3, Eb .3, Gm7 .4", "Eb"),
        ("Bb Gm7", "Eb .6, Eb .7, F7 .6, F7 .4", "Eb F7"),
        # As it was heard last before the stop, and so nothing else speaks for it.
        ("A E7", "A .6, A .9, E7 .6, E7 .4", "A E7"),
        ("A E7", "A .6, A .9, E7 .4, E7 .4", "A"),
        ("Fm Db", "Ab .6, Db .3, Ab .3, Db .3", "Ab"),
        # Silence is no sign that a guess was wrong, so that nothing is guessed in vain.
        ("Fm Db", "Ab .8, Ab .8, Db .8, Ab .8", "Ab Db Ab"),
    ],
)
def test_in_a_stop_the_bass_does_not_sway_with_its_guesses(
    preset: str, song: str, silent: str, played: str
) -> None:
    """In the third bar nobody plays: a guess that is not believed is no change, there and back.

    What was heard before the stop has been left on the bar line, and is not gone back to.
    """
    keys = [e for bar, name in enumerate(song.split()) for e in struck(bar, name)]
    keys.sort(key=lambda e: e.at)
    out = heard_from(bass_player(preset, foresight=swaying(silent)), keys, until=3 * BAR - 0.05)

    roots = [p.written.chord.root for p in plays(out) if 7.9 < p.beat < 11.9]
    here = [root for i, root in enumerate(roots) if i == 0 or root != roots[i - 1]]
    assert here == [parse_symbol(name).root for name in played.split()]
    assert not any(isinstance(o, ChordHeard) and o.beat > 7.9 for o in out)


@pytest.mark.parametrize("external", [False, True], ids=["a tempo of its own", "a clock"])
@pytest.mark.parametrize(("more", "silent"), [
    ([], [2, 3]),
    ([NoteOn(3.98, 58), NoteOff(4.3, 58)], [2]),  # a hair before the third bar, and short
    ([NoteOn(3.25, 58), NoteOff(3.3, 58)], [3]),
    ([NoteOn(5.25, 58), NoteOff(7.9, 58)], [2]),
    ([pedal(1.0, down=True)], []),  # B flat sounds on all the way
])  # fmt: skip
def test_a_bar_in_which_nothing_sounds_is_told(
    more: list[Incoming], silent: list[int], *, external: bool
) -> None:
    """B flat in the first bar and in the fourth, and nothing between them."""
    keys = in_time(clock(16) if external else [], [*struck(0, "Bb"), *struck(3, "Bb"), *more])
    out = heard_from(bass_player(external_clock=external), keys, until=7.9)

    assert [o.bar for o in out if isinstance(o, BarOfSilence)] == silent


def test_of_chords_that_are_sent_early_no_silence_is_told() -> None:
    """The track is a beat ahead: where it is silent its last chord has only begun to sound."""
    keys = [*struck(0, "Bb"), *struck(3, "Bb")]
    out = heard_from(bass_player(lead=1), keys, until=7.9)

    assert not [o for o in out if isinstance(o, BarOfSilence)]
