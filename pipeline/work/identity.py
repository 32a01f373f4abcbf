"""What an issue was made from, as named sums: the same sums, the same issue; different ones say what changed."""

import hashlib
import json
from collections.abc import Mapping
from importlib.metadata import version
from typing import Any

from pipeline.geodesy.crs import database_version, proj_version
from pipeline.job.load import meaning
from pipeline.work.prepare import Prepared
from pipeline.work.routes import Routes


def program_version() -> str:
    """Return the versions that shape a result: tiedown's, PROJ's and that of PROJ's database."""
    return f"tiedown {version('tiedown')}, PROJ {proj_version()}, EPSG database {database_version()}"


def identity(prepared: Prepared, routes: Routes) -> dict[str, str]:
    """Return the sums of everything that shapes the job's issue, by the words that a reader would use for it."""
    sessions = [
        window.session.model_dump(mode="json", exclude={"start", "end"}) | {"start": window.start_ms, "end": window.end_ms}
        for window in prepared.windows
    ]
    parts: dict[str, Any] = {
        "the job file": meaning(prepared.loaded.job),
        "the sessions": sessions,
        "the register of control marks": prepared.register.sha256 if prepared.register else None,
        "the program or PROJ": program_version(),
    }
    for operation in routes.recorded():
        parts[f"the operation {operation.step}"] = [
            operation.definition,
            operation.epoch,
            [[grid.name, grid.sha256] for grid in operation.grids],
        ]
    for export in prepared.exports:
        parts[f"the raw file {export.shown}"] = [export.sha256, export.block]
    return {name: _sum(part) for name, part in parts.items()}


def differences(before: Mapping[str, str], after: Mapping[str, str]) -> list[str]:
    """Return in words what differs between two identities, in a stable order; empty where nothing does."""
    told = [f"{name} changed" for name in after if name in before and before[name] != after[name]]
    told += [f"{name} is new" for name in after if name not in before]
    told += [f"{name} is gone" for name in before if name not in after]
    return told


def _sum(part: Any) -> str:
    text = json.dumps(part, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()
