"""Reading packs, their release records and what a recall would reach."""

from labels.queries.packs import (
    pack,
    pack_row,
    packs,
    papers_of,
    standing_pack_of,
    tidy_code,
    units_in,
    zone_to_pack,
)
from labels.queries.release import batch_review, people_of_pack, release_view

__all__ = [
    "batch_review",
    "pack",
    "pack_row",
    "packs",
    "papers_of",
    "people_of_pack",
    "release_view",
    "standing_pack_of",
    "tidy_code",
    "units_in",
    "zone_to_pack",
]
