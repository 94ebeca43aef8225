"""A wheel, installed in a clean environment and used from another folder, far from the checkout; a source archive."""

from __future__ import annotations

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import tarfile
import tomllib
import urllib.error
import urllib.request
import venv
import zipfile
from pathlib import Path

import pytest
from serving import served

pytestmark = pytest.mark.slow

SOURCES = (
    "README.md", "DEVELOPERS.md", "pyproject.toml", "explorer", "propmodel", "data", "tests",
    ".ci", ".streamlit", ".gitignore", ".pre-commit-config.yaml",
)  # fmt: skip
JUNK = shutil.ignore_patterns("*.egg-info", ".*_cache")
"""Not ``__pycache__``: a build must leave it out by itself."""
MADE = {"PKG-INFO", "setup.cfg"}
"""What a build adds at the top of the archive, beside the folder ``*.egg-info``."""


def run(*command: str | Path, cwd: Path) -> str:
    """Run a command without the caller's Python settings; its output, or a failed test that shows it."""
    environment = {k: v for k, v in os.environ.items() if k not in {"PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV"}}
    done = subprocess.run(
        [str(part) for part in command], cwd=cwd, env=environment, capture_output=True, text=True, timeout=600
    )
    assert done.returncode == 0, f"{command}\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}"
    return done.stdout


@pytest.fixture(scope="module")
def source(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy to build from, so that the checkout stays clean, with what a used checkout holds."""
    source = tmp_path_factory.mktemp("source")
    for folder in ("explorer", "tests"):
        (source / folder / "__pycache__").mkdir(parents=True)
        (source / folder / "__pycache__" / "old.cpython-311.pyc").write_bytes(b"old")
    for name in SOURCES:
        if (root / name).is_dir():
            shutil.copytree(root / name, source / name, ignore=JUNK, dirs_exist_ok=True)
        else:
            shutil.copy2(root / name, source / name)
    return source


@pytest.fixture(scope="module")
def archive(source: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The source archive, and all that the build printed."""
    tools, target = tmp_path_factory.mktemp("tools"), tmp_path_factory.mktemp("archive")
    (need,) = tomllib.loads((source / "pyproject.toml").read_text("utf-8"))["build-system"]["requires"]
    run(sys.executable, "-m", "pip", "install", "--quiet", "--target", tools, need, cwd=target)
    build = (
        f"import sys; sys.path[:0] = [{str(tools)!r}, '.ci']; import backend; sys.stderr = sys.stdout;"
        f"backend.build_sdist({str(target)!r})"
    )
    told = run(sys.executable, "-I", "-W", "default", "-c", build, cwd=source)
    (built,) = target.glob("*.tar.gz")
    return built, told


@pytest.fixture(scope="module")
def wheel(source: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel."""
    target = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "-w", target, source, cwd=target)
    (built,) = target.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a clean environment with the wheel and its dependencies only."""
    folder = tmp_path_factory.mktemp("clean") / "venv"
    venv.create(folder)
    # modules are compiled as they are imported: pip would compile the dependencies' tests and all else
    pip = [sys.executable, "-m", "pip", "--python", folder / "bin" / "python", "--quiet", "--disable-pip-version-check"]
    run(*pip, "install", "--no-compile", wheel, cwd=folder)
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
    wanted |= {"explorer/settings/config.toml", "explorer/py.typed", "propmodel/py.typed"}
    # maker's codes of the source stay outside
    wanted.remove("propmodel/data/propellers/source_keys.csv")
    assert "propmodel/data/propellers/source_keys.csv" not in inside
    assert len(wanted) > 20
    assert sorted(wanted - inside) == []
    stray = [
        name
        for name in inside
        if name.startswith("tests/") or re.search(r"\.(png|pyc)$|propmodel/data/.*/.*\.py$", name)
    ]
    assert stray == []


def in_archive(path: Path) -> dict[str, bytes]:
    """Files of a source archive by name, without the folder that holds them all."""
    with tarfile.open(path) as tar:
        return {m.name.split("/", 1)[1]: tar.extractfile(m).read() for m in tar.getmembers() if m.isfile()}


def test_source_archive_holds_the_whole_project_and_nothing_else(source, archive):
    inside = in_archive(archive[0])
    wanted = {path.relative_to(source).as_posix() for path in source.rglob("*") if path.is_file()}
    wanted = {name for name in wanted if "__pycache__" not in name and ".egg-info/" not in name}
    wanted = {name for name in wanted if not name.startswith(("build/", "dist/"))}
    found = {name for name in inside if name not in MADE and ".egg-info/" not in name}
    assert sorted(wanted - found) == []
    assert sorted(found - wanted) == []
    for name in found:
        assert inside[name] == (source / name).read_bytes(), name


def test_source_archive_holds_what_the_readme_shows_and_runs(source, archive):
    inside = set(in_archive(archive[0]))
    readme = (source / "README.md").read_text("utf-8")
    for place in re.findall(r"\]\((?!http)([^)#]+)\)", readme) + re.findall(r"^sh (\S+)", readme, re.M):
        assert place in inside, place
    assert len([name for name in inside if name.startswith("tests/")]) > 80


def test_a_build_warns_of_nothing(archive):
    lines = [line for line in archive[1].splitlines() if re.search("warn|deprecat", line, re.I)]
    # said where Python is told to write no compiled files
    assert [line for line in lines if "byte-compiling is disabled" not in line] == []


def test_a_wheel_of_the_source_archive_is_that_of_the_checkout(archive, wheel, tmp_path):
    run(sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "-w", tmp_path, archive[0], cwd=tmp_path)
    (other,) = tmp_path.glob("*.whl")
    assert other.name == wheel.name
    first, second = (zipfile.ZipFile(path) for path in (wheel, other))
    assert sorted(first.namelist()) == sorted(second.namelist())
    assert all(first.read(name) == second.read(name) for name in first.namelist() if not name.endswith("RECORD"))


def test_one_version_everywhere(root, wheel, installed, tmp_path):
    ask = "import propmodel, explorer, importlib.metadata as m; print(propmodel.__version__, explorer.__version__, "
    ask += "m.version('propulsion-what-if'))"
    told = run(installed / "bin" / "python", "-I", "-c", ask, cwd=tmp_path).split()
    assert len(set(told)) == 1 and f"-{told[0]}-" in wheel.name
    for command in (["propulsion-what-if"], ["python", "-I", "-m", "explorer"]):
        start = [installed / "bin" / command[0], *command[1:]]
        assert run(*start, "--version", cwd=tmp_path).strip() == f"propulsion-what-if {told[0]}"
        helped = run(*start, "--help", cwd=tmp_path)
        assert "--port" in helped and "PROPULSION_WHAT_IF_DATA" in helped
    assert f"### {told[0]}" in (root / "DEVELOPERS.md").read_text("utf-8"), "the changelog says nothing of it"


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
    assert set(result["pull"]) == {"scree", "tarn", "moor", "fell", "rill"}
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
