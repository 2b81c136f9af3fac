"""The cautions that stand on every worksheet, every certificate and in the README: their one home."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One hazard and what to do about it; ``source`` says where the statement comes from."""

    key: str
    title: str
    text: str
    source: str


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        key="practice",
        title="Licensed practice and local codes come first",
        text="This record supports the judgement of licensed professionals and never replaces it; where it and "
        "the local code or the safety data sheet differ, they prevail.",
        source="house rule",
    ),
    Caution(
        key="solvent",
        title="Flammable solvent",
        text="2-Propanol catches fire near 12 °C: no ignition source, no unrated ultrasonic bath, lids closed, "
        "exhaust on; spent solvent is hazardous waste.",
        source="NIOSH Pocket Guide npgd0359 (flash point 53 F); handling: common practice",
    ),
    Caution(
        key="laser",
        title="Laser light",
        text="Never defeat the interlock or look into the beam; eyewear for the wavelength at printer and cure box.",
        source="common practice",
    ),
    Caution(
        key="acrylate",
        title="Acrylates sensitise the skin",
        text="Nitrile gloves, changed at once when wetted; no uncured resin on skin; latex does not protect.",
        source="NIOSHTIC 00071091; Aalto-Korte, Acrylic Resins (Springer)",
    ),
    Caution(
        key="initiator",
        title="Initiators and residues are toxic",
        text="Check every initiator's classification; an uncured, unwashed or undried unit is never given to anyone.",
        source="EU classification notice of TPO (Repr. 1B); design rule",
    ),
)


def cautions_text() -> str:
    """Return all cautions as one paragraph for a footer."""
    return " ".join(f"{one.title}: {one.text}" for one in CAUTIONS)
