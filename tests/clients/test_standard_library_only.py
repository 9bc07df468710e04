"""The clients run on a bare Python: they are copied to small machines where nothing can be installed."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

CLIENTS = Path(__file__).parents[2] / "openapi" / "clients"
OPTIONS = {
    "notify.py": ("--config", "--once", "--try", "--watch", "--older-than", "key_file", "escalate_after"),
    "post_temperature.py": ("--server", "--spool", "--gauge", "--key-file", "--once", "--linger"),
    "tick.py": ("due", "done 2", "skip", "send", "queue", "--at", "--reading", "--key-file"),
}


def test_every_client_is_among_these():
    assert {file.name for file in CLIENTS.glob("*.py")} == set(OPTIONS)


@pytest.mark.parametrize("name", OPTIONS)
def test_the_client_imports_the_standard_library_alone(name):
    imported = set()
    for node in ast.walk(ast.parse((CLIENTS / name).read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            imported |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            imported.add(node.module.partition(".")[0])
    assert "http" in imported
    assert imported - {"__future__"} <= sys.stdlib_module_names


@pytest.mark.parametrize("name", OPTIONS)
def test_the_client_explains_itself_without_any_installed_package(name):
    bare = [sys.executable, "-I", "-S", str(CLIENTS / name)]
    shown = subprocess.run([*bare, "--help"], capture_output=True, text=True, timeout=30)
    assert shown.returncode == 0, shown.stderr
    for option in OPTIONS[name]:
        assert option in shown.stdout
