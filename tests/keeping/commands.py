"""manage.py as an administrator runs it: a process of its own, the folder by the environment."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def manage(arguments: list[str], var: Path, **more: str) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith(("MAKERLAB_", "DATABASE_"))}
    environment |= {"MAKERLAB_VAR": str(var), "PYTHONPATH": os.pathsep.join(sys.path[1:]), **more}
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT, env=environment, capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip
