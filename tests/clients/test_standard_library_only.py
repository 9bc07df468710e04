"""The sensor client runs on a bare Python: it is copied to small machines where nothing can be installed."""

import ast
import subprocess
import sys
from pathlib import Path

CLIENT = Path(__file__).parents[2] / "openapi" / "clients" / "post_temperature.py"


def test_the_client_imports_the_standard_library_alone():
    imported = set()
    for node in ast.walk(ast.parse(CLIENT.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            imported |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            imported.add(node.module.partition(".")[0])
    assert "http" in imported
    assert imported - {"__future__"} <= sys.stdlib_module_names


def test_the_client_explains_itself_without_any_installed_package():
    bare = [sys.executable, "-I", "-S", str(CLIENT)]
    shown = subprocess.run([*bare, "--help"], capture_output=True, text=True, timeout=30)
    assert shown.returncode == 0, shown.stderr
    for option in ("--server", "--spool", "--gauge", "--key-file", "--once", "--linger"):
        assert option in shown.stdout
