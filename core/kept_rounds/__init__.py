"""Rounds of changes as they were agreed with the client: kept for good, compared, gone back to."""

from core.kept_rounds.round import (
    Round,
    Sum,
    back_to,
    branched,
    check_rounds,
    is_kept,
    numbered,
    round_of,
    summary,
    with_round,
)

__all__ = [
    "Round",
    "Sum",
    "back_to",
    "branched",
    "check_rounds",
    "is_kept",
    "numbered",
    "round_of",
    "summary",
    "with_round",
]
