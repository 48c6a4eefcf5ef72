"""The web process carries no compiler and no searching libraries: together they are as big as all the rest of it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from tests.conftest import ROOT

ONLY_WORKERS = (
    "numba", "llvmlite", "scipy.spatial", "scipy.optimize", "scipy.stats", "scipy.sparse", "celery.worker", "psycopg"
)  # fmt: skip
WHEN_ASKED_FOR = ("scipy.special", "reportlab", "icalendar")  # 50 MB, by the first page that needs them
LOAD_ALL_PAGES = """
import json, sys, django
django.setup()
from django.urls import get_resolver
def pages(patterns):
    return sum(pages(each.url_patterns) if hasattr(each, "url_patterns") else 1 for each in patterns)
print(json.dumps([pages(get_resolver().url_patterns), sorted(sys.modules)]))
"""


def test_no_page_loads_what_only_workers_need(tmp_path: Path) -> None:
    environment = {
        "PYTHONPATH": f"{ROOT}:{ROOT / 'queue'}", "DJANGO_SETTINGS_MODULE": "makerlab.settings",
        "MAKERLAB_VAR": str(tmp_path), "HOME": str(tmp_path),
    }  # fmt: skip
    told = subprocess.run(
        [sys.executable, "-c", LOAD_ALL_PAGES], env=environment, capture_output=True, text=True, timeout=120, check=True
    )
    pages, loaded = json.loads(told.stdout)
    assert pages > 150  # all of them were really read
    assert "printing.views.giving" in loaded
    assert [name for name in (*ONLY_WORKERS, *WHEN_ASKED_FOR) if name in loaded] == []
