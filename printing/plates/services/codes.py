"""Fresh codes for a plan that stand nowhere on record; the tables hold them apart in any case."""

from __future__ import annotations

from dosewright.ground.fresh import new_code
from dosewright.ground.pure.errors import Conflict
from printing.plates.queries import codes_on_record

AT_ONCE = 400
MOST_ROUNDS = 200


def fresh_codes(kind: str, count: int) -> tuple[str, ...]:
    """Return `count` distinct new codes of zones, print batches or units.

    Raises Conflict when the codes of a kind are as good as used up.
    """
    found: dict[str, None] = {}
    for _ in range(MOST_ROUNDS + count // AT_ONCE):
        if len(found) >= count:
            return tuple(found)[:count]
        drawn = {new_code(kind): None for _ in range(min(AT_ONCE, count - len(found)))}
        taken = codes_on_record(kind, list(drawn))
        found |= {code: None for code in drawn if code not in taken}
    raise Conflict.because(kind, "hardly any code of this kind is left", value=str(len(found)), limit=str(count))
