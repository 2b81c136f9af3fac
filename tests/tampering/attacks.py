"""Attacks on a small site's record by somebody who owns its database, each undone after it was looked for.

`python -m tests.tampering.attacks FOLDER` makes the small site in the home of the environment, runs every attack and
prints what was found as JSON; the tests do the same in their own process.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

OFFLINE = Path(__file__).parents[2] / "dosewright" / "ground" / "offline_verifier.py"


@dataclass(frozen=True, slots=True, kw_only=True)
class Attack:
    """Statements that change the record, and the fault that must tell of it: parts of its place and its words.

    `keeps_lifted` leaves the triggers as the statements left them; else they are put back, as a forger would.
    """

    name: str
    statements: tuple[str, ...]
    where: str
    what: str
    keeps_lifted: bool = False


ENTRY = "ground_auditentry"
ATTACKS = (
    Attack(
        name="update the text of an entry",
        statements=(f"UPDATE {ENTRY} SET text = replace(text, 'PN-2', 'PN-9') WHERE seq = 3",),
        where="entry 3",
        what="not the text that was hashed",
    ),
    *(
        Attack(
            name=f"update the column {column} of an entry",
            statements=(f"UPDATE {ENTRY} SET {column} = {value} WHERE seq = 3",),
            where="entry 3",
            what=what,
        )
        for column, value, what in (
            ("action", "'order.verify'", "column action"),
            ("outcome", "'refused'", "column outcome"),
            ("subject", "'PN-9'", "column subject"),
            ("at", "'2026-01-01 00:00:00+00:00'", "column at"),
            ("actor_id", "(SELECT max(id) FROM ground_user)", "column actor"),
            ("previous", "digest", "does not continue"),
            ("digest", "replace(digest, substr(digest, 1, 1), 'z')", "not the text that was hashed"),
        )
    ),
    Attack(
        name="move an entry behind the last",
        statements=(f"UPDATE {ENTRY} SET seq = 4000 WHERE seq = 3",),
        where="entry 4",
        what="entry 3 is missing before it",
    ),
    Attack(
        name="delete an entry",
        statements=(f"DELETE FROM {ENTRY} WHERE seq = 3",),
        where="entry 4",
        what="entry 3 is missing before it",
    ),
    Attack(
        name="delete an entry and close the gap",
        statements=(
            f"DELETE FROM {ENTRY} WHERE seq = 3",
            *(f"UPDATE {ENTRY} SET seq = {seq - 1} WHERE seq = {seq}" for seq in range(4, 9)),
        ),
        where="entry 3",
        what="does not continue the entry before it",
    ),
    Attack(
        name="insert an entry between two",
        statements=(
            *(f"UPDATE {ENTRY} SET seq = {seq + 1} WHERE seq = {seq}" for seq in range(8, 2, -1)),
            f"INSERT INTO {ENTRY} (site_id, seq, at, actor_id, action, outcome, subject, text, previous, digest) "
            f"SELECT site_id, 3, at, actor_id, action, outcome, subject, text, digest, 'f' FROM {ENTRY} WHERE seq = 2",
        ),
        where="entry 3",
        what="not the text that was hashed",
    ),
    Attack(
        name="append an entry",
        statements=(
            f"INSERT INTO {ENTRY} (site_id, seq, at, actor_id, action, outcome, subject, text, previous, digest) "
            f"SELECT site_id, seq + 1, at, actor_id, action, outcome, subject, text, digest, 'f' FROM {ENTRY} "
            f"ORDER BY seq DESC LIMIT 1",
        ),
        where="entry 9",
        what="not the text that was hashed",
    ),
    Attack(
        name="swap two entries",
        statements=(
            f"UPDATE {ENTRY} SET seq = 99 WHERE seq = 2",
            f"UPDATE {ENTRY} SET seq = 2 WHERE seq = 3",
            f"UPDATE {ENTRY} SET seq = 3 WHERE seq = 99",
        ),
        where="entry 2",
        what="does not continue the entry before it",
    ),
    Attack(
        name="cut the tail",
        statements=(f"DELETE FROM {ENTRY} WHERE seq > 6",),
        where="head",
        what="says 8 entries where 6 stand",
    ),
    Attack(
        name="cut the tail and all that tells of it",
        statements=(
            f"DELETE FROM {ENTRY} WHERE seq > 7",
            f"UPDATE ground_chain SET length = 7, head = (SELECT digest FROM {ENTRY} WHERE seq = 7)",
        ),
        where="entry 8",
        what="anchored outside",
    ),
    Attack(
        name="replace the head",
        statements=(f"UPDATE ground_chain SET head = (SELECT digest FROM {ENTRY} WHERE seq = 5)",),
        where="head",
        what="another digest",
    ),
    Attack(
        name="take the head away",
        statements=("DELETE FROM ground_chain",),
        where="head",
        what="says 0 entries where 8 stand",
    ),
    *(
        Attack(name=f"{name} a look", statements=(statement,), where="reads 1 to 3", what="sealed")
        for name, statement in (
            ("update", "UPDATE ground_readentry SET patient = 'PA-9' WHERE patient = 'PA-1'"),
            ("update the reader of", "UPDATE ground_readentry SET reader_id = (SELECT min(id) FROM ground_user) WHERE "
             "patient = 'PA-1'"),
            ("delete", "DELETE FROM ground_readentry WHERE patient = 'PA-1'"),
            ("cut the last of", "DELETE FROM ground_readentry WHERE patient = 'PA-2'"),
            ("move", "UPDATE ground_readentry SET id = id + 1000 WHERE patient = 'PA-0'"),
            ("insert", "INSERT INTO ground_readentry (id, site_id, at, reader_id, patient, view, reason) "
             "SELECT 0, site_id, at, reader_id, 'PA-x', view, reason FROM ground_readentry WHERE patient = 'PA-1'"),
        )
    ),
    Attack(
        name="update what was signed",
        statements=("UPDATE ground_signature SET meaning = 'another'",),
        where="signature",
        what="is not what was signed",
    ),
    Attack(
        name="update the signer",
        statements=("UPDATE ground_signature SET signer_id = (SELECT min(id) FROM ground_user)",),
        where="signature",
        what="is not what was signed",
    ),
)  # fmt: skip


UNREADABLE = Attack(
    name="leave a time that is none",
    statements=(f"UPDATE {ENTRY} SET at = '2026-99-99' WHERE seq = 3",),
    where="entry 3",
    what="column at",
)
"""SQLite takes anything; PostgreSQL refuses it itself."""


def dropped(vendor: str) -> Attack:
    """Return the attack that drops one trigger and leaves it dropped."""
    on_table = "" if vendor == "sqlite" else f" ON {ENTRY}"
    return Attack(
        name="drop a trigger",
        statements=(f"DROP TRIGGER keep_{ENTRY}_update{on_table}",),
        where=f"keep_{ENTRY}_update",
        what="trigger is missing",
        keeps_lifted=True,
    )


def emptied(vendor: str) -> Attack:
    """Return the attack that puts a trigger of the same name in place of ours that refuses nothing."""
    name = f"keep_{ENTRY}_delete"
    if vendor == "sqlite":
        put = f'CREATE TRIGGER "{name}" BEFORE DELETE ON "{ENTRY}" BEGIN SELECT 1; END'
        statements: tuple[str, ...] = (f"DROP TRIGGER {name}", put)
    else:
        body = "CREATE FUNCTION keep_nothing() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN OLD; END $$"
        put = f"CREATE TRIGGER {name} BEFORE DELETE ON {ENTRY} FOR EACH ROW EXECUTE FUNCTION keep_nothing()"
        statements = (f"DROP TRIGGER {name} ON {ENTRY}", body, put)
    return Attack(
        name="empty a trigger", statements=statements, where=name, what="trigger is missing", keeps_lifted=True
    )


def small_record() -> None:
    """Make a site with eight entries: five plain ones, a signature with its row, a seal over three looks, one more."""
    from dosewright.ground.act import act
    from dosewright.ground.pure.roles import Role
    from dosewright.ground.scope import record_read
    from dosewright.ground.signing import Pen, shown_digest, sign
    from dosewright.ground.work import run, sweep
    from tests.ground.small_site import NOON, PASSWORD, small_site

    house = small_site("tampered")
    for number in range(5):
        with act(house.actor(Role.TECHNICIAN), "plan.request", at=NOON, subject=f"PN-{number}"):
            pass
    with act(house.actor(Role.PHARMACIST), "jurisdiction.sign", at=NOON) as doing:
        pen = Pen(password=PASSWORD, shown_digest=shown_digest({"a": 1}))
        sign(doing, pen, meaning="m", subject_kind="k", subject="s", subject_version=1, shown={"a": 1})
    for number in range(3):
        record_read(house.actor(Role.PHARMACIST), patient=f"PA-{number}", view="order", at=NOON)
    later = NOON + timedelta(hours=2)
    assert [run(pk, clock=lambda: later) for pk in sweep(clock=lambda: later)] == [True]
    with act(house.actor(Role.TECHNICIAN), "plan.request", at=later, subject="PN-5"):
        pass


def anchors_now() -> dict[str, list[tuple[int, str]]]:
    """Return the head of every chain, as it was kept outside."""
    from dosewright.ground.models import Chain

    return {one.site.code: [(one.length, one.head)] for one in Chain.objects.select_related("site")}


@contextmanager
def attacked(statements: tuple[str, ...], *, keeps_lifted: bool = False) -> Iterator[None]:
    """Run statements past the triggers, look, and undo all of it."""
    from django.db import connection, transaction

    from dosewright.ground import triggers

    with transaction.atomic():
        with connection.cursor() as cursor:
            if connection.vendor == "sqlite":
                cursor.execute("PRAGMA ignore_check_constraints = ON")  # as whoever holds the file could
            for statement in (*([] if keeps_lifted else lifting(statements)), *statements):
                cursor.execute(statement)
        if not keeps_lifted:
            triggers.install()
        yield
        transaction.set_rollback(True)
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA ignore_check_constraints = OFF")


def lifting(statements: tuple[str, ...]) -> list[str]:
    """Return what drops the triggers of every table that the statements name."""
    from django.db import connection

    from dosewright.ground.triggers import EVENTS, append_only_tables

    named = [table for table in append_only_tables() if any(f" {table} " in f"{one} " for one in statements)]
    on_table = "" if connection.vendor == "sqlite" else " ON {}"
    return [
        f"DROP TRIGGER keep_{table}_{event.lower()}{on_table.format(table)}"
        for table in named
        for event in EVENTS[connection.vendor]
    ]


def faults_in_place(anchors: dict[str, list[tuple[int, str]]], export: Path) -> list[str]:
    """Return what the verification of the database says, and leave an export."""
    from dosewright.ground.verify import verify

    return [f"{one.where}: {one.what}" for one in verify(anchors, export=export).faults]


def faults_offline(anchors: dict[str, list[tuple[int, str]]], export: Path) -> list[str]:
    """Return what the offline verifier finds in an export."""
    from dosewright.ground.offline_verifier import verify_lines

    with export.open(encoding="utf-8", newline="\n") as lines:
        return [f"{one.where}: {one.what}" for one in verify_lines(lines, anchors).faults]


def faults_alone(anchors: dict[str, list[tuple[int, str]]], export: Path) -> tuple[int, list[str]]:
    """Return exit code and faults of the one file, copied beside the export and run with nothing of ours at hand."""
    alone = export.with_name("verifier_alone.py")
    alone.write_bytes(OFFLINE.read_bytes())
    asked = [f"--anchor={site}:{length}:{head}" for site, those in anchors.items() for length, head in those]
    done = subprocess.run(
        [sys.executable, "-I", "-S", str(alone), str(export), *asked],
        cwd=export.parent,
        env={},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    lines = done.stdout.splitlines() or [done.stderr]
    return done.returncode, [line.removeprefix("FAULT ") for line in lines if line.startswith("FAULT ")]


def tried(attack: Attack, folder: Path, *, number: int) -> dict[str, Any]:
    """Run one attack and return what both ways found, and whether it is the fault that tells of it."""
    anchors = anchors_now()
    export = folder / f"export-{number}.jsonl"
    with attacked(attack.statements, keeps_lifted=attack.keeps_lifted):
        here = faults_in_place(anchors, export)
    there = faults_offline(anchors, export)
    told = [fault for fault in here if attack.where in fault.partition(": ")[0] and attack.what in fault]
    return {"attack": attack.name, "here": here, "offline": there, "told": told}


def main(folder: Path) -> None:
    """Run every attack on the home of the environment."""
    from django.db import connection

    small_record()
    untouched = Attack(name="nothing", statements=(), where="", what="")
    attacks = (untouched, *ATTACKS, dropped(connection.vendor), emptied(connection.vendor))
    found = [tried(attack, folder, number=number) for number, attack in enumerate(attacks)]
    sys.stdout.write(json.dumps({"vendor": connection.vendor, "found": found}))


if __name__ == "__main__":
    import django

    django.setup()
    main(Path(sys.argv[1]))
