"""The composition file against the public Compose schema (as carried by check-jsonschema)."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
COMPOSE = ROOT / "docker-compose.yml"


def _check(path: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec", str(path)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_the_file_follows_the_public_schema():
    result = _check(COMPOSE)
    assert result.returncode == 0, result.stdout + result.stderr


def test_the_check_can_fail(tmp_path):
    broken = tmp_path / "docker-compose.yml"
    broken.write_text(COMPOSE.read_text().replace("services:", "servises:", 1))
    assert _check(broken).returncode == 1


@pytest.mark.parametrize("service", ["web", "worker", "beat", "postgres", "redis", "proxy"])
def test_each_service_of_the_design_is_there(service):
    assert f"\n  {service}:\n" in COMPOSE.read_text()
