"""The present machine beside others: as a table, and as files of their own."""

from dataclasses import asdict
from pathlib import Path

import pandas as pd

from hardpan.outputs.folder import fresh_folder
from hardpan.outputs.manifest import provenance, write_document
from hardpan.outputs.ownership import digests
from hardpan.outputs.tables import write_table
from hardpan.records.alternatives import MachineRow
from hardpan.records.evidence import PaddockRun
from hardpan.records.trail import MANIFEST

TABLE = "machines.csv"


def machine_table(rows: tuple[MachineRow, ...]) -> pd.DataFrame:
    """One row a machine, columns the fields of `MachineRow`; depths in mm, shallowest first."""
    table = pd.DataFrame([asdict(row) for row in rows])
    return table.assign(depths_mm=[" ".join(map(str, row.depths_mm)) for row in rows])


def write_machines(run: PaddockRun, folder: Path) -> tuple[Path, ...]:
    """Write machines.csv and run.json; give their paths.

    Raises
    ------
    HardpanError
        The folder cannot be written or is not a result.
    """
    with fresh_folder(folder) as work:
        write_table(work / TABLE, machine_table(run.machines))
        document = provenance(run.trail) | {"kind": "machines", "paddock": {"name": run.survey.paddock.name}}
        write_document(work / MANIFEST, document, digests(work))
    return tuple(sorted(folder.iterdir()))
