"""What a record page may hold, as plain data: apps fill these, `record` draws them."""

from __future__ import annotations

from dataclasses import dataclass

from dosewright.ground.pure.errors import BadInput


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """A paragraph; ``strong`` for what must not be overlooked."""

    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Facts as label and value, one under another."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column's head; ``share`` is its part of the width, relative to the other columns."""

    head: str
    share: float = 1.0
    align: str = "left"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows under heads; the heads stand again on every page the table runs over."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]

    def __post_init__(self) -> None:
        wrong = [row for row in self.rows if len(row) != len(self.columns)]
        if not self.columns or wrong:
            raise BadInput.because("table", "a row has not one cell for each column", value=str(wrong[:1])[:80])


@dataclass(frozen=True, slots=True, kw_only=True)
class SignatureMark:
    """A signature as printed (21 CFR 11.50: name, date and time, meaning); blank fields leave a line to write on.

    ``time`` is local with its zone; ``digest`` names the exact text that was signed.
    """

    meaning: str
    printed_name: str = ""
    profession: str = ""
    time: str = ""
    digest: str = ""

    @property
    def is_signed(self) -> bool:
        """Whether printed name, time and meaning are all there."""
        return bool(self.meaning and self.printed_name and self.time)


@dataclass(frozen=True, slots=True, kw_only=True)
class Signatures:
    """Signatures, two in a row."""

    marks: tuple[SignatureMark, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateUnit:
    """A unit on the plate: centre and footprint before rotation [um], rotation counter-clockwise [deg]."""

    x_um: int
    y_um: int
    footprint_um: tuple[int, int]
    rotation_deg: float = 0.0
    is_round: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateZone:
    """A zone on the plate: its outline [um] from the lower left corner, its code as raised on the raft."""

    code: str
    polygon_um: tuple[tuple[int, int], ...]
    units: tuple[PlateUnit, ...] = ()
    is_test: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateDrawing:
    """The build plate from above, the operator's side below."""

    width_um: int
    depth_um: int
    zones: tuple[PlateZone, ...]
    front: str = "operator's side"


Block = Note | Rows | Table | Signatures | PlateDrawing


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A headed part of a record."""

    title: str
    blocks: tuple[Block, ...]
