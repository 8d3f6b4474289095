"""Network: engine/hearing/chord.py as a chain of differentiable steps, for bench/fit_hearing.py.

Many pieces of songs go through it at once.  Needs PyTorch.
"""

from __future__ import annotations

import torch
from torch.nn.functional import dropout

from engine.hearing.evidence import BEFORE, NOW, PRESENCE
from engine.hearing.tables import HINTS
from engine.theory.harmony import QUALITY_BY_HARTE

KINDS = (
    "maj", "min", "7", "maj7", "min7", "dim", "aug", "sus2", "sus4", "5", "maj6", "min6",
    "minmaj7", "hdim7", "dim7", "sus4(b7)",
)  # fmt: skip
Q = len(KINDS)
STATES = 12 * Q
# Features kept for each root.
WIDTH = 64
# Of the tones and of the features so many are left out at random, so that none is relied upon.
DROP_TONES, DROP_FEATURES = 0.15, 0.2


class Filter(torch.nn.Module):
    """What is believed about the chord, at four moments of every beat."""

    def __init__(self) -> None:
        super().__init__()
        w, two = WIDTH, 2 * WIDTH
        self.emission = torch.nn.Parameter(_first_guess())
        self.bias = torch.nn.Parameter(torch.zeros(3, Q))
        self.seen = _small(2, len(NOW), 12, w, among=100)
        self.passed = torch.nn.Parameter(torch.zeros(2, w))
        self.past = _small(len(BEFORE), 12, w, among=100)
        self.keys = _small(2, 12, w, among=10)
        self.places = _small(4, w, among=4)
        self.hints = _small(HINTS, w, among=8)
        self.remembered = _small(Q, w, among=100)
        self.recall = torch.nn.Parameter(torch.tensor([0.5, 0.3, 0.2]))
        self.carry = _small(w, w, among=w)
        self.gates_new = _small(two, 3 * w, among=two)
        self.gates_left = _small(w, 3 * w, among=w)
        self.gates_bias = torch.nn.Parameter(torch.zeros(2, 3 * w))
        self.tell = _small(two, Q, among=4 * two)
        self.foretell = _small(two, Q, among=4 * two)
        self.look_back = _small(two, Q, among=4 * two)
        self.kept = torch.nn.Parameter(torch.tensor([1.0]))
        steps = torch.arange(12)
        self.register_buffer("_turn", (steps[:, None] - steps[None, :]) % 12)

    def _turned(self, table: torch.Tensor) -> torch.Tensor:
        """(..., vectors, degree, worth) to (vectors x pitch class, root x worth)."""
        return table[..., self._turn, :].reshape(-1, 12 * table.shape[-1])

    def forward(
        self, batch: dict[str, torch.Tensor], recalling: float
    ) -> tuple[torch.Tensor, torch.Tensor]:
        """Log-beliefs (pieces, beats, four moments, states), and those about the beat before."""
        now, shape = batch["now"], batch["now"].shape[:2]
        passed, vectors = now[..., -1:], now[..., :-1]
        vectors = vectors * self._kept((*shape, 1, vectors.shape[-1]), DROP_TONES)
        shares = recalling * batch["recalled"].reshape(*shape, 12, Q)
        context = self._context(batch, shares, recalling)
        seen = self._read(vectors, passed, self.seen)
        seen = seen + _between(self.passed, passed)[..., None, :]
        told, foretold = self._steps(batch, seen, context)
        said = self._read(vectors, passed, self.emission)
        said = said + _between(self.bias[1:], passed)[..., None, :]
        told = told * self._kept((shape[0], 1, 1, 1, 2 * WIDTH), DROP_FEATURES)
        told = told @ torch.cat([self.tell, self.look_back], -1)
        said = said + told[..., :Q]
        said = said + _between(self.recall[1:, None], passed)[..., None, :] * shares[:, :, None]
        foretold = foretold * self._kept((shape[0], 1, 1, 2 * WIDTH), DROP_FEATURES)
        before = foretold @ self.foretell + self.bias[0]
        before = before + self.recall[0] * shares
        beliefs = torch.cat([before[:, :, None], said], 2)
        beliefs = torch.log_softmax(beliefs.reshape(*shape, 4, STATES), -1)
        return beliefs, self._looked_back(told[:, 1:, 2, :, Q:], beliefs[:, :-1, 3])

    def _looked_back(self, told: torch.Tensor, believed: torch.Tensor) -> torch.Tensor:
        """Log-beliefs (pieces, beats but the last, states), once the next beat is over too."""
        return torch.log_softmax(told.flatten(2) + self.kept * believed, -1)

    def _read(
        self, vectors: torch.Tensor, passed: torch.Tensor, table: torch.Tensor
    ) -> torch.Tensor:
        """What a table makes of the tones (pieces, beats, moments, 12, worth).

        A moment is as late in every beat, so it has one table, between the start's and the end's.
        """
        late = passed.amax((0, 1))[:, None, None, None]
        turned = torch.stack([self._turned(each) for each in _between(table, late).unbind(0)])
        rows = vectors.permute(2, 0, 1, 3).flatten(1, 2) @ turned
        return rows.reshape(3, *vectors.shape[:2], 12, -1).permute(1, 2, 0, 3, 4)

    def _kept(self, shape: tuple[int, ...], without: float) -> torch.Tensor:
        """Which values of such a shape are kept, made up for those left out."""
        return dropout(torch.ones(shape), without, self.training)

    def _context(
        self, batch: dict[str, torch.Tensor], shares: torch.Tensor, recalling: float
    ) -> torch.Tensor:
        """What is known of each root before a beat, but for what the beats before have left."""
        keys = self.keys[:, self._turn.T].reshape(24, 12 * WIDTH)
        past = batch["past"] * self._kept(batch["past"].shape, DROP_TONES)
        known = past @ self._turned(self.past)
        known = (known + batch["keys"] @ keys).reshape(*shares.shape[:3], WIDTH)
        same = self.places[batch["places"]] + recalling * batch["hints"] @ self.hints
        return known + same[:, :, None] + shares @ self.remembered

    def _steps(
        self, batch: dict[str, torch.Tensor], seen: torch.Tensor, context: torch.Tensor
    ) -> tuple[torch.Tensor, torch.Tensor]:
        """The features from which qualities are told, with a beat's notes and before them."""
        sounds = (batch["now"][:, :, 2, PRESENCE].sum(-1) > 0).float()
        left = torch.zeros_like(context[:, 0])
        told, foretold = [], []
        beats = zip(seen.unbind(1), context.unbind(1), sounds.unbind(1), strict=True)
        for seen_now, known_before, sounding in beats:
            known = known_before + left @ self.carry
            features = torch.relu(seen_now + known[:, None])
            leaving = self._step(left, features)
            told.append(torch.cat([leaving, features], -1))
            foretold.append(_with_mean(torch.relu(known)))
            here = sounding[:, None, None]
            left = here * leaving[:, 2] + (1 - here) * left
        return torch.stack(told, 1), torch.stack(foretold, 1)

    def _step(self, left: torch.Tensor, features: torch.Tensor) -> torch.Tensor:
        own, mean = self.gates_new.split(WIDTH)
        of_all = features.mean(-2, keepdim=True) @ mean + self.gates_bias[0]
        new = features @ own + of_all
        old = (left @ self.gates_left + self.gates_bias[1])[:, None]
        keep, reset = torch.sigmoid(new + old)[..., : 2 * WIDTH].split(WIDTH, -1)
        said = torch.tanh(new[..., 2 * WIDTH :] + reset * old[..., 2 * WIDTH :])
        return said + keep * (left[:, None] - said)


def _small(*shape: int, among: int) -> torch.nn.Parameter:
    return torch.nn.Parameter(torch.randn(*shape) / among**0.5)


def _between(pair: torch.Tensor, passed: torch.Tensor) -> torch.Tensor:
    return (1 - passed) * pair[0] + passed * pair[1]


def _with_mean(features: torch.Tensor) -> torch.Tensor:
    return torch.cat([features, features.mean(-2, keepdim=True).expand_as(features)], -1)


def _first_guess() -> torch.Tensor:
    """Where the fit starts: a tone of the chord is likely, its root likeliest to be lowest."""
    emission = torch.zeros(2, len(NOW), 12, Q)
    for i, kind in enumerate(KINDS):
        tones = list(QUALITY_BY_HARTE[kind].intervals)
        emission[:, NOW.index("present"), :, i] = -0.6
        emission[:, NOW.index("present"), tones, i] = 0.6
        emission[:, NOW.index("lowest"), 0, i] = 0.75
    return emission
