"""The ear on the player: how the keys are played, and what the bass makes of it."""

from __future__ import annotations

import pytest

from engine.score import AS_USUAL, Manner


class TestManner:
    """How the player plays just now."""

    def test_a_player_as_usual_is_of_middling_intensity(self) -> None:
        """Nothing known of the player moves nothing."""
        assert AS_USUAL.intensity == 0.5

    def test_loud_and_busy_build_alike(self) -> None:
        """Who plays as loud and as busy as can be is in full flight; one of the two is half way."""
        assert Manner(loud=1, busy=1).intensity == 1
        assert Manner(loud=1).intensity == Manner(busy=1).intensity == 0.75

    def test_a_manner_beyond_its_limits_is_refused(self) -> None:
        """Louder than can be is a mistake of ours, and said."""
        with pytest.raises(ValueError, match=r"loud is 1.2; a manner is 0 to 1"):
            Manner(loud=1.2)
