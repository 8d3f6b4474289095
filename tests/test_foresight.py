"""Foresight: what it expects of songs we make up."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import pytest

from engine.foresight.outlook import Foresight
from engine.harmony import QUALITY_BY_SUFFIX, Chord, Key
from engine.meter import FOUR_FOUR, Metre, Moment
from engine.pitch import pitch_class_of_name

KEY = Key(10)


def chord(symbol: str) -> Chord:
    """Read a plain chord symbol."""
    cut = 2 if symbol[1:2] in ("b", "#") else 1
    return Chord.of(pitch_class_of_name(symbol[:cut]), QUALITY_BY_SUFFIX[symbol[cut:]])


def bars(text: str) -> list[Chord]:
    """Read bars of four beats such as "Bb | Gm Cm7", each shared evenly by its chords."""
    out: list[Chord] = []
    for bar in text.split("|"):
        names = bar.split()
        out += [chord(n) for n in names for _ in range(4 // len(names))]
    return out


def play(foresight: Foresight, beats: Sequence[Chord], start: int = 0) -> None:
    """Commit quarter-note beats in 4/4."""
    for i, sounding in enumerate(beats, start):
        foresight.commit(Fraction(i), Fraction(i % 4), FOUR_FOUR, sounding, KEY)


def at(beat: float, metre: Metre = FOUR_FOUR) -> Moment:
    """The moment at a beat of a song without odd bars."""
    bar = int(beat // metre.bar)
    return Moment(beat * 0.5, beat, bar * metre.bar, bar, metre, 0.5)


LOOP = bars("Bb | Gm | Cm7 F7 | Bb Eb")


@pytest.mark.parametrize("shift", range(12))
def test_a_loop_is_known_the_second_time_round(shift: int) -> None:
    """After a loop was heard twice, every beat of the next two bars is called, in any key."""
    song = [c.transposed(shift) for c in LOOP * 4]
    foresight = Foresight()
    play(foresight, song[:36])

    seen = foresight.look(at(36), song[36], KEY, 1.0, 8)

    assert [f.beat for f in seen] == [Fraction(b) for b in range(37, 45)]
    assert [f.chord for f in seen] == song[37:45]


def test_nothing_is_expected_of_silence() -> None:
    """Before any chord the ear is given no prior."""
    assert Foresight().prior() is None


def test_the_prior_is_a_distribution() -> None:
    """What the ear is given are probabilities of twelve roots."""
    foresight = Foresight()
    play(foresight, LOOP * 2)

    prior = foresight.prior()

    assert prior is not None
    assert len(prior) == 12
    assert all(p >= 0 for p in prior)
    assert sum(prior) <= 1.0 + 1e-9
    assert prior.index(max(prior)) == LOOP[0].root


def test_twelve_eight_is_felt_in_four() -> None:
    """In 12/8 the forecasts lie a dotted quarter apart."""
    metre = Metre(12, 8)
    seen = Foresight().look(at(0, metre), chord("Eb"), KEY, 1.0, 4)

    assert [f.beat for f in seen] == [Fraction(3 * i, 2) for i in range(1, 5)]


def test_a_song_longer_than_memory_goes_on() -> None:
    """Old beats are let go and the loop is still known."""
    foresight = Foresight()
    play(foresight, LOOP * 200)

    seen = foresight.look(at(3200), LOOP[0], KEY, 1.0, 4)

    assert [f.chord for f in seen] == LOOP[1:5]


def test_a_chord_heard_otherwise_later_is_remembered_so() -> None:
    """After the ear corrected a bar, the loop is expected as if it had been heard right."""
    wrong = [*LOOP[:4], *bars("E"), *LOOP[8:]]
    foresight = Foresight()
    play(foresight, wrong)
    for beat in range(4, 8):
        foresight.revise(Fraction(beat), LOOP[beat])
    play(foresight, LOOP[:3], 16)

    seen = foresight.look(at(19), LOOP[3], KEY, 1.0, 1)

    assert seen[0].chord == LOOP[4]
