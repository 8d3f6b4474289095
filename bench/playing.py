"""The whole engine over a labelled song, in virtual time: benches of the playing start here."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from random import Random

from bench.corpus import Song
from bench.folds import SHIPPED, Taught
from engine.bassist import Bassist
from engine.events import ChangeExpected, ChordHeard, KeyHeard, Outgoing, Play, Release
from engine.foresight.outlook import Foresight
from engine.hearing.ear import Ear
from engine.style import Style
from ports.replay import replay
from ports.song import read


@dataclass(frozen=True, slots=True)
class Sounded:
    """A bass note as it sounded: from where to where in quarter notes, how written, how long."""

    begins: float
    ends: float
    play: Play
    seconds: float


@dataclass(frozen=True, slots=True)
class Take:
    """One song played through: the bass notes in order, and all else that was given out."""

    notes: tuple[Sounded, ...]
    told: tuple[ChordHeard | KeyHeard | ChangeExpected, ...]


def take(  # noqa: PLR0917
    song: Song,
    folder: Path,
    style: Style,
    seed: int = 1,
    foresight: Foresight | None = None,
    lead: int = 0,
    *,
    taught: Taught = SHIPPED,
) -> Take:
    """Play a song of a folder as a sequencer would send it, and keep what comes back."""
    bassist = Bassist(
        style,
        Random(seed),
        external_clock=True,
        ear=Ear(taught.ear, sent=lead > 0),
        foresight=foresight or Foresight(taught.foresight),
        lead=lead,
    )
    out: list[Outgoing] = []
    replay(bassist, read(folder / f"{song.number}.mid").with_clock(), out.append)
    told = (o for o in out if isinstance(o, ChordHeard | KeyHeard | ChangeExpected))
    return Take(tuple(sounded(out)), tuple(told))


def sounded(out: list[Outgoing]) -> list[Sounded]:
    """The bass notes of all that was given out."""
    notes: list[Sounded] = []
    begun: Play | None = None
    for outgoing in out:
        if isinstance(outgoing, Play):
            begun = outgoing
        elif isinstance(outgoing, Release) and begun is not None:
            seconds = outgoing.at - begun.at
            notes.append(Sounded(begun.beat, outgoing.beat, begun, seconds))
            begun = None
    return notes
