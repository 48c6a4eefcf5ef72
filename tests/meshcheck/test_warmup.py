"""Warming up reaches every kernel that Python code calls, so that a first check never hangs on compiling."""

import ast
import subprocess
import sys
from pathlib import Path

import meshcheck
from meshcheck.warmup import kernels

PACKAGE = Path(meshcheck.__file__).parent


def _is_kernel(node: ast.FunctionDef) -> bool:
    return any("njit" in ast.unparse(decorator) for decorator in node.decorator_list)


def entry_kernels() -> list[str]:
    """``module:function`` of every compiled function that is called from a function that is not."""
    trees = {path: ast.parse(path.read_text()) for path in sorted(PACKAGE.rglob("*.py"))}
    found = []
    for path, tree in trees.items():
        functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
        names = {node.name for node in functions if _is_kernel(node)}
        called = {
            call.func.id
            for node in functions
            if not _is_kernel(node)
            for call in ast.walk(node)
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Name)
        }
        module = ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts)
        found += [f"{module}:{name}" for name in sorted(names & called)]
    return found


REPORT = """
import importlib, sys
from pathlib import Path
from meshcheck.warmup import kernels
from meshcheck.check import check_part
from meshcheck.picture import draw
def counts():
    return {name: len(getattr(importlib.import_module(name.split(":")[0]), name.split(":")[1]).signatures)
            for name in sys.argv[2:]}
for _, run in kernels():
    run()
warm = counts()
print("cold:", [name for name, count in warm.items() if count == 0])
for path in sorted(Path(sys.argv[1]).rglob("*.*")):
    if path.suffix in (".stl", ".obj", ".3mf"):
        draw(check_part(path.read_bytes(), path.name))
print("late:", [name for name, count in counts().items() if count != warm[name]])
"""


def test_every_kernel_is_warm_and_real_files_need_no_other() -> None:
    entries = entry_kernels()
    assert "meshcheck.layers.cut:_segments" in entries
    demo = PACKAGE.parent.parent / "demo_fixtures" / "meshes"
    # a process of its own: other tests would have compiled the kernels already
    done = subprocess.run(
        [sys.executable, "-c", REPORT, str(demo), *entries],
        env={"PYTHONPATH": str(PACKAGE.parent), "PATH": ""},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == ["cold: []", "late: []"]


def test_steps_have_names_to_show() -> None:
    names = [name for name, _ in kernels()]
    assert len(set(names)) == len(names) > 5
