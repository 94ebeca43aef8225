"""Start the explorer: ``python -m explorer [--port N] [any option of the server]``.

Every setting of ``.streamlit/config.toml`` is passed on the command line, so that an installed copy started
from any folder has the same look, answers this machine only and sends no usage statistics.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path
from typing import Any

__all__ = ["config_path", "main", "server_arguments"]


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
    with config_path().open("rb") as file:
        options = _flatten(tomllib.load(file))
    arguments = ["run", str(Path(__file__).resolve().parent / "app.py")]
    for name, value in options.items():
        text = str(value).lower() if isinstance(value, bool) else str(value)
        arguments.append(f"--{name}={text}")
    for item in extra or []:
        arguments.append("--server.port" + item[len("--port") :] if item.split("=")[0] == "--port" else item)
    return arguments


def main() -> None:
    """Start the server and stay until it is stopped.

    Examples
    --------
    >>> main()  # doctest: +SKIP
    """
    from streamlit.web import cli

    sys.argv = ["streamlit", *server_arguments(sys.argv[1:])]
    sys.exit(cli.main())


if __name__ == "__main__":
    main()
