"""A wheel, installed in a clean environment and used from another folder, far from the checkout."""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import tomllib
import urllib.error
import urllib.request
import venv
import zipfile
from pathlib import Path

import pytest
from serving import served

pytestmark = pytest.mark.slow

SOURCES = ("README.md", "pyproject.toml", "explorer", "propmodel", "data", ".streamlit")
JUNK = shutil.ignore_patterns("__pycache__", "*.egg-info", ".*_cache")


def run(*command: str | Path, cwd: Path) -> str:
    """Run a command without the caller's Python settings; its output, or a failed test that shows it."""
    environment = {k: v for k, v in os.environ.items() if k not in {"PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV"}}
    done = subprocess.run(
        [str(part) for part in command], cwd=cwd, env=environment, capture_output=True, text=True, timeout=600
    )
    assert done.returncode == 0, f"{command}\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}"
    return done.stdout


@pytest.fixture(scope="module")
def wheel(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from a copy so that the checkout stays clean."""
    source = tmp_path_factory.mktemp("source")
    for name in SOURCES:
        if (root / name).is_dir():
            shutil.copytree(root / name, source / name, ignore=JUNK)
        else:
            shutil.copy2(root / name, source / name)
    target = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "-w", target, source, cwd=target)
    (built,) = target.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a clean environment with the wheel and its dependencies only."""
    folder = tmp_path_factory.mktemp("clean") / "venv"
    venv.create(folder, with_pip=True)
    run(folder / "bin" / "pip", "install", "--quiet", "--disable-pip-version-check", wheel, cwd=folder)
    return folder


def test_wheel_holds_every_module_and_table(root, wheel):
    inside = set(zipfile.ZipFile(wheel).namelist())
    wanted = set()
    for package in ("propmodel", "explorer"):
        for path in (root / package).rglob("*"):
            if path.is_file() and path.suffix in {".py", ".md", ".css", ".html", ".js"}:
                wanted.add(path.relative_to(root).as_posix())
    for path in (root / "data").rglob("*"):
        if path.is_file() and path.suffix in {".csv", ".json", ".md"}:
            wanted.add("propmodel/" + path.relative_to(root).as_posix())
    wanted.add("explorer/settings/config.toml")
    # maker's codes of the source stay outside
    wanted.remove("propmodel/data/propellers/source_keys.csv")
    assert "propmodel/data/propellers/source_keys.csv" not in inside
    assert len(wanted) > 20
    assert sorted(wanted - inside) == []


def test_wheel_asks_for_the_five_packages_only(wheel):
    archive = zipfile.ZipFile(wheel)
    (name,) = [name for name in archive.namelist() if name.endswith(".dist-info/METADATA")]
    needs = [
        line.split(":", 1)[1].strip()
        for line in archive.read(name).decode().splitlines()
        if line.startswith("Requires-Dist:") and "extra ==" not in line
    ]
    names = sorted(need.split(">")[0].split("=")[0].strip() for need in needs)
    assert names == ["numpy", "pandas", "plotly", "scipy", "streamlit"]


def test_forecast_away_from_the_checkout(root, installed, tmp_path):
    script = """
import json, propmodel, explorer
from propmodel import demo, demo_names, performance, throttle_curve
answers = {name: performance(demo(name)) for name in demo_names()}
print(json.dumps({
    "files": [propmodel.__file__, explorer.__file__],
    "pull": {name: float(answer.thrust_to_weight) for name, answer in answers.items()},
    "measured": len(propmodel.propeller.measured_names()),
    "points": len(throttle_curve(demo("scree")).thrust),
}))
"""
    result = json.loads(run(installed / "bin" / "python", "-I", "-W", "error", "-c", script, cwd=tmp_path))
    for file in result["files"]:
        assert installed in Path(file).parents
        assert root not in Path(file).parents
    assert set(result["pull"]) == {"scree", "tarn", "moor", "fell"}
    # Anything that is built to fly and to be steered pulls more than twice its weight; none pulls 20 times.
    assert all(2.0 < pull < 20.0 for pull in result["pull"].values())
    assert result["measured"] > 200
    assert result["points"] > 10


def test_settings_travel_with_the_wheel(root, installed, tmp_path):
    script = "from explorer.__main__ import server_arguments; print('\\n'.join(server_arguments()))"
    arguments = run(installed / "bin" / "python", "-I", "-c", script, cwd=tmp_path).splitlines()
    assert Path(arguments[1]).is_file() and installed in Path(arguments[1]).parents
    assert "--browser.gatherUsageStats=false" in arguments
    assert "--server.address=127.0.0.1" in arguments
    settings = tomllib.loads((root / ".streamlit" / "config.toml").read_text())
    for scheme in ("light", "dark"):
        for key, value in settings["theme"][scheme].items():
            if not isinstance(value, dict):
                assert f"--theme.{scheme}.{key}={value}" in arguments


@pytest.mark.parametrize("command", [["python", "-m", "explorer"], ["propulsion-what-if"]], ids=["module", "script"])
def test_explorer_starts_and_answers_this_machine_only(installed, tmp_path, command):
    environment = {k: v for k, v in os.environ.items() if k not in {"PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV"}}
    start = [str(installed / "bin" / command[0]), *command[1:]]
    with served(tmp_path, start, environment=environment) as running:
        with urllib.request.urlopen(running.address, timeout=20) as page:
            assert b"<title>" in page.read()
        # Another loopback address is another interface to the server: bound to 127.0.0.1 it refuses.
        with socket.socket() as other:
            other.settimeout(2)
            assert other.connect_ex(("127.0.0.2", running.port)) != 0
