"""Writes the plate file of an approved batch, reads it back, and only then makes the batch ready."""

from __future__ import annotations

import json
from pathlib import Path

from django.conf import settings

from dosewright.ground.pure.canonical import canonical_text
from dosewright.ground.work import Job
from printing.plates.files.assembly import plate_file
from printing.plates.files.store import load_bytes, store_bytes
from printing.plates.files.three_mf_reader import read_back
from printing.plates.models import PlateFile, PrintBatch
from printing.plates.queries import sizes_of_batch
from printing.plates.services.batches import refuse_unverified
from printing.plates.sizes import exact, mesh_of


def deliver(job: Job) -> None:
    """Write the plate file that a piece of work asks for into the printer's folder; for workers.

    The units are drawn again from their kept sizes and compared with them; the file is compared with the plan
    before it is stored and read back from the disk after.
    """
    batch = PrintBatch.objects.select_related("printer").get(code=job.payload["batch"])
    plate = json.loads(batch.plan_text)
    sizes = sizes_of_batch(batch.pk)
    meshes = {line: mesh_of(size) for line, size in sizes.items()}
    data = plate_file(plate, {line: (mesh.vertices_mm, mesh.faces) for line, mesh in meshes.items()})
    folder = Path("print-files") / batch.printer.code
    stored = store_bytes(Path(settings.DOSEWRIGHT_HOME) / folder, data, ".3mf")
    read = read_back(load_bytes(Path(settings.DOSEWRIGHT_HOME) / folder, stored))
    with job.finishing("batch.deliver", subject=batch.code) as doing:
        refuse_unverified(batch)
        PlateFile.objects.create(
            batch=batch,
            path=str(folder / stored.name),
            sha256=stored.sha256,
            size_bytes=stored.size,
            read_back_text=canonical_text(
                exact([{"part": one.part_number, "kind": one.kind, "mm3": one.volume_mm3} for one in read.items])
            ),
            written_at=doing.at,
        )
        doing.note(plate_file=stored.sha256, size_bytes=stored.size)
        doing.advance(batch, "deliver")
