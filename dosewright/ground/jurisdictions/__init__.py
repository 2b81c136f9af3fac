"""The dated law packs: law is data, one pack per jurisdiction and version, read from the TOML files beside.

`packs` holds what a pack is, `load` reads it, `cite` says what may stand on paper.
"""

from dosewright.ground.jurisdictions.cite import LegalSentence, statements_for_original
from dosewright.ground.jurisdictions.load import known_packs, load_pack
from dosewright.ground.jurisdictions.packs import (
    READ,
    TO_BE_CONFIRMED,
    ExpiryCap,
    Finding,
    Instrument,
    LegalBasis,
    Pack,
    Particular,
    Statement,
    signable,
)

__all__ = [
    "READ",
    "TO_BE_CONFIRMED",
    "ExpiryCap",
    "Finding",
    "Instrument",
    "LegalBasis",
    "LegalSentence",
    "Pack",
    "Particular",
    "Statement",
    "known_packs",
    "load_pack",
    "signable",
    "statements_for_original",
]
