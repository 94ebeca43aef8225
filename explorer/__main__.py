"""Start the explorer: ``python -m explorer [--port N] [any option of the server]``.

Every setting of ``.streamlit/config.toml`` is passed on the command line, so that an installed copy started
from any folder has the same look, answers this machine only and sends no usage statistics.
"""

from __future__ import annotations

import argparse
import atexit
import importlib.util
import os
import re
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

__all__ = ["config_path", "main", "missing", "server_arguments"]

NEEDED = ("numpy", "pandas", "plotly", "scipy", "streamlit")
INSTALLED = "propulsion-what-if"
"""Name of the command that a wheel installs."""
OLDEST_PYTHON = (3, 11)
THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""Variables that the linear algebra below numpy reads when it is loaded."""


def config_path() -> Path:
    """Return the settings file: in the checkout, or the copy that the wheel carries.

    Returns
    -------
    pathlib.Path
        Path of ``config.toml``.

    Raises
    ------
    FileNotFoundError
        If neither is there: the installation is incomplete.

    Examples
    --------
    >>> config_path().name
    'config.toml'
    """
    here = Path(__file__).resolve().parent
    places = [here / "settings" / "config.toml", here.parent / ".streamlit" / "config.toml"]
    for place in places:
        if place.is_file():
            return place
    raise FileNotFoundError("the explorer's settings file is missing; install the project again")


def _flatten(table: dict[str, Any], prefix: str = "") -> dict[str, Any]:
    """Nested tables of the settings file as dotted option names."""
    flat: dict[str, Any] = {}
    for key, value in table.items():
        name = f"{prefix}{key}"
        if isinstance(value, dict):
            flat |= _flatten(value, f"{name}.")
        else:
            flat[name] = value
    return flat


def server_arguments(extra: list[str] | None = None) -> list[str]:
    """Build the server's command line; what the caller adds comes last and wins.

    Parameters
    ----------
    extra : list of str, optional
        Further options, for example ``["--server.port", "8600"]``; ``--port N`` is short for that one.

    Returns
    -------
    list of str
        The arguments after the program's name.

    Examples
    --------
    >>> "--server.address=127.0.0.1" in server_arguments()
    True
    >>> server_arguments(["--port", "8600"])[-2:]
    ['--server.port', '8600']
    """
    import tomllib

    with config_path().open("rb") as file:
        options = _flatten(tomllib.load(file))
    arguments = ["run", str(Path(__file__).resolve().parent / "serving" / "server.py")]
    for name, value in options.items():
        text = str(value).lower() if isinstance(value, bool) else str(value)
        arguments.append(f"--{name}={text}")
    for item in extra or []:
        arguments.append("--server.port" + item[len("--port") :] if item.split("=")[0] == "--port" else item)
    return arguments


def missing(version: tuple[int, ...] | None = None) -> str:
    """Say in one sentence what this Python lacks; empty when nothing is missing.

    Parameters
    ----------
    version : tuple of int, optional
        Of Python; that of this interpreter by default.

    Examples
    --------
    >>> missing()
    ''
    >>> missing((3, 9, 2))
    'This needs Python 3.11 or newer, and this is Python 3.9.'
    """
    version = sys.version_info[:3] if version is None else version
    if version < OLDEST_PYTHON:
        return "This needs Python {}.{} or newer, and this is Python {}.{}.".format(*OLDEST_PYTHON, *version[:2])
    lacking = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    if not lacking:
        return ""
    here = Path(__file__).resolve().parents[1]
    what = f'"{here}"' if (here / "pyproject.toml").is_file() else "propulsion-what-if"
    packages = f"{', '.join(lacking[:-1])} and {lacking[-1]} are" if lacking[1:] else f"{lacking[0]} is"
    return f'{packages} missing in this Python: run  "{sys.executable}" -m pip install {what}  once, then start again.'


def _port(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,5}", text) or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"a port is a whole number from 1 to 65535, not {text[:20]!r}")
    return int(text)


def _command() -> str:
    """What was typed to start: the installed command, or the module."""
    name = Path(sys.argv[0]).stem
    return INSTALLED if name == INSTALLED else "python -m explorer"


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog=_command(),
        description="Start the explorer and stay until it is stopped (Ctrl+C). It answers this machine only.",
        epilog="Any other option goes to the server as it is, for example --server.headless true (no browser window "
        "is opened). PROPULSION_WHAT_IF_DATA names the folder of saved builds; with the value none they last for the "
        "visit. To serve others read DEVELOPERS.md first.",
        allow_abbrev=False,
    )
    parser.add_argument(
        "--port",
        "--server.port",
        dest="port",
        type=_port,
        metavar="N",
        help="port to listen on; the first free one from 8501 by default",
    )
    parser.add_argument("--version", action="store_true", help="print the version and stop")
    return parser


def _make_home() -> None:
    """Give the server, which looks for settings below the home folder, an empty one where the user has none."""
    try:
        Path.home()
    except RuntimeError:
        home = tempfile.mkdtemp(prefix="propulsion-")
        atexit.register(shutil.rmtree, home, ignore_errors=True)
        # the standard library asks one of these, depending on the system
        os.environ["USERPROFILE" if sys.platform == "win32" else "HOME"] = home
        os.environ.setdefault("PROPULSION_WHAT_IF_DATA", "none")


def _one_thread() -> None:
    """Give the linear algebra one thread, unless somebody chose a number. Before numpy is imported.

    Its threads wait for one another in a loop. Where other programs hold the cores, a calibration of a fifth of a
    second takes a minute that way; the matrices here are small and gain nothing from a second thread.
    """
    for name in THREADS:
        os.environ.setdefault(name, "1")


def main(arguments: list[str] | None = None) -> None:
    """Start the server and stay until it is stopped.

    Parameters
    ----------
    arguments : list of str, optional
        Of the command line, without the program's name.

    Examples
    --------
    >>> main()  # doctest: +SKIP
    """
    given = sys.argv[1:] if arguments is None else arguments
    command = _command()
    known, rest = _parser().parse_known_args(given)
    if lacking := missing():
        sys.exit(lacking)
    if known.version:
        from propmodel import __version__

        print(f"propulsion-what-if {__version__}")
        return
    if known.port is not None:
        rest += ["--server.port", str(known.port)]
    _make_home()
    _one_thread()
    from streamlit.web import cli

    from explorer.serving import head_timeout

    head_timeout.install()
    sys.argv = ["streamlit", *server_arguments([item for item in rest if item != "--"])]
    try:
        sys.exit(cli.main(prog_name=command))
    except OSError as wrong:  # an address that is none, or is not this machine's
        sys.exit(f"The server could not start: {wrong.strerror or wrong}.")


if __name__ == "__main__":
    main()
