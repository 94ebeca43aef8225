"""Starting on any machine: no home folder, a path with spaces, missing packages, another code page, another system."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
from serving import served

from explorer import __main__ as start

PYTHON = [sys.executable, "-m", "explorer"]
HEADLESS = [*PYTHON, "--server.headless", "true"]


def bare(**more: str) -> dict[str, str]:
    """An environment with what a process must have, and what is given."""
    kept = {k: v for k, v in os.environ.items() if k in {"PATH", "SYSTEMROOT", "PYTHONPATH"}}
    return {**kept, **more}


def told(*arguments: str, **environment: str) -> subprocess.CompletedProcess:
    """What the start command prints."""
    return subprocess.run([*PYTHON, *arguments], env=bare(**environment), capture_output=True, text=True, timeout=60)


# ---- the command ------------------------------------------------------------------------------------------


def test_help_is_our_own_and_needs_no_package(capsys):
    with pytest.raises(SystemExit) as end:
        start.main(["--help"])
    printed = capsys.readouterr().out
    assert end.value.code == 0 and "--port" in printed and "streamlit" not in printed.lower()


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("/opt/a b/bin/propulsion-what-if", "usage: propulsion-what-if ["),
        ("propulsion-what-if.exe", "usage: propulsion-what-if ["),
        ("/home/a b/explorer/__main__.py", "usage: python -m explorer ["),
    ],
)
def test_help_names_the_command_that_was_typed(typed, shown, monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", [typed, "--help"])
    with pytest.raises(SystemExit):
        start.main()
    assert capsys.readouterr().out.startswith(shown)


def test_version(capsys):
    import propmodel

    start.main(["--version"])
    assert capsys.readouterr().out == f"propulsion-what-if {propmodel.__version__}\n"


@pytest.mark.parametrize(
    ("given", "wanted"),
    [
        (["--port", "8600"], ["--server.port", "8600"]),
        (["--port=8600"], ["--server.port", "8600"]),
        (["--server.port", "8600"], ["--server.port", "8600"]),
        (["--server.headless", "true"], ["--server.headless", "true"]),
        (["--", "--server.headless=true"], ["--server.headless=true"]),
        (["--port", "8600", "--", "--logger.level=info"], ["--logger.level=info", "--server.port", "8600"]),
        ([], []),
    ],
)
def test_other_options_go_to_the_server(given, wanted, monkeypatch):
    from streamlit.web import cli

    seen = []
    monkeypatch.setattr(cli, "main", lambda **_: seen.append(sys.argv) or 0)
    monkeypatch.setattr(sys, "argv", ["explorer"])
    with pytest.raises(SystemExit):
        start.main(given)
    assert seen[0][: len(start.server_arguments()) + 1] == ["streamlit", *start.server_arguments()]
    assert seen[0][len(start.server_arguments()) + 1 :] == wanted


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (["--port", "abc"], "a port is a whole number from 1 to 65535, not 'abc'"),
        (["--port", "70000"], "not '70000'"),
        (["--server.port=-1"], "not '-1'"),
        (["--port", "0"], "not '0'"),
        (["--port", "\u0668\u0660\u0668\u0660"], "whole number"),
        (["--port"], "expected one argument"),
        (["--nonsense"], "No such option"),
        (["--server.maxUploadSize", "much"], "not a valid integer"),
        (["--server.address", "256.1.1.1"], "The server could not start: "),
        (["--server.address", "192.0.2.1"], "The server could not start: "),
    ],
)
def test_wrong_options_are_said_without_a_traceback(given, words):
    run = told(*given, "--server.headless", "true", PYTHONIOENCODING="utf-8")
    assert run.returncode != 0
    assert words in run.stderr and "Traceback" not in run.stderr


def test_a_port_that_is_taken_is_said():
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        run = told("--port", str(taken.getsockname()[1]), "--server.headless", "true")
    assert run.returncode == 1 and "is not available" in run.stderr and "Traceback" not in run.stderr


@pytest.mark.parametrize("lacking", [["scipy"], ["numpy", "plotly"], ["streamlit", "pandas", "numpy"]])
def test_missing_packages_are_said_in_one_sentence(lacking, monkeypatch):
    known = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name, *a: None if name in lacking else known(name, *a))
    with pytest.raises(SystemExit) as end:
        start.main(["--version"])
    words = str(end.value.code)
    assert all(name in words for name in lacking) and words.count(". ") == 0 and words.endswith(".")
    assert "pip install" in words and sys.executable in words


def test_missing_packages_without_any_installed():
    # -S leaves out what is installed: only the standard library is there
    run = subprocess.run(
        [sys.executable, "-S", "-m", "explorer"],
        env=bare(PYTHONPATH=str(Path(start.__file__).parents[1])), capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert run.returncode == 1
    assert run.stdout == "" and len(run.stderr.splitlines()) == 1
    assert run.stderr.startswith("numpy, pandas, plotly, scipy and streamlit are missing in this Python: run  ")


def test_an_old_python_is_told_which_one_is_needed(monkeypatch):
    monkeypatch.setattr(start.sys, "version_info", (3, 10, 4, "final", 0))
    with pytest.raises(SystemExit) as end:
        start.main([])
    assert end.value.code == "This needs Python 3.11 or newer, and this is Python 3.10."


# ---- the user's folders -----------------------------------------------------------------------------------


def test_no_home_folder_is_no_traceback(monkeypatch):
    # what the standard library raises where neither HOME nor an entry for the user is there
    def nowhere():
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setattr(Path, "home", nowhere)
    for platform in ("linux", "darwin", "win32"):
        variable = "USERPROFILE" if platform == "win32" else "HOME"
        for name in ("HOME", "USERPROFILE", "PROPULSION_WHAT_IF_DATA"):
            monkeypatch.delenv(name, raising=False)
        monkeypatch.setattr(start.sys, "platform", platform)
        start._make_home()
        assert Path(os.environ[variable]).is_dir()
        assert os.environ["PROPULSION_WHAT_IF_DATA"] == "none"
        Path(os.environ[variable]).rmdir()
        assert start._make_home() is None, "and so again"


NOBODY = """
import os, pwd
def unknown(_):
    raise KeyError("no such user")
pwd.getpwuid = unknown
del os.environ["HOME"], os.environ["XDG_DATA_HOME"]
from explorer.__main__ import main
main()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="the list of users is asked on POSIX only")
def test_a_user_without_a_home_gets_the_page(tmp_path):
    start_it = [sys.executable, "-c", NOBODY, "--server.headless", "true"]
    with served(tmp_path, start_it) as running, urllib.request.urlopen(running.address, timeout=20) as page:
        assert b"<title>" in page.read()
    assert "Traceback" not in (tmp_path / "server.log").read_text("utf-8")


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="a folder in which nobody may write is wanted")
def test_a_home_that_may_not_be_written_to(tmp_path):
    lost = "import os; os.environ['HOME'] = '/proc/no-home'; del os.environ['XDG_DATA_HOME'];"
    lost += "from explorer.__main__ import main; main()"
    start_it = [sys.executable, "-c", lost, "--server.headless", "true"]
    with served(tmp_path, start_it) as running, urllib.request.urlopen(running.address, timeout=20) as page:
        assert b"<title>" in page.read()
    assert "Traceback" not in (tmp_path / "server.log").read_text("utf-8")


@pytest.mark.parametrize(
    "environment",
    [
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        {"PYTHONIOENCODING": "cp1252"},
        {"LC_ALL": "POSIX", "PYTHONUTF8": "0", "PYTHONIOENCODING": "ascii:strict", "PYTHONCOERCECLOCALE": "0"},
    ],
    ids=["c", "cp1252", "ascii"],
)
def test_a_code_page_that_is_not_utf_8(environment):
    for argument in ("--help", "--version"):
        run = told(argument, **environment)
        assert run.returncode == 0 and run.stderr == ""
        assert run.stdout.isascii()


def test_every_file_is_opened_with_its_encoding(root):
    """PEP 597: Python itself warns of a text file opened in the machine's code page."""
    script = (
        "import sys, warnings; warnings.simplefilter('error', EncodingWarning);"
        "import tempfile; from pathlib import Path; import propmodel; from explorer.saved.store import FolderStore;"
        "from explorer.__main__ import server_arguments; server_arguments();"
        "from explorer.saved import disk; disk.on_network(Path('.').resolve());"
        "s = FolderStore(Path(tempfile.mkdtemp())); k = s.save('Fell \\u00e4', {'kv': 1.0}); s.builds();"
        "s.save_table('motors', 'name\\n\\u00e4\\n');"
        "[propmodel.performance(propmodel.demo(n)) for n in propmodel.demo_names()];"
        "propmodel.propeller.measured_names()"
    )
    run = subprocess.run(
        [sys.executable, "-X", "warn_default_encoding", "-c", script],
        env={**os.environ, "PYTHONPATH": str(root)}, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr[-2000:]


# ---- the checkout -----------------------------------------------------------------------------------------


def test_a_path_with_spaces_and_signs(root, tmp_path):
    """Copied to a folder with a blank, an umlaut and a quote in its name, and started from a folder of its own."""
    there = tmp_path / "my crafts ä'"
    there.mkdir()
    for name in ("explorer", "propmodel", "data", ".streamlit"):
        (there / name).symlink_to(root / name, target_is_directory=True)
    home = tmp_path / "at home"
    home.mkdir()
    environment = {**os.environ, "PYTHONPATH": str(there)}
    with (
        served(home, HEADLESS, environment=environment) as running,
        urllib.request.urlopen(running.address, timeout=20) as page,
    ):
        assert b"<title>" in page.read()
    assert "Traceback" not in (home / "server.log").read_text("utf-8")


def test_no_module_needs_what_only_some_systems_have(root):
    """Modules of the standard library that Windows lacks are imported where they are used, or not at all."""
    import ast

    posix = {"fcntl", "grp", "pwd", "resource", "termios", "pty", "posix", "syslog"}
    wrong = []
    for package in ("explorer", "propmodel"):
        for path in (root / package).rglob("*.py"):
            tree = ast.parse(path.read_text("utf-8"))
            names = {a.name for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names}
            names |= {n.module for n in ast.walk(tree) if isinstance(n, ast.ImportFrom) and n.module}
            called = {ast.unparse(n) for n in ast.walk(tree) if isinstance(n, ast.Attribute)}
            wrong += [f"{path.name}: {n}" for n in names & posix]
            wrong += [
                f"{path.name}: {n}"
                for n in called & {"os.fork", "os.uname", "os.getuid", "os.geteuid", "os.O_NOFOLLOW"}
            ]
    assert wrong == []


def test_no_file_name_that_windows_refuses(root):
    import re

    devices = {"con", "nul", "prn", "aux", *(f"com{k}" for k in range(10)), *(f"lpt{k}" for k in range(10))}
    for package in ("explorer", "propmodel", "data", "tests", ".ci", ".streamlit"):
        for path in (root / package).rglob("*"):
            assert not re.search(r'[<>:"\\|?*\x00-\x1f]|[ .]$', path.name), path
            assert path.name.split(".")[0].lower() not in devices, path
            assert len(path.relative_to(root).as_posix()) < 180, path


# ---- threads of the linear algebra ------------------------------------------------------------------------

STARTED = """
import os, sys
from explorer import __main__ as start
assert "numpy" not in sys.modules
real = start._one_thread
def told():
    print("numpy" in sys.modules, "streamlit" in sys.modules)
    real()
    print(*(os.environ[name] for name in start.THREADS))
    sys.exit(0)
start._one_thread = told
start.main(["--port", "8600"])
"""


@pytest.mark.parametrize("chosen", [None, "3"])
def test_the_server_has_one_thread_unless_somebody_chose_before_numpy_is_loaded(chosen):
    more = {} if chosen is None else {"OPENBLAS_NUM_THREADS": chosen}
    run = subprocess.run(
        [sys.executable, "-c", STARTED],
        env=bare(HOME="/", PYTHONPATH=str(Path(start.__file__).parents[1]), **more),
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert run.stdout.split() == ["False", "False", chosen or "1", "1", "1", "1"], run.stderr
