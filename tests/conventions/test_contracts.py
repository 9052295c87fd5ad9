"""The import contracts hold."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_import_contracts():
    command = [
        sys.executable,
        "-c",
        "import sys; from importlinter.cli import lint_imports_command as c; sys.exit(c())",
    ]
    result = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert result.returncode == 0, result.stdout[-3000:] + result.stderr[-1000:]
