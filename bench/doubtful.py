"""Which songs of a corpus have labels that their own notes speak against.

In a few songs the chord labels stand on another bar line than the playing: at many changes the
new root is struck one felt beat after the label.  Whoever plays by ear is late there by the label
and right by the keys.  And a few keys are labelled with a scale that the song does not keep to.
Benches count all songs, and print the others once more in rows of their own.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from bench.changes import Change, changes
from bench.corpus import Song
from engine.theory.harmony import Key

# Roots struck so near a beat are on it, and only those below middle C count.
_NEAR: Final = 0.15
_MIDDLE_C: Final = 60
# The changes looked at stand so many beats; of those whose root is struck on their beat or one
# later, at least this share comes later in songs whose labels run ahead.  Of 149 songs on pop909cl
# six have 0.32 to 0.58, one has just under 0.25, all others 0.13 or less.
_STANDS: Final = 2.0
_SHARE: Final = 0.25

# A tone counts for no more than so many beats; a key is in doubt if the tones of another scale
# sound for this share of the song longer than those of its own.  Of 130 keys on pop909cl three
# are, by 0.05 to 0.38, and of 111 on pop909 none.
_LONGEST: Final = 2.0
_MORE: Final = 0.03


def runs_ahead(song: Song) -> bool:
    """Whether many of the song's changes are struck a beat after their labels."""
    struck = [(n.start, n.note % 12) for n in song.notes if n.note < _MIDDLE_C]
    on = later = 0
    for change in changes(song):
        if change.until - change.beat >= _STANDS:
            if any(_is_root(change, begins, tone) for begins, tone in struck):
                on += 1
            elif any(_is_root(change, begins - 1, tone) for begins, tone in struck):
                later += 1
    return later > 0 and later >= _SHARE * (on + later)


def key_in_doubt(song: Song) -> bool:
    """Whether the song, as a whole, keeps better to another scale than to that of its key."""
    if song.key is None:
        return False
    sounding = np.zeros(12)
    for note in song.notes:
        sounding[note.note % 12] += min(note.end - note.start, _LONGEST)
    own, *others = (
        sum(sounding[tone] for tone in set(key.scale))
        for key in (song.key, *(Key(tonic) for tonic in range(12)))
    )
    return bool(max(others) > own + _MORE * sounding.sum())


def _is_root(change: Change, begins: float, tone: int) -> bool:
    return abs(begins - change.beat) < _NEAR and tone in (change.chord.root, change.chord.bass)
